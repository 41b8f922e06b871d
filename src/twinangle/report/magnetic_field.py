"""The magnetic field at the sensors, by recording and by condition."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict

from twinangle.report.blocks import (
    Block,
    Column,
    Figures,
    described,
    figure,
    heading,
    scaled_cells,
)
from twinangle.results import StudyResults, TrialResult
from twinangle.results.grouping import Naming
from twinangle.results.tables.magnetic_field import fields_by_condition
from twinangle.wording import number

_FIELD = {
    "norm": ("Norm (µT)", 1, 1.0),
    "dip_deg": ("Dip (°)", 1, 1.0),
    "norm_deviation_rms": ("Norm off, RMS (%)", 1, 100.0),
    "norm_deviation_max": ("Norm off, largest (%)", 1, 100.0),
    "dip_deviation_rms_deg": ("Dip off, RMS (°)", 1, 1.0),
    "dip_deviation_max_deg": ("Dip off, largest (°)", 1, 1.0),
    "disturbed_share": ("Disturbed (%)", 1, 100.0),
    "error_correlation": ("With error, ρ", 2, 1.0),
}
_SAYS = {
    "norm": "norm: undisturbed, in the magnetometer's unit where it is not calibrated",
    "dip_deg": "dip: undisturbed",
    "norm_deviation_rms": "norm off, dip off: departures from the undisturbed values",
    "disturbed_share": "disturbed: share of samples beyond ±10 % or ±10°",
    "error_correlation": "with error: rank correlation over seconds of the departure with the size "
    "of the angle's error",
}


def magnetic_field_blocks(
    trials: Iterable[TrialResult], naming: Naming, figures: Figures
) -> list[Block]:
    """Return how disturbed the magnetic field was."""
    rows = [
        [
            trial.participant,
            naming.heading(trial),
            sensor.segment,
            *scaled_cells(asdict(sensor.field), _FIELD),
        ]
        for trial in trials
        for sensor in trial.sensors
        if sensor.field is not None
    ]
    found = described(
        "Magnetic field.",
        [
            *(Column(name) for name in ("Participant", "Recording", "Sensor")),
            *(Column(name, _SAYS.get(key, "")) for key, (name, *_) in _FIELD.items()),
        ],
        rows,
        words=3,
    )
    return [heading("Magnetic field"), *figure("magnetic_field", figures), *found] if found else []


def by_condition_blocks(results: StudyResults) -> list[Block]:
    """Return how disturbed the field was under each condition."""
    rows = [
        [
            ", ".join(filter(None, (row["condition"], row["wearable"]))),
            row["segment"],
            str(row["n_recordings"]),
            number(100 * row["disturbed_share"], 1),
            f"{100 * row['disturbed_share_min']:.1f} to {100 * row['disturbed_share_max']:.1f}",
            *scaled_cells(
                row, {key: _FIELD[key] for key in ("norm_deviation_rms", "dip_deviation_rms_deg")}
            ),
            str(row["n_with_reference"]),
            *scaled_cells(row, {"error_correlation": _FIELD["error_correlation"]}),
        ]
        for row in fields_by_condition(results)
    ]
    columns = (
        Column("Condition"),
        Column("Sensor"),
        Column("Recordings"),
        Column("Disturbed, mean (%)", "disturbed: share of the samples, over the recordings"),
        Column("Range (%)", "range: its smallest and largest value"),
        Column("Norm off, RMS (%)", "norm off, dip off: departures from the undisturbed values"),
        Column("Dip off, RMS (°)"),
        Column("With reference"),
        Column("With error, mean ρ", "with error: mean rank correlation with the angle's error"),
    )
    return described("Magnetic field by condition.", columns, rows, words=2)


def magnetic_field_paragraph(results: StudyResults) -> str:
    """Say how the magnetic field was judged."""
    if not fields_by_condition(results):
        return ""
    return (
        "The magnetic field at each sensor was held against its undisturbed norm and dip; a sample "
        "counts as disturbed where the norm is off by more than 10 % or the dip by more than 10° "
        "(common practice, no source)."
    )
