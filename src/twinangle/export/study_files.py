"""`study.toml` and `trials.csv` of the data set: the same study, files in their new places."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import fields
from functools import partial
from pathlib import Path
from typing import Any

from twinangle.export.instrument_names import (
    column_of,
    columns_for,
    numbers_of,
    pairs_of,
    spread,
    system_of,
)
from twinangle.export.labels import Name
from twinangle.export.plain_files import toml_text, write_csv, write_text
from twinangle.export.raw import RawWriter, time_name
from twinangle.signals.recording import Interval
from twinangle.study import Reference, SensorFiles, Study, Trial, Wearable
from twinangle.study.calibration_table import read_points
from twinangle.study.instruments import SEVERAL, Part
from twinangle.study.mask_cell import mask_text
from twinangle.study.overrides_table import NEEDED
from twinangle.study.section_faults import PLAIN_SECTIONS
from twinangle.study.trial_row import IDENTIFIERS

OVERRIDES = "sourcedata/cycle_overrides.csv"
CALIBRATION = "sourcedata/calibration.csv"
# Every column of the table that holds one number, whatever is added to it.
NUMBERS = tuple(each.name for each in fields(Trial) if each.type in ("float | None", "int | None"))


def write_study_files(
    study: Study,
    trials: list[Trial],
    names: list[Name],
    raw: RawWriter,
    root: Path,
    covariates: tuple[str, ...],
    codes: dict[str, str],
) -> None:
    """Write the study file, the trials table and the small tables that the study names."""
    if study.cycles.overrides is not None:
        _write_overrides(study.folder / study.cycles.overrides, root / OVERRIDES, codes)
    for part in pairs_of(study):
        calibration = getattr(part.study.reference, "calibration", None)
        if calibration is not None:
            points = read_points(study.folder / calibration, calibration)
            place = root / _calibration(part.reference)
            write_csv(place, ("value", "angle_deg"), zip(*points, strict=True))
    write_text(root / "study.toml", toml_text(_sections(study)))
    _write_trials(study, trials, raw, root, covariates)


def _calibration(reference: str) -> str:
    """Return the place of a reference's calibration."""
    return CALIBRATION.replace(".csv", f"_{reference}.csv") if reference else CALIBRATION


def _sections(study: Study) -> dict[str, dict[str, Any]]:
    """Return the settings that differ from their defaults, files and clocks as they now are."""
    head: dict[str, Any] = {"title": study.title, "joint": study.joint, "trials": "trials.csv"}
    head |= {"invented": True} if study.invented else {}
    sections: dict[str, dict[str, Any]] = {"study": head}
    clocks, shared = _clocks_of(study)
    for part in pairs_of(study):
        for kind, name, own in (
            ("wearable", part.wearable, _wearable(part)),
            ("reference", part.reference, _reference(part)),
        ):
            clock = clocks.get((kind, name), {})
            own |= {"synchronisation": clock} if clock else {}
            if own and name:
                sections.setdefault(SEVERAL[kind], {})[name] = own
            elif own:
                sections[kind] = own
    for name in (each for each in PLAIN_SECTIONS if each != "study"):
        content = _shared(study, name)
        if name == "synchronisation" and study.parts:
            content = shared
        if content:
            sections[name] = content
    if "overrides" in sections.get("cycles", {}):
        sections["cycles"]["overrides"] = OVERRIDES
    return sections


def _shared(study: Study, name: str) -> dict[str, Any]:
    """Return a section that is every pair's; what they differ in was filled in for each kind."""
    several = [
        getattr(part.study, name).model_dump(exclude_none=True, exclude_defaults=True)
        for part in pairs_of(study)
    ]
    return {
        key: value
        for key, value in several[0].items()
        if all(one.get(key) == value for one in several)
    }


def _clocks_of(study: Study) -> tuple[dict[tuple[str, str], dict[str, Any]], dict[str, Any]]:
    """Return what each instrument has of its own of the clock's section, and what all share."""
    own: dict[tuple[str, str], dict[str, Any]] = {}
    shared: dict[str, Any] = {}
    fields = type(study.synchronisation).model_fields
    for key, about in fields.items():
        values = {
            (part.wearable, part.reference): getattr(part.study.synchronisation, key)
            for part in pairs_of(study)
        }
        whole, by_wearable, by_reference = spread(values, about.default)
        shared |= {key: whole} if whole not in (None, about.default) else {}
        for kind, several in (("wearable", by_wearable), ("reference", by_reference)):
            for name, value in several.items():
                if value is not None:
                    own.setdefault((kind, name), {})[key] = value
    return own, shared


def _wearable(part: Part) -> dict[str, Any]:
    """Return a wearable's section, its files in their new places."""
    content = _clocked(part.study.wearable)
    if "files" in content:
        content["files"] = {
            sensor: f"{{wearable}}_tracksys-{system_of('wearable', part.wearable, sensor)}"
            "{name_end}"
            for sensor in ("proximal", "distal")
        }
    return content


def _reference(part: Part) -> dict[str, Any]:
    """Return a reference's section; empty where there is none."""
    if part.study.reference is None:
        return {}
    content = _clocked(part.study.reference)
    if "calibration" in content:
        content["calibration"] = _calibration(part.reference)
        for fitted in ("gain", "offset"):
            content.pop(fitted, None)
    return content


def _clocked(settings: Wearable | Reference) -> dict[str, Any]:
    content: dict[str, Any] = settings.model_dump(exclude_none=True, exclude_defaults=True)
    content.pop("rate_hz", None)
    content.pop("time_unit", None)  # the data set's times are in seconds
    first = {"kind": settings.kind, "time": time_name(settings)}
    return first | {key: value for key, value in content.items() if key not in first}


def _write_trials(
    study: Study, trials: list[Trial], raw: RawWriter, root: Path, covariates: tuple[str, ...]
) -> None:
    """Write the trials table; an excluded trial keeps its row and reason, not its files."""
    rows = []
    for own, trial in zip(study.trials, trials, strict=True):
        row: dict[str, object] = {name: getattr(trial, name) for name in IDENTIFIERS}
        row |= raw.cells.get(trial.row, {})
        row |= _cells(study.rows_of(own))
        row["exclude"] = trial.exclude
        row |= {name: trial.covariates.get(name) for name in covariates}
        rows.append(row)
    used = {key for row in rows for key, cell in row.items() if cell not in (None, "")}
    if any(
        isinstance(row.wearable, SensorFiles) for t in study.trials for _, row in study.rows_of(t)
    ):
        used.add("name_end")
    order = [*IDENTIFIERS, *columns_for(study, "wearable"), "name_end"]
    for plain in ("reference", "events"):
        order += columns_for(study, plain)
    for part in ("static", "functional"):
        for plain in (part, f"{part}_start_s", f"{part}_end_s"):
            order += columns_for(study, plain)
    for plain in (*NUMBERS, "mask"):
        order += columns_for(study, plain)
    order += ["exclude", *covariates]
    always = {"participant", "session", "condition", "trial"}
    always |= {column_of("wearable", part.wearable, "wearable") for part in pairs_of(study)}
    columns = [name for name in order if name in used | always]
    write_csv(root / "trials.csv", columns, ([row.get(name) for name in columns] for row in rows))


def _cells(pairs: Sequence[tuple[Part, Trial]]) -> dict[str, object]:
    """Return the cells of a recording beside its files, each in its instrument's own column."""
    found: dict[str, object] = {}
    for part, row in pairs:
        own = partial(column_of, "wearable", part.wearable)
        for name in ("static", "functional"):
            stretch = getattr(row, name)
            if isinstance(stretch, Interval):
                found[own(f"{name}_start_s")] = stretch.start_s
                found[own(f"{name}_end_s")] = stretch.end_s
        found[own("mask")] = mask_text(row.mask)
    return found | numbers_of(pairs, NUMBERS)


def _write_overrides(source: Path, target: Path, codes: dict[str, str]) -> None:
    """Copy the known columns of the table of cycles, participants under their codes."""
    with source.open(encoding="utf-8-sig", newline="") as stream:
        reader = csv.DictReader(stream)
        rows = list(reader)
        known = [name for name in reader.fieldnames or () if name in (*NEEDED, *IDENTIFIERS)]
    cells = [[(row[name] or "").strip() for name in known] for row in rows]
    if "participant" in known:
        at = known.index("participant")
        for row in cells:
            row[at] = codes.get(row[at], row[at])
    write_csv(target, known, cells)
