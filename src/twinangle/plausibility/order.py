"""Which sensor is above the joint and which below it, by where the joint centre lies.

Each accelerometer feels how far it sits from the joint centre (see
:mod:`twinangle.wearable.heading.joint_centre`). In standing, the sensor of a thigh or an upper arm
is above the joint, that of a shank or forearm below it. The flexion angle of a hinge is the same
when the two are exchanged, so the angle cannot tell. An accelerometer negated as a whole turns arm
and vertical alike, so the test holds then too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from twinangle.plausibility.evidence import Evidence, masked
from twinangle.plausibility.frame import NO_SIGNALS, gravity_assignment
from twinangle.plausibility.levelled import level, vertical_of
from twinangle.plausibility.outcome import Outcome, not_tested
from twinangle.signals.recording import Array, SensorPair
from twinangle.thresholds import told_apart
from twinangle.wearable.heading.joint_centre import find_joint_centre, liveliest, shared_terms

TEST = "order"
_SURE_SE = 4.0  # standard errors, and
_SURE_M = 0.03  # metres, by which the heights must part before anything is claimed
_FEWEST_SAMPLES = 100


@dataclass(frozen=True, slots=True)
class Heights:
    """How high either sensor is above the joint centre, and the error of the difference, in m."""

    proximal_m: float
    distal_m: float
    error_m: float

    @property
    def sure_m(self) -> float:
        """By how much they must part before anything is claimed."""
        return max(_SURE_SE * self.error_m, _SURE_M)


def order(evidence: Evidence) -> tuple[Outcome, ...]:
    """Test whether the proximal sensor is above the joint and the distal one below."""
    pair = evidence.pair
    if pair is None:
        return (not_tested(TEST, "both sensors", NO_SIGNALS),)
    if evidence.static is None and evidence.joint != "knee":
        why = (
            "without neutral standing in this recording, only a knee's sensors are known to be one "
            "above the other."
        )
        return (not_tested(TEST, "both sensors", why),)
    if at_odds(pair):
        return (not_tested(TEST, "both sensors", at_odds(pair)),)
    heights = heights_of(pair, evidence)
    if heights is None:
        why = "too little of the recording is whole to find the joint centre."
        return (not_tested(TEST, "both sensors", why),)
    return (_judged(heights, evidence),)


def at_odds(pair: SensorPair) -> str:
    """Return which sensor's own axes contradict each other, as a reason; empty for none."""
    for name, sensor in (("proximal", pair.proximal), ("distal", pair.distal)):
        if gravity_assignment(sensor).contradicts:
            return f"the {name} sensor's own axes contradict each other."
    return ""


def _judged(heights: Heights, evidence: Evidence) -> Outcome:
    joint = evidence.joint
    above, below = heights.proximal_m, heights.distal_m
    between, sure = above - below, heights.sure_m
    if above > 0 > below and between > sure:
        return Outcome(TEST, "both sensors", "consistent", between, -sure, "m")
    if not (above < 0 < below and between < -sure):
        why = (
            f"by the accelerations the proximal sensor lies {above:+.2f} m and the distal one "
            f"{below:+.2f} m above the {joint}, each within its error or both on one side."
        )
        return not_tested(TEST, "both sensors", why)
    value, bound = told_apart(between, -sure, 2)
    return Outcome(
        TEST,
        "both sensors",
        "contradicted",
        between,
        -sure,
        "m",
        f"{evidence.files}: proximal and distal sensor are swapped: the proximal sensor lies "
        f"{-100 * above:.0f} cm below the {joint} and the distal one {100 * below:.0f} cm above it "
        f"(from the accelerations of the joint centre; {value} m apart, limit {bound} m). Exchange "
        "the columns of [wearable.proximal] and [wearable.distal] in the study file, or the "
        "sensors of this trial.",
    )


def heights_of(pair: SensorPair, evidence: Evidence) -> Heights | None:
    """Return the sensors' heights in standing, or over the recording where it holds none."""
    sensors = (pair.proximal, pair.distal)
    levelled = [level(sensor) for sensor in sensors]
    if levelled[0] is None or levelled[1] is None:
        return None
    terms = shared_terms(sensors, (levelled[0], levelled[1]), liveliest(*sensors))
    if terms[0].sample.size < _FEWEST_SAMPLES:
        return None
    centre = find_joint_centre(*terms)
    up = [_mean_vertical(pair, name, evidence) for name in ("proximal", "distal")]
    direction = np.concatenate([up[0], -up[1]])
    error = float(np.sqrt(direction @ centre.arm_covariance @ direction))
    above, below = up[0] @ centre.proximal_arm_m, up[1] @ centre.distal_arm_m
    return Heights(float(above), float(below), error)


def _mean_vertical(pair: SensorPair, name: str, evidence: Evidence) -> Array:
    """Return the mean direction upwards in a sensor's frame, unit."""
    sensor = getattr(pair, name)
    up = vertical_of(sensor)
    if evidence.static is not None:
        standing = np.isfinite(masked(sensor, (evidence.static,)).gyroscope).all(axis=1)
        up = up[standing] if standing.any() else up
    mean = np.nanmean(up, axis=0)
    return np.asarray(mean / np.linalg.norm(mean))
