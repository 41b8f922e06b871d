"""From results to files: figures, tables, methods text, and the typeset report."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from twinangle.artwork import Artwork, artwork_of
from twinangle.documents import PAGE, PAPER, SUPPLEMENT, documents_of
from twinangle.kept import Steps, hash_of_files
from twinangle.parallel import Workers
from twinangle.plotting.fonts import covered
from twinangle.report.blocks import figure_name, figures_of
from twinangle.report.content import report_content, supplement_content
from twinangle.report.figure_files import Place, Written, drawings_in
from twinangle.report.figures import TRACES, taken, write_figures
from twinangle.report.methods import methods_text
from twinangle.report.paper import begin_paper, paper_places
from twinangle.report.typesetting import in_child
from twinangle.report.web import report_page
from twinangle.results import StudyResults
from twinangle.results.grouping import key_of
from twinangle.results.tables import (
    Lines,
    describe_tables,
    further_columns,
    lines_of_trial,
    merge_traces,
    table_names,
    trace_columns,
    write_table,
    write_tables_of_trials,
    write_traces,
)
from twinangle.wording import unique_names

TEMPLATE = Path(__file__).with_name("report.typ")
CHILD = Path(__file__).with_name("typeset_child.py")
IMAGE_FORMATS = ("pdf", "png", "tiff")


def write_report(
    results: StudyResults,
    folder: str | Path,
    *,
    jobs: int = 1,
    image_formats: tuple[str, ...] = (),
) -> None:
    """Write `report.pdf`, `report.html`, `supplement.pdf`, `figures/`, `tables/`, `methods.txt`.

    Parameters
    ----------
    results : StudyResults
        What a run found. Nothing is computed here but where ink goes.
    folder : Path
        An existing folder.
    jobs : int
        Processes that draw figures. The bytes written do not depend on it.
    image_formats : tuple of str
        Further formats of each figure beside SVG, of "pdf", "png" and "tiff" (300 dpi).

    Raises
    ------
    ValueError
        If an image format is not known, or `jobs` is below 1.
    OSError
        If a file cannot be written.
    """
    check_image_formats(image_formats)
    if jobs < 1:
        raise ValueError(f"`jobs` must be 1 or more, got {jobs!r}.")
    with Workers(jobs) as workers:
        write_parts(results, Path(folder), workers, image_formats=image_formats)


def check_image_formats(image_formats: Sequence[str]) -> None:
    """Refuse (ValueError) a format that is not known."""
    unknown = [name for name in image_formats if name not in IMAGE_FORMATS]
    if unknown:
        raise ValueError(f"`image_formats`: expected {IMAGE_FORMATS}, got {unknown[0]!r}.")


def write_parts(
    results: StudyResults,
    folder: Path,
    workers: Workers,
    *,
    image_formats: Sequence[str] = (),
    drawn: Sequence[Written] | None = None,
    trace_parts: Sequence[Path] = (),
    steps: Steps | None = None,
) -> None:
    """Write what :func:`write_report` does.

    `drawn` are the recordings' figures and `trace_parts` their traces, if they exist already;
    `steps` is what of earlier runs is kept.
    """
    steps, place = steps or Steps(), folder / "tables"
    place.mkdir(exist_ok=True)
    begun: list[Iterator[object]] = []
    further = further_columns(results.trials)
    of_trials: list[Iterator[dict[str, Lines]]] = []

    def begin_of_trials() -> None:
        names = unique_names(
            " ".join((*key_of(trial), trial.procedure)) for trial in results.trials
        )
        of_trials.append(
            steps.in_order(
                "tables of a trial",
                partial(lines_of_trial, further),
                dict(zip(names, results.trials, strict=True)),
                workers,
                takes=lambda trial: (trial, sorted(further)),
                tasks=2 * workers.jobs,
            )
        )
        begun.append(_begin_traces(results, place, workers, trace_parts))

    def begin_whole() -> None:
        tables = steps.in_order(
            "table",
            partial(write_table, place),
            {name: name for name in table_names(results)},
            workers,
            takes=lambda _: (),
            of=results,
            files=lambda names: [f"tables/{name}" for name in names],
            tasks=workers.jobs,
        )
        begun.append(tables)

    write_pages(
        results,
        folder,
        workers,
        image_formats=image_formats,
        drawn=drawn,
        steps=steps,
        beside=begin_of_trials,
        after=begin_whole,
    )
    for each in begun:
        list(each)  # written by now, or a fault of the writing is raised here
    write_tables_of_trials(place, further, *of_trials)
    describe_tables(place, results)


def _begin_traces(
    results: StudyResults, place: Path, workers: Workers, parts: Sequence[Path]
) -> Iterator[object]:
    """Begin to write the traces, which are not kept: the recordings that they come from are."""
    if not parts:
        return workers.in_order(partial(write_traces, place), [workers.held(results)])
    merge = partial(merge_traces, folder=place, columns=trace_columns(results))
    return workers.in_order(merge, [parts])


def write_pages(
    results: StudyResults,
    folder: Path,
    workers: Workers,
    *,
    image_formats: Sequence[str] = (),
    drawn: Sequence[Written] | None = None,
    artwork: Artwork | None = None,
    documents: Collection[str] | None = None,
    steps: Steps | None = None,
    beside: Callable[[], object] = lambda: None,
    after: Callable[[], object] = lambda: None,
) -> None:
    """Write all that is for reading: report as PDF and page, supplement, methods text, paper kit.

    Every command that makes pages comes here, right after analysing or from results read back.
    Without `artwork`, the kit's figures are as the run's parameters say, and without `documents`
    what is made beside the report. `beside` begins what else there is to do once figures have
    begun, as the pages wait for them, and `after` once these have: the supplement takes long.
    """
    (folder / "figures").mkdir(exist_ok=True)
    steps = steps or Steps()
    documents = documents_of(results.parameters) if documents is None else documents
    kit: list[Place] = []
    begun: list[Iterator[object]] = []
    if PAPER in documents:
        kit = paper_places(folder / PAPER, artwork or artwork_of(results.parameters))

    def begin_others() -> None:
        if PAPER in documents:
            begun.append(begin_paper(results, folder / PAPER, workers, steps))
        beside()

    figures = write_figures(
        results,
        folder / "figures",
        workers,
        image_formats=image_formats,
        drawn=drawn,
        kit=kit,
        documents=documents,
        steps=steps,
        beside=begin_others,
    )
    (folder / "methods.txt").write_text(methods_text(results), encoding="utf-8", newline="\n")
    content = {"report.pdf": report_content(results, figures)}
    if SUPPLEMENT in documents:  # the longer one begins: nothing waits for it alone
        content = {SUPPLEMENT: supplement_content(results, figures), **content}
    pages = steps.in_order(
        "typeset", partial(typeset, folder=folder), content, workers, takes=partial(_source, folder)
    )
    after()
    if PAGE in documents:
        page = _page(results, content["report.pdf"], folder / "figures", steps, documents)
        (folder / PAGE).write_text(page, encoding="utf-8", newline="\n")
    for name, pdf in zip(content, pages, strict=True):
        (folder / name).write_bytes(pdf)
    for each in begun:
        list(each)  # written by now, or a fault of the writing is raised here


def _page(
    results: StudyResults,
    content: dict[str, Any],
    figures: Path,
    steps: Steps,
    documents: Collection[str],
) -> str:
    """Return the report as a page, and take away the traces that waited for it."""
    traces = taken(figures, TRACES)
    drawings = drawings_in(figures, map(figure_name, figures_of(content)))

    def make(results: StudyResults, _: None) -> str:
        return report_page(results, content, drawings, traces, documents)

    sources = content, drawings, traces, tuple(documents)
    return next(steps.in_order("page", make, {"report": None}, takes=lambda _: sources, of=results))


def _source(folder: Path, content: dict[str, Any]) -> tuple[object, ...]:
    """Return what pages depend on: what they say, and the figures that stand in them."""
    if not covered(json.dumps(content, ensure_ascii=False)):
        raise TypeError("which typefaces the machine has for the other characters is not known")
    return content, hash_of_files([folder / path[1:] for path in figures_of(content)], folder)


def typeset(content: dict[str, Any], folder: Path, *, template: Path = TEMPLATE) -> bytes:
    """Return pages as PDF; figures of report and supplement are read from `folder`/figures.

    `template` is the layout, by default that of the report.

    Raises
    ------
    RuntimeError
        If the pages cannot be typeset; with the typesetter's words.
    """
    return in_child(CHILD, (template, folder), content, what="the pages could not be typeset")
