"""A heading difference that drifts slowly, followed through one-second sums.

Each second holds a complex sum whose phase is the heading difference and whose length says how
much it is worth. A rough track wraps the phases; a linear Kalman filter and smoother (Rauch, Tung &
Striebel 1965, AIAA J 3:1445) for a random walk then does the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from twinangle.signals.recording import Array, OrientationPair

# Common practice, no source.
DRIFT_DEG_SQRT_S = 0.3  # how fast the heading difference may drift, degrees per √s
_LEAST_NOISE_DEG = 0.2  # no single second is trusted beyond this

Complex = np.ndarray[tuple[int], np.dtype[np.complex128]]
Flags = np.ndarray[tuple[int], np.dtype[np.bool_]]


@dataclass(frozen=True, slots=True, eq=False)
class FollowedHeading:
    """A heading difference second by second, unwrapped, and how sure it is."""

    heading_rad: Array  # (m,)
    variance_rad2: Array  # (m,) of each second's
    mean_variance_rad2: float  # of the mean over all seconds: pieces / Σ (1 / variance of a phase)


def seconds_of(
    sample: np.ndarray[tuple[int], np.dtype[np.int64]], rate_hz: float
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return the second each sample falls in, counted from the start of the recording."""
    return np.asarray(sample / rate_hz, dtype=np.int64)


def fresh_starts(pair: OrientationPair) -> Flags:
    """Return the seconds in which a heading starts anew, because a gap lies before."""
    one, two = pair.proximal, pair.distal
    lost = np.isnan(one.quaternion[:, 0]) | np.isnan(two.quaternion[:, 0])
    fresh = np.zeros(int(np.ceil(lost.size / one.rate_hz)), dtype=bool)
    fresh[seconds_of(np.flatnonzero(lost[:-1] & ~lost[1:]) + 1, one.rate_hz)] = True
    return fresh


def follow_heading(
    product: Complex, noise_rad2: Array, fresh: Flags, start_rad: float
) -> FollowedHeading:
    """Follow the heading difference through the seconds.

    Parameters
    ----------
    product : (m,) complex array
        One sum a second; its phase is the heading difference. Zero where there is nothing.
    noise_rad2 : (m,) array
        Variance of each phase; infinite where there is nothing.
    fresh : (m,) bool array
        Seconds in which the heading starts anew.
    start_rad : float
        Heading where nothing at all was seen.

    Returns
    -------
    FollowedHeading
    """
    noise = np.maximum(noise_rad2, np.radians(_LEAST_NOISE_DEG) ** 2)
    rough = _rough_track(product, fresh, start_rad)
    phase = np.angle(product * np.exp(-1j * rough))
    deviation, variance = _smooth(phase, noise, np.diff(rough, prepend=rough[0]), fresh)
    pieces = 1 + int(np.sum(fresh[1:]))
    known = max(float(np.sum(1 / noise)) / pieces, 1 / np.radians(180.0) ** 2)
    return FollowedHeading(rough + deviation, variance, 1 / known)


def _rough_track(product: Complex, fresh: Flags, start_rad: float) -> Array:
    """Return a slowly moving phase: sums over ±15 s, unwrapped, held where there is nothing."""
    pieces = np.split(product, np.flatnonzero(fresh))
    tracks = []
    for piece in pieces:
        if piece.size == 0:
            continue
        window = np.ones(min(31, 2 * piece.size - 1))
        wide = np.convolve(piece, window, mode="full")
        half = (window.size - 1) // 2
        wide = wide[half : half + piece.size]
        anchor = np.sum(piece) if np.abs(np.sum(piece)) > 0 else np.exp(1j * start_rad)
        # A share of the whole piece's phase steadies windows in which nearly nothing moves.
        steady = wide + 0.02 * anchor
        tracks.append(np.unwrap(np.angle(steady)))
    return np.concatenate(tracks)


def _smooth(
    phase: Array,
    noise: Array,
    carried: Array,
    fresh: Flags,
) -> tuple[Array, Array]:
    """Smooth deviations from the rough track: a random walk seen through noise.

    The rough track's own steps are undone in the prediction, so that the walk is that of the
    heading itself.
    """
    n = phase.size
    step = np.radians(DRIFT_DEG_SQRT_S) ** 2
    unknown = np.radians(180.0) ** 2
    mean, variance = np.zeros(n), np.zeros(n)
    predicted, spread = np.zeros(n), np.zeros(n)
    for k in range(n):
        if k == 0 or fresh[k]:
            predicted[k], spread[k] = 0.0, unknown
        else:
            predicted[k], spread[k] = mean[k - 1] - carried[k], variance[k - 1] + step
        gain = 0.0 if np.isinf(noise[k]) else spread[k] / (spread[k] + noise[k])
        innovation = (phase[k] - predicted[k] + np.pi) % (2 * np.pi) - np.pi
        mean[k] = predicted[k] + gain * innovation
        variance[k] = (1 - gain) * spread[k]
    for k in range(n - 2, -1, -1):
        if fresh[k + 1]:
            continue
        back = variance[k] / spread[k + 1]
        mean[k] += back * (mean[k + 1] - predicted[k + 1])
        variance[k] += back**2 * (variance[k + 1] - spread[k + 1])
    return mean, variance


def at_samples(heading: Array, fresh: Flags, n_samples: int, rate_hz: float) -> Array:
    """Interpolate between seconds, but not across a gap behind which the heading starts anew."""
    sample = np.arange(n_samples)
    times = (np.arange(heading.size) + 0.5) * rate_hz
    if not fresh.any():
        return np.interp(sample, times, heading)
    nearest = np.clip(np.searchsorted((times[:-1] + times[1:]) / 2, sample), 0, times.size - 1)
    return heading[nearest]
