"""Figures to files: a recording's where it was analysed, those over all trials side by side."""

from __future__ import annotations

import gc
import json
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import MISSING, fields, replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from twinangle.documents import DOCUMENTS, PAGE, PAPER, SUPPLEMENT
from twinangle.kept import Steps
from twinangle.parallel import Workers
from twinangle.plotting.along_cycle import draw_along_cycle
from twinangle.plotting.budget import draw_budgets
from twinangle.plotting.clocks import draw_synchronisation
from twinangle.plotting.conditions import draw_conditions
from twinangle.plotting.curves import draw_group_curves
from twinangle.plotting.cycles import Scale, draw_cycles, shared_scale
from twinangle.plotting.daily_life import draw_daily_life
from twinangle.plotting.distribution import draw_distribution
from twinangle.plotting.drawn import Drawn
from twinangle.plotting.instruments import draw_between
from twinangle.plotting.limits import draw_limits
from twinangle.plotting.looks import drawing_style
from twinangle.plotting.magnetic_field import draw_fields
from twinangle.plotting.participants import draw_participants, draw_small_multiples
from twinangle.plotting.ranking import draw_contests
from twinangle.plotting.reliability import draw_reliability
from twinangle.plotting.thinning import thinned_pair
from twinangle.plotting.traces import draw_traces
from twinangle.report.blocks import Figures
from twinangle.report.figure_files import (
    EMBEDDED,
    Place,
    Rendered,
    Written,
    captions_document,
    with_names,
    write_pdfs,
)
from twinangle.results import StudyResults, TrialResult, Variability
from twinangle.results.grouping import TrialGroup, trial_groups

# What is drawn over all trials, in the order of the report; each in a process of its own.
Drawer = Callable[..., "Drawn | tuple[Drawn | None, ...] | None"]  # results, and a width in mm
OF_A_STUDY: tuple[Drawer, ...] = (
    draw_group_curves,
    draw_participants,
    draw_small_multiples,
    draw_conditions,
    draw_limits,
    draw_distribution,
    draw_along_cycle,
    draw_budgets,
    draw_contests,
    draw_reliability,
    draw_between,
    draw_daily_life,
    draw_fields,
)


# Those of them that an article shows, and its paper kit holds.
OF_A_PAPER: tuple[Drawer, ...] = (
    draw_group_curves,
    draw_participants,
    draw_conditions,
    draw_limits,
    draw_distribution,
    draw_budgets,
    draw_contests,
    draw_reliability,
    draw_between,
)

# Those that stand in the supplement, and not in the report.
OF_A_SUPPLEMENT: tuple[Drawer, ...] = (draw_distribution, draw_fields)

# What figures over all recordings show of one; the rest of it may change without one of them.
OF_EACH = frozenset({
    "participant", "session", "condition", "trial", "side", "procedure", "status", "reason",
    "agreement", "cycles", "standing", "variability", "sensors", "daily",
})  # fmt: skip

# Traces to zoom, which wait as JSON in the figures' folder for the page that holds them.
TRACES = ".to-zoom"
TRACE_POINTS = 6000  # of each trace, as long as all of them have no more than the number below
ALL_POINTS = 240_000
NAN = float("nan")
Statistic = TypeVar("Statistic")


def write_figures(
    results: StudyResults,
    folder: Path,
    workers: Workers,
    *,
    image_formats: Sequence[str] = (),
    drawn: Sequence[Written] | None = None,
    kit: Sequence[Place] = (),
    documents: Collection[str] = DOCUMENTS,
    steps: Steps | None = None,
    beside: Callable[[], object] = lambda: None,
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
        Further formats beside SVG.
    drawn : sequence of Written, optional
        What :func:`write_recording` wrote already.
    kit : sequence of Place
        Where the figures for an article go as well; drawn again only for another width.
    documents : collection of str
        What is made beside the report; what would stand in none of them is not drawn.
    steps : Steps, optional
        What of earlier runs is kept.
    beside : callable
        Called when the work on all figures has begun, to begin what nobody waits for.
    """
    steps = steps or Steps()
    places = (Place(folder, (EMBEDDED, *image_formats)), *kit)
    pooled = steps.in_order(
        "figures over all",
        partial(_write_pooled, places),
        {draw.__name__: k for k, draw in enumerate(OF_A_STUDY) if _stands_in(draw, documents)},
        workers,
        takes=lambda which: (which, places),
        of=results,
        seen=as_shown,
        files=partial(_files_in, places, steps.folder),
    )
    groups = [group for group in trial_groups(results) if group.worked]
    if drawn is None:
        write = partial(
            write_recording,
            joint=results.joint,
            folder=folder,
            image_formats=image_formats,
            points=points_each(len(trial_groups(results))),
            documents=documents,
        )
        drawn = [each for several in workers.in_order(write, groups) for each in several]
    how = results.joint, shared_scale(results), folder, tuple(image_formats)
    cycles = steps.in_order(
        "cycles",
        partial(_write_cycles, *how),
        {group.stem: _without_intervals(group) for group in groups if SUPPLEMENT in documents},
        workers,
        takes=lambda group: (*how, group),
        files=lambda found: _files_in(places[:1], steps.folder, [found]),
    )
    beside()
    of_each = [*drawn, *(each for several in cycles for each in several)]
    of_places = [[each for some in zip_of for each in some] for zip_of in zip(*pooled, strict=True)]
    of_study, *of_kit = (with_names(*both) for both in zip(of_places, places, strict=True))
    if kit:
        text = captions_document(each for several in of_kit for each in several)
        (kit[0].folder / "captions.md").write_text(
            text.replace("<", "\\<"), encoding="utf-8", newline="\n"
        )
    return {each.name: (each.caption, each.alternative) for each in (*of_each, *of_study)}


def as_shown(results: StudyResults) -> StudyResults:
    """Return results without what no figure over all recordings shows of a single one."""
    unseen: dict[str, Any] = {
        each.name: each.default if each.default_factory is MISSING else each.default_factory()
        for each in fields(TrialResult)
        if each.name not in OF_EACH
    }
    return replace(results, trials=tuple(replace(each, **unseen) for each in results.trials))


def _stands_in(draw: Drawer, documents: Collection[str]) -> bool:
    """Return whether figures over all trials stand in the report or in one of the documents."""
    if draw not in OF_A_SUPPLEMENT or SUPPLEMENT in documents:
        return True
    return draw in OF_A_PAPER and PAPER in documents


def draw_recording(group: TrialGroup, joint: str) -> tuple[Drawn, ...]:
    """Return the figures of one recording that need no other; none when no procedure worked."""
    trial = group.main
    figures = (draw_traces(trial, joint), draw_synchronisation(trial))
    return tuple(figure for figure in figures if figure is not None)


def points_each(n_recordings: int) -> int:
    """Return how many points of each trace the page gets, so that it stays small."""
    return min(TRACE_POINTS, ALL_POINTS // max(1, n_recordings))


def write_recording(
    group: TrialGroup,
    joint: str,
    folder: Path,
    image_formats: Sequence[str],
    points: int,
    documents: Collection[str],
) -> list[Written]:
    """Draw and write one recording's figures, but for its cycles, and its traces to zoom.

    The figures stand in the supplement, the traces in the page. Its traces are dropped after that;
    the cycles' figure waits for the other recordings, with which it shares its scales.
    """
    paired = group.main.paired
    if PAGE in documents and paired is not None and paired.wearable_deg.size > 1:
        thin = thinned_pair(paired, points)
        plain = {field.name: getattr(thin, field.name) for field in fields(thin)}
        text = json.dumps(plain, allow_nan=False)
        (folder / f"{group.stem}{TRACES}").write_text(text, encoding="utf-8")
    if SUPPLEMENT not in documents:
        return []
    with _drawing():
        return _of_recording(group, draw_recording(group, joint), folder, image_formats)


def _write_cycles(
    joint: str, scale: Scale, folder: Path, image_formats: Sequence[str], group: TrialGroup
) -> list[Written]:
    """Draw and write one recording's cycles."""
    with _drawing():
        figure = draw_cycles(group, joint, scale)
        return _of_recording(group, () if figure is None else (figure,), folder, image_formats)


@contextmanager
def _drawing() -> Iterator[None]:
    """Draw in the report's style, and look for rubbish only when the figures are written.

    A figure is made of thousands of objects that name each other and live until it is written:
    to go through them again and again meanwhile takes a fifth of the time.
    """
    running = gc.isenabled()
    gc.disable()
    try:
        with drawing_style():
            yield
    finally:
        if running:
            gc.enable()


def _of_recording(
    group: TrialGroup, figures: Sequence[Drawn], folder: Path, image_formats: Sequence[str]
) -> list[Written]:
    """Write a recording's figures under its name."""
    formats = (EMBEDDED, *image_formats)
    named = (replace(each, name=f"{group.stem}_{each.name}") for each in figures)
    made = [Rendered(each) for each in named]
    written = [each.write(folder, each.drawn.name, formats) for each in made]
    write_pdfs(made)
    return written


def _files_in(
    places: Sequence[Place], folder: Path, found: Sequence[Sequence[Written]]
) -> list[str]:
    """Return the names, seen from a folder, of the figures in each place."""
    return [
        (place.folder / name).relative_to(folder).as_posix()
        for place, several in zip(places, found, strict=True)
        for one in several
        for name in one.files(place.formats)
    ]


def _without_intervals(group: TrialGroup) -> TrialGroup:
    """Return a group without traces and intervals, which the figure of its cycles does not show.

    It is light to hand to another process, and the same whatever the confidence.
    """
    return TrialGroup(tuple(map(_as_its_cycles_show, group.results)), group.stem)


def _as_its_cycles_show(trial: TrialResult) -> TrialResult:
    spread = trial.variability
    return replace(
        trial,
        paired=None,
        clock=None,
        budget=None,
        gyroscope_lag=None,
        agreement=_left_open(trial.agreement),
        variability=None
        if spread is None
        else Variability(_left_open(spread.wearable), _left_open(spread.reference)),
    )


def _left_open(value: Statistic) -> Statistic:
    """Return a result of statistics with its intervals and their confidence left open."""
    if value is None:
        return value
    named: Any = value
    nothing = {f.name: (NAN, NAN) for f in fields(named) if f.name.endswith("_ci")}
    found: Statistic = replace(named, **nothing, confidence=NAN)
    return found


def _write_pooled(
    places: Sequence[Place], results: StudyResults, which: int
) -> list[list[Written]]:
    """Draw what one of `OF_A_STUDY` gives, and write it to each place under provisional names."""
    draw = OF_A_STUDY[which]
    by_width: dict[float | None, list[Rendered]] = {}
    found: list[list[Written]] = []
    with _drawing():
        for place in places:
            if place.for_paper and draw not in OF_A_PAPER:
                found.append([])
                continue
            if place.width_mm not in by_width:
                by_width[place.width_mm] = _drawn_at(draw, results, place.width_mm)
            start = "" if place.width_mm is None else f"{place.width_mm:g}-"
            found.append(
                [
                    each.write(place.folder, f".{start}{which}-{k}", place.formats, place.dpi)
                    for k, each in enumerate(by_width[place.width_mm])
                ]
            )
        write_pdfs(each for several in by_width.values() for each in several)
    return found


def taken(folder: Path, suffix: str) -> dict[str, str]:
    """Return the texts that wait for the page, by name, and remove their files."""
    found = {}
    for path in sorted(folder.glob(f"*{suffix}")):
        found[path.name.removesuffix(suffix)] = path.read_text(encoding="utf-8")
        path.unlink()
    return found


def _drawn_at(draw: Drawer, results: StudyResults, width_mm: float | None) -> list[Rendered]:
    """Return the figures drawn for that width, or for their place in the report."""
    found = draw(results) if width_mm is None else draw(results, width_mm)
    figures = found if isinstance(found, tuple) else (found,)
    return [Rendered(figure) for figure in figures if figure is not None]
