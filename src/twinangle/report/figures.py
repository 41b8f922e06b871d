"""Figures to files: a recording's where it was analysed, those over all trials side by side."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path

from twinangle.parallel import Workers
from twinangle.plotting.along_cycle import draw_along_cycle
from twinangle.plotting.budget import draw_budgets
from twinangle.plotting.clocks import draw_synchronisation
from twinangle.plotting.conditions import draw_conditions
from twinangle.plotting.curves import draw_group_curves
from twinangle.plotting.cycles import Scale, draw_cycles, shared_scale
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.fonts import font_families
from twinangle.plotting.limits import draw_limits
from twinangle.plotting.magnetic_field import draw_fields
from twinangle.plotting.participants import draw_participants, draw_small_multiples
from twinangle.plotting.ranking import draw_contests
from twinangle.plotting.style import drawing_style, save_figure
from twinangle.plotting.svg import svg_of
from twinangle.plotting.thinning import thinned_pair
from twinangle.plotting.traces import draw_traces
from twinangle.report.blocks import Figures
from twinangle.results import StudyResults
from twinangle.results.grouping import TrialGroup, trial_groups
from twinangle.wording import unique_names

# What is drawn over all trials, in the order of the report; each in a process of its own.
Drawer = Callable[[StudyResults], "Drawn | tuple[Drawn | None, ...] | None"]
OF_A_STUDY: tuple[Drawer, ...] = (
    draw_group_curves,
    draw_participants,
    draw_small_multiples,
    draw_conditions,
    draw_limits,
    draw_along_cycle,
    draw_budgets,
    draw_contests,
    draw_fields,
)


# What waits in the figures' folder for the page that holds it: SVG, and traces to zoom as JSON.
DRAWING, TRACES = ".drawing", ".to-zoom"
TRACE_POINTS = 6000  # of each trace, as long as all of them have no more than the number below
ALL_POINTS = 240_000


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
        What :func:`write_recording` wrote already.
    """
    font_families()  # written once, before other processes ask for it
    pooled = workers.in_order(
        partial(_write_pooled, results, folder, tuple(image_formats)), range(len(OF_A_STUDY))
    )
    groups = [group for group in trial_groups(results) if group.worked]
    if drawn is None:
        write = partial(
            write_recording,
            joint=results.joint,
            folder=folder,
            image_formats=image_formats,
            points=points_each(len(trial_groups(results))),
        )
        drawn = [each for several in workers.in_order(write, groups) for each in several]
    write_cycles = partial(
        _write_cycles, results.joint, shared_scale(results), folder, tuple(image_formats)
    )
    cycles = workers.in_order(write_cycles, [_without_traces(group) for group in groups])
    of_each = [*drawn, *(each for several in cycles for each in several)]
    every = [*of_each, *_named([each for several in pooled for each in several], folder)]
    return {each.name: (each.caption, each.alternative) for each in every}


def draw_recording(group: TrialGroup, joint: str) -> tuple[Drawn, ...]:
    """Return the figures of one recording that need no other; none when no procedure worked."""
    trial = group.main
    figures = (draw_traces(trial, joint), draw_synchronisation(trial))
    return tuple(figure for figure in figures if figure is not None)


def points_each(n_recordings: int) -> int:
    """Return how many points of each trace the page gets, so that it stays small."""
    return min(TRACE_POINTS, ALL_POINTS // max(1, n_recordings))


def write_recording(
    group: TrialGroup, joint: str, folder: Path, image_formats: Sequence[str], points: int
) -> list[Written]:
    """Draw and write one recording's figures, but for its cycles, and its traces to zoom.

    Its traces are dropped after that; the cycles' figure waits for the other recordings, with
    which it shares its scales.
    """
    paired = group.main.paired
    if paired is not None and paired.wearable_deg.size > 1:
        text = json.dumps(asdict(thinned_pair(paired, points)), allow_nan=False)
        (folder / f"{group.stem}{TRACES}").write_text(text, encoding="utf-8")
    with drawing_style():
        return _of_recording(group, draw_recording(group, joint), folder, image_formats)


def _write_cycles(
    joint: str, scale: Scale, folder: Path, image_formats: Sequence[str], group: TrialGroup
) -> list[Written]:
    """Draw and write one recording's cycles."""
    with drawing_style():
        figure = draw_cycles(group, joint, scale)
        return _of_recording(group, () if figure is None else (figure,), folder, image_formats)


def _of_recording(
    group: TrialGroup, figures: Sequence[Drawn], folder: Path, image_formats: Sequence[str]
) -> list[Written]:
    """Write a recording's figures under its name."""
    named = {f"{group.stem}_{each.name}": each for each in figures}
    return [_write(each, name, name, folder, image_formats) for name, each in named.items()]


def _without_traces(group: TrialGroup) -> TrialGroup:
    """Return a group that is light to hand to another process."""
    return TrialGroup(tuple(replace(each, paired=None) for each in group.results), group.stem)


def _write_pooled(
    results: StudyResults, folder: Path, image_formats: Sequence[str], which: int
) -> list[Written]:
    """Draw and write what one of `OF_A_STUDY` gives, under provisional names."""
    with drawing_style():
        found = OF_A_STUDY[which](results)
        figures = found if isinstance(found, tuple) else (found,)
        written = []
        for k, figure in enumerate(figures):
            if figure is not None:
                file = f".{which}-{k}"
                (folder / f"{file}{DRAWING}").write_text(svg_of(figure.figure), encoding="utf-8")
                written.append(_write(figure, file, figure.name, folder, image_formats))
        return written


def taken(folder: Path, suffix: str) -> dict[str, str]:
    """Return the texts that wait for the page, by name, and remove their files."""
    found = {}
    for path in sorted(folder.glob(f"*{suffix}")):
        found[path.name.removesuffix(suffix)] = path.read_text(encoding="utf-8")
        path.unlink()
    return found


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


def _write(
    drawn: Drawn, file: str, name: str, folder: Path, image_formats: Sequence[str]
) -> Written:
    """Write one figure and return its words."""
    save_figure(drawn.figure, folder / file, image_formats)
    return Written(file, name, drawn.caption, drawn.alternative)
