"""From results to files: figures, tables, methods text, and the typeset report."""

from __future__ import annotations

import json
import warnings
from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import matplotlib as mpl
import typst
from matplotlib import ft2font

from twinangle.parallel import in_order
from twinangle.report.blocks import Figures
from twinangle.report.content import report_content
from twinangle.report.figures_depth import draw_depth
from twinangle.report.figures_study import draw_conditions, draw_limits, draw_overview
from twinangle.report.figures_trial import Drawn, draw_trial
from twinangle.report.grouping import TrialGroup, trial_groups
from twinangle.report.methods_text import methods_text
from twinangle.report.style import font_families, font_folder, save_figure, styled
from twinangle.report.tables import write_tables
from twinangle.report.wording import unique_names
from twinangle.results import StudyResults

TEMPLATE = Path(__file__).with_name("report.typ")
IMAGE_FORMATS = ("png", "tiff")
Caption = tuple[str, str, str]  # name, caption, alternative text


def write_report(
    results: StudyResults,
    folder: Path,
    *,
    jobs: int = 1,
    image_formats: tuple[str, ...] = (),
) -> None:
    """Write `report.pdf`, `figures/`, `tables/` and `methods.txt`.

    Parameters
    ----------
    results : StudyResults
        What a run found. Nothing is computed here but where ink goes.
    folder : Path
        An existing folder.
    jobs : int
        Processes that draw figures. The bytes written do not depend on it.
    image_formats : tuple of str
        Further formats of each figure beside PDF, of "png" and "tiff" (300 dpi).

    Raises
    ------
    ValueError
        If an image format is not known, or `jobs` is below 1.
    OSError
        If a file cannot be written.
    """
    unknown = [name for name in image_formats if name not in IMAGE_FORMATS]
    if unknown:
        raise ValueError(f"`image_formats`: expected {IMAGE_FORMATS}, got {unknown[0]!r}.")
    if jobs < 1:
        raise ValueError(f"`jobs` must be 1 or more, got {jobs!r}.")
    for name in ("figures", "tables"):
        (folder / name).mkdir(exist_ok=True)
    write_tables(results, folder / "tables")
    (folder / "methods.txt").write_text(methods_text(results), encoding="utf-8", newline="\n")
    figures = write_figures(results, folder / "figures", jobs=jobs, image_formats=image_formats)
    (folder / "report.pdf").write_bytes(typeset(report_content(results, figures), folder))


def write_figures(
    results: StudyResults, folder: Path, *, jobs: int = 1, image_formats: Sequence[str] = ()
) -> Figures:
    """Write all figures and return caption and alternative text by file name without suffix."""
    groups = [group for group in trial_groups(results) if group.worked]
    font_families()  # written once, before other processes ask for it
    write = partial(
        _write_trial, joint=results.joint, folder=folder, image_formats=tuple(image_formats)
    )
    drawn = list(in_order(write, groups, jobs=jobs))
    pooled = _write_pooled(results, folder, image_formats)
    every = [*(caption for captions in drawn for caption in captions), *pooled]
    return {name: (caption, alternative) for name, caption, alternative in every}


def _write_trial(
    group: TrialGroup, joint: str, folder: Path, image_formats: Sequence[str]
) -> list[Caption]:
    """Draw and write one recording's figures."""
    with _drawing():
        return [
            _write(drawn, f"{group.stem}_{drawn.name}", folder, image_formats)
            for drawn in draw_trial(group, joint)
        ]


def _write_pooled(
    results: StudyResults, folder: Path, image_formats: Sequence[str]
) -> list[Caption]:
    """Draw and write the figures over all trials."""
    with _drawing():
        figures = [
            draw_overview(results),
            draw_conditions(results),
            *draw_limits(results),
            *draw_depth(results),
        ]
        drawn = [figure for figure in figures if figure is not None]
        names = unique_names(figure.name for figure in drawn)
        return [
            _write(figure, name, folder, image_formats)
            for figure, name in zip(drawn, names, strict=True)
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


def _write(drawn: Drawn, name: str, folder: Path, image_formats: Sequence[str]) -> Caption:
    """Write one figure and return its words."""
    save_figure(drawn.figure, folder / name, image_formats)
    return name, drawn.caption, drawn.alternative


def typeset(content: dict[str, Any], folder: Path) -> bytes:
    """Return the report as PDF; figures are read from `folder`/figures.

    The typefaces come with the libraries, so that the same results give the same bytes
    everywhere; those of the machine are used only for characters that the former lack.
    """
    data = json.dumps(content, ensure_ascii=False)
    options: dict[str, Any] = {  # its stubs ask for one type of all paths
        "root": str(folder),
        "font_paths": [str(font_folder())],
        "ignore_system_fonts": covered(data),
        "sys_inputs": {"content": data},
    }
    pdf = typst.Compiler(TEMPLATE.read_bytes(), **options).compile(format="pdf")
    assert isinstance(pdf, bytes)
    return pdf


def covered(characters: Iterable[str]) -> bool:
    """Return whether the plotting library's typeface has every one of the characters."""
    known = ft2font.FT2Font(str(font_folder() / "DejaVuSans.ttf")).get_charmap()
    ignored = {0x0A, 0x200B, 0x202F}
    return all(ord(c) in known or ord(c) in ignored for c in set(characters))
