"""Which stride is it? Rival lags weighed by a likelihood ratio over strides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from twinangle.clocks.band import BandLimited, grid_times
from twinangle.clocks.clockfit import autoregression, whiten
from twinangle.clocks.search import Search, separation
from twinangle.clocks.strides import (
    Strides,
    find_strides,
    matched_series,
    phase_columns,
    stride_blocks,
)
from twinangle.signals.recording import Array

_WITHIN = 0.35  # a rival's correlation is at most this far below the best
_MOST = 40  # candidates weighed, those of the highest correlation
_HARMONICS = 7
_ENOUGH_SHARED = 10
_FLOOR_DEG = 0.05  # differences below this are no evidence
_MOVING = 0.2  # of the median range over strides: below, a stride's length of time is standing


@dataclass(frozen=True, slots=True)
class Decision:
    """The lag chosen and how far the best rival trails it.

    `evidence` is G = min over rivals of n ln(Ē_rival / Ē_best), inf where there is no rival;
    `n_strides` the strides it rests on; `second_opinion` the same from stride durations and
    heights alone, as a difference of log likelihoods (negative: a rival fits them better).
    """

    index: int  # of the correlation function
    evidence: float
    n_strides: int
    rival_lag_s: float
    second_opinion: float


@dataclass(frozen=True, slots=True, eq=False)
class _Scene:
    """What does not depend on the lag: the wearable's samples, phase columns, stride numbers."""

    time_s: Array
    angle: Array
    fixed: Array  # (n, q): intercept, trend, harmonics
    block: NDArray[np.int64]
    size: NDArray[np.int64]  # samples, by block
    moving: NDArray[np.bool_]  # by block
    strides: Strides
    reference: BandLimited
    rate_hz: float


def candidates(found: Search) -> list[int]:
    """Return the lags that may be: near the best correlation, and 0.6 stride from a higher one.

    Maxima of the angles' correlation, and of their rates' where no such maximum is near.
    """
    apart = separation(found.stride_s)
    chosen: list[int] = []
    for peaks, values in (
        (found.peaks, found.correlation),
        (found.rate_peaks, found.rate_correlation),
    ):
        near: list[int] = []
        for index in peaks:
            if values[index] < values[peaks[0]] - _WITHIN or len(near) == _MOST:
                break
            if all(abs(found.lags_s[index] - found.lags_s[i]) >= apart for i in chosen + near):
                near.append(index)
        chosen += near
    return chosen


def decide(
    wearable: BandLimited, reference: BandLimited, found: Search, rate_hz: float
) -> Decision:
    """Choose among the maxima of the correlation.

    For each candidate lag k the difference y = a(t) − g·b(t − lag_k), one gain g for all, is
    regressed on 1, t, b', t·b' and the harmonics cos, sin 2πmφ, m = 1 … 7, of the stride phase φ:
    b' takes up the rest of the lag and the drift, the harmonics the difference of the instruments
    that repeats every stride. What is left over at the true lag are the instruments' own errors;
    at a wrong one it holds the strides' variation twice. Residuals are whitened with one AR(4)
    model (Box & Jenkins; Haugh 1976), and compared over the strides that both lags share:
    G = n ln(Ē_k / Ē_best) with Ē the mean square and n the number of strides, not of samples.
    """
    scene = _scene(wearable, reference, found, rate_hz)
    lags = {index: found.refined(index) for index in candidates(found)}
    best = found.peaks[0]
    evidence, rival, n = float("inf"), best, 0
    for _ in range(3):
        evidence, rival, n = _weigh(scene, lags, best)
        if evidence >= 0:
            break
        best = rival
    opinion = _second_opinion(scene, lags, best)
    rival_lag = lags[rival] if rival != best else float("nan")
    return Decision(best, evidence, n, rival_lag, opinion)


def _scene(wearable: BandLimited, reference: BandLimited, found: Search, rate_hz: float) -> _Scene:
    time, _ = grid_times(wearable.start_s, wearable.end_s, rate_hz)
    angle, _ = wearable.at(time)
    strides = find_strides(angle, found.stride_s * rate_hz)
    block = stride_blocks(strides, time.size, rate_hz)
    elapsed = (time - time.mean()) / max(np.ptp(time), 1e-9)
    fixed = np.column_stack(
        [np.ones(time.size), elapsed, phase_columns(strides, time.size, _HARMONICS)]
    )
    ranges = np.array([_range(angle[block == i]) for i in range(block[-1] + 1)])
    moving = ranges > _MOVING * np.median(ranges[ranges > 0]) if (ranges > 0).any() else ranges > 0
    size = np.bincount(block)
    return _Scene(time, angle, fixed, block, size, moving, strides, reference, rate_hz)


def _range(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(np.ptp(known)) if known.size else 0.0


def _weigh(scene: _Scene, lags: dict[int, float], best: int) -> tuple[float, int, int]:
    """Return the smallest G over the rivals of one candidate, the rival, and its strides."""
    own = _candidate_columns(scene, lags[best])
    gain = _gain(scene, own)
    coefficients = autoregression(_residual(scene, own, gain))
    common = whiten(np.column_stack([scene.fixed, scene.angle]), coefficients)
    own_white = _against(whiten(own, coefficients), common, gain)
    worst, rival, strides = float("inf"), best, int(scene.moving.sum())
    for index, lag in lags.items():
        if index == best:
            continue
        other = _against(whiten(_candidate_columns(scene, lag), coefficients), common, gain)
        g, n = _compare(scene, common[:, :-1], own_white, other)
        if g < worst:
            worst, rival, strides = g, index, n
    return worst, rival, strides


def _against(side: Array, common: Array, gain: float) -> Array:
    """Return b', t·b' and a − g·b, all whitened, (n, 3); NaN rows where anything is missing."""
    rows = np.column_stack([side[:, 1:], common[:, -1] - gain * side[:, 0]])
    rows[np.isnan(rows.sum(axis=1) + common.sum(axis=1))] = np.nan
    return rows


def _candidate_columns(scene: _Scene, lag_s: float) -> Array:
    """Return b, b' and t·b' at a lag, (n, 3)."""
    b, b_rate = scene.reference.at(scene.time_s - lag_s)
    return np.column_stack([b, b_rate, scene.fixed[:, 1] * b_rate])


def _gain(scene: _Scene, own: Array) -> float:
    """Return the gain of the wearable on the reference, harmonics left out."""
    columns = np.column_stack([scene.fixed[:, :2], own])
    known = np.isfinite(columns).all(axis=1) & np.isfinite(scene.angle)
    return float(np.linalg.lstsq(columns[known], scene.angle[known], rcond=None)[0][2])


def _residual(scene: _Scene, own: Array, gain: float) -> Array:
    """Return what is left at one candidate, harmonics and all taken out; NaN where unknown."""
    columns = np.column_stack([scene.fixed, own[:, 1:]])
    target = scene.angle - gain * own[:, 0]
    known = np.isfinite(own).all(axis=1) & np.isfinite(target)
    residual = np.full(target.size, np.nan)
    x, y = columns[known], target[known]
    residual[known] = y - x @ _coefficients(x.T @ x, x.T @ y)
    return residual


def _coefficients(gram: Array, moment: Array) -> Array:
    """Solve the normal equations, columns scaled and slightly regularised."""
    scale = 1 / np.sqrt(np.maximum(np.diag(gram), 1e-300))
    scaled = gram * np.outer(scale, scale) + 1e-10 * np.eye(scale.size)
    return np.asarray(scale * np.linalg.solve(scaled, scale * moment))


def _squares(fixed: Array, side: Array) -> float:
    """Return the residual sum of squares of the last column of `side` on all others."""
    rows = np.hstack([fixed, side])
    product = rows.T @ rows
    moment = product[:-1, -1]
    left = float(product[-1, -1] - moment @ _coefficients(product[:-1, :-1], moment))
    return max(left, 0.0)


def _compare(scene: _Scene, fixed: Array, own: Array, other: Array) -> tuple[float, int]:
    """Return G of one rival and the number of moving strides it rests on.

    Over the strides both lags share; where those are few (the rival lies far off, so that the two
    overlaps hardly meet) each lag over its own strides, n then being the smaller number.
    """
    rows = [np.isfinite(side[:, 0]) for side in (own, other)]
    shared, n = _whole_strides(scene, rows[0] & rows[1])
    if n >= _ENOUGH_SHARED:
        uses = [(shared, n), (shared, n)]
    else:
        uses = [_whole_strides(scene, use) for use in rows]
    means = []
    for side, (use, number) in zip((own, other), uses, strict=True):
        free = int(use.sum()) - fixed.shape[1] - 2
        if number < 2 or free < 2 * fixed.shape[1]:
            return 0.0, number
        means.append(_squares(fixed[use], side[use]) / free + _FLOOR_DEG**2)
    n = min(number for _, number in uses)
    return n * float(np.log(means[1] / means[0])), n


def _whole_strides(scene: _Scene, rows: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], int]:
    """Return the rows in strides of which half the samples are there; how many strides move."""
    counts = np.bincount(scene.block[rows], minlength=scene.moving.size)
    full = counts >= np.maximum(0.5 * scene.size, 1)
    return rows & full[scene.block], int((full & scene.moving).sum())


def _second_opinion(scene: _Scene, lags: dict[int, float], best: int) -> float:
    """Return how much better than any rival the chosen lag fits stride durations and heights.

    For n strides correlated at r, the log likelihood ratio against no correlation is
    −(n/2) ln(1 − r²); it counts as negative where r is. Lags at which fewer than 10 strides match
    have no say: of few, durations and heights correlate by chance, and by one pause among them.
    """
    if scene.strides.peaks.size < 4 or len(lags) < 2:
        return float("inf")
    start, _ = grid_times(scene.reference.start_s, scene.reference.end_s, scene.rate_hz)
    b, _ = scene.reference.at(start)
    other = find_strides(b, scene.strides.stride)
    offset = (start[0] - scene.time_s[0]) * scene.rate_hz
    scores = {
        index: _agreement(scene.strides, other, lag * scene.rate_hz + offset, scene.time_s.size)
        for index, lag in lags.items()
    }
    rivals = [score for index, score in scores.items() if index != best and score is not None]
    own = scores[best]
    return float("inf") if own is None or not rivals else own - max(rivals)


def _agreement(first: Strides, second: Strides, lag: float, n: int) -> float | None:
    durations, heights = matched_series(first, second, lag, 0.0, float(n))
    if len(durations) < _ENOUGH_SHARED:
        return None
    return _log_likelihood(durations) + _log_likelihood(heights)


def _log_likelihood(series: Array) -> float:
    n = series.shape[0]
    if (series.max(axis=0) == series.min(axis=0)).any():
        return 0.0
    first, second = (series - series.mean(axis=0)).T
    r = float(first @ second / np.sqrt((first @ first) * (second @ second)))
    return float(-0.5 * (n - 3) * np.log(1 - min(r * r, 0.9999)) * np.sign(r))
