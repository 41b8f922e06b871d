"""Whether one accelerometer negated would let both sensors agree better on the joint centre.

Weaker than :mod:`twinangle.plausibility.yaw`, which needs turns: skin that moves, and a joint that
is no hinge, spoil the agreement as well. It only ever warns.
"""

from __future__ import annotations

from dataclasses import replace

from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.levelled import level
from twinangle.plausibility.order import at_odds
from twinangle.plausibility.outcome import Outcome, not_tested
from twinangle.plausibility.yaw import direction
from twinangle.signals.recording import InertialRecording, SensorPair
from twinangle.thresholds import told_apart
from twinangle.wearable.heading.joint_centre import find_joint_centre, liveliest, shared_terms

TEST = "mirror"
WARNED = 1.35
"""Misfit of the joint centre as given, over that with one accelerometer negated: simulated straight
walks with up to 3° of skin motion reach 1.21, those with one negated 0.8 to 5."""
_FEWEST_SAMPLES = 400


def mirror(evidence: Evidence) -> tuple[Outcome, ...]:
    """Compare the joint centre's misfit with that of one accelerometer negated."""
    pair = evidence.pair
    if pair is None or direction(evidence).verdict != "not tested":
        why = "the turns about the vertical tell it more surely." if pair else "no raw signals."
        return (not_tested(TEST, "both sensors", why),)
    if at_odds(pair):
        return (not_tested(TEST, "both sensors", at_odds(pair)),)
    negated = replace(pair.distal, accelerometer=-pair.distal.accelerometer)
    given, other = _misfit(pair), _misfit(SensorPair(pair.proximal, negated))
    if given is None or other is None:
        why = "too little of the recording is whole to find the joint centre."
        return (not_tested(TEST, "both sensors", why),)
    ratio = given / other
    if ratio <= WARNED:
        return (Outcome(TEST, "both sensors", "consistent", ratio, WARNED),)
    value, bound = told_apart(ratio, WARNED, 2)
    said = (
        f"{evidence.files}: the accelerations of the joint centre disagree {value} times as much "
        f"as with one accelerometer negated (limit {bound}): one may have the wrong sign on all "
        "three axes. Lay each sensor still with one axis up: a right accelerometer reads "
        "+9.81 m/s² there. A recording with turns tells more surely."
    )
    return (Outcome(TEST, "both sensors", "doubtful", ratio, WARNED, said=said),)


def _misfit(pair: SensorPair) -> float | None:
    sensors: tuple[InertialRecording, InertialRecording] = (pair.proximal, pair.distal)
    first, second = level(pair.proximal), level(pair.distal)
    if first is None or second is None:
        return None
    terms = shared_terms(sensors, (first, second), liveliest(*sensors))
    if terms[0].sample.size < _FEWEST_SAMPLES:
        return None
    return find_joint_centre(*terms).residual_m_s2
