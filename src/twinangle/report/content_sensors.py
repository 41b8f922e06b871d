"""Pages on how the recordings were made: strides, clocks, sensors and the magnetic field."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from twinangle.clocks import drift_interval
from twinangle.cycles import bout_units
from twinangle.cycles.find import CYCLES_FOR_MEAN, CYCLES_FOR_SD
from twinangle.options import Options
from twinangle.report.blocks import (
    Block,
    Figures,
    figure,
    heading,
    table,
    with_interval,
    without_empty,
)
from twinangle.report.grouping import Naming, trial_groups
from twinangle.report.wording import NOTHING, number
from twinangle.results import StudyResults, TrialResult
from twinangle.results.tables.magnetic_field import fields_by_condition
from twinangle.signals.recording import Synchronisation
from twinangle.wearable.quality.device import (
    BIAS_LIMIT_DEG_S,
    DROPPED_LIMIT,
    GYROSCOPE_NOISE_LIMIT_DEG_S,
    JITTER_LIMIT,
    NORM_ERROR_LIMIT,
)


def recordings_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return what the recordings themselves tell: strides, clocks, sensors, field."""
    naming = Naming(results)
    worked = [group.main for group in trial_groups(results) if group.main.status == "ok"]
    return [
        *_strides(worked, naming),
        *_bouts(worked, naming),
        *_clocks(worked, naming, results.options),
        *_angles(results, naming),
        *_devices(worked, naming),
        *_fields(worked, naming, figures),
        *_fields_by_condition(results),
    ]


def _strides(trials: Iterable[TrialResult], naming: Naming) -> list[Block]:
    """Return stride times and their variability."""
    rows = [
        [
            trial.participant,
            naming.heading(trial),
            f"{summary.n_kept} / {summary.n_found}",
            str(summary.n_bouts),
            number(summary.duration_mean_s, 3),
            number(summary.duration_sd_s, 3),
            number(summary.duration_cv_percent, 1),
            number(summary.duration_sd_within_bouts_s, 3),
            number(summary.strides_per_minute, 1),
        ]
        for trial in trials
        if (summary := trial.strides) is not None
    ]
    head = (
        "Participant", "Recording", "Cycles", "Bouts", "Mean (s)", "SD (s)", "CV (%)",
        "SD within bouts (s)", "Per minute",
    )  # fmt: skip
    caption = "Duration of the kept cycles (kept / found), main procedure."
    return [heading("Cycles in time"), table(head, rows, words=2, caption=caption)] if rows else []


def _bouts(trials: Iterable[TrialResult], naming: Naming) -> list[Block]:
    """Return every bout of the recordings that hold more than one, each a unit."""
    rows: list[list[str]] = []
    kept: list[int] = []
    for trial in trials:
        units = bout_units(trial.cycles) if trial.cycles is not None else ()
        if len(units) < 2:
            continue
        for unit in units:
            strides = unit.strides
            kept.append(strides.n_kept)
            rows.append(
                [
                    trial.participant,
                    naming.heading(trial),
                    str(strides.bout),
                    number(strides.start_s, 1),
                    number(strides.end_s - strides.start_s, 1),
                    f"{strides.n_kept} / {strides.n_found}",
                    number(strides.strides_per_minute, 1),
                    number(strides.duration_cv_percent, 1),
                    number(unit.wearable_sd_deg),
                    number(unit.reference_sd_deg),
                    number(unit.offset_deg),
                    number(unit.rms_demeaned_deg),
                ]
            )
    head = (
        "Participant", "Recording", "Bout", "Start (s)", "Length (s)", "Cycles", "Per minute",
        "CV (%)", "SD w. (°)", "SD ref. (°)", "Offset (°)", "RMS dem. (°)",
    )  # fmt: skip
    few = [sum(count < least for count in kept) for least in (CYCLES_FOR_MEAN, CYCLES_FOR_SD)]
    caption = (
        "Walking bouts, each a unit: cycles kept / found, strides a minute and the variability of "
        "stride time, SD over its cycles, and the comparison of its mean curves. Of "
        f"{len(kept)} bouts, {few[0]} keep fewer than {CYCLES_FOR_MEAN} cycles, too few for a "
        f"reliable mean, and {few[1]} fewer than {CYCLES_FOR_SD}, too few for a reliable SD, by "
        "analogy with spatio-temporal parameters (König et al. 2014, Gait Posture 39:615)."
    )
    if not rows:
        return []
    shown, rows = without_empty(head, rows)
    return [heading("Walking bouts"), table(shown, rows, words=2, caption=caption)]


def _clocks(trials: Iterable[TrialResult], naming: Naming, options: Options) -> list[Block]:
    """Return lag and drift with their errors, and what the lag's error does to the RMS."""
    rows = []
    for trial in trials:
        clock, cost = trial.synchronisation, trial.timing_cost
        if clock is None:
            continue
        rows.append(
            [
                trial.participant,
                naming.heading(trial),
                number(clock.lag_s, 4),
                number(1e3 * _lag_error(clock), 2),
                number(1e3 * clock.lag_statistical_s, 2),
                number(1e3 * clock.lag_systematic_s, 2),
                _drift(clock, options),
                _by_gyroscopes(trial),
                number(clock.peak_correlation, 3),
                number(clock.runner_up_correlation, 3),
                number(clock.evidence, 1),
                number(None if cost is None else cost.change_deg),
            ]
        )
    head = (
        "Participant", "Recording", "Lag (s)", "SE (ms)", "Scatter (ms)", "Systematic (ms)",
        "Drift (ppm)",
        "Angle − gyr. (ms)", "Peak r", "Runner-up r", "Evidence", "RMS ± (°)",
    )  # fmt: skip
    caption = (
        "How the clocks were brought together. Lag: at time 0 of the reference. SE: total standard "
        "error of the lag in the middle of the overlap, made of two parts, from the scatter and, "
        "systematic, from a difference of the instruments that repeats every cycle. Angle − gyr.: "
        "lag by the angle minus lag by the gyroscopes, above 0 where the procedure delays the "
        "angle; in brackets the "
        f"{options.level} interval, as for the drift, both parts counted. Evidence: log likelihood "
        "ratio against the best rival stride. RMS ±: how far the RMS of the demeaned curves moves "
        "when the lag moves by its SE."
    )
    if not rows:
        return []
    shown, rows = without_empty(head, rows)
    return [heading("Clocks"), table(shown, rows, words=2, caption=caption)]


def _lag_error(clock: Synchronisation) -> float:
    """Return the total error that counts for the curves: in the middle, where it is known."""
    centre = clock.centre_lag_se_s
    return centre if math.isfinite(centre) else clock.lag_se_s


def _drift(clock: Synchronisation, options: Options) -> str:
    interval = drift_interval(clock, confidence=options.confidence)
    ends = None if interval is None else (interval.start_s, interval.end_s)
    return number(clock.drift_ppm, 1) if ends is None else with_interval(clock.drift_ppm, ends, 1)


def _by_gyroscopes(trial: TrialResult) -> str:
    """Return the angle's lag minus the gyroscopes', with its interval; empty where unknown."""
    found = trial.extras.get("gyroscope_lag", {})
    if "difference_s" not in found:
        return NOTHING
    low, high = (1e3 * end for end in found["difference_ci_s"])
    return with_interval(1e3 * found["difference_s"], (low, high), 1)


_QUALITY = {
    "neutral_scatter_deg": "Neutral scatter (°)",
    "axis_spread_deg": "Axis spread (°)",
    "axis_difference_deg": "Axes apart (°)",
    "hinge_difference_deg": "From hinge (°)",
    "residual_rms_deg": "Outside the hinge (°)",
    "residual_cycle_median_deg": "Median cycle (°)",
    "residual_cycle_largest_deg": "Largest cycle (°)",
    "heading_uncertainty_deg": "Heading SE (°)",
}


def _angles(results: StudyResults, naming: Naming) -> list[Block]:
    """Return what each procedure says of its own angle."""
    rows = [
        [
            trial.participant,
            naming.heading(trial),
            trial.procedure,
            *(number(quality.get(key)) for key in _QUALITY),
        ]
        for trial in results.trials
        if (quality := trial.extras.get("angle_quality")) is not None
    ]
    head: Sequence[str] = ("Participant", "Recording", "Procedure", *_QUALITY.values())
    caption = (
        "Quality of the wearable's angle: scatter of the relative orientation in neutral standing, "
        "spread of the joint's rate about the flexion axis, angle between that axis by the mean "
        "rate and by the principal component, angle from it to the hinge that both gyroscopes fit "
        "best over the whole recording, RMS of the joint rotation outside the axis (over the "
        "recording, then in the median and in the worst kept cycle), and standard error of the "
        "sensors' relative heading."
    )
    head, rows = without_empty(head, rows)
    return [heading("Angle"), table(head, rows, words=3, caption=caption)] if rows else []


_DEVICE = {
    "rate_hz": ("Rate (Hz)", 1, 1.0),
    "rest_s": ("Rest (s)", 1, 1.0),
    "gyroscope_bias_deg_s": ("Gyr. bias (°/s)", 2, 1.0),
    "gyroscope_noise_deg_s": ("Gyr. noise (°/s)", 3, 1.0),
    "accelerometer_norm_error_m_s2": ("Acc. norm (m/s²)", 3, 1.0),
    "accelerometer_noise_m_s2": ("Acc. noise (m/s²)", 3, 1.0),
    "saturated_share": ("Saturated (%)", 2, 100.0),
    "dropped_share": ("Dropped (%)", 2, 100.0),
    "longest_gap_s": ("Longest gap (s)", 2, 1.0),
    "jitter_ms": ("Jitter (ms)", 2, 1.0),
}
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


def _cells(values: Mapping[str, Any], columns: Mapping[str, tuple[str, int, float]]) -> list[str]:
    """Return the numbers of some columns, scaled and rounded; a dash where there is none."""
    found = []
    for key, (_, decimals, scale) in columns.items():
        value = values.get(key)
        found.append(NOTHING if value is None else number(scale * float(value), decimals))
    return found


def _devices(trials: Iterable[TrialResult], naming: Naming) -> list[Block]:
    """Return the quality of each sensor's own signals."""
    rows = [
        [
            trial.participant,
            naming.heading(trial).replace(" ", "\u00a0"),  # many columns: no line is split
            sensor.segment,
            *_cells(dict(sensor.device) | _jitter(trial), _DEVICE),
        ]
        for trial in trials
        for sensor in trial.sensors
    ]
    head = ("Participant", "Recording", "Sensor", *(name for name, *_ in _DEVICE.values()))
    caption = (
        "Sensors: bias, noise and norm are from the time at rest; noise is the worst axis'; jitter "
        "is the scatter of the file's time stamps about an even clock. A warning is given for a "
        f"bias above {BIAS_LIMIT_DEG_S:g} °/s, noise above {GYROSCOPE_NOISE_LIMIT_DEG_S:g} °/s, a "
        f"norm beyond ±{100 * NORM_ERROR_LIMIT:g} % of gravity, any saturated sample, more than "
        f"{100 * DROPPED_LIMIT:g} % dropped, and jitter above {JITTER_LIMIT:g} of a sample (common "
        "practice, no source)."
    )
    return [heading("Sensors"), table(head, rows, words=3, caption=caption)] if rows else []


def _jitter(trial: TrialResult) -> dict[str, float]:
    """Return the scatter of the wearable's time stamps, where it is known."""
    clocks = trial.extras.get("timing") or {}
    found = (clocks.get("wearable") or {}).get("jitter_ms")
    return {} if found is None else {"jitter_ms": found}


def _fields_by_condition(results: StudyResults) -> list[Block]:
    """Return how disturbed the field was under each condition."""
    rows = [
        [
            row["condition"],
            row["segment"],
            str(row["n_recordings"]),
            number(100 * row["disturbed_share"], 1),
            f"{100 * row['disturbed_share_min']:.1f} to {100 * row['disturbed_share_max']:.1f}",
            *_cells(
                row, {key: _FIELD[key] for key in ("norm_deviation_rms", "dip_deviation_rms_deg")}
            ),
            str(row["n_with_reference"]),
            *_cells(row, {"error_correlation": _FIELD["error_correlation"]}),
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


def _fields(trials: Iterable[TrialResult], naming: Naming, figures: Figures) -> list[Block]:
    """Return how disturbed the magnetic field was."""
    rows = [
        [trial.participant, naming.heading(trial), sensor.segment, *_cells(sensor.field, _FIELD)]
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
