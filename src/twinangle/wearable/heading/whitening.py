"""The joint centre fitted with every frequency weighed by how well the two sensors agree there.

Skin moves the sensors in step with the stride. In the accelerations that motion is loud at a few
of the stride's harmonics, and there it is no noise: it repeats, so averaging does not remove it
and it turns the heading by a constant one to two degrees. Least squares for coloured errors ask
for the misfit to be whitened (Aitken 1935, Proc R Soc Edinb 55:42-48; the spectrum estimated from
the residuals and the fit repeated, as in Box & Jenkins' prewhitening). A filter that is the same
at all times commutes with the turn about the vertical, so the fit stays linear in the arms.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy

from twinangle.signals.recording import Array
from twinangle.signals.robust import robust_sd
from twinangle.wearable.heading.joint_centre import (
    CUTOFF_HZ,
    JointCentre,
    SegmentTerms,
    cauchy_weights,
    misfit_of,
    solve_weighted,
    work_step,
)

LOWEST_HZ = 0.4  # slower differences are tilt and accelerometer offset, not motion
REACH_S = 2.0  # half the length of the filter: it tells frequencies 0.5 Hz apart
_ROUNDS = 4
# A tilt of a degree or two, and an accelerometer's scale and axes, turn this share of the
# acceleration aside at every frequency, however well a fit with few frequencies seems to agree.
_PROPORTIONAL = 0.03
_LEAST_WINDOWS = 5  # of 4 s, overlapping by half, for a spectrum at all

Index = np.ndarray[tuple[int], np.dtype[np.int64]]


@dataclass(frozen=True, slots=True, eq=False)
class Whitening:
    """One filter for the two horizontal components, one for the vertical; symmetric in time."""

    horizontal: Array  # (2k + 1,)
    vertical: Array
    step: int  # of the samples it works on
    spread: float  # SD of one component of the whitened misfit, robust
    offset_gain: float  # what the horizontal filter makes of a constant

    def apply(self, values: Array, sample: Index) -> Array:
        """Return values (n, 3, ...) in the earth frame whitened; samples not present are bridged.

        Parameters
        ----------
        values : (n, 3, ...) array
            East, north and up along the second axis.
        sample : (n,) int array
            Place of each row in the recording, in increasing order.
        """
        even, rows = _evened(values.reshape(values.shape[0], -1), sample, self.step)
        even = even.reshape(-1, *values.shape[1:])
        white = np.empty_like(even)
        for component in range(3):
            kernel = self.vertical if component == 2 else self.horizontal
            shaped = kernel.reshape(-1, *([1] * (values.ndim - 2)))
            white[:, component] = scipy.signal.oaconvolve(
                even[:, component], shaped, mode="same", axes=0
            )
        return np.asarray(white[rows])


def find_whitened_joint_centre(
    proximal: SegmentTerms, distal: SegmentTerms, rate_hz: float, plain: JointCentre
) -> tuple[JointCentre, Whitening]:
    """Solve for arms and heading with frequencies weighed by the spectrum of the misfit.

    The plain solution gives the first misfit; four rounds of spectrum, filter and Cauchy-weighted
    solution follow.

    Parameters
    ----------
    proximal, distal : SegmentTerms
        At the same samples.
    rate_hz : float
        Rate of the recording.
    plain : JointCentre
        As :func:`~twinangle.wearable.heading.joint_centre.find_joint_centre` returns it.

    Returns
    -------
    (JointCentre, Whitening)
        Arms and heading, the misfit given in m/s² without whitening; and the last filter.
        Below about 12 s there is no spectrum, and the filter does nothing.
    """
    step = work_step(rate_hz)
    centre, whitening = plain, no_whitening(plain, rate_hz)
    for _ in range(_ROUNDS):
        arms = np.concatenate([centre.proximal_arm_m, centre.distal_arm_m])
        misfit = misfit_of(proximal, distal, arms, centre.heading_rad)
        force = proximal.force(centre.proximal_arm_m)
        found = _whitening_of(misfit, force, proximal.sample, step, rate_hz)
        if found is None:
            return centre, whitening
        weight = cauchy_weights(found.apply(misfit, proximal.sample) / found.spread)
        centre = solve_weighted(
            SegmentTerms(found.apply(proximal.columns, proximal.sample), proximal.sample),
            SegmentTerms(found.apply(distal.columns, distal.sample), distal.sample),
            weight,
            found.spread,
            centre,
        )
        whitening = found
    arms = np.concatenate([centre.proximal_arm_m, centre.distal_arm_m])
    misfit = misfit_of(proximal, distal, arms, centre.heading_rad)
    left = robust_sd(misfit, 0.0)
    return replace(centre, residual_m_s2=max(left, 1e-6)), whitening


def no_whitening(centre: JointCentre, rate_hz: float) -> Whitening:
    """Return the filter that leaves everything as it is."""
    one = np.ones(1)
    return Whitening(one, one, work_step(rate_hz), max(centre.residual_m_s2, 1e-9), 1.0)


def _whitening_of(
    misfit: Array, force: Array, sample: Index, step: int, rate_hz: float
) -> Whitening | None:
    """Return the filter that makes this misfit white between its lowest and highest frequency."""
    even, _ = _evened(np.concatenate([misfit, force[:, :2]], axis=1), sample, step)
    rate = rate_hz / step
    half = int(REACH_S * rate)
    if even.shape[0] < (_LEAST_WINDOWS + 1) * half:
        return None
    # The median over windows keeps turns and impacts out of the spectrum.
    frequency, power = scipy.signal.welch(even, rate, nperseg=2 * half, axis=0, average="median")
    passed = (frequency >= LOWEST_HZ) & (frequency <= CUTOFF_HZ)
    floor = _PROPORTIONAL**2 * power[:, 3:].mean(axis=1)
    kernels = [
        _kernel(spectrum + floor, passed, half)
        for spectrum in (power[:, :2].mean(axis=1), power[:, 2])
    ]
    found = Whitening(kernels[0], kernels[1], step, 1.0, abs(float(kernels[0].sum())))
    spread = robust_sd(found.apply(misfit, sample), 0.0)
    return replace(found, spread=max(spread, 1e-9))


def _kernel(power: Array, passed: np.ndarray[tuple[int], np.dtype[np.bool_]], half: int) -> Array:
    """Return a symmetric filter whose gain is one over the root of the spectrum."""
    gain = np.where(passed, 1.0 / np.sqrt(np.maximum(power, 1e-12)), 0.0)
    response = np.fft.fftshift(np.fft.irfft(gain, n=2 * half))
    symmetric = np.append(response, response[0]) * np.hanning(2 * half + 1)
    return np.asarray(symmetric)


def _evened(values: Array, sample: Index, step: int) -> tuple[Array, Index]:
    """Return values (n, m) on an even grid, straight lines where rows are missing, and the rows."""
    rows = (sample - sample[0]) // step
    if rows[-1] + 1 == rows.size:
        return values, rows
    grid = np.arange(rows[-1] + 1)
    return np.stack([np.interp(grid, rows, column) for column in values.T], axis=1), rows
