"""`study.toml` and `trials.csv` of the data set: the same study, files in their new places."""

from __future__ import annotations

import csv
from dataclasses import fields
from pathlib import Path
from typing import Any

from twinangle.export.labels import Name
from twinangle.export.plain_files import toml_text, write_csv, write_text
from twinangle.export.raw import RawWriter, time_name
from twinangle.signals.recording import Interval
from twinangle.study import Reference, SensorFiles, Study, Trial, Wearable
from twinangle.study.calibration_table import read_points
from twinangle.study.mask_cell import mask_text
from twinangle.study.overrides_table import NEEDED
from twinangle.study.section_faults import PLAIN_SECTIONS
from twinangle.study.trial_row import IDENTIFIERS

OVERRIDES = "sourcedata/cycle_overrides.csv"
CALIBRATION = "sourcedata/calibration.csv"
FILES = {
    "proximal": "{wearable}_tracksys-proximal{name_end}",
    "distal": "{wearable}_tracksys-distal{name_end}",
}
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
    calibration = getattr(study.reference, "calibration", None)
    if calibration is not None:
        points = read_points(study.folder / calibration, calibration)
        write_csv(root / CALIBRATION, ("value", "angle_deg"), zip(*points, strict=True))
    write_text(root / "study.toml", toml_text(_sections(study)))
    _write_trials(trials, raw, root, covariates)


def _sections(study: Study) -> dict[str, dict[str, Any]]:
    """Return the settings that differ from their defaults, files and clocks as they now are."""
    head: dict[str, Any] = {"title": study.title, "joint": study.joint, "trials": "trials.csv"}
    head |= {"invented": True} if study.invented else {}
    wearable = _clocked(study.wearable)
    if "files" in wearable:
        wearable["files"] = FILES
    sections = {"study": head, "wearable": wearable}
    if study.reference is not None:
        sections["reference"] = _clocked(study.reference)
        if "calibration" in sections["reference"]:
            sections["reference"]["calibration"] = CALIBRATION
            for fitted in ("gain", "offset"):
                sections["reference"].pop(fitted, None)
    for name in (each for each in PLAIN_SECTIONS if each != "study"):
        content = getattr(study, name).model_dump(exclude_none=True, exclude_defaults=True)
        if content:
            sections[name] = content
    if "overrides" in sections.get("cycles", {}):
        sections["cycles"]["overrides"] = OVERRIDES
    return sections


def _clocked(settings: Wearable | Reference) -> dict[str, Any]:
    content: dict[str, Any] = settings.model_dump(exclude_none=True, exclude_defaults=True)
    content.pop("rate_hz", None)
    content.pop("time_unit", None)  # the data set's times are in seconds
    first = {"kind": settings.kind, "time": time_name(settings)}
    return first | {key: value for key, value in content.items() if key not in first}


def _write_trials(
    trials: list[Trial], raw: RawWriter, root: Path, covariates: tuple[str, ...]
) -> None:
    """Write the trials table; an excluded trial keeps its row and reason, not its files."""
    rows = []
    for trial in trials:
        row: dict[str, object] = {name: getattr(trial, name) for name in IDENTIFIERS}
        row |= raw.cells.get(trial.row, {"wearable": ""})
        for part in ("static", "functional"):
            stretch = getattr(trial, part)
            if isinstance(stretch, Interval):
                row |= {f"{part}_start_s": stretch.start_s, f"{part}_end_s": stretch.end_s}
        row |= {name: getattr(trial, name) for name in NUMBERS}
        row["mask"] = mask_text(trial.mask)
        row["exclude"] = trial.exclude
        row |= {name: trial.covariates.get(name) for name in covariates}
        rows.append(row)
    used = {key for row in rows for key, cell in row.items() if cell not in (None, "")}
    if any(isinstance(trial.wearable, SensorFiles) for trial in trials):
        used.add("name_end")
    order = [*IDENTIFIERS, "wearable", "name_end", "reference", "events"]
    for part in ("static", "functional"):
        order += [part, f"{part}_start_s", f"{part}_end_s"]
    order += [*NUMBERS, "mask", "exclude", *covariates]
    always = {"participant", "session", "condition", "trial", "wearable"}
    columns = [name for name in order if name in used | always]
    write_csv(root / "trials.csv", columns, ([row.get(name) for name in columns] for row in rows))


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
