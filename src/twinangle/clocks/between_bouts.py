"""Samples lost while nobody walked: the lag of one bout of walking against that of the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from twinangle.clocks.band import BandLimited
from twinangle.clocks.clockfit import ClockLine
from twinangle.clocks.stepped import UNDECIDED, Stepped, StepWarned
from twinangle.clocks.steps import (
    BLOCK_S,
    LAG_STEP_S,
    LEAST_EVIDENCE,
    LEAST_STEP_S,
    LagStep,
    costs_by_block,
    moving_blocks,
)
from twinangle.clocks.windows import LineStep
from twinangle.signals.recording import Array

# Our own choices; tests/clocks/test_steps_between_bouts.py has what they lead to.
_PART_S = 60.0  # of walking on either side of the rest, at least
_FEWEST_STRIDES = 4
_FINE_S = 0.005
_REACH_S = 5.0  # either side of the line
_MISFITS = 5.0  # a bout that fits so much worse than the other has its own lag farther off


@dataclass(frozen=True, slots=True)
class _Bout:
    """One side of the rest: when it walks, on the wearable's clock, and at which lag."""

    first_s: float
    last_s: float
    lag_s: float
    evidence: float  # against every lag that is not next to it, one a stride
    misfit: float  # what is left at that lag, as a share of the mean square rate

    @property
    def middle_s(self) -> float:
        return 0.5 * (self.first_s + self.last_s)


def lost_between(
    wearable: BandLimited,
    reference: BandLimited,
    line: ClockLine,
    step: LineStep,
    *,
    window_s: float,
    stride_s: float,
) -> StepWarned | None:
    """Say when and about how much was lost between two bouts of walking.

    Windowed lags follow the line within 0.4 strides, so that a loss of a stride less 0.1 s shows
    as one of 0.1 s in the other file. Here each bout as a whole is laid at every lag within 5 s
    of the line: the sum of squared differences of the rates of change, as in
    :func:`twinangle.clocks.steps.find_step`, has its least at the bout's own lag, which no other
    stride reaches, as strides differ. The step is the difference of the two lags less what the
    drift does between them.

    Parameters
    ----------
    wearable, reference : BandLimited
        In one band.
    line : ClockLine
        That was fitted to both sides.
    step : LineStep
        Between two windows of the reference's clock.
    window_s : float
        Length of the windows.
    stride_s : float
        Duration of a stride.

    Returns
    -------
    StepWarned or None
        None where a bout is shorter than 4 strides, its own lag does not beat every other by an
        evidence of 5 (n ln of the costs' ratio, n strides), one bout fits 5 times worse than the
        other, as where more than 5 s were lost, or the step is below 25 ms.
    """
    reach = max(_PART_S, window_s)
    spans = (
        (step.before_s - reach, step.before_s + window_s / 2),
        (step.after_s - window_s / 2, step.after_s + reach),
    )
    middle = 0.5 * (step.before_s + step.after_s)
    bouts = []
    for first, last in spans:
        inside = (first, min(last, middle)) if last < step.after_s else (max(first, middle), last)
        found = _bout(wearable, reference, line, inside, stride_s)
        if found is None or found.evidence < LEAST_EVIDENCE:
            return None
        bouts.append(found)
    before, after = bouts
    size = after.lag_s - before.lag_s - step.drift * (after.middle_s - before.middle_s)
    alike = max(before.misfit, after.misfit) <= _MISFITS * min(before.misfit, after.misfit)
    if abs(size) < LEAST_STEP_S or not alike:
        return None
    sources = (wearable.source, reference.source)
    place = (before.last_s, after.first_s)
    lags = (before.lag_s, before.lag_s + size)
    lost = LagStep(sum(place) / 2, *place, *lags, float("nan"), float("nan"))
    return StepWarned(_told(before, after, size, sources), Stepped(lost, sources))


def _bout(
    wearable: BandLimited,
    reference: BandLimited,
    line: ClockLine,
    span: tuple[float, float],
    stride_s: float,
) -> _Bout | None:
    """Return what walks within a span of the reference's clock, with its own lag."""
    first, last = (
        float(value) for value in np.asarray(span) + line.lag_s
        + line.drift * (np.asarray(span) - line.centre_s)
    )  # fmt: skip
    first, last = max(first, wearable.start_s), min(last, wearable.end_s)
    if not last - first > _FEWEST_STRIDES * stride_s:
        return None
    time: Array = np.asarray(first + LAG_STEP_S * np.arange(int((last - first) / LAG_STEP_S) + 1))
    starts = np.arange(0, time.size, round(BLOCK_S / LAG_STEP_S))
    lag_s = line.lag_s + line.drift * (float(np.mean(span)) - line.centre_s)
    lags, by_block, power = costs_by_block(
        wearable, reference, time, lag_s, starts, reach_s=_REACH_S
    )
    moving = np.flatnonzero(moving_blocks(wearable.at(time)[1], starts, stride_s))
    strides = moving.size * BLOCK_S / stride_s
    if by_block.size == 0 or strides < _FEWEST_STRIDES:
        return None
    fine = np.arange(lags[0], lags[-1], _FINE_S)
    cost = np.maximum(
        scipy.interpolate.CubicSpline(lags, by_block[:, moving].sum(axis=1))(fine), 1e-12
    )
    best = int(np.argmin(cost))
    apart = np.abs(fine - fine[best]) > 0.4 * stride_s
    rival = float(cost[apart].min()) if apart.any() else float("inf")
    return _Bout(
        float(time[starts[moving[0]]]),
        float(time[min(starts[moving[-1]] + round(BLOCK_S / LAG_STEP_S), time.size - 1)]),
        float(fine[best]),
        strides * float(np.log(rival / cost[best])),
        float(cost[best]) / max(power, 1e-12),
    )


def _told(before: _Bout, after: _Bout, size_s: float, sources: tuple[str, str]) -> str:
    """Return the warning; what the reference loses makes the lag larger behind it."""
    wearable, reference = sources
    lost, other = (reference, wearable) if size_s > 0 else (wearable, reference)
    size = abs(size_s)
    shifts = [before.lag_s if name == reference else 0.0 for name in (lost, other)]
    first, last = (
        f"between {before.last_s - shift:.0f} and {after.first_s - shift:.0f} s on its own clock"
        for shift in shifts
    )
    return (
        f"samples may be missing or repeated between two bouts of walking: either {lost} lost "
        f"about {size:.2f} s {first}, or {other} repeated as much or had its clock set ahead "
        f"{last}, as the lag is {before.lag_s:+.2f} s in the bout before and "
        f"{after.lag_s:+.2f} s in the one behind, more than the clocks drift. {UNDECIDED} One "
        "straight line was laid through both, so that neither is where it should be: analyse the "
        "parts as two rows of the trials table, one with `end_s` = "
        f"{before.last_s + 1:.0f}, the other, under another `trial`, with `start_s` = "
        f"{after.first_s - 1:.0f} (on the wearable's clock)."
    )
