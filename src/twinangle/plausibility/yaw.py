"""Two sensors on one leg or arm turn about the vertical together.

Each sensor's rate about its own vertical needs no heading, so the two can be compared as they are.
An accelerometer that is negated on all three axes points its vertical down and reverses the rate:
no test of one sensor can see that. Our own; limits by `benchmarks/plausibility.py`.
"""

from __future__ import annotations

import numpy as np

from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.frame import NO_SIGNALS, cut_off
from twinangle.plausibility.levelled import WINDOW_S, turns, vertical_rate
from twinangle.plausibility.order import at_odds
from twinangle.plausibility.outcome import AT_FAULT, Outcome, not_tested
from twinangle.signals.recording import Array, SensorPair
from twinangle.thresholds import told_apart

TEST, SCALE = "yaw", "yaw scale"
STEP_S = 1.2  # about a stride, from one of the means that are compared to the next
LEAST_SPREAD_DEG_S = 5.0
FEWEST_MEANS = 8
LEFT_OUT = 0.1
REFUSED_BELOW, WARNED_BELOW = 0.3, 0.7
"""Correlation of the two rates: honest recordings reach 0.9 and more."""
SCALE_MEAN_S = 3.0
LEAST_S = 60.0
SCALE_OFF, SCALE_ERRORS = 0.07, 4.0
"""The slope of one rate on the other is doubted beyond 0.07 and four standard errors of one."""


def yaw(evidence: Evidence) -> tuple[Outcome, ...]:
    """Test whether both sensors turn about the vertical alike, and by the same amount."""
    pair = evidence.pair
    if pair is None:
        return tuple(not_tested(name, "both sensors", NO_SIGNALS) for name in (TEST, SCALE))
    first = direction(evidence)
    if first.verdict == "consistent":
        second = _size(_means(pair, SCALE_MEAN_S), evidence)
    else:
        why = "the two do not turn alike, or too little."
        second = not_tested(SCALE, "both sensors", why)
    known = _known_cause(evidence, pair) if {first.verdict, second.verdict} & AT_FAULT else ""
    return tuple(
        not_tested(each.test, "both sensors", known) if known and each.verdict in AT_FAULT else each
        for each in (first, second)
    )


def _known_cause(evidence: Evidence, pair: SensorPair) -> str:
    """Return what is told already that would make the two disagree; empty where nothing is."""
    if at_odds(pair):
        return at_odds(pair)
    for k, name in enumerate(("proximal", "distal")):
        if cut_off(evidence, k):
            return f"the {name} gyroscope is saturated, and its vertical is not sure."
    return ""


def _means(pair: SensorPair, length_s: float) -> Array:
    """Return the means of both over whole stretches, (2, m) rad/s, those with gaps left out."""
    length = round(length_s * pair.proximal.rate_hz)
    both = np.stack([vertical_rate(sensor) for sensor in (pair.proximal, pair.distal)])
    whole = both.shape[1] // length * length
    means: Array = both[:, :whole].reshape(2, -1, length).mean(axis=2)
    return np.asarray(means[:, np.isfinite(means).all(axis=0)])


def direction(evidence: Evidence) -> Outcome:
    """Test whether both sensors turn about the vertical to the same side."""
    assert evidence.pair is not None
    means = turns(evidence.pair)[:, :: round(STEP_S * evidence.pair.proximal.rate_hz)]
    means = means[:, np.isfinite(means).all(axis=0)]
    if means.shape[1] < FEWEST_MEANS:
        why = f"fewer than {FEWEST_MEANS} stretches of {WINDOW_S:g} s are whole."
        return not_tested(TEST, "both sensors", why)
    spread = float(np.degrees(means.std(axis=1)).min())
    if spread <= LEAST_SPREAD_DEG_S:
        value, bound = told_apart(spread, LEAST_SPREAD_DEG_S)
        return not_tested(
            TEST,
            "both sensors",
            f"the rate about the vertical varies by {value} °/s (SD) only; more than {bound} °/s "
            "is needed, as where the person turns.",
        )
    correlation = _correlation(means)
    if correlation >= WARNED_BELOW:
        return Outcome(TEST, "both sensors", "consistent", correlation, REFUSED_BELOW)
    refused = correlation < REFUSED_BELOW
    limit = REFUSED_BELOW if refused else WARNED_BELOW
    value, bound = told_apart(correlation, limit, 2)
    return Outcome(
        TEST,
        "both sensors",
        "contradicted" if refused else "doubtful",
        correlation,
        limit,
        said=(
            f"{evidence.files}: the two sensors do not turn about the vertical together: their "
            f"rates correlate at {value} (limit {bound}). {_cause(correlation)}"
        ),
    )


def _correlation(means: Array) -> float:
    """Return the larger of two correlations: over all stretches, and over nine tenths of them.

    Left out are those in which the two differ most: one stretch that is not of this recording, such
    as a filled-in end, must not refuse it. Where both refuse it, the first is what is told.
    """
    apart = np.abs(means[0] - means[1])
    kept = np.argsort(apart)[: apart.size - max(1, round(LEFT_OUT * apart.size))]
    parts = (means, means[:, kept])
    whole, most = (float(np.corrcoef(part[0], part[1])[0][1]) for part in parts)
    return whole if max(whole, most) < REFUSED_BELOW else max(whole, most)


def _cause(correlation: float) -> str:
    if correlation < -REFUSED_BELOW:
        return (
            "They run against each other, as where one accelerometer, or one gyroscope and the "
            "handedness of its frame, has the wrong sign on all three axes. Which of the two "
            "sensors it is, walking cannot tell: one such sensor moves as on the mirror image of "
            "the leg. Lay each sensor still with one axis up: a right accelerometer reads "
            "+9.81 m/s² there. Then correct its signs in the file."
        )
    return (
        "The sensors may be of two people, of two recordings, on two clocks, or one of them may "
        "have wrong axes. Check the pair of files, and the axes of both."
    )


def _size(means: Array, evidence: Evidence) -> Outcome:
    held_s = means.shape[1] * SCALE_MEAN_S
    if held_s < LEAST_S:
        held, least = told_apart(held_s, LEAST_S, 0)
        why = f"it takes {least} s without gaps; {held} s are there."
        return not_tested(SCALE, "both sensors", why)
    slope = _slope(means)
    left_out = np.array([_slope(np.delete(means, k, axis=1)) for k in range(means.shape[1])])
    n = means.shape[1]
    error = float(np.sqrt((n - 1) / n * np.sum((left_out - left_out.mean()) ** 2)))
    allowed = max(SCALE_OFF, SCALE_ERRORS * error)
    limit = 1.0 + float(np.copysign(allowed, slope - 1.0))
    if abs(slope - 1.0) <= allowed:
        return Outcome(SCALE, "both sensors", "consistent", slope, limit)
    value, bound = told_apart(slope, limit, 2)
    return Outcome(
        SCALE,
        "both sensors",
        "doubtful",
        slope,
        limit,
        said=(
            f"{evidence.files}: about the vertical the distal sensor turns {value} times as far as "
            f"the proximal one (limit {bound}), where both turn alike: one gyroscope's scale is "
            "wrong, or one sensor's axes or vertical are. Check units and range settings of both."
        ),
    )


def _slope(means: Array) -> float:
    """Return the slope of the second on the first by total least squares."""
    axis = np.linalg.eigh(np.cov(means))[1][:, -1]
    return float(axis[1] / axis[0])
