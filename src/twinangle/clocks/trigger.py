"""One clock from a trigger wired to both recorders: a rising edge or a train of pulses."""

from __future__ import annotations

import numpy as np

from twinangle.checks import as_float_array
from twinangle.clocks.windows import WindowedLags, line_warnings
from twinangle.errors import SynchronisationError
from twinangle.notices import Notice
from twinangle.signals.recording import Array, Synchronisation

# Common practice, no source.
_TOLERANCE_S = 0.01  # beyond the clocks' own resolution, for matching the intervals of pulses
_MAX_DRIFT = 500e-6  # of a logger's clock


def rising_edges(time_s: Array, values: Array, name: str) -> tuple[Array, float]:
    """Return the times of rising edges, (n,), and the standard error of one, seconds.

    The signal rises through the middle of its range, having been below a quarter of it since the
    last edge. Where it crosses is interpolated; on a two-level signal the crossing is uniform
    within the sample interval, which gives the error T/√12.

    Raises
    ------
    SynchronisationError
        If there is no edge.
    """
    finite = np.isfinite(values) & np.isfinite(time_s)
    time, value = time_s[finite], values[finite]
    low, high = (float(value.min()), float(value.max())) if value.size else (0.0, 0.0)
    if value.size < 2 or high - low <= 1e-9 * max(abs(low), abs(high), 1e-300):
        raise SynchronisationError(
            f"the trigger channel of the {name} is constant: a rising edge is needed in it."
        )
    middle, quarter = (low + high) / 2, low + (high - low) / 4
    state = np.where(value >= middle, 1, np.where(value <= quarter, -1, 0))
    # Between a quarter and the middle the last clear state holds (hysteresis).
    index = np.maximum.accumulate(np.where(state != 0, np.arange(state.size), 0))
    held = state[index]
    after = np.flatnonzero((held[1:] == 1) & (held[:-1] == -1)) + 1
    if after.size == 0:
        raise SynchronisationError(f"the trigger channel of the {name} has no rising edge.")
    before = after - 1
    rise = value[after] - value[before]
    part = np.clip((middle - value[before]) / rise, 0, 1)
    times = time[before] + part * (time[after] - time[before])
    return times, float(np.median(np.diff(time)) / np.sqrt(12))


def lag_by_trigger(
    wearable_channel: tuple[Array, Array],
    reference_channel: tuple[Array, Array],
    *,
    drift: bool = True,
    max_lag_s: float | None = None,
) -> Synchronisation:
    """Put two clocks together by the rising edges of a trigger recorded with both.

    Pulses are matched by their spacing: of all ways to slide one train along the other, the one
    with most coincidences within 10 ms (and 500 ppm), and the smallest spread among equals. With
    one pulse there is a lag only; with two and more, lag and drift by least squares. From eight
    on, a step or a bend in the pulses' lags (a logger that skipped) draws a warning.

    Parameters
    ----------
    wearable_channel, reference_channel : tuple of arrays (time_s, values), each (n,)
        The trigger channel of each file on its own clock.
    drift : bool
        Fit the drift where there are at least two pulses.
    max_lag_s : float, optional
        Largest lag considered; tells apart the matches of an even pulse train.

    Returns
    -------
    Synchronisation

    Raises
    ------
    SynchronisationError
        If a channel has no edge, or the trains match in more than one way.
    """
    sides = []
    for channel, name in ((wearable_channel, "wearable"), (reference_channel, "reference")):
        time = as_float_array(channel[0], f"{name}_channel time", ndim=1)
        values = as_float_array(channel[1], f"{name}_channel values", ndim=1)
        if time.size != values.size:
            raise ValueError(f"`{name}_channel` has {time.size} times for {values.size} values.")
        sides.append(rising_edges(time, values, name))
    (edges_w, se_w), (edges_r, se_r) = sides
    pairs = match_pulses(edges_w, edges_r, max_lag_s)
    return _fit_pulses(edges_w[pairs[:, 0]], edges_r[pairs[:, 1]], np.hypot(se_w, se_r), drift)


def match_pulses(wearable_s: Array, reference_s: Array, max_lag_s: float | None) -> Array:
    """Return pairs of indices (n, 2) of the pulses that are one and the same.

    Raises
    ------
    SynchronisationError
        If two ways to slide the trains agree about as well.
    """
    offsets = (wearable_s[:, None] - reference_s[None, :]).ravel()
    if max_lag_s is not None:
        offsets = offsets[np.abs(offsets) <= max_lag_s]
    if offsets.size == 0:
        raise SynchronisationError(
            f"no pulse of the wearable lies within `max_lag_s` = {max_lag_s:g} s of one of the "
            "reference."
        )
    span = max(np.ptp(wearable_s), np.ptp(reference_s))
    slack = _TOLERANCE_S + _MAX_DRIFT * span
    distinct = np.unique(np.rint(offsets / slack)) * slack
    trials = [_pair_at(wearable_s, reference_s, offset, 2 * slack) for offset in distinct]
    counts = np.array([pairs.shape[0] for pairs in trials])
    best = list(np.flatnonzero(counts == counts.max()))
    centres = [_mean_offset(wearable_s, reference_s, trials[i]) for i in best]
    if np.ptp(centres) > 4 * slack:
        raise SynchronisationError(
            f"the {wearable_s.size} pulses of the wearable and the {reference_s.size} of the "
            f"reference match in more than one way (lags of {min(centres):.3f} to "
            f"{max(centres):.3f} s). Set `max_lag_s` below half the pulse interval, or use an "
            "uneven train."
        )
    spreads = [_spread(wearable_s, reference_s, trials[i]) for i in best]
    return trials[best[int(np.argmin(spreads))]]


def _pair_at(wearable_s: Array, reference_s: Array, offset: float, slack: float) -> Array:
    """Pair each reference pulse with the nearest wearable pulse at an offset, if close enough."""
    expected = reference_s + offset
    nearest = np.abs(wearable_s[None, :] - expected[:, None]).argmin(axis=1)
    close = np.abs(wearable_s[nearest] - expected) <= slack
    pairs = np.column_stack([nearest[close], np.flatnonzero(close)])
    return pairs[np.unique(pairs[:, 0], return_index=True)[1]]


def _mean_offset(wearable_s: Array, reference_s: Array, pairs: Array) -> float:
    return float(np.mean(wearable_s[pairs[:, 0]] - reference_s[pairs[:, 1]]))


def _spread(wearable_s: Array, reference_s: Array, pairs: Array) -> float:
    return float(np.ptp(wearable_s[pairs[:, 0]] - reference_s[pairs[:, 1]]))


def _fit_pulses(
    wearable_s: Array, reference_s: Array, edge_se_s: float, drift: bool
) -> Synchronisation:
    """Fit lag (and drift) to matched pulses; the error is the edges' own or the scatter's."""
    n, centre = wearable_s.size, float(reference_s.mean())
    elapsed, offset = reference_s - centre, wearable_s - reference_s
    spread = float(elapsed @ elapsed)
    slope = float(elapsed @ offset / spread) if drift and spread > 0 else 0.0
    middle = float(offset.mean())
    residual = offset - middle - slope * elapsed
    free = n - (2 if slope else 1)
    scatter = float(np.sqrt(residual @ residual / free)) if free > 0 else 0.0
    noise = max(edge_se_s, scatter)
    freedom = float(free) if scatter > edge_se_s else float("nan")
    slope_se = noise / np.sqrt(spread) if spread > 0 else float("nan")
    warnings = (
        line_warnings(WindowedLags(reference_s, offset, np.ones(n)), drift=drift)
        if n > 1
        else (Notice("one trigger pulse: the lag is known, the drift is not.", "drift-unknown"),)
    )
    lag_se = noise / np.sqrt(n)
    return Synchronisation(
        method="trigger",
        lag_s=middle - slope * centre,
        lag_se_s=float(np.hypot(lag_se, slope_se * centre)) if slope else float(lag_se),
        drift_ppm=slope * 1e6,
        drift_se_ppm=float(slope_se * 1e6) if slope else float("nan"),
        window_time_s=reference_s,
        window_lag_s=offset,
        window_lag_se_s=np.full(n, noise),
        centre_s=centre,
        centre_lag_se_s=float(lag_se),
        lag_statistical_s=float(lag_se),
        drift_statistical_ppm=float(slope_se * 1e6) if slope else float("nan"),
        centre_lag_df=freedom,
        drift_df=freedom,
        warnings=warnings,
    )
