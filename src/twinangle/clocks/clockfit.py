"""Lag and drift by least squares on prewhitened residuals, and windowed lags beside them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from twinangle.clocks.band import BandLimited, grid_times
from twinangle.clocks.clustered import clustered_errors
from twinangle.clocks.strides import find_strides, phase_columns
from twinangle.signals.recording import Array

_AR_ORDER = 4
_ITERATIONS = 4
_CONVERGED_S = 1e-7
_CHANGE = 0.5  # of the systematic lag over a recording, as a share of itself
_RANGES_SD = 0.03  # by which instruments' ranges differ; common practice, no source
_LIKE_RANGE = 3.0  # times what is left of a pattern, its part that looks like a range; own choice


@dataclass(frozen=True, slots=True)
class ClockLine:
    """``t_wearable = t_reference + lag_s + drift (t_reference - centre_s)``; drift is a fraction.

    Written about the centre of the overlap the two errors are nearly independent, and start times
    far from 0 cost no digits.
    """

    centre_s: float
    lag_s: float
    drift: float = 0.0

    @property
    def lag_at_zero_s(self) -> float:
        """Lag at reference time 0, the one that is reported."""
        return self.lag_s - self.drift * self.centre_s

    def to_reference(self, wearable_s: Array) -> Array:
        """Convert times on the wearable's clock to the reference's."""
        return np.asarray(
            self.centre_s + (wearable_s - self.lag_s - self.centre_s) / (1 + self.drift)
        )

    def recentred(self, centre_s: float) -> ClockLine:
        """Return the same line written about another reference time."""
        return ClockLine(centre_s, self.lag_s + self.drift * (centre_s - self.centre_s), self.drift)


@dataclass(frozen=True, slots=True, eq=False)
class ClockFit:
    """A fitted line with the covariance of lag at the centre (s) and drift (fraction)."""

    line: ClockLine
    covariance: Array  # (2, 2)
    freedom: Array  # (2,) degrees of freedom of the two errors
    gain: float
    residual_deg: float

    @property
    def drift_se(self) -> float:
        """Standard error of the drift, a fraction."""
        return float(np.sqrt(self.covariance[1, 1]))

    def lag_se_s(self, reference_s: float) -> float:
        """Return the standard error of the lag at a reference time."""
        reach = np.array([1.0, reference_s - self.line.centre_s])
        return float(np.sqrt(max(reach @ self.covariance @ reach, 0.0)))


def autoregression(residual: Array, order: int = _AR_ORDER) -> Array:
    """Fit an autoregressive model by least squares over the rows without gaps, (order,).

    Whitening both sides with it before they are compared is due to Box & Jenkins; Haugh 1976,
    J Am Stat Assoc 71:378.
    """
    columns = np.column_stack([residual[order - j - 1 : -j - 1] for j in range(order)])
    target = residual[order:]
    usable = np.isfinite(target) & np.isfinite(columns).all(axis=1)
    if usable.sum() < 10 * order:
        return np.zeros(order)
    gram = columns[usable].T @ columns[usable]
    gram += 1e-9 * np.trace(gram) / order * np.eye(order) + 1e-300 * np.eye(order)
    return np.asarray(np.linalg.solve(gram, columns[usable].T @ target[usable]))


def whiten(columns: Array, coefficients: Array) -> Array:
    """Filter each column with 1 - Σ c_j z^-j; NaN wherever a sample it needs is missing."""
    order = coefficients.size
    white = np.full_like(columns, np.nan)
    white[order:] = columns[order:]
    for j, c in enumerate(coefficients, start=1):
        white[order:] -= c * columns[order - j : -j]
    return white


def fit_line(
    wearable: BandLimited,
    reference: BandLimited,
    start: ClockLine,
    *,
    rate_hz: float,
    drift: bool,
    block_s: float,
) -> ClockFit:
    """Fit lag and drift together.

    About the current line, a(t) = m0 + m1 t + g b(t') − g (δ + ε t) b'(t') + e(t), with a the
    wearable's angle, b the reference's at its own time t' and b' its rate of change: δ and ε
    correct lag and drift. The residual e is autocorrelated, so an AR(4) model is fitted to it and
    every column filtered with it (generalised least squares), until the correction is below
    0.1 µs. Errors are cluster-robust over blocks of `block_s`
    (:func:`twinangle.clocks.clustered.clustered_errors`).

    Raises
    ------
    ValueError
        If the overlap holds too few samples for the fit.
    """
    line = start
    for _ in range(_ITERATIONS):
        design = _design(wearable, reference, line, rate_hz, drift=drift)
        correction = _correction(
            solve_normal(*(part.sum(axis=0) for part in _blocks(design, block_s)))
        )
        line = replace(line, lag_s=line.lag_s + correction[0], drift=line.drift + correction[1])
        if abs(correction[0]) < _CONVERGED_S:
            break
    design = _design(wearable, reference, line, rate_hz, drift=drift)
    return _with_errors(design, line, block_s)


@dataclass(frozen=True, slots=True, eq=False)
class _Design:
    """Whitened rows: regressors (n, p), target (n,), the time of each, and the raw residual SD."""

    rows: Array
    target: Array
    time_s: Array
    residual_deg: float


def overlap_times(
    wearable: BandLimited, reference: BandLimited, line: ClockLine, rate_hz: float
) -> Array:
    """Return grid times on the wearable's clock at which both recordings run."""
    ends = np.array([reference.start_s, reference.end_s])
    ends = ends + line.lag_s + line.drift * (ends - line.centre_s)
    start, end = max(wearable.start_s, float(ends[0])), min(wearable.end_s, float(ends[1]))
    return grid_times(start, end, rate_hz)[0]


def _design(
    wearable: BandLimited, reference: BandLimited, line: ClockLine, rate_hz: float, *, drift: bool
) -> _Design:
    time = overlap_times(wearable, reference, line, rate_hz)
    reference_time = line.to_reference(time)
    angle, _ = wearable.at(time)
    b, b_rate = reference.at(reference_time)
    elapsed = reference_time - line.centre_s
    columns = [np.ones(time.size), elapsed / max(np.ptp(elapsed), 1e-9), b, b_rate]
    if drift:
        columns.append(elapsed * b_rate)
    everything = np.column_stack([*columns, angle])
    everything[~np.isfinite(everything).all(axis=1)] = np.nan
    usable = np.isfinite(everything[:, -1])
    if usable.sum() < 10 * everything.shape[1]:
        raise ValueError(
            f"the overlap holds {int(usable.sum())} usable samples at {rate_hz:g} Hz, "
            f"at least {10 * everything.shape[1]} are needed."
        )
    coefficients, *_ = np.linalg.lstsq(everything[usable, :-1], angle[usable], rcond=None)
    residual = angle - everything[:, :-1] @ coefficients
    white = whiten(everything, autoregression(residual))
    kept = np.isfinite(white).all(axis=1)
    return _Design(
        white[kept, :-1], white[kept, -1], time[kept], float(np.nanstd(residual[usable]))
    )


def cluster_sums(rows: Array, target: Array, time_s: Array, block_s: float) -> tuple[Array, Array]:
    """Return X'X (n_blocks, p, p) and X'y (n_blocks, p) of each stretch of `block_s`."""
    number = np.floor((time_s - time_s[0]) / block_s).astype(np.int64)
    starts = np.flatnonzero(np.diff(number, prepend=-1))
    outer = np.stack(
        [rows[a:b].T @ rows[a:b] for a, b in zip(starts, [*starts[1:], number.size], strict=True)]
    )
    return outer, np.add.reduceat(rows * target[:, None], starts, axis=0)


def _blocks(design: _Design, block_s: float) -> tuple[Array, Array]:
    return cluster_sums(design.rows, design.target, design.time_s, block_s)


def solve_normal(gram: Array, moment: Array) -> Array:
    """Solve X'X c = X'y, columns scaled; directions without information get 0."""
    scale = np.sqrt(np.maximum(np.diag(gram), 1e-300))
    return np.asarray(
        np.linalg.lstsq(gram / np.outer(scale, scale), moment / scale, rcond=1e-12)[0] / scale
    )


def _correction(coefficients: Array) -> Array:
    """Return the corrections of lag (s) and drift (fraction) that the coefficients stand for."""
    gain = coefficients[2]
    if abs(gain) < 1e-6:
        raise ValueError("the two angles have nothing in common at this lag.")
    slope = coefficients[4] if coefficients.size > 4 else 0.0
    return np.array([-coefficients[3] / gain, -slope / gain])


def _with_errors(design: _Design, line: ClockLine, block_s: float) -> ClockFit:
    """Give the corrections their errors; about the solution their mean is nought."""
    outer, moment = _blocks(design, block_s)
    whole = solve_normal(outer.sum(axis=0), moment.sum(axis=0))
    contrasts = np.zeros((2, whole.size))
    contrasts[0, 3] = 1 / whole[2]
    if whole.size > 4:
        contrasts[1, 4] = 1 / whole[2]
    covariance, freedom = clustered_errors(outer, moment, contrasts)
    return ClockFit(line, covariance, freedom, float(whole[2]), design.residual_deg)


def lags_along(
    wearable: BandLimited,
    reference: BandLimited,
    line: ClockLine,
    *,
    rate_hz: float,
    window_s: float,
    block_s: float,
) -> tuple[Array, Array, Array]:
    """Return the lag of each window as the fit sees it: reference times, lags, standard errors.

    Each window's own rows of the whitened fit, lag, gain and trend free in it. Windows fitted by
    plain least squares would lie off the line where the instruments differ by something that
    repeats, for they weigh slow and fast parts of it otherwise. A window counts when half of its
    samples are there and its gain is at least half of the whole's.
    """
    design = _design(wearable, reference, line, rate_hz, drift=False)
    whole = solve_normal(design.rows.T @ design.rows, design.rows.T @ design.target)
    number = np.floor((design.time_s - design.time_s[0]) / window_s).astype(np.int64)
    found = []
    for k in np.unique(number):
        part = number == k
        if part.sum() < 0.5 * window_s * rate_hz:
            continue
        sums = cluster_sums(design.rows[part], design.target[part], design.time_s[part], block_s)
        local = solve_normal(*(each.sum(axis=0) for each in sums))
        if local[2] / whole[2] < 0.5:
            continue
        covariance, _ = clustered_errors(*sums, np.eye(1, 4, 3) / local[2])
        centre = float(line.to_reference(design.time_s[part].mean(keepdims=True))[0])
        lag = line.lag_s + line.drift * (centre - line.centre_s) - local[3] / local[2]
        found.append((centre, lag, float(np.sqrt(covariance[0, 0]))))
    table = np.array(found).reshape(-1, 3)
    return table[:, 0], table[:, 1], table[:, 2]


@dataclass(frozen=True, slots=True)
class RepeatingDifference:
    """What a difference that repeats every stride may do to the lag, in seconds; NaN if unknown."""

    whole_s: float
    pattern_s: float  # of what is neither a range nor an offset


def systematic_lag(
    wearable: BandLimited, reference: BandLimited, fit: ClockFit, rate_hz: float, stride_s: float
) -> RepeatingDifference:
    """Return the part of the lag's error that the instruments' repeating difference may cause.

    A difference that repeats every stride (soft tissue, a joint axis off by a few degrees) looks
    like a delay in part, and no scatter shows it. The mean cycle of y = a − b and that of b' are
    taken by the stride phase; the bound is rms(mean y) / (rms(b') √3). Skin that moves in swing
    looks like a larger range and like a delay at once, so that its part that looks like a range
    (:func:`_hidden_in_range`) belongs to y, as does what is neither, the pattern. What was
    already taken up as lag cannot be seen: the bound holds differences of any shape but those that
    look like a delay almost alone. Own rule, checked by
    benchmarks/lag_under_soft_tissue.py, synchronisation.py and clock_uncertainty.py; NaN where
    the angle has no strides.
    """
    time = overlap_times(wearable, reference, fit.line, rate_hz)
    angle, _ = wearable.at(time)
    strides = find_strides(angle, stride_s * rate_hz)
    columns = phase_columns(strides, time.size, 7)
    b, b_rate = reference.at(fit.line.to_reference(time))
    known = np.isfinite(angle) & np.isfinite(b) & (columns != 0).any(axis=1)
    if known.sum() < 2 * stride_s * rate_hz or not np.isfinite(stride_s):
        return RepeatingDifference(float("nan"), float("nan"))
    base = np.column_stack([np.ones(int(known.sum())), np.linspace(-1, 1, int(known.sum()))])
    plain = np.column_stack([base, b[known]])
    coefficients = np.linalg.lstsq(plain, angle[known], rcond=None)[0]
    residual = angle[known] - plain @ coefficients
    gain = max(abs(float(coefficients[2])), 1e-6)
    slope = float(np.sqrt(np.mean(b_rate[known] ** 2)))
    pattern, root = repeating_part(residual, columns[known]), float(np.sqrt(3))
    range_part = _hidden_in_range(
        gain - 1, pattern / gain, repeating_part(b[known], columns[known])
    )
    whole = float(np.hypot(pattern / gain, range_part)) / (slope * root)
    return RepeatingDifference(whole, pattern / (gain * slope * root))


def _hidden_in_range(excess: float, pattern: float, swing: float) -> float:
    """Return how much of a repeating difference may look like a range, its root mean square.

    The range seen, e = (g − 1) rms(b), is the instruments' own, normal with SD σ = 3 % of rms(b),
    and what the pattern hides in it, normal with s = 3 times the rms of what shows of the pattern.
    Given e, the latter is normal about e s² / (s² + σ²) with the variance s² σ² / (s² + σ²). A
    range alone leaves no pattern and so counts for nothing, and a pattern whose range another
    hides counts nevertheless.

    Parameters
    ----------
    excess : float
        g − 1, of the wearable's range over the reference's.
    pattern, swing : float
        Root mean squares of what repeats and is no range, and of the reference, degrees.
    """
    like, own = _LIKE_RANGE * pattern, _RANGES_SD * swing
    both = like**2 + own**2
    if both == 0:
        return 0.0
    return float(np.hypot(excess * swing * like**2 / both, like * own / np.sqrt(both)))


def systematic_drift(lag_systematic_s: float, reference_s: Array) -> float:
    """Return the part of the drift's error that the same difference may cause, a fraction.

    The difference may change as the recording goes on (a heading that drifts, a sensor that
    slips), and then looks like a drift. The bound is a change of half the lag's systematic part
    from the first windowed lag to the last, a range left out (`pattern_s`), as it hardly changes.
    Own rule, checked by benchmarks/clock_uncertainty.py; NaN with fewer than two windows.
    """
    if reference_s.size < 2:
        return float("nan")
    return _CHANGE * lag_systematic_s / float(np.ptp(reference_s))


def repeating_part(residual: Array, phase: Array) -> float:
    """Return the RMS of the part of a residual that repeats every stride, by its phase columns."""
    trend = np.linspace(-1, 1, residual.size)
    cycle = np.column_stack([np.ones(residual.size), trend, phase])
    repeating = phase @ np.linalg.lstsq(cycle, residual, rcond=None)[0][2:]
    return float(np.std(repeating))
