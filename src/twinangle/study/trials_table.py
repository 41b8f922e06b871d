"""The trials table: one row a recording, checked whole."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

from twinangle.errors import StudyError
from twinangle.naming import holds_a_row, listed, nearest_first, shown, suggestion
from twinangle.signals.recording import Interval, MaskedStretch
from twinangle.study.by_hand import ByHand
from twinangle.study.cells import finite_number
from twinangle.study.file_pairs import PLACEHOLDER, SensorFilePatterns
from twinangle.study.mask_cell import read_mask
from twinangle.study.section import LEFT_OPEN, OPEN_TEXT
from twinangle.study.spellings import likely_same
from twinangle.study.unknown_columns import faults_of_columns

# What an identifier is when the table has no such column.
IDENTIFIERS = {"participant": "", "session": "1", "condition": "all", "trial": "1", "side": ""}
FILES = ("wearable", "reference", "static", "functional", "events")
TIMES = (
    "static_start_s",
    "static_end_s",
    "functional_start_s",
    "functional_end_s",
    "start_s",
    "end_s",
    "distal_lag_s",
)
STANDING = "standing_deg"
MASK = "mask"
LAGS = ("expected_lag_s", "max_lag_s")
SIGNS = ("sign", "wearable_sign")
COLUMNS = (*IDENTIFIERS, *FILES, *TIMES, STANDING, MASK, *LAGS, *SIGNS, "exclude")
BY_SENSOR = ("wearable", "static", "functional")  # these may be two files, one a sensor
REQUIRED = ("participant", "wearable")


@dataclass(frozen=True, slots=True)
class SensorFiles:
    """One recording in two files, one a sensor."""

    proximal: Path
    distal: Path

    @property
    def both(self) -> tuple[Path, Path]:
        """The proximal sensor's file and the distal one's."""
        return self.proximal, self.distal


@dataclass(frozen=True, slots=True)
class Trial:
    """One recording: who, under which condition, and where its signals are.

    Times are on the wearable's clock. `exclude` holds the reason a trial is not analysed, empty
    where it is; `row` is the row in the trials table, the header being row 1.
    """

    participant: str
    session: str
    condition: str
    trial: str
    side: str
    wearable: Path | SensorFiles
    reference: Path | None
    static: Interval | Path | SensorFiles | None
    functional: Interval | Path | SensorFiles | None
    start_s: float | None
    end_s: float | None
    exclude: str
    covariates: Mapping[str, float | str]
    row: int
    events: Path | None = None  # a file of event times, for cycles by "events"
    # what is added to the distal sensor's clock to land on the proximal's; None where not given
    distal_lag_s: float | None = None
    # the joint's flexion in neutral standing; None where the study file's value holds
    standing_deg: float | None = None
    # stretches that are left out, on the wearable's clock, in the order of time
    mask: tuple[MaskedStretch, ...] = ()
    # settings of this recording; None where those of the study file hold
    expected_lag_s: float | None = None
    max_lag_s: float | None = None
    sign: int | None = None  # of the reference
    wearable_sign: int | None = None  # of a ready-made angle
    by_hand: ByHand | None = None  # decisions that stand over this row and what would be found

    @property
    def identity(self) -> tuple[str, str, str, str, str]:
        """What tells this trial from the others."""
        return (self.participant, self.session, self.condition, self.trial, self.side)

    @property
    def label(self) -> str:
        """The recording's name in messages, page headings and decisions."""
        parts = [self.participant, self.condition]
        parts += [f"session {self.session}"] if self.session else []
        parts += [f"trial {self.trial}"] if self.trial else []
        return " ".join(part for part in [*parts, self.side] if part)


@dataclass(frozen=True, slots=True)
class Needs:
    """What the settings ask of the table."""

    static: bool  # neutral standing for every trial that is analysed
    reference: bool  # whether there is a [reference] section to read the files by
    events: bool  # a file of event times for every trial that is analysed
    files: SensorFilePatterns | None = None  # how the two sensors' files are called
    kind: str = "angle"  # of the wearable
    synchronisation: str = "cross-correlation"  # the method

    @property
    def columns(self) -> tuple[str, ...]:
        """The columns that must be there."""
        if self.files is None:
            return REQUIRED
        return tuple(dict.fromkeys(("participant", *self.files.placeholders)))


@dataclass(slots=True)
class _Table:
    """The table's cells, where it is, and the faults found so far."""

    name: str
    folder: Path
    columns: list[str]
    rows: list[tuple[int, dict[str, str]]]
    delimiter: str
    head: int = 1  # the row of the column names
    faults: list[str] = field(default_factory=list)

    def add(self, row: int, column: str, text: str) -> None:
        """Note a fault in one cell."""
        self.faults.append(f"{self.name}, row {row}, column {column!r}: {text}")


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
    table = _read_table(folder, path, name, needs.columns)
    _check_unknown(table, needs)
    kinds = _covariate_kinds(table, needs)
    trials = [_trial(table, row, cells, needs, kinds) for row, cells in table.rows]
    _check_identities(table, trials)
    _check_spellings(table, trials)
    if not table.rows and not table.faults:
        table.faults.append(f"{name}: has a header but no rows; a study needs one row a recording.")
    if table.faults:
        raise StudyError("\n".join(table.faults))
    return path, tuple(trials)


def inside_folder(folder: Path, name: str) -> Path | None:
    """Return the path of a file in the folder, or None when it would leave it.

    Links are followed first: a link that points out of the folder leaves it too.
    """
    path = folder / name
    if "\\" in name and not path.exists():
        path = folder / name.replace("\\", "/")
    try:
        return path if path.resolve().is_relative_to(folder.resolve()) else None
    except (OSError, ValueError, RuntimeError):  # a loop of links, a NUL in the name
        return None


def _read_table(folder: Path, path: Path, name: str, required: tuple[str, ...]) -> _Table:
    """Split the table into cells; what breaks its shape is raised at once."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        near = nearest_first(path.name, (each.name for each in folder.iterdir() if each.is_file()))
        raise StudyError(
            f"trials table {name!r} does not exist in the study folder, which holds {listed(near)}."
        ) from None
    except UnicodeDecodeError as error:
        raise StudyError(f"{name}: byte {error.start} is not UTF-8; save it as UTF-8.") from None
    except OSError as error:
        raise StudyError(f"{name}: cannot be read: {error.strerror}.") from None
    lines = text.splitlines(keepends=True)
    if not text.strip():
        raise StudyError(f"{name}: is empty; the first row must hold the column names.")
    delimiter = max(",;\t", key=next(line for line in lines if line.strip()).count)
    records = _records(lines, delimiter, name)
    header = [cell.strip() for cell in records[0][1]]
    table = _Table(name, folder, header, [], delimiter, records[0][0])
    _check_header(table, records[0][0], required)
    for row, found in records[1:]:
        cells = _without_end(found, header)
        if len(cells) != len(header):
            table.faults.append(
                f"{name}, row {row}: has {len(cells)} cells where the header has {len(header)}."
            )
        else:
            table.rows.append((row, dict(zip(header, map(str.strip, cells), strict=True))))
    return table


def _without_end(cells: list[str], header: list[str]) -> list[str]:
    """Return a row without a separator too many at its end, or with the one its header has."""
    if len(cells) == len(header) + 1 and not cells[-1].strip():
        return cells[:-1]
    return [*cells, ""] if len(cells) == len(header) - 1 and not header[-1] else cells


def _records(lines: list[str], delimiter: str, name: str) -> list[tuple[int, list[str]]]:
    """Return the rows that are not blank, each with the line it starts on."""
    reader = csv.reader(lines, delimiter=delimiter)
    records: list[tuple[int, list[str]]] = []
    start = 1
    try:
        for cells in reader:
            width = len(records[0][1]) if records else len(cells)
            if holds_a_row(cells, delimiter, width):
                raise StudyError(
                    f"{name}, row {start}: a quotation mark opens a cell there and is not closed "
                    "in the same row, so that the rows after it would be lost; take it out, or "
                    "close it."
                )
            if any(cell.strip() for cell in cells):
                records.append((start, cells))
            start = reader.line_num + 1
    except csv.Error as error:
        raise StudyError(f"{name}, row {start}: cannot be read as a table: {error}.") from None
    return records


def _check_header(table: _Table, row: int, required: tuple[str, ...]) -> None:
    """Refuse missing, repeated and misspelt columns; without the required ones stop here."""
    twice = [name for name in dict.fromkeys(table.columns) if table.columns.count(name) > 1]
    if twice:
        table.faults.append(f"{table.name}, row {row}: column {listed(twice)} occurs twice.")
    missing = [name for name in required if name not in table.columns]
    for name in missing:
        found = listed(nearest_first(name, table.columns))
        table.faults.append(f"{table.name}, row {row}: column {name!r} is missing; found {found}.")
    for name in table.columns:
        if name.casefold() in COLUMNS and name not in COLUMNS:
            table.faults.append(
                f"{table.name}, row {row}: column {name!r} must be spelt {name.casefold()!r}."
            )
    if twice or missing:
        raise StudyError("\n".join(table.faults))


def _further(table: _Table, needs: Needs) -> list[str]:
    """Return the columns that have no meaning of their own."""
    known = (*COLUMNS, *needs.columns)
    return [name for name in table.columns if name and name not in known]


def _check_unknown(table: _Table, needs: Needs) -> None:
    """Refuse further columns that cannot be meant as covariates."""
    spelt_wrong = [name for name in table.columns if name.casefold() in COLUMNS]
    cells = {
        name: [row[name] for _, row in table.rows if row[name]]
        for name in _further(table, needs)
        if name not in spelt_wrong
    }
    found = faults_of_columns(cells, table.columns, COLUMNS, table.folder)
    table.faults += [f"{table.name}, row {table.head}: {text}" for text in found]


def _covariate_kinds(table: _Table, needs: Needs) -> dict[str, bool]:
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
    table: _Table, row: int, cells: Mapping[str, str], needs: Needs, kinds: Mapping[str, bool]
) -> Trial:
    """Check one row; a fault leaves a stand-in, which is never returned to the user."""
    exclude = cells.get("exclude", "")
    if not exclude:
        cells = _without_open(table, row, cells, needs)
    names = {name: _identifier(table, row, cells, name) for name in IDENTIFIERS}
    files = {
        name: _recording(table, row, cells, name, needs.files, must_exist=not exclude)
        if name in BY_SENSOR
        else _file(table, row, name, cells.get(name, ""), must_exist=not exclude)
        for name in FILES
    }
    times = {name: _given(table, row, cells, name, "seconds") for name in TIMES}
    static = _stretch(table, row, "static", files, times)
    functional = _stretch(table, row, "functional", files, times)
    _check_order(table, row, times["start_s"], times["end_s"])
    if not exclude:
        _check_needs(table, row, cells, needs)
    standing_deg = _given(table, row, cells, STANDING, "degrees")
    lags = {name: _given(table, row, cells, name, "seconds") for name in LAGS}
    _check_lags(table, row, lags, needs.synchronisation)
    signs = {name: _sign(table, row, name, cells.get(name, "")) for name in SIGNS}
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
        mask=_mask(table, row, cells.get(MASK, "")),
        expected_lag_s=lags["expected_lag_s"],
        max_lag_s=lags["max_lag_s"],
        sign=signs["sign"],
        wearable_sign=signs["wearable_sign"],
        by_hand=None,
    )


def _mask(table: _Table, row: int, cell: str) -> tuple[MaskedStretch, ...]:
    """Return the stretches to leave out."""
    try:
        return read_mask(cell, inside_folder(table.folder, cell), table.delimiter)
    except StudyError as error:
        table.add(row, MASK, str(error))
        return ()


def _without_open(
    table: _Table, row: int, cells: Mapping[str, str], needs: Needs
) -> Mapping[str, str]:
    """Note places that `init` left open, and return the cells with stand-ins that pass."""
    known = (*COLUMNS, *needs.columns)
    left = [name for name, cell in cells.items() if cell == LEFT_OPEN and name in known]
    for name in left:
        table.add(row, name, f"{OPEN_TEXT}, or leave it empty where the study does not need it.")
    return {
        **cells,
        **{name: f"row {row}" if name in ("participant", *needs.columns) else "" for name in left},
    }


def _check_unwanted(table: _Table, row: int, cells: Mapping[str, str], needs: Needs) -> None:
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


def _identifier(table: _Table, row: int, cells: Mapping[str, str], name: str) -> str:
    if name not in cells:
        return IDENTIFIERS[name]
    value = cells[name]
    if name == "side" and value not in ("left", "right", ""):
        guess = suggestion(value, ("left", "right"))
        table.add(
            row, name, f"is {shown(value)}; accepted: 'left', 'right' or an empty cell.{guess}"
        )
    elif name != "side" and not value:
        table.add(row, name, "is empty; every row needs it (or leave the whole column out).")
    return value


def _recording(
    table: _Table,
    row: int,
    cells: Mapping[str, str],
    name: str,
    patterns: SensorFilePatterns | None,
    *,
    must_exist: bool,
) -> Path | SensorFiles | None:
    """Return a recording's file, or its two files by the patterns of `[wearable.files]`."""
    value = cells.get(name, "")
    if patterns is None:
        return _file(table, row, name, value, must_exist=must_exist)
    if name != "wearable":
        if not value:
            return None
        if "wearable" not in patterns.placeholders:
            table.add(
                row,
                name,
                f"is {value!r}, but the patterns of [wearable.files] have no {{wearable}} that it "
                f"could stand for; give `{name}_start_s` and `{name}_end_s`.",
            )
            return None
    filled = {key: cells[key] for key in patterns.placeholders} | (
        {"wearable": value} if "wearable" in patterns.placeholders else {}
    )
    empty = [key for key, cell in filled.items() if not cell]
    for key in empty if must_exist else ():
        table.add(row, key, "is empty; [wearable.files] makes the files' names of it.")
    if empty:
        return None
    found = [
        _file(table, row, name, _fill(pattern, filled), must_exist=must_exist)
        for pattern in (patterns.proximal, patterns.distal)
    ]
    return None if None in found else SensorFiles(*cast("list[Path]", found))


def _fill(pattern: str, cells: Mapping[str, str]) -> str:
    """Put the cells in the places of their columns."""
    return PLACEHOLDER.sub(lambda match: cells[match[1]], pattern)


def _file(table: _Table, row: int, name: str, value: str, *, must_exist: bool) -> Path | None:
    """Return the path in a cell; faults where it is empty and may not be, leaves, or is no file."""
    if not value:
        if name == "wearable" and must_exist:
            table.add(row, name, "is empty; every trial that is analysed needs a file.")
        return None
    path, said = inside_folder(table.folder, value), shown(value)
    if path is None:
        table.add(
            row, name, f"{shown(value)} leaves the study folder; move the file into the folder."
        )
    elif must_exist and not path.exists():
        table.add(row, name, f"file {said} does not exist in the study folder.{_near(path)}")
    elif must_exist and not path.is_file():
        table.add(row, name, f"{said} is not a file.")
    return path


def _near(path: Path) -> str:
    if not path.parent.is_dir():
        return f" Nor does the folder {path.parent.name!r}."
    return suggestion(path.name, sorted(each.name for each in path.parent.iterdir()))


def _given(table: _Table, row: int, cells: Mapping[str, str], name: str, unit: str) -> float | None:
    text = cells.get(name, "")
    value = finite_number(text, table.delimiter) if text else None
    if text and value is None:
        table.add(row, name, f"is {shown(text)}; accepted: a number of {unit}, or an empty cell.")
    return value


def _sign(table: _Table, row: int, name: str, text: str) -> int | None:
    """Return the sign in a cell, None where it is empty."""
    if not text:
        return None
    value = finite_number(text, table.delimiter)
    if value not in (1, -1):
        table.add(
            row,
            name,
            f"is {shown(text)}; accepted: 1, -1 where flexion is negative in the file, or an empty "
            "cell.",
        )
        return None
    return int(value)


def _check_lags(table: _Table, row: int, lags: Mapping[str, float | None], method: str) -> None:
    """Refuse a search window that is none, and one that the method would not look at."""
    most = lags["max_lag_s"]
    if most is not None and not most > 0:
        table.add(row, "max_lag_s", f"is {most:g}; accepted: seconds above 0, or an empty cell.")
    if most is not None and method in ("shared-clock", "manual"):
        table.add(
            row,
            "max_lag_s",
            f"is given, but [synchronisation] `method` is {method!r}, which searches for no lag.",
        )
    if lags["expected_lag_s"] is not None and method != "cross-correlation":
        table.add(
            row,
            "expected_lag_s",
            f"is given, but [synchronisation] `method` is {method!r}; it goes with "
            "'cross-correlation' only.",
        )


def _stretch(
    table: _Table,
    row: int,
    name: str,
    files: Mapping[str, Path | SensorFiles | None],
    times: Mapping[str, float | None],
) -> Interval | Path | SensorFiles | None:
    """Return where a calibration movement is: a stretch of the recording, or a file of its own."""
    start, end = times[f"{name}_start_s"], times[f"{name}_end_s"]
    path = files[name]
    if path is not None and (start is not None or end is not None):
        table.add(row, name, f"is given both as a file and as `{name}_start_s`; give one of them.")
    elif (start is None) != (end is None):
        lone = f"{name}_end_s" if start is None else f"{name}_start_s"
        other = f"{name}_start_s" if start is None else f"{name}_end_s"
        table.add(row, lone, f"is given without {other!r}; give both or neither.")
    elif start is not None and end is not None:
        if start < end:
            return Interval(start, end)
        table.add(row, f"{name}_end_s", f"is {end:g}, not after {name}_start_s = {start:g}.")
    return path


def _check_order(table: _Table, row: int, start: float | None, end: float | None) -> None:
    if start is not None and end is not None and not start < end:
        table.add(row, "end_s", f"is {end:g}, not after start_s = {start:g}.")


def _check_needs(table: _Table, row: int, cells: Mapping[str, str], needs: Needs) -> None:
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


def _check_spellings(table: _Table, trials: list[Trial]) -> None:
    """Refuse one participant or condition under two spellings: it would count as two."""
    for name in ("participant", "condition"):
        spelt = [(trial.row, str(getattr(trial, name))) for trial in trials]
        table.faults += [
            f"{table.name}, rows {before} and {row}: {name}s {first!r} and {second!r} differ in "
            "spelling alone; give both rows one spelling, or names that differ in more."
            for before, first, row, second in likely_same(spelt)
        ]


def _check_identities(table: _Table, trials: list[Trial]) -> None:
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
