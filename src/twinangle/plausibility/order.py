"""Which sensor is above the knee and which below it, by where the joint centre lies.

Each accelerometer feels how far it sits from the joint centre (see
:mod:`twinangle.wearable.heading.joint_centre`). On a person upright the thigh's sensor is above the
knee, the shank's below it. An accelerometer negated as a whole turns arm and vertical alike, so the
test holds then too.
"""

from __future__ import annotations

import numpy as np

from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.frame import NO_SIGNALS, REFUSED, gravity_assignment
from twinangle.plausibility.levelled import level, vertical_of
from twinangle.plausibility.outcome import Outcome, not_tested
from twinangle.signals.recording import SensorPair
from twinangle.thresholds import told_apart
from twinangle.wearable.heading.joint_centre import (
    JointCentre,
    find_joint_centre,
    liveliest,
    shared_terms,
)

TEST = "order"
CLEAR_M = 0.03  # above or below the joint by less says nothing
LEAST_RMS = 0.8  # m/s², of the acceleration that shows the arms
_FEWEST_SAMPLES = 400


def order(evidence: Evidence) -> tuple[Outcome, ...]:
    """Test whether the proximal sensor is above the knee and the distal one below."""
    pair = evidence.pair
    if pair is None:
        return (not_tested(TEST, "both sensors", NO_SIGNALS),)
    if evidence.joint != "knee":
        why = f"an {evidence.joint} may point anywhere; the test is of the knee."
        return (not_tested(TEST, "both sensors", why),)
    for sensor in (pair.proximal, pair.distal):
        if gravity_assignment(sensor).ratio > REFUSED:
            why = "a sensor's own axes contradict each other."
            return (not_tested(TEST, "both sensors", why),)
    heights = heights_m(pair)
    if heights is None:
        why = "too little of the recording is whole, or the motion is too slow to show the joint."
        return (not_tested(TEST, "both sensors", why),)
    return (_judged(heights, pair),)


def _judged(heights: tuple[float, float], pair: SensorPair) -> Outcome:
    above, below = heights
    between = above - below
    if above > CLEAR_M and below < -CLEAR_M:
        return Outcome(TEST, "both sensors", "consistent", between, -2 * CLEAR_M, "m")
    if not (above < -CLEAR_M and below > CLEAR_M):
        why = (
            f"the joint centre lies {-above:+.2f} m above the proximal and {-below:+.2f} m above "
            "the distal sensor, which decides nothing."
        )
        return not_tested(TEST, "both sensors", why)
    value, bound = told_apart(between, -2 * CLEAR_M, 2)
    files = ", ".join(dict.fromkeys((pair.proximal.source, pair.distal.source)))
    return Outcome(
        TEST,
        "both sensors",
        "contradicted",
        between,
        -2 * CLEAR_M,
        "m",
        f"{files}: the sensors seem exchanged: by the accelerations the joint centre lies "
        f"{-above:.2f} m above the sensor that is called proximal and {below:.2f} m below the one "
        f"that is called distal (proximal minus distal {value} m, limit {bound} m). Exchange "
        "[wearable.proximal] and [wearable.distal], or the two files of this trial.",
    )


def heights_m(pair: SensorPair) -> tuple[float, float] | None:
    """Return how far above the joint centre either sensor sits, median over time, in metres."""
    sensors = (pair.proximal, pair.distal)
    first, second = level(pair.proximal), level(pair.distal)
    if first is None or second is None:
        return None
    terms = shared_terms(sensors, (first, second), liveliest(*sensors))
    if terms[0].sample.size < _FEWEST_SAMPLES:
        return None
    centre: JointCentre = find_joint_centre(*terms)
    arms = (centre.proximal_arm_m, centre.distal_arm_m)
    felt = np.concatenate(
        [each.columns[:, :, :3] @ arm for each, arm in zip(terms, arms, strict=True)]
    )
    if np.sqrt(np.mean(np.sum(felt**2, axis=1))) < LEAST_RMS:
        return None
    above, below = (
        float(np.nanmedian(vertical_of(sensor) @ arm))
        for sensor, arm in zip(sensors, arms, strict=True)
    )
    return above, below
