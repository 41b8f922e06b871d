"""The trials table: one row a recording, checked whole."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import cast

from twinangle.errors import StudyError
from twinangle.study.cells import finite_number
from twinangle.study.spellings import folded, folded_words, likely_same
from twinangle.study.table_text import CellTable, inside_folder, read_table
from twinangle.study.trial_cells import (
    check_lags,
    check_order,
    file_of,
    identifier,
    masked,
    number_in,
    recording,
    sign_in,
    stretch,
    without_open,
)
from twinangle.study.trial_row import (
    BY_SENSOR,
    COLUMNS,
    FILES,
    IDENTIFIERS,
    LAGS,
    MASK,
    SIGNS,
    STANDING,
    TIMES,
    Needs,
    Trial,
)
from twinangle.study.unknown_columns import faults_of_columns
from twinangle.under_test import NOT_RECORDED


def read_trials(folder: Path, name: str, needs: Needs) -> tuple[Path, tuple[Trial, ...]]:
    """Read the trials table `name` in the study folder.

    Returns
    -------
    path : Path
        Where the table is.
    trials : tuple of Trial
        In the order of the rows, excluded ones among them.

    Raises
    ------
    StudyError
        All faults, one a line, each with row (the header is row 1) and column.
    """
    path = inside_folder(folder, name)
    if path is None:
        raise StudyError(f"trials table {name!r} leaves the study folder; move it into the folder.")
    if needs.planned and not written(path):
        return path, ()
    table = read_table(folder, path, name, needs.columns, needs.seen)
    _check_unknown(table, needs)
    kinds = _covariate_kinds(table, needs)
    trials = [_trial(table, row, cells, needs, kinds) for row, cells in table.rows]
    _check_identities(table, trials)
    _check_spellings(table, trials)
    if not table.rows and not table.faults and not needs.planned:
        table.faults.append(f"{name}: has a header but no rows; a study needs one row a recording.")
    if table.faults:
        raise StudyError("\n".join(table.faults))
    return path, tuple(trials)


def written(path: Path) -> bool:
    """Return whether a trials table holds anything, its column names at least."""
    try:
        return path.exists() and bool(path.read_bytes().strip(b"\xef\xbb\xbf \t\r\n"))
    except OSError:  # there is something, of which reading the table will tell
        return True


def rows_without_any(several: Iterable[Sequence[Trial]]) -> list[str]:
    """Return a fault for each row that has a recording of none of several wearables."""
    return [
        f"row {rows[0].row}: names a file of none of the wearables; every trial that is analysed "
        "needs one (or a reason in `exclude`)."
        for rows in zip(*several, strict=True)
        if all(row.exclude.startswith(NOT_RECORDED) for row in rows)
    ]


def _not_there(cells: Mapping[str, str], needs: Needs) -> str:
    """Return why one of several instruments has no result of a row; empty where it may."""
    seen = needs.seen
    if seen is None:
        return ""
    if seen.wearable and not cells.get("wearable") and needs.files is None:
        return f"{NOT_RECORDED}{seen.wearable}"
    further = seen.reference and seen.reference != seen.every["reference"][0]
    if further and not cells.get("reference"):
        return f"{NOT_RECORDED}{seen.reference}"
    return ""


def _further(table: CellTable, needs: Needs) -> list[str]:
    """Return the columns that have no meaning of their own."""
    known = (*COLUMNS, *needs.columns)
    return [name for name in table.columns if name and name not in known]


def _check_unknown(table: CellTable, needs: Needs) -> None:
    """Refuse further columns that cannot be meant as covariates."""
    spelt_wrong = [name for name in table.columns if name.casefold() in COLUMNS]
    cells = {
        name: [row[name] for _, row in table.rows if row[name]]
        for name in _further(table, needs)
        if name not in spelt_wrong
    }
    found = faults_of_columns(cells, table.columns, COLUMNS, table.folder)
    table.faults += [f"{table.name}, row {table.head}: {text}" for text in found]


def _covariate_kinds(table: CellTable, needs: Needs) -> dict[str, bool]:
    """Return the further columns, each with whether all its cells are numbers."""
    return {
        name: all(
            finite_number(cells[name], table.delimiter) is not None
            for _, cells in table.rows
            if cells[name]
        )
        for name in _further(table, needs)
    }


def _trial(
    table: CellTable, row: int, cells: Mapping[str, str], needs: Needs, kinds: Mapping[str, bool]
) -> Trial:
    """Check one row; a fault leaves a stand-in, which is never returned to the user."""
    exclude = cells.get("exclude", "") or _not_there(cells, needs)
    expected = not exclude and not needs.planned
    if not exclude:
        cells = without_open(table, row, cells, needs)
    names = {name: identifier(table, row, cells, name) for name in IDENTIFIERS}
    files = {
        name: recording(table, row, cells, name, needs.files, must_exist=expected)
        if name in BY_SENSOR
        else file_of(table, row, name, cells.get(name, ""), must_exist=expected)
        for name in FILES
    }
    times = {name: number_in(table, row, cells, name, "seconds") for name in TIMES}
    static = stretch(table, row, "static", files, times)
    functional = stretch(table, row, "functional", files, times)
    check_order(table, row, times["start_s"], times["end_s"])
    if expected:
        _check_needs(table, row, cells, needs)
    standing_deg = number_in(table, row, cells, STANDING, "degrees")
    lags = {name: number_in(table, row, cells, name, "seconds") for name in LAGS}
    check_lags(table, row, lags, needs.synchronisation)
    signs = {name: sign_in(table, row, name, cells.get(name, "")) for name in SIGNS}
    _check_unwanted(table, row, cells, needs)
    return Trial(
        **names,
        wearable=files["wearable"] or table.folder,
        reference=cast("Path | None", files["reference"]),
        static=static,
        functional=functional,
        start_s=times["start_s"],
        end_s=times["end_s"],
        exclude=exclude,
        covariates={
            name: (finite_number(cells[name], table.delimiter) or 0.0) if numeric else cells[name]
            for name, numeric in kinds.items()
            if cells[name]
        },
        row=row,
        events=cast("Path | None", files["events"]),
        distal_lag_s=times["distal_lag_s"],
        standing_deg=standing_deg,
        mask=masked(table, row, cells.get(MASK, "")),
        expected_lag_s=lags["expected_lag_s"],
        max_lag_s=lags["max_lag_s"],
        sign=signs["sign"],
        wearable_sign=signs["wearable_sign"],
        by_hand=None,
        stretch=None,
    )


def _check_unwanted(table: CellTable, row: int, cells: Mapping[str, str], needs: Needs) -> None:
    """Refuse cells that the study file leaves without a meaning."""
    hint = " The wearable's is `wearable_sign`." if needs.kind == "angle" else ""
    unwanted = (
        (
            "sign",
            not cells.get("reference"),
            f"is given, but the row names no reference whose sign it could be.{hint}",
        ),
        (
            "wearable_sign",
            needs.kind != "angle",
            (
                f"is given, but a wearable of kind {needs.kind!r} finds its sign by itself; the "
                "reference's is `sign`."
            ),
        ),
        (
            "distal_lag_s",
            needs.files is None,
            "is given, but both sensors are in one file; it is for a study with [wearable.files].",
        ),
        (
            STANDING,
            not needs.static,
            (
                "is given, but a ready-made angle is taken as it is; leave the cell empty, or "
                "shift the angle by [wearable] `offset`."
            ),
        ),
        (
            "reference",
            not needs.reference,
            (
                f"names {cells.get('reference')!r}, but the study file has no [reference] section "
                "to read it by; add the section, or leave the cell empty."
            ),
        ),
    )
    for name, meaningless, text in unwanted:
        if cells.get(name) and meaningless:
            table.add(row, name, text)


def _check_needs(table: CellTable, row: int, cells: Mapping[str, str], needs: Needs) -> None:
    """Refuse a row that lacks what the settings ask for."""
    given = any(cells.get(name) for name in ("static", "static_start_s", "static_end_s"))
    if needs.static and not given:
        table.add(
            row,
            "static_start_s",
            "no neutral standing is given, which this kind of wearable needs; give "
            "'static_start_s' and 'static_end_s', or a file in a column 'static'.",
        )
    if needs.events and not cells.get("events"):
        table.add(
            row, "events", 'is empty, but cycles are found by "events"; give a file of times.'
        )


def _check_spellings(table: CellTable, trials: list[Trial]) -> None:
    """Refuse one participant or condition under two spellings: it would count as two."""
    for name, fold in (("participant", folded), ("condition", folded_words)):
        spelt = [(trial.row, str(getattr(trial, name))) for trial in trials]
        table.faults += [
            f"{table.name}, rows {before} and {row}: {name}s {first!r} and {second!r} differ in "
            "spelling alone; give both rows one spelling, or names that differ in more."
            for before, first, row, second in likely_same(spelt, fold)
        ]


def _check_identities(table: CellTable, trials: list[Trial]) -> None:
    """Refuse two rows for the same trial."""
    first: dict[tuple[str, ...], int] = {}
    for trial in trials:
        if trial.identity in first:
            names = ", ".join(
                f"{name} {value!r}"
                for name, value in zip(IDENTIFIERS, trial.identity, strict=True)
                if value
            )
            table.faults.append(
                f"{table.name}, rows {first[trial.identity]} and {trial.row}: both are {names}; "
                "one row a recording, told apart by session, condition, trial or side."
            )
        first.setdefault(trial.identity, trial.row)
