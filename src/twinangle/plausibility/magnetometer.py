"""The magnetic field against the gyroscope and against gravity.

The field is turned back by the gyroscope as gravity is in :mod:`twinangle.plausibility.frame`, but
unlike gravity it is not hidden under the sensor's own acceleration, so it tells of the gyroscope's
scale as well: that at which the field scatters least, bias taken off. The dip, the angle of the
field below the horizontal, is one for both. Our own; limits by `benchmarks/plausibility.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from twinangle.plausibility.axes import as_columns, in_words, up_to_sign
from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.frame import (
    FIELD_WINDOW_S,
    cut_off,
    field_assignment,
    gravity_assignment,
)
from twinangle.plausibility.levelled import vertical_of
from twinangle.plausibility.outcome import Outcome, Subject, not_tested
from twinangle.plausibility.stood_still import MOST_MOVING_DEG_S, quietest
from twinangle.plausibility.turned_back import scatter_by_scale
from twinangle.signals.recording import Array, InertialRecording
from twinangle.thresholds import told_apart
from twinangle.wording import count

TEST, SCALE, DIP = "magnetometer", "gyroscope scale", "dip"
SCALES = np.array([0.5, 0.65, 0.8, 0.9, 1.0, 1.1, 1.2, 1.4, 1.7, 2.0])
SCALE_WARNED, SCALE_REFUSED = 0.08, 0.15
BLUNT_WARNED, BLUNT_REFUSED = 0.18, 0.25
SHARP, BLIND = 4.0, 1.3
"""Distance of the scale from 1. Where scales 0.2 off scatter at least 4 times as much as the best,
honest recordings stay within 0.05; elsewhere, over iron or with few turns, within 0.12. Nothing
is judged where scales 0.2 off scatter less than 1.3 times as much: over strong iron (20 µT) an
honest scale came out as 0.81."""
DIP_WARNED_DEG, DIP_REFUSED_DEG = 8.0, 20.0
_FLOOR = 1e-4  # a hundredth of the field's norm, squared
QUIET_S = (5.0, 2.0, 1.0)  # as long as may be: of a second, sway is left in
_SEGMENTS = ("proximal", "distal")


def magnetometer(evidence: Evidence) -> tuple[Outcome, ...]:
    """Test each magnetometer's axes, each gyroscope's scale by it, and the dips of both."""
    pair = evidence.pair
    if pair is None or (pair.proximal.magnetometer is None and pair.distal.magnetometer is None):
        return tuple(
            not_tested(name, "both sensors", "the wearable gives no magnetometer.")
            for name in (TEST, SCALE, DIP)
        )
    found = [_axes(evidence, getattr(pair, _SEGMENTS[k]), k) for k in range(2)]
    scales = [_scale(evidence, getattr(pair, _SEGMENTS[k]), k, found[k].verdict) for k in range(2)]
    return (*found, *scales, _dips(evidence, [each.verdict for each in found]))


def _axes(evidence: Evidence, sensor: InertialRecording, k: int) -> Outcome:
    subject: Subject = "distal sensor" if k else "proximal sensor"
    if sensor.magnetometer is None:
        return not_tested(TEST, subject, "the sensor has no magnetometer.")
    found, by_gravity = field_assignment(sensor), gravity_assignment(sensor)
    if not np.isfinite(found.ratio):
        return not_tested(
            TEST, subject, f"the sensor turns enough in {count(found.n_windows, 'window')} only."
        )
    if not found.doubtful:
        return Outcome(TEST, subject, "consistent", found.ratio, found.limits[0])
    if by_gravity.contradicts or cut_off(evidence, k):
        why = "contradicts gravity as well" if by_gravity.contradicts else "is saturated"
        return not_tested(TEST, subject, f"the gyroscope it is held against {why}.")
    refused = found.contradicts
    limit = found.limits[0] if refused else found.limits[1]
    value, bound = told_apart(found.ratio, limit)
    mapping = up_to_sign(found.best.T)
    reversed_ = bool(np.linalg.det(found.best) < 0)
    cause = (
        f"Read as {as_columns(mapping)} it agrees ({in_words(mapping)})"
        if not reversed_
        else "Its axes are the mirror image of the gyroscope's, which agrees with gravity"
    )
    return Outcome(
        TEST,
        subject,
        "contradicted" if refused else "doubtful",
        found.ratio,
        limit,
        said=(
            f"{sensor.source}: the magnetometer contradicts the gyroscope: turned back by it, the "
            f"field scatters {value} times as much as with other axes (limit {bound}). {cause}. "
            f"Correct the order in [wearable.{_SEGMENTS[k]}] `magnetometer`, or the signs in the "
            "file; or leave the magnetometers out and take a procedure that needs none."
        ),
    )


def _scale(evidence: Evidence, sensor: InertialRecording, k: int, axes: str) -> Outcome:
    subject: Subject = "distal sensor" if k else "proximal sensor"
    if axes != "consistent":
        return not_tested(SCALE, subject, "no magnetometer agrees with the gyroscope's axes.")
    found = field_scale(_without_bias(evidence, sensor))
    scale, sharp = found.scale, found.sharpness >= SHARP
    if found.sharpness < BLIND:
        shown, needed = told_apart(found.sharpness, BLIND)
        why = (
            f"the field scatters {shown} times as much with a scale 0.2 off ({needed} times is "
            "needed): there are too few turns, or too much iron near by."
        )
        return not_tested(SCALE, subject, why)
    most = SCALE_REFUSED if sharp else BLUNT_REFUSED
    allowed = SCALE_WARNED if sharp else BLUNT_WARNED
    off = abs(scale - 1.0)
    if off <= allowed:
        return Outcome(SCALE, subject, "consistent", scale, 1.0 + most)
    if cut_off(evidence, k):
        return not_tested(SCALE, subject, "the sensor is saturated, which is told apart.")
    refused = off > most
    limit = 1.0 + np.copysign(most if refused else allowed, scale - 1.0)
    value, bound = told_apart(scale, float(limit), 2)
    return Outcome(
        SCALE,
        subject,
        "contradicted" if refused else "doubtful",
        scale,
        float(limit),
        said=(
            f"{sensor.source}: the magnetic field stands still when the gyroscope's rates are "
            f"multiplied by {value} (limit {bound}): its scale is wrong by "
            f"{100 * (1 / scale - 1):+.0f} %. Check its unit and range setting, or calibrate it."
        ),
    )


def _without_bias(evidence: Evidence, sensor: InertialRecording) -> InertialRecording:
    """Return the sensor with its mean rate over the quietest seconds taken off, where it rests.

    A bias of a few degrees a second turns the field back wrongly, and looks like a scale.
    """
    assert evidence.pair is not None
    time_s = sensor.time_s
    for length_s in QUIET_S:
        found = quietest(evidence.pair, length_s)
        if found is not None and found[1] <= MOST_MOVING_DEG_S:
            still = (time_s >= found[0].start_s) & (time_s <= found[0].end_s)
            bias = np.nanmean(sensor.gyroscope[still], axis=0)
            return replace(sensor, gyroscope=sensor.gyroscope - bias)
    return sensor


@dataclass(frozen=True, slots=True)
class FieldScale:
    """The factor of the gyroscope's rates at which the turned field scatters least."""

    scale: float
    sharpness: float  # how many times as much it scatters, at least, at factors 0.2 off


def field_scale(sensor: InertialRecording) -> FieldScale:
    """Find the factor of the gyroscope's rates that makes the turned field scatter least.

    The least of a coarse grid, then the vertex of the parabola through it and its neighbours.
    """
    field = sensor.magnetometer
    assert field is not None
    unit = field / np.nanmedian(np.linalg.norm(field, axis=1))

    def cost_of(scales: Array) -> Array:
        found = scatter_by_scale(sensor.gyroscope, unit, sensor.rate_hz, FIELD_WINDOW_S, scales)
        return np.asarray(np.exp(np.log(found + _FLOOR).mean(axis=0)))

    cost = cost_of(SCALES)
    best = int(np.clip(np.argmin(cost), 1, SCALES.size - 2))
    near = slice(best - 1, best + 2)
    scale = float(np.clip(_vertex(SCALES[near], cost[near]), SCALES[0], SCALES[-1]))
    low, at, high = cost_of(scale + np.array([-0.2, 0.0, 0.2]))
    return FieldScale(scale, float(min(low, high) / at))


def _vertex(x: Array, y: Array) -> float:
    square, slope, _ = np.polyfit(x, y, 2)
    return float(-slope / (2 * square)) if square > 0 else float(x[np.argmin(y)])


def _dips(evidence: Evidence, axes: list[str]) -> Outcome:
    if axes != ["consistent", "consistent"]:
        return not_tested(DIP, "both sensors", "it takes two magnetometers that agree with theirs.")
    assert evidence.pair is not None
    dips = [dip_deg(getattr(evidence.pair, name)) for name in _SEGMENTS]
    apart = abs(dips[1] - dips[0])
    if not np.isfinite(apart):
        return not_tested(DIP, "both sensors", "the vertical is not known.")
    if apart <= DIP_WARNED_DEG:
        return Outcome(DIP, "both sensors", "consistent", apart, DIP_REFUSED_DEG, "deg")
    refused = apart > DIP_REFUSED_DEG
    limit = DIP_REFUSED_DEG if refused else DIP_WARNED_DEG
    value, bound = told_apart(apart, limit)
    turned = abs(dips[0] + dips[1]) < DIP_WARNED_DEG
    cause = (
        "One dips as much as the other rises: one accelerometer or one magnetometer has the wrong "
        "sign on all three axes"
        if turned
        else "A magnetometer is badly calibrated or beside iron, or an accelerometer is"
    )
    return Outcome(
        DIP,
        "both sensors",
        "contradicted" if refused and turned else "doubtful",
        apart,
        limit,
        "deg",
        f"the field dips by {dips[0]:.0f}° at the proximal and {dips[1]:.0f}° at the distal "
        f"sensor, {value}° apart (limit {bound}°), where one field has one dip. {cause}.",
    )


def dip_deg(sensor: InertialRecording) -> float:
    """Return the median angle of the field below the sensor's horizontal, in degrees."""
    field, up = sensor.magnetometer, vertical_of(sensor)
    assert field is not None
    known = np.isfinite(field).all(axis=1) & np.isfinite(up).all(axis=1)
    known &= (field != 0.0).any(axis=1)  # a row of zeros points nowhere
    if not known.any():
        return float("nan")
    rise = np.sum(field[known] * up[known], axis=1) / np.linalg.norm(field[known], axis=1)
    return float(-np.degrees(np.arcsin(np.clip(np.median(rise), -1.0, 1.0))))
