"""Figures to files: a recording's where it was analysed, those over all trials side by side."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import matplotlib as mpl

from twinangle.parallel import Workers
from twinangle.report.blocks import Figures
from twinangle.report.figures_depth import DEPTH
from twinangle.report.figures_study import draw_conditions, draw_limits, draw_overview
from twinangle.report.figures_trial import Drawn, draw_trial
from twinangle.report.grouping import TrialGroup, trial_groups
from twinangle.report.style import font_families, save_figure, styled
from twinangle.report.wording import unique_names
from twinangle.results import StudyResults

Drawer = Callable[[StudyResults], "Drawn | tuple[Drawn | None, ...] | None"]
POOLED: tuple[Drawer, ...] = (draw_overview, draw_conditions, draw_limits, *DEPTH)


@dataclass(frozen=True, slots=True)
class Written:
    """A figure that lies in the figures' folder, and its words."""

    file: str  # as it lies there, without suffix
    name: str  # as it is to be called
    caption: str
    alternative: str


def write_figures(
    results: StudyResults,
    folder: Path,
    workers: Workers,
    *,
    image_formats: Sequence[str] = (),
    drawn: Sequence[Written] | None = None,
) -> Figures:
    """Write all figures and return caption and alternative text by file name without suffix.

    Parameters
    ----------
    results : StudyResults
        What to draw.
    folder : Path
        An existing folder.
    workers : Workers
        What draws.
    image_formats : sequence of str
        Further formats beside PDF.
    drawn : sequence of Written, optional
        The recordings' figures, when :func:`write_trial` wrote them already.
    """
    font_families()  # written once, before other processes ask for it
    pooled = workers.in_order(
        partial(_write_pooled, results, folder, tuple(image_formats)), range(len(POOLED))
    )
    if drawn is None:
        groups = [group for group in trial_groups(results) if group.worked]
        write = partial(
            write_trial, joint=results.joint, folder=folder, image_formats=image_formats
        )
        drawn = [each for several in workers.in_order(write, groups) for each in several]
    every = [*drawn, *_named([each for several in pooled for each in several], folder)]
    return {each.name: (each.caption, each.alternative) for each in every}


def write_trial(
    group: TrialGroup, joint: str, folder: Path, image_formats: Sequence[str]
) -> list[Written]:
    """Draw and write one recording's figures."""
    with _drawing():
        drawn = {f"{group.stem}_{each.name}": each for each in draw_trial(group, joint)}
        return [_write(each, name, name, folder, image_formats) for name, each in drawn.items()]


def _write_pooled(
    results: StudyResults, folder: Path, image_formats: Sequence[str], which: int
) -> list[Written]:
    """Draw and write what one of `POOLED` gives, under provisional names."""
    with _drawing():
        found = POOLED[which](results)
        figures = found if isinstance(found, tuple) else (found,)
        return [
            _write(figure, f".{which}-{k}", figure.name, folder, image_formats)
            for k, figure in enumerate(figures)
            if figure is not None
        ]


def _named(pooled: Sequence[Written], folder: Path) -> list[Written]:
    """Give the pooled figures their names, which must not repeat over all of them."""
    names = unique_names(each.name for each in pooled)
    for each, name in zip(pooled, names, strict=True):
        for path in folder.glob(f"{each.file}.*"):
            path.replace(path.with_name(name + path.suffix))
    return [
        Written(name, name, each.caption, each.alternative)
        for each, name in zip(pooled, names, strict=True)
    ]


class _drawing:  # noqa: N801 - a context manager, used as a function
    """Draw under the report's style, whatever the user's own settings are."""

    def __enter__(self) -> None:
        self._style = mpl.rc_context(styled())
        self._style.__enter__()
        self._quiet = warnings.catch_warnings()
        self._quiet.__enter__()
        # A name in a script the typeface lacks is drawn as a box; the code stays in the tables.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")

    def __exit__(self, *details: Any) -> None:
        self._quiet.__exit__(*details)
        self._style.__exit__(*details)


def _write(
    drawn: Drawn, file: str, name: str, folder: Path, image_formats: Sequence[str]
) -> Written:
    """Write one figure and return its words."""
    save_figure(drawn.figure, folder / file, image_formats)
    return Written(file, name, drawn.caption, drawn.alternative)
