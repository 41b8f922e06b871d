"""Where people may have stood still: proposed, looked at, then written into the trials table."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import numpy as np

from twinangle.analysis.reading import read_trial
from twinangle.errors import StudyError
from twinangle.plausibility.proposed_standing import ProposedStanding, standing_proposed
from twinangle.signals.recording import Interval
from twinangle.study import Study, Trial, read_planned_study

COLUMNS = ("static_start_s", "static_end_s")


def propose_standing(path: str | Path) -> tuple[ProposedStanding, ...]:
    """Propose, for each recording, the quiet seconds in which the person may have stood still.

    Look at each (`twinangle.plotting.plot_standing`) before it is taken
    (:func:`write_standing`): the sensors tell where the person stood still and upright, not that
    the knee was in the position that is called 0°.

    Parameters
    ----------
    path : path
        The study file, or the folder that holds `study.toml`; its trials table need not hold any
        times yet.

    Returns
    -------
    tuple of ProposedStanding
        In the order of the trials table, without excluded recordings and those whose standing is
        a file of its own. Nothing is written.

    Raises
    ------
    TwinangleError
        If the study file is at fault, or a recording cannot be read or delivers no raw gyroscopes.
    """
    study = read_planned_study(path)
    return tuple(
        _proposed(study, trial)
        for trial in study.trials
        if not trial.exclude and (trial.static is None or isinstance(trial.static, Interval))
    )


def write_standing(
    path: str | Path,
    standing: Sequence[ProposedStanding],
    *,
    instead: Mapping[int, tuple[float, float]] | None = None,
) -> Path:
    """Write looked-at standing into the empty cells of the trials table.

    Parameters
    ----------
    path : path
        The study file, or the folder that holds `study.toml`.
    standing : sequence of ProposedStanding
        As :func:`propose_standing` gave them.
    instead : mapping of int to (float, float), optional
        By the table's row: the start and end that were read off where the proposal is wrong, in
        seconds on the wearable's clock. These replace what the cells hold.

    Returns
    -------
    Path
        The trials table, in which nothing else is changed.

    Raises
    ------
    StudyError
        If a row is not among those proposed, a stretch is no two numbers or ends before it
        starts, a recording has
        neither a proposal nor a stretch in `instead`, or the table cannot be written. Nothing is
        written then.
    """
    times = {each.row: each.stretch for each in standing}
    for row, given in (instead or {}).items():
        if row not in times:
            rows = ", ".join(map(str, times))
            raise StudyError(f"`instead`: row {row} is not among those proposed ({rows}).")
        start_s, end_s = _start_and_end(row, given)
        if not start_s < end_s:
            raise StudyError(f"`instead`, row {row}: {start_s:g} to {end_s:g} s ends too early.")
        times[row] = Interval(start_s, end_s)
    lacking = [each.label for each in standing if times[each.row] is None]
    if lacking:
        raise StudyError(
            f"{', '.join(lacking)}: no quiet stretch was found; read one off the figure and give "
            "it in `instead`, by the table's row: `instead={2: (0.5, 4.5)}`."
        )
    wanted = {row: part for row, part in times.items() if part is not None}
    table = read_planned_study(path).table
    text = _filled(table, wanted, set(instead or {}))
    try:
        table.write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        raise StudyError(f"{table}: cannot be written: {error.strerror}.") from error
    return table


def _start_and_end(row: int, given: object) -> tuple[float, float]:
    """Return two numbers, or say that a stretch is given by both its ends."""
    if isinstance(given, Sequence | np.ndarray) and not isinstance(given, str) and len(given) == 2:
        with suppress(TypeError, ValueError):
            return float(given[0]), float(given[1])
    raise StudyError(
        f"`instead`, row {row}: expected start and end in seconds, got {given!r}; accepted: "
        f"`instead={{{row}: (0.5, 4.5)}}`."
    )


def _proposed(study: Study, trial: Trial) -> ProposedStanding:
    given = trial.static if isinstance(trial.static, Interval) else None
    alone = replace(
        trial, reference=None, static=None, functional=None, events=None, start_s=None, end_s=None
    )  # the whole recording: people often stand before the part that is analysed
    pair = read_trial(study, alone).recorded
    if pair is None:
        raise StudyError(
            f"{trial.label}: standing cannot be proposed, since the wearable delivers no raw "
            "accelerometers and gyroscopes; give it in the trials table."
        )
    return standing_proposed(pair, trial.label, trial.row, given)


def _filled(table: Path, times: Mapping[int, Interval], replaced: set[int]) -> str:
    """Return the table's text with times in its cells; cells that hold one stay as they are."""
    try:
        text = table.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise StudyError(f"{table}: cannot be read: {error.strerror}.") from error
    lines = text.splitlines(keepends=True)
    heads = [line for line in lines if line.strip()]
    delimiter = max(",;\t", key=heads[0].count)
    reader = csv.reader(lines, delimiter=delimiter)
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\r\n" if "\r\n" in text else "\n")
    header: list[str] = []
    row = 1
    for cells in reader:
        if not header and any(cells):
            header = _with_columns([cell.strip() for cell in cells])
            cells = header
        elif row in times:
            cells += [""] * (len(header) - len(cells))
            part = times[row]
            for name, value in zip(COLUMNS, (part.start_s, part.end_s), strict=True):
                k = header.index(name)
                if row in replaced or not cells[k].strip():
                    cells[k] = f"{value:g}"
        writer.writerow(cells)
        row = reader.line_num + 1
    return out.getvalue()


def _with_columns(header: list[str]) -> list[str]:
    """Return the table's columns, those of standing among them."""
    return [*header, *(name for name in COLUMNS if name not in header)]
