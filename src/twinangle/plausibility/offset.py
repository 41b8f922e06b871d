"""The flexion angle by gravity held against the reference: a step tells of a slip."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from twinangle.plausibility.amplitude import LEAST_CORRELATION, LEAST_GAIN, MOST_GAIN, gain
from twinangle.plausibility.channels import sure_causes
from twinangle.plausibility.common_time import CommonTime, Hinge, common_time
from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.mounting import turned_between
from twinangle.plausibility.outcome import Outcome, Subject, Verdict, not_tested
from twinangle.signals.recording import Array
from twinangle.thresholds import told_apart

STEP, SPREAD = "offset step", "offset spread"
MOST_STEP_DEG, REFUSED_STEP_DEG = 4.0, 10.0  # 3.3° on honest recordings
MOST_SPREAD_DEG = 12.0  # 8.6° on honest recordings
_WINDOW_S = 10.0
_SIDE_S = 15.0  # of windows, that a step must have before it and after it
_LEAST_LEVEL = 0.5  # of gravity square to the axis
_FINE_S = 1.0


@dataclass(frozen=True, slots=True)
class OffsetStep:
    """A step of the wearable's flexion by gravity minus the reference."""

    time_s: float
    size_deg: float


@lru_cache(maxsize=2)
def reference_offset(evidence: Evidence) -> tuple[Outcome, ...]:
    """Hold the flexion that gravity shows in both sensors against the reference, along the trial.

    The verticals in the two sensors, by filters without magnetometer, are projected square to the
    hinge's axis in each; the angle between the projections is the flexion but for a constant,
    whatever the headings (Seel et al. 2014, Sensors 14:6891, for accelerations). Its
    difference from the reference stays where it is, unless a sensor or the reference slipped. The
    step is the largest difference of the medians of all 10 s windows before a time and after it.
    """
    found, hinge, reason = _usable(evidence)
    if found is None or hinge is None:
        return tuple(not_tested(test, "both sensors", reason) for test in (STEP, SPREAD))
    difference = offset_by_gravity(found, hinge)
    low, high = np.nanpercentile(difference, [16.0, 84.0])
    step = largest_step(found, difference)
    spread = _spread(float(high - low) / 2)
    if step is None:
        few = f"less than {2 * _SIDE_S:g} s of both instruments"
        return not_tested(STEP, "both sensors", few), spread
    told = _step(step, evidence)
    return (told, spread) if told.verdict == "consistent" else (told,)


def _usable(evidence: Evidence) -> tuple[CommonTime | None, Hinge | None, str]:
    """Return what the test needs, or why it cannot run."""
    found = common_time(evidence)
    if isinstance(found, str):
        return None, None, found
    cut = sure_causes(evidence)
    if cut:
        return None, None, f"an instrument is saturated: {cut}"
    hinge = found.hinge
    if hinge is None or hinge.correlation < LEAST_CORRELATION:
        return None, None, "the gyroscopes and the reference agree on no hinge"
    k = gain(found, hinge)
    if not LEAST_GAIN <= k <= MOST_GAIN:
        return None, None, f"the two show movements of different size ({k:.2f} times)"
    for up, axis in zip(found.upward, (hinge.proximal, hinge.distal), strict=True):
        level = np.sqrt(np.nanmean(1 - (up @ axis) ** 2)) if np.isfinite(up).any() else 0.0
        if not level > _LEAST_LEVEL:
            return None, None, "the joint's axis is too steep for gravity to tell the angle"
    return found, hinge, ""


def offset_by_gravity(found: CommonTime, hinge: Hinge) -> Array:
    """Return the flexion by gravity minus the reference, about its median, degrees, (n,)."""
    angles = [
        _about(up, axis)
        for up, axis in zip(found.upward, (hinge.proximal, hinge.distal), strict=True)
    ]
    raw = np.exp(1j * (angles[0] - angles[1] - np.radians(found.angle_deg)))
    raw = np.where(found.known, raw, np.nan)
    centred = np.degrees(np.angle(raw * np.conj(np.nanmean(raw))))
    return np.asarray(centred - np.nanmedian(centred))


def _about(up: Array, axis: Array) -> Array:
    """Return the angle of vectors about an axis, from a fixed direction square to it, rad."""
    first = np.linalg.svd(axis[None])[2][1]
    return np.asarray(np.arctan2(up @ np.cross(axis, first), up @ first))


def largest_step(found: CommonTime, difference: Array) -> OffsetStep | None:
    """Return the largest step between all that lies before a time and all after it."""
    medians = _medians(difference, int(_WINDOW_S * found.rate_hz) // 2)
    side = int(_SIDE_S / (_WINDOW_S / 2))
    best: OffsetStep | None = None
    for edge in range(side, medians.size - side + 1):
        before, after = medians[:edge], medians[edge:]
        if min(np.isfinite(before).sum(), np.isfinite(after).sum()) < side:
            continue
        size = float(np.nanmedian(after) - np.nanmedian(before))
        if best is None or abs(size) > abs(best.size_deg):
            best = OffsetStep(found.time_s[0] + edge * _WINDOW_S / 2, size)
    return None if best is None else _placed(found, difference, best)


def _medians(values: Array, size: int) -> Array:
    blocks = values[: values.size // size * size].reshape(-1, size)
    known = np.isfinite(blocks)
    whole = known.all(axis=1)
    found = np.full(blocks.shape[0], np.nan)
    if whole.any():
        found[whole] = np.median(blocks[whole], axis=1)
    for k in np.flatnonzero(~whole & (known.mean(axis=1) >= 0.5)):
        found[k] = np.nanmedian(blocks[k])
    return found


def _placed(found: CommonTime, difference: Array, step: OffsetStep) -> OffsetStep:
    """Return the step with its time found to a second: where two levels fit best."""
    fine = _medians(difference, int(_FINE_S * found.rate_hz))
    time = found.time_s[0] + _FINE_S * np.arange(fine.size)
    before, after = np.nanmedian(fine[time < step.time_s]), np.nanmedian(fine[time >= step.time_s])
    cost = np.nan_to_num(np.abs(fine - before) - np.abs(fine - after))
    edge = int(np.argmin(np.concatenate([[0.0], np.cumsum(cost)])))
    return OffsetStep(float(found.time_s[0] + _FINE_S * edge), step.size_deg)


def _step(step: OffsetStep, evidence: Evidence) -> Outcome:
    size = abs(step.size_deg)
    limit = REFUSED_STEP_DEG if size > REFUSED_STEP_DEG else MOST_STEP_DEG
    if size <= MOST_STEP_DEG:
        return Outcome(STEP, "both sensors", "consistent", size, limit, "deg")
    subject, who = _slipped(step, evidence)
    shown, bound = told_apart(size, limit)
    said = (
        f"near {step.time_s:.0f} s of the wearable's clock the difference between the flexion that "
        f"gravity shows in both sensors and the reference steps by {shown}° (more than {bound}°): "
        f"{who} slipped or was put on anew. Analyse the part before and the part after as trials "
        "with a neutral standing of their own, or leave one out."
    )
    verdict: Verdict = "contradicted" if size > REFUSED_STEP_DEG else "doubtful"
    return Outcome(STEP, subject, verdict, size, limit, "deg", said)


def _slipped(step: OffsetStep, evidence: Evidence) -> tuple[Subject, str]:
    """Return which instrument slipped, as far as each sensor's own mounting tells."""
    turned = turned_between(evidence, step.time_s)
    if turned is None:
        return "both sensors", "one of the sensors or the reference"
    proximal, distal = turned
    size = abs(step.size_deg)
    if max(turned) < 0.5 * size:
        return "reference", "the reference (each sensor sits as before in its own frame)"
    if proximal > 1.5 * distal:
        return "proximal sensor", f"the proximal sensor (it is turned by {proximal:.0f}° after it)"
    if distal > 1.5 * proximal:
        return "distal sensor", f"the distal sensor (it is turned by {distal:.0f}° after it)"
    return "both sensors", "one of the sensors or the reference"


def _spread(half: float) -> Outcome:
    if half <= MOST_SPREAD_DEG:
        return Outcome(SPREAD, "both sensors", "consistent", half, MOST_SPREAD_DEG, "deg")
    shown, bound = told_apart(half, MOST_SPREAD_DEG)
    said = (
        f"the flexion that gravity shows in both sensors and the reference differ by {shown}° up "
        f"and down (half of the middle 68 %; more than {bound}°), which no soft tissue does: an "
        "accelerometer with a wrong sign, scale or without gravity, or a sensor that is loose."
    )
    return Outcome(SPREAD, "both sensors", "doubtful", half, MOST_SPREAD_DEG, "deg", said)
