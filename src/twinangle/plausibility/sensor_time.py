"""Whether both sensors of one joint turn about the vertical at the same time.

A person's turns reach thigh and shank at once. Where one sensor's samples come late, as when its
radio buffered them or its column was shifted in a spreadsheet, the turns tell. Strides do not:
another stride fits as well, and the knee's axial rotation lets the shank turn earlier or later in
each than the thigh. Our own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.frame import NO_SIGNALS, cut_off
from twinangle.plausibility.levelled import turns
from twinangle.plausibility.order import at_odds
from twinangle.plausibility.outcome import Outcome, Verdict, not_tested
from twinangle.plausibility.yaw import LEAST_SPREAD_DEG_S
from twinangle.signals.recording import Array, SensorPair
from twinangle.thresholds import told_apart

TEST = "sensors' times"
MOST_APART_S, REFUSED_APART_S = 0.12, 0.2
"""Lag between the two: the open walks reach 0.08 s."""
LEAST_CORRELATION = 0.95
LEFT_OVER = 0.5
"""Share of 1 − r that must be left at that lag for it to count."""
_REACH_S, _STEP_S = 1.0, 0.02
_LEAST_S = 10.0


@dataclass(frozen=True, slots=True)
class Apart:
    """The lag of the distal sensor's turns after the proximal one's."""

    lag_s: float
    there: float  # correlation at that lag
    here: float  # correlation as the samples stand


def sensors_times(evidence: Evidence) -> tuple[Outcome, ...]:
    """Test whether the two rates about the vertical are nearest at no lag.

    The rates are smoothed over 3 s, so that what differs within a stride is left out, and
    correlated at lags of up to 1 s.
    """
    pair = evidence.pair
    if pair is None:
        return (not_tested(TEST, "both sensors", NO_SIGNALS),)
    reason = at_odds(pair) or _saturated(evidence)
    found = None if reason else turns_apart(pair)
    if found is None:
        why = reason or (
            f"the rate about the vertical varies by less than {LEAST_SPREAD_DEG_S:g} °/s (SD), or "
            f"less than {_LEAST_S:g} s are whole."
        )
        return (not_tested(TEST, "both sensors", why),)
    return (_judged(found, evidence),)


def _saturated(evidence: Evidence) -> str:
    for k, name in enumerate(("proximal", "distal")):
        if cut_off(evidence, k):
            return f"the {name} gyroscope is saturated, and its vertical is not sure."
    return ""


def turns_apart(pair: SensorPair) -> Apart | None:
    """Return at which lag the two turn alike; None where they hardly turn."""
    rate_hz = pair.proximal.rate_hz
    first, second = turns(pair)
    known = np.isfinite(first) & np.isfinite(second)
    if known.sum() < _LEAST_S * rate_hz:
        return None
    if np.degrees(min(first[known].std(), second[known].std())) <= LEAST_SPREAD_DEG_S:
        return None
    reach, step = round(_REACH_S * rate_hz), max(1, round(_STEP_S * rate_hz))
    shifts = np.arange(-(reach // step), reach // step + 1) * step
    one, other = (_powers(values - values[known].mean()) for values in (first, second))
    values = np.array([_correlation(one, other, int(shift)) for shift in shifts])
    best = int(np.argmax(values))
    return Apart(float(shifts[best] / rate_hz), float(values[best]), float(values[shifts == 0][0]))


def _powers(values: Array) -> Array:
    """Return the powers 0, 1 and 2 of what is known, (3, n): 0 where a sample is missing."""
    known = np.isfinite(values)
    filled = np.where(known, values, 0.0)
    return np.stack([known, filled, filled**2])


def _correlation(first: Array, second: Array, shift: int) -> float:
    """Return the correlation with the second read `shift` samples later; −1 where too few meet.

    Of the powers that :func:`_powers` gives: their products hold every sum over what both know.
    """
    n = first.shape[1]
    one = first[:, max(-shift, 0) : n - max(shift, 0)]
    other = second[:, max(shift, 0) : n + min(shift, 0)]
    sums = one @ other.T
    count = sums[0, 0]
    if count < 0.5 * first[0].sum():
        return -1.0
    product = sums[1, 1] - sums[1, 0] * sums[0, 1] / count
    squares = (sums[2, 0] - sums[1, 0] ** 2 / count) * (sums[0, 2] - sums[0, 1] ** 2 / count)
    return float(product / np.sqrt(squares))


def _judged(found: Apart, evidence: Evidence) -> Outcome:
    size = abs(found.lag_s)
    clear = found.there > LEAST_CORRELATION and 1 - found.there < LEFT_OVER * (1 - found.here)
    if size <= MOST_APART_S or not clear:
        lag = size if clear else 0.0
        return Outcome(TEST, "both sensors", "consistent", lag, REFUSED_APART_S, "s")
    refused = size > REFUSED_APART_S
    limit = REFUSED_APART_S if refused else MOST_APART_S
    value, bound = told_apart(size, limit, 2)
    late, other = ("distal", "proximal") if found.lag_s > 0 else ("proximal", "distal")
    said = (
        f"{evidence.files}: the {late} sensor turns {value} s after the {other} one (limit {bound} "
        f"s): their rates about the vertical correlate at {found.there:.3f} there, at "
        f"{found.here:.3f} as the samples stand, where one person turns with both at once. The "
        f"{late} sensor's samples are late: its clock, its start or its columns are shifted. Bring "
        "both to one clock, and export the files again."
    )
    verdict: Verdict = "contradicted" if refused else "doubtful"
    return Outcome(TEST, "both sensors", verdict, size, limit, "s", said)
