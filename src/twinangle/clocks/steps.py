"""Samples lost in one of the files: a lag that is constant, then steps, then is constant again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from twinangle.clocks.band import BandLimited
from twinangle.signals.recording import Array

# Our own choices; what they lead to is printed by benchmarks/clock_faults.py.
REACH_S = 1.6  # the lag is looked for this far either side of the one found
LAG_STEP_S, _FINE_S = 0.02, 0.005  # of samples and lags: compared, and interpolated between
BLOCK_S = 0.4
_SCALE_S = 6.0  # of movement, which sets the scale of moving and standing
_STEEPEST = 3000e-6  # of the lines the step is held against
LEAST_PART_S = 3.0  # of either side of the step
LEAST_STEP_S = 0.025
LEAST_EVIDENCE = 5.0
_TAKEN_UP = 4.0  # strides that place, two lags and gain take up
_SPAN_S = 600.0  # a longer recording is looked at in spans of this length
_LONGEST_S = 3600.0
_BOUND = 9.0  # on a sample's cost, in usual costs
_ALIKE = 5.0  # evidence by which a lag may trail the best and still be named for being nearer
_CLEAR = 0.85  # of the most evidence, for a step at another lag to be weighed
_WITHIN = 3.0  # evidence by which other places may trail the best


@dataclass(frozen=True, slots=True)
class LagStep:
    """A step of the lag: where on the wearable's clock, and the lags before and after it."""

    time_s: float  # wearable's clock
    first_s: float  # from here …
    last_s: float  # … to here the place fits about as well
    before_s: float
    after_s: float
    evidence: float  # log likelihood ratio against the best line, one a stride
    misfit: float  # what is left with it, as a share of the mean square rate
    stride_s: float = float("nan")  # of the movement; NaN where it is not known or there are none
    size_se_s: float = float("nan")  # error of the size, on the safe side; NaN where not known

    @property
    def size_s(self) -> float:
        """Lag after the step minus lag before it."""
        return self.after_s - self.before_s


def find_step(
    wearable: BandLimited, reference: BandLimited, lag_s: float, *, stride_s: float
) -> LagStep | None:
    """Find where the lag steps, if a step fits far better than any line.

    A logger that drops samples without a gap in its times moves everything behind by what was
    lost. With e(t, l) = (a'(t) − g b'(t − l))², the rates of change compared at lag l, a step at τ
    costs Σ_{t<τ} e(t, l₁) + Σ_{t≥τ} e(t, l₂), the least over l₁, l₂ and τ, and a line the least
    over its lag and its drift (to ±3000 ppm) of Σ e(t, l + d t). Rates of change are compared
    since what a drift of the angle does to them is small. Only samples count at which the
    reference is there at every lag tried, so that no lag gains by meeting less of it.

    The step is stated when n ln(cost of the line / cost of the step) reaches 5, n the number of
    strides, and it is 25 ms or more, with 3 s at least on either side. Own rule;
    benchmarks/clock_faults.py prints what it finds and how often it errs.

    Parameters
    ----------
    wearable, reference : BandLimited
        In one band.
    lag_s : float
        The lag of the most part of the recording, or of either.
    stride_s : float
        Duration of a stride; a second counts as one where there are none.

    Returns
    -------
    LagStep or None
        None too for recordings above an hour, whose windowed lags are looked at instead.
    """
    start = max(wearable.start_s, reference.start_s + lag_s)
    end = min(wearable.end_s, reference.end_s + lag_s)
    if end - start > _LONGEST_S:
        return None
    found = []
    for first in np.arange(start, max(end - _SPAN_S / 2, start + 1e-9), _SPAN_S / 2):
        span = (float(first), min(float(first) + _SPAN_S, end))
        found.append(_within(wearable, reference, lag_s, span, stride_s))
    steps = [one for one in found if one is not None]
    return max(steps, key=lambda step: step.evidence, default=None)


def search_step(
    wearable: BandLimited,
    reference: BandLimited,
    *,
    expected_lag_s: float,
    max_lag_s: float,
    stride_s: float,
) -> LagStep | None:
    """Find a step where no lag is known: the clearest of all lags within the search.

    Where samples are lost, the right lag fits either part only, and a wrong one at which hardly
    more than one part overlaps may correlate better: so every lag is tried at which the overlap is
    half of the longest. Among k lags one fits a step by chance more easily than at one lag, and in
    few strides more easily than in many: with n strides the evidence, of (n - 4) ln instead of n
    ln, must reach 5 + ln k. On 640 honest pairs of 7 to 10 strides four steps passed without that.
    """
    a, b = wearable, reference
    lags = expected_lag_s + np.arange(-max_lag_s, max_lag_s + REACH_S, 1.5 * REACH_S)
    overlap = np.minimum(a.end_s, b.end_s + lags) - np.maximum(a.start_s, b.start_s + lags)
    some = overlap > 0.5 * float(overlap.max())
    enough = LEAST_EVIDENCE + float(np.log(max(some.sum(), 1)))
    found = []
    for lag, together_s in zip(lags[some], overlap[some], strict=True):
        step = find_step(a, b, float(lag), stride_s=stride_s)
        strides = together_s / (stride_s if np.isfinite(stride_s) else 1.0)
        if step is not None and step.evidence * (1 - _TAKEN_UP / strides) >= enough:
            found.append(step)
    return clearest(found)


def clearest(found: Sequence[LagStep | None]) -> LagStep | None:
    """Return the step that leaves least over, of the clear ones at several lags.

    Some strides off the step shows too, with less evidence, and what is left over holds the
    strides' variation. None where there is none.
    """
    steps = [one for one in found if one is not None]
    most = max((one.evidence for one in steps), default=0.0)
    clear = [one for one in steps if one.evidence >= _CLEAR * most]
    return min(clear, key=lambda step: step.misfit, default=None)


def _within(
    wearable: BandLimited,
    reference: BandLimited,
    lag_s: float,
    span: tuple[float, float],
    stride_s: float,
) -> LagStep | None:
    """Return the step within a span of the wearable's clock."""
    start, end = span
    if not end - start > 2 * LEAST_PART_S:
        return None
    time: Array = np.asarray(start + LAG_STEP_S * np.arange(int((end - start) / LAG_STEP_S) + 1))
    starts = np.arange(0, time.size, round(BLOCK_S / LAG_STEP_S))
    lags, by_block, power = costs_by_block(wearable, reference, time, lag_s, starts)
    if by_block.size == 0:
        return None
    stride = stride_s if np.isfinite(stride_s) else 1.0
    moving = moving_blocks(wearable.at(time)[1], starts, stride)
    by_block = np.where(moving, by_block, 0.0)
    strides = float(moving.mean()) * (end - start) / stride
    fine = np.arange(0, (lags.size - 1) * LAG_STEP_S + 1e-9, _FINE_S)
    table = np.maximum(scipy.interpolate.CubicSpline(lags - lags[0], by_block)(fine), 0.0)
    place, first, second, stepped = _likely_step(
        table, round(REACH_S / _FINE_S), float(np.exp(_ALIKE / strides))
    )
    if abs(fine[second] - fine[first]) < LEAST_STEP_S:
        return None
    constant = float(table.sum(axis=1).min())
    if strides * np.log(max(constant, 1e-12) / max(stepped, 1e-12)) < LEAST_EVIDENCE:
        return None
    straight = min(constant, _best_line(table, time[starts]))
    evidence = strides * float(np.log(max(straight, 1e-12) / max(stepped, 1e-12)))
    if evidence < LEAST_EVIDENCE:
        return None
    low, high, at = _where(table, place, first, second, stepped, strides)
    before, before_var = _refined(table[:, :place].sum(axis=1), first, stepped, strides)
    after, after_var = _refined(table[:, place:].sum(axis=1), second, stepped, strides)
    edges = np.append(time[starts], time[-1])
    return LagStep(
        time_s=float(edges[at]),
        first_s=float(edges[low]),
        last_s=float(edges[high]),
        before_s=float(lags[0] + fine[first]) + before,
        after_s=float(lags[0] + fine[second]) + after,
        evidence=evidence,
        misfit=stepped / max(power, 1e-12),
        stride_s=stride_s,
        size_se_s=float(np.sqrt(before_var + after_var)),
    )


def _refined(cost: Array, row: int, total: float, strides: float) -> tuple[float, float]:
    """Return how far from a row of lags the least cost lies, s, and its variance, s².

    The vertex of the parabola through three lags. With n strides the log likelihood is
    −n/2 ln C, C the cost of both parts, so that the lag's variance is 2 C / (n C''), C'' the
    parabola's curvature (the usual variance of a maximum-likelihood estimate, from the Hessian).
    That a stride counts once is on the safe side: on 150 simulated walks of 40 to 120 s the size
    of the step was off by 1.3 ms in the median, and by less than its standard error in 90 %.
    """
    if not 0 < row < cost.size - 1:
        return 0.0, float("nan")
    below, least, above = cost[row - 1 : row + 2]
    bend = float(below - 2 * least + above)
    if not bend > 0:
        return 0.0, float("nan")
    vertex = float(np.clip(0.5 * (below - above) / bend, -0.5, 0.5))
    return vertex * _FINE_S, 2 * total * _FINE_S**2 / (max(strides, 1.0) * bend)


def costs_by_block(
    wearable: BandLimited,
    reference: BandLimited,
    time: Array,
    lag_s: float,
    starts: NDArray[np.int64],
    *,
    reach_s: float = REACH_S,
) -> tuple[Array, Array, float]:
    """Return the lags tried (m,), the sum of e(t, l) over each block at each, and that of a'²."""
    reach = round(reach_s / LAG_STEP_S)
    lags: Array = np.asarray(lag_s + LAG_STEP_S * np.arange(-reach, reach + 1))
    wide = time[0] - lag_s + LAG_STEP_S * np.arange(-reach, time.size + reach)
    rate, seen = wearable.at(time)[1], reference.at(wide)[1]
    moved = np.array(sliding_window_view(seen, time.size)[::-1])  # the largest lag sees the first
    known = np.isfinite(rate) & np.isfinite(moved).all(axis=0)
    rate = np.where(known, rate, 0.0)
    moved[:, ~known] = 0.0
    power = np.sum(moved**2, axis=1)
    product = moved @ rate
    best = int(np.argmax(product / np.sqrt(np.maximum(power, 1e-12))))
    if not power[best] > 0 or not product[best] > 0:
        return lags, np.zeros((0, 0)), 0.0
    cost = (rate - product[best] / power[best] * moved) ** 2
    # Where samples are lost the angle jumps and its rate has a spike that fits at no lag: what a
    # sample may cost is bounded, so that no lag gains by putting the spike on the other side.
    size = np.maximum(np.add.reduceat(known.astype(np.float64), starts), 1.0)
    usual = np.quantile((np.add.reduceat(cost, starts, axis=1) / size).min(axis=0), 0.75)
    bound = max(_BOUND * float(usual), 1e-9)
    return lags, np.add.reduceat(cost / (1 + cost / bound), starts, axis=1), float(rate @ rate)


def moving_blocks(rate: Array, starts: NDArray[np.int64], stride_s: float) -> NDArray[np.bool_]:
    """Return the blocks of a stretch in which the angle moves: standing tells of no lag.

    A block counts where the mean square rate over a stride about it is a tenth of that which is
    exceeded for six seconds in all; of an unbroken walk all do. (A jump where samples are lost
    lasts less, so that it does not set the scale.)
    """
    known = np.isfinite(rate)
    power = np.add.reduceat(np.where(known, rate, 0.0) ** 2, starts)
    size = np.maximum(np.add.reduceat(known.astype(np.float64), starts), 1.0)
    width = max(round(stride_s / BLOCK_S), 1)
    over = np.convolve(power / size, np.full(width, 1.0 / width), mode="same")
    exceeded = np.sort(over)[-min(round(_SCALE_S / BLOCK_S), over.size)]
    return np.asarray(over > 0.1 * exceeded)


def _likely_step(table: Array, found: int, alike: float) -> tuple[int, int, int, float]:
    """Return the block the step is before, the two lags' rows, and the cost.

    A stride earlier or later fits the shorter part nearly as well where walking is regular. Of the
    lags whose cost is within the factor `alike` of the least, the longer part has the one nearest
    row `found` and the shorter part the one nearest to the longer part's: few samples are lost
    sooner than many.
    """
    before = np.cumsum(table, axis=1)
    after = before[:, -1:] - before
    least = int(np.ceil(LEAST_PART_S / BLOCK_S))
    allowed = slice(least - 1, table.shape[1] - least)
    before, after = before[:, allowed], after[:, allowed]
    place = int(np.argmin(before.min(axis=0) + after.min(axis=0)))
    early = place < before.shape[1] / 2  # the shorter part comes first
    longer, shorter = (after, before) if early else (before, after)
    main = _nearest(longer + shorter.min(axis=0), found, alike)
    other = _nearest(longer[main] + shorter, main, alike)
    cost = longer[main] + shorter[other]
    place = int(np.argmin(cost))
    first, second = (other, main) if early else (main, other)
    return place + least, first, second, float(cost[place])


def _nearest(cost: Array, row: int, alike: float) -> int:
    """Return the row nearest to `row` among the local minima that cost about as little as any."""
    least = cost.min(axis=1)
    padded = np.concatenate([[np.inf], least, [np.inf]])
    bottom = (least <= padded[:-2]) & (least <= padded[2:]) & (least <= alike * least.min())
    rows = np.flatnonzero(bottom)
    return int(rows[np.argmin(np.abs(rows - row))])


def _best_line(table: Array, time: Array) -> float:
    """Return the cost of the best line, its drift within ±3000 ppm."""
    elapsed = time - time.mean()
    rows, blocks = table.shape
    bend = max(float(np.abs(elapsed).max()), 1e-9)
    drifts = np.arange(-_STEEPEST, _STEEPEST + 1e-12, min(2 * _FINE_S / bend, _STEEPEST))
    best = np.inf
    column = np.arange(blocks)
    for drift in drifts:
        shift = np.rint(drift * elapsed / _FINE_S).astype(np.int64)
        low, high = max(-int(shift.min()), 0), rows - max(int(shift.max()), 0)
        if high <= low:
            continue
        index = np.arange(low, high)[:, None] + shift
        best = min(best, float(table[index, column].sum(axis=1).min()))
    return best


def _where(
    table: Array, place: int, first: int, second: int, stepped: float, strides: float
) -> tuple[int, int, int]:
    """Return the blocks between which the step lies, and the likeliest one.

    The places whose cost trails the best by less than `_WITHIN` of evidence, the lags held.
    """
    before = np.concatenate([[0.0], np.cumsum(table[first])])
    after = table[second].sum() - np.concatenate([[0.0], np.cumsum(table[second])])
    cost = before + after
    near = np.flatnonzero(strides * np.log(np.maximum(cost, 1e-12) / stepped) <= _WITHIN)
    joined = near[np.abs(near - place) <= 8]
    return int(joined.min(initial=place)), int(joined.max(initial=place)), place
