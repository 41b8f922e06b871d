"""The reference's rate of change held against the rates of both gyroscopes, all along the trial.

Whatever the mounting, a hinge turns at a fixed combination of the six gyroscope channels. So the
reference's slope follows one such combination at one lag from end to end, unless samples were
lost, recordings were spliced, or the two files are not of one joint.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from twinangle.plausibility.channels import sure_causes
from twinangle.plausibility.common_time import ACTIVE_DEG_S, CommonTime, Flags, common_time
from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.outcome import Outcome, Verdict, not_tested
from twinangle.signals.recording import Array, Synchronisation
from twinangle.thresholds import told_apart

Places = NDArray[np.int64]

TEST, STEPS, PARTS, DELAY = "fit", "lost samples", "parts", "delay"
LEAST_FIT = 0.97
"""Multiple correlation below which is warned: 0.992 and more on the open walks, 0.999 on jumps and
a robot, 0.998 and more on simulated walks with soft tissue."""
REFUSED_FIT = 0.85
MOST_STEP_S, REFUSED_STEP_S = 0.025, 0.06
"""Steps of the lag that are warned of and refused: 8 ms and less on open and simulated walks."""
MOST_DRIFT_PPM = 250.0  # between two clocks of quartz, common practice, no source
MOST_DELAY_S = 0.04  # sensors and optical systems that share a clock differed by up to 20 ms
_WINDOW_S, _HOP_S = 8.0, 2.0
_REACH_S = 0.8  # below a stride: farther off another stride fits
_BLOCK_S = 20.0
_ITERATIONS = 3
_STRANGE = 0.5  # share of the slope's variance that a window explains where the two belong together
_AT_HOME = 0.9
_STRANGE_S = 8.0
_SIDE_S = 20.0  # either side of a step


@dataclass(frozen=True, slots=True, eq=False)
class Windows:
    """Lag and fit of the reference in windows of 8 s, by one combination of the gyroscopes."""

    time_s: Array  # (m,) middles, wearable's clock
    lag_s: Array  # (m,) the reference, as the clock places it, is late by so much; NaN: unknown
    explained: Array  # (m,) share of the slope's variance
    weights: Array  # (7,)
    drift: float = 0.0  # a fraction, of the clock that placed the reference: taken out of a step

    def drifted_s(self, time_s: Array) -> Array:
        """Return what that drift adds to the lag at given times."""
        return np.asarray(self.drift * (time_s - self.time_s[0]))


@dataclass(frozen=True, slots=True)
class Step:
    """A step of the lag: at what time, by how much."""

    time_s: float
    size_s: float


@lru_cache(maxsize=2)
def reference_fit(evidence: Evidence) -> tuple[Outcome, ...]:
    """Hold the reference's rate of change against both gyroscopes: as a whole, and piece by piece.

    ``b'(t + lag) = c + w·ω(t) + η b''(t + lag)`` is fitted by least squares to all samples; b is
    the reference, ω the six gyroscope channels, lag the median over windows, and b'' takes up what
    a whole sample leaves of it. R is its multiple correlation. For the lag along the trial, w is
    fitted to the 20 s that agree best, and the lag of every 8 s is where the slope follows w·ω most
    closely; then w and lags are fitted in turn. Where an instrument is saturated, nothing but R is
    judged: it would be blamed on the files. A forearm turns about itself as well, so an elbow is
    no one combination, and what would be refused of a knee is warned of. Own method; the limits
    are of our own measurements, see docs/background/plausibility.md.
    """
    found = common_time(evidence)
    if isinstance(found, str):
        return (not_tested(TEST, "reference", found),)
    outcomes = _judged(found, evidence)
    return outcomes if evidence.joint == "knee" else tuple(_milder(one) for one in outcomes)


def _judged(found: CommonTime, evidence: Evidence) -> tuple[Outcome, ...]:
    """Return the outcomes, the sure cause first and alone."""
    cut = sure_causes(evidence)
    windows = lag_windows(found)
    late = _median_lag(windows)
    if cut:
        reason = f"an instrument is saturated: {cut}"
        others = tuple(not_tested(test, "reference", reason) for test in (PARTS, STEPS, DELAY))
        return (*others, _whole(found, late, cut))
    parts = _parts(windows)
    if parts.verdict == "contradicted":
        reason = "another recording's reference begins within this trial"
        return (parts, *(not_tested(test, "reference", reason) for test in (STEPS, DELAY, TEST)))
    steps = _steps(found, without_drift(windows, evidence.clock))
    if steps.verdict in ("doubtful", "contradicted"):
        reason = "the lag steps within this trial"
        return (parts, steps, *(not_tested(test, "reference", reason) for test in (DELAY, TEST)))
    return (parts, steps, _delay(late), _whole(found, late, ""))


def _milder(outcome: Outcome) -> Outcome:
    """Return the outcome for a joint whose distal segment turns about its own length too."""
    if outcome.test == DELAY or outcome.verdict in ("consistent", "not tested"):
        return outcome
    if outcome.verdict == "doubtful":
        return replace(outcome, verdict="consistent", said="")
    said = f"{outcome.said} (Much turning of the forearm about itself does the same.)"
    return replace(outcome, verdict="doubtful", said=said)


def _median_lag(windows: Windows) -> float:
    """Return the median lag of the windows that fit; 0 where none does."""
    sure = np.isfinite(windows.lag_s) & (windows.explained > _STRANGE)
    return float(np.median(windows.lag_s[sure])) if sure.any() else 0.0


def _delay(late_s: float) -> Outcome:
    """Judge by how much the reference, as the clock places it, follows after the gyroscopes."""
    if abs(late_s) <= MOST_DELAY_S:
        return Outcome(DELAY, "reference", "consistent", 1e3 * late_s, 1e3 * MOST_DELAY_S, "ms")
    shown, bound = told_apart(1e3 * abs(late_s), 1e3 * MOST_DELAY_S, 0)
    way = "after" if late_s > 0 else "before"
    said = (
        f"on the clock that was used it moves {shown} ms {way} the gyroscopes (more than {bound} "
        "ms): the clock or the stated lag is off by that, or an instrument delays its signal, as a "
        "filter that runs while recording does."
    )
    return Outcome(DELAY, "reference", "doubtful", 1e3 * late_s, 1e3 * MOST_DELAY_S, "ms", said)


def lag_windows(found: CommonTime) -> Windows:
    """Return the lag and the fit of the reference in windows along the trial."""
    size, hop = int(_WINDOW_S * found.rate_hz), int(_HOP_S * found.rate_hz)
    starts = np.arange(0, max(found.time_s.size - size, 0) + 1, hop)
    size = min(size, found.time_s.size)
    shifts = np.arange(-int(_REACH_S * found.rate_hz), int(_REACH_S * found.rate_hz) + 1)
    rows = np.column_stack([np.ones(found.time_s.size), found.proximal, found.distal])
    weights = _best_block(found, rows)
    middle = starts + size // 2
    shifted = _Shifted.of(found, size, hop, shifts)
    for _ in range(_ITERATIONS):
        lag, explained = shifted.lags(rows @ weights, shifts / found.rate_hz)
        sure = np.isfinite(lag) & (explained > _STRANGE)
        if sure.sum() < 2:
            break
        index = np.arange(found.time_s.size)
        late = np.rint(np.interp(index, middle[sure], lag[sure]) * found.rate_hz)
        moved = np.clip(index + late.astype(np.int64), 0, index[-1])
        slope = found.slope[moved]
        kept = found.known & np.isfinite(slope)
        near = np.interp(index, middle, np.where(sure, 1.0, 0.0)) > 0.5
        weights = _solve(rows, slope, kept & near)
    return Windows(found.time_s[0] + middle / found.rate_hz, lag, explained, weights)


def _best_block(found: CommonTime, rows: Array) -> Array:
    """Return the combination fitted to the block that agrees best with itself."""
    size = min(int(_BLOCK_S * found.rate_hz), found.time_s.size)
    best, score = _solve(rows, found.slope, found.known), -np.inf
    for start in range(0, found.time_s.size - size + 1, size // 2):
        part = slice(start, start + size)
        kept = found.known[part]
        slope = found.slope[part][kept]
        if kept.sum() < size // 2 or slope.std() < ACTIVE_DEG_S:
            continue
        weights = _solve(rows[part], found.slope[part], kept)
        explained = 1 - float(np.var(slope - rows[part][kept] @ weights) / np.var(slope))
        if explained > score:
            best, score = weights, explained
    return best


def _solve(rows: Array, slope: Array, kept: Flags) -> Array:
    product = rows[kept].T @ rows[kept]
    ridge = 1e-9 * np.trace(product) * np.eye(product.shape[0])
    return np.asarray(np.linalg.solve(product + ridge, rows[kept].T @ slope[kept]))


@dataclass(frozen=True, slots=True, eq=False)
class _Shifted:
    """The slope at every shift over every window, and its sums there where all is known.

    Arrays of windows are (m, size, shifts), views of one row of samples; sums are (m, shifts).
    """

    slope: Array  # 0 where it is not known
    told: Array  # 1 where it is known
    known: Array  # (m, size) 1 where the rate is known
    count: Array  # NaN where it is too small
    square: Array
    spread: Array
    hop: int  # between windows

    @classmethod
    def of(cls, found: CommonTime, size: int, hop: int, shifts: Places) -> _Shifted:
        """Return the slope of both instruments' windows, each read at every shift."""
        reach = int(shifts[-1])
        there = np.pad(np.isfinite(found.slope).astype(np.float64), reach)
        filled = np.pad(np.nan_to_num(found.slope), reach)
        known = _windows_of(found.known.astype(np.float64), size)[::hop]

        def spread_out(values: Array) -> Array:
            # the window from `start` read `shift` later begins at start + shift + reach here
            return _windows_of(_windows_of(values, size), shifts.size)[::hop]

        slope, told = spread_out(filled), spread_out(there)
        count, total, square = (
            np.einsum("mts,mt->ms", values, known)
            for values in (told, slope, spread_out(filled**2))
        )
        with np.errstate(invalid="ignore", divide="ignore"):
            spread = square / count - (total / count) ** 2
        count = np.where(count < 0.6 * size, np.nan, count)
        return cls(slope, told, known, count, square, spread, hop)

    def lags(self, rate: Array, lags_s: Array) -> tuple[Array, Array]:
        """Return for each window the lag at which the slope is nearest the rate, and the fit."""
        level = _windows_of(np.nan_to_num(rate), self.known.shape[1])[:: self.hop] * self.known
        product = np.einsum("mts,mt->ms", self.slope, level)
        own = np.einsum("mts,mt->ms", self.told, level**2)
        error = (self.square - 2 * product + own) / self.count
        spread = np.where(np.isfinite(self.count), self.spread, np.nan)
        return _least(error.T, spread.T, lags_s)


def _windows_of(values: Array, size: int) -> Array:
    """Return every run of `size` along the first axis, the runs in a last dimension; a view."""
    return np.asarray(np.lib.stride_tricks.sliding_window_view(values, size, axis=0))


def _least(error: Array, spread: Array, lags: Array) -> tuple[Array, Array]:
    """Return the lag of least error by a parabola through its neighbours, and the fit there."""
    usable = np.isfinite(error).all(axis=0)
    place = np.argmin(np.where(usable, error, 0.0), axis=0)
    column = np.arange(place.size)
    inner = np.clip(place, 1, lags.size - 2)
    before, at, after = (error[inner + k, column] for k in (-1, 0, 1))
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.clip((before - after) / (2 * (before - 2 * at + after)), -1.0, 1.0)
        explained = 1 - error[place, column] / spread[place, column]
        active = usable & (np.sqrt(spread[place, column]) > ACTIVE_DEG_S)
    lag = lags[inner] + part * (lags[1] - lags[0])
    return np.where(active, lag, np.nan), np.where(active, explained, np.nan)


def _whole(found: CommonTime, late_s: float, cut: str) -> Outcome:
    """Judge the multiple correlation over the whole trial."""
    correlation, _ = residual_of_fit(found, late_s)
    limit = REFUSED_FIT if correlation < REFUSED_FIT else LEAST_FIT
    if correlation >= LEAST_FIT:
        return Outcome(TEST, "reference", "consistent", correlation, limit)
    shown, bound = told_apart(correlation, limit, 2)
    cause = (
        f"{cut} This may be why."
        if cut
        else (
            "They may be of another joint, side, person or trial, or parts of them may be filled "
            "in or filtered. Check the pair of files."
        )
    )
    said = (
        f"its rate of change follows the gyroscopes with a multiple correlation of {shown} only "
        f"(below {bound}; recordings of one joint reach 0.99). {cause}"
    )
    verdict: Verdict = "contradicted" if correlation < REFUSED_FIT else "doubtful"
    return Outcome(TEST, "reference", verdict, correlation, limit, said=said)


def residual_of_fit(found: CommonTime, late_s: float = 0.0) -> tuple[float, Array]:
    """Return the multiple correlation and the residual, degrees a second, (n,), NaN in gaps."""
    shift = round(late_s * found.rate_hz)
    slope = np.full(found.slope.size, np.nan)
    slope[max(-shift, 0) : slope.size - max(shift, 0)] = found.slope[
        max(shift, 0) : slope.size + min(shift, 0)
    ]
    curve = np.gradient(slope) * found.rate_hz
    rows = np.column_stack([np.ones(found.time_s.size), found.proximal, found.distal, curve])
    kept = found.known & np.isfinite(rows).all(axis=1)
    residual = np.where(kept, slope - rows @ _solve(rows, slope, kept), np.nan)
    share = float(np.var(residual[kept]) / np.var(slope[kept]))
    return float(np.sqrt(max(1.0 - share, 0.0))), residual


def _steps(found: CommonTime, windows: Windows) -> Outcome:
    """Judge the largest step of the lag between what lies before a time and what lies after."""
    step = largest_step(found, windows)
    if step is None:
        return not_tested(STEPS, "reference", "too few windows of 8 s with movement in them")
    size = abs(step.size_s)
    limit = REFUSED_STEP_S if size > REFUSED_STEP_S else MOST_STEP_S
    if size <= MOST_STEP_S:
        return Outcome(STEPS, "reference", "consistent", 1e3 * size, 1e3 * limit, "ms")
    shown, bound = told_apart(1e3 * size, 1e3 * limit, 0)
    loser, other = ("reference", "wearable") if step.size_s < 0 else ("wearable", "reference")
    said = (
        f"the lag between the instruments steps by {shown} ms (more than {bound} ms) near "
        f"{step.time_s:.1f} s of the wearable's clock, as when the {loser} lost samples there "
        f"without a mark, or when the {other} repeated some or had its clock set ahead: these two "
        "files alone do not tell which. Analyse the part before and the part after as trials of "
        "their own (`start_s`, `end_s`); restore time stamps only in a file known to be at fault."
    )
    verdict: Verdict = "contradicted" if size > REFUSED_STEP_S else "doubtful"
    return Outcome(STEPS, "reference", verdict, 1e3 * size, 1e3 * limit, "ms", said)


def without_drift(windows: Windows, clock: Synchronisation | None) -> Windows:
    """Return the windows with a drift that no clock has taken out of their steady lags.

    A search that meets lost samples draws a line through the two lags: the drift it finds takes up
    most of the step. A drift that was stated, or found by other means than likeness, stays.
    """
    if clock is None or not clock.method.startswith("cross-correlation"):
        return windows
    if abs(clock.drift_ppm) <= MOST_DRIFT_PPM:
        return windows
    return replace(windows, drift=1e-6 * clock.drift_ppm)


def largest_step(found: CommonTime, windows: Windows) -> Step | None:
    """Return the largest step of the lag; None where fewer than two windows tell it.

    The median lag of the windows that end before a time, less than 20 s, against that of those
    that begin after it; near enough that no clock's drift makes a step. The place is where two
    lags, one before and one after, leave the least residual.
    """
    sure = np.isfinite(windows.lag_s) & (windows.explained > _AT_HOME**2)
    time = windows.time_s[sure]
    lag = windows.lag_s[sure] - windows.drifted_s(time)
    edges, sizes, sides = [], [], []
    for edge in time + _WINDOW_S / 2:
        before = lag[(time <= edge - _WINDOW_S / 2 + 1e-6) & (time >= edge - _SIDE_S)]
        after = lag[(time >= edge + _WINDOW_S / 2 - 1e-6) & (time <= edge + _SIDE_S)]
        if before.size and after.size:
            edges.append(float(edge))
            sides.append((float(np.median(before)), float(np.median(after))))
            sizes.append(sides[-1][1] - sides[-1][0])
    if not edges:
        return None
    best = int(np.argmax(np.abs(sizes)))
    place = _place(found, windows, edges[best], sides[best])
    return Step(place, sizes[best])


def _place(found: CommonTime, windows: Windows, edge_s: float, sides: tuple[float, float]) -> float:
    """Return when the residual at one lag gives way to that at the other."""
    near = np.flatnonzero(np.abs(found.time_s - edge_s) <= _SIDE_S)
    time = found.time_s[near]
    rows = np.column_stack([np.ones(near.size), found.proximal[near], found.distal[near]])
    rate = rows @ windows.weights
    cost = []
    for lag in sides:
        slope = np.interp(
            time + lag + windows.drifted_s(time), found.time_s, np.nan_to_num(found.slope)
        )
        cost.append(np.nan_to_num((slope - rate) ** 2))
    total = np.cumsum(cost[0]) + np.cumsum(cost[1][::-1])[::-1]
    return float(time[int(np.argmin(total))])


def _parts(windows: Windows) -> Outcome:
    """Judge whether a part of the trial has a reference that belongs to it, and another not."""
    told = np.isfinite(windows.explained)
    if not told.any():
        return not_tested(PARTS, "reference", "no window of 8 s has movement in it")
    time, explained = windows.time_s[told], windows.explained[told]
    strange = explained < _STRANGE
    seconds = float(strange.sum() * _HOP_S)
    at_home = bool((explained > _AT_HOME).any())
    value, limit = max(float(explained.min()), 0.0), _STRANGE
    if seconds <= _STRANGE_S or not at_home:
        return Outcome(PARTS, "reference", "consistent", value, limit)
    first, last = (float(time[strange][k]) for k in (0, -1))
    shown, bound = told_apart(value, limit, 2)
    shown = shown if value > 0 else "none"
    said = (
        "it belongs to these sensors in one part of the trial and not in another: over "
        f"{first:.0f} to {last:.0f} s of the wearable's clock its rate of change shares {shown} of "
        f"its variance with theirs at the lag within a stride that fits best ({bound} is needed), "
        "and nearly all of it elsewhere. Two recordings may be spliced in one file, or most of a "
        "second or more lost. Use the recordings apart, or leave the stretch out."
    )
    return Outcome(PARTS, "reference", "contradicted", value, limit, said=said)
