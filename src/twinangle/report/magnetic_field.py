"""The magnetic field at the sensors, by recording and by condition."""

from __future__ import annotations

from collections.abc import Iterable

from twinangle.report.blocks import Block, Figures, figure, heading, scaled_cells, table
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


def magnetic_field_blocks(
    trials: Iterable[TrialResult], naming: Naming, figures: Figures
) -> list[Block]:
    """Return how disturbed the magnetic field was."""
    rows = [
        [
            trial.participant,
            naming.heading(trial),
            sensor.segment,
            *scaled_cells(sensor.field, _FIELD),
        ]
        for trial in trials
        for sensor in trial.sensors
        if sensor.field is not None
    ]
    if not rows:
        return []
    head = ("Participant", "Recording", "Sensor", *(name for name, *_ in _FIELD.values()))
    caption = (
        "Magnetic field: undisturbed norm (in the magnetometer's unit where it is not calibrated) "
        "and dip, departures from them, share of samples beyond ±10 % or ±10°, and rank "
        "correlation over seconds of the departure with the size of the angle's error."
    )
    return [
        heading("Magnetic field"),
        *figure("magnetic_field", figures),
        table(head, rows, words=3, caption=caption),
    ]


def by_condition_blocks(results: StudyResults) -> list[Block]:
    """Return how disturbed the field was under each condition."""
    rows = [
        [
            row["condition"],
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
    head = (
        "Condition", "Sensor", "Recordings", "Disturbed, mean (%)", "Range (%)",
        "Norm off, RMS (%)", "Dip off, RMS (°)", "With reference", "With error, mean ρ",
    )  # fmt: skip
    caption = (
        "Magnetic field by condition: disturbed share over the recordings, departures from the "
        "undisturbed values, and the mean correlation with the error where a reference exists."
    )
    return [table(head, rows, words=2, caption=caption)] if rows else []
