"""The joint centre, seen from both sensors: lever arms and horizontal accelerations.

Each sensor's accelerometer, corrected for its lever arm to the joint centre, must give the same
specific force at that centre. With ``Γ = [ω]×² + [ω̇]×`` and orientations that share the vertical
but not the heading,

    R₁(a₁ − Γ₁ r₁) = R_z(δ) R₂(a₂ − Γ₂ r₂),

where `r` points from the joint centre to the sensor, in the sensor's frame. The equation is
linear in the arms and one-dimensional in the heading difference δ.

Sources: arms from this equation by Seel, Schauer & Raisch (2012, IEEE Int Conf Control
Applications, 45-49) and Seel, Raisch & Schauer (2014, Sensors 14:6891); relative orientation from
it by Kok, Hol & Schön (2014, IFAC World Congress) and Weygers & Kok (2020, IEEE Sensors J
20:7969). The solution by sums and a scan over δ is our own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from twinangle.signals.recording import Array, InertialRecording, OrientationRecording
from twinangle.signals.robust import robust_sd
from twinangle.signals.zero_phase import both_ways, butterworth
from twinangle.wearable import quaternions

# Common practice, no source.
CUTOFF_HZ = 12.0  # above it soft tissue and noise outweigh the motion of the joint
ARM_PRIOR_M = 0.5  # standard deviation of the weak prior that keeps unseen arms finite
_LEAST_PRIOR = 1e-12  # of the sum of squares: below it the system is singular to rounding
_WORK_RATE_HZ = 50.0  # about four times the cut-off
_FIT_S = 120.0  # the arms are found on the liveliest stretch of this length
_PAD_S = 0.5  # samples this near a gap are left out: the low-pass rings there
_ROBUST = (
    2.385  # Cauchy's tuning constant: 95 % efficiency on normal residuals (Holland & Welsch 1977)
)


@dataclass(frozen=True, slots=True, eq=False)
class SegmentTerms:
    """What one sensor says of the joint centre: specific force there is ``c − B r``, earth frame.

    `columns` is (n, 3, 4): the three columns of ``R Γ``, then ``R a``.
    """

    columns: Array
    sample: np.ndarray[tuple[int], np.dtype[np.int64]]  # (n,) index in the recording

    def force(self, arm_m: Array) -> Array:
        """Return the specific force at the joint centre, earth frame, (n, 3) m/s²."""
        return np.asarray(self.columns[:, :, 3] - self.columns[:, :, :3] @ arm_m)

    def turned(self, heading_rad: Array) -> SegmentTerms:
        """Return the terms turned about the vertical by a heading of each row, (n,)."""
        about = quaternions.about_axis(np.array([0.0, 0.0, 1.0]), heading_rad)[:, None, :]
        columns = quaternions.rotate(about, np.swapaxes(self.columns, 1, 2))
        return SegmentTerms(np.swapaxes(columns, 1, 2), self.sample)


@dataclass(frozen=True, slots=True, eq=False)
class JointCentre:
    """Lever arms and one heading difference that fit a stretch of motion best."""

    proximal_arm_m: Array  # (3,) from the joint centre to the sensor, proximal sensor frame
    distal_arm_m: Array  # (3,) likewise, distal sensor frame
    arm_covariance: Array  # (6, 6), proximal then distal
    heading_rad: float  # turns the distal sensor's earth frame into the proximal one's
    residual_m_s2: float  # RMS of one component of the misfit, robust


def segment_terms(
    sensor: InertialRecording, orientation: OrientationRecording, part: slice
) -> SegmentTerms:
    """Low-pass, differentiate and turn into the earth frame one stretch of a sensor.

    Samples without signal or orientation, and those within half a second of them, are left out.
    """
    pad = int(2 * sensor.rate_hz)
    wide = slice(max(part.start - pad, 0), min(part.stop + pad, sensor.n_samples))
    signals = np.concatenate([sensor.gyroscope[wide], sensor.accelerometer[wide]], axis=1)
    known = np.isfinite(signals).all(axis=1) & np.isfinite(orientation.quaternion[wide, 0])
    smooth = _low_pass(_bridged(signals, known), sensor.rate_hz)
    rate, force = smooth[:, :3], smooth[:, 3:]
    slope = np.gradient(rate, 1 / sensor.rate_hz, axis=0)
    reach = np.ones(2 * int(_PAD_S * sensor.rate_hz) + 1)
    usable = np.convolve(~known, reach, mode="same") < 0.5
    step = work_step(sensor.rate_hz)
    index = np.arange(wide.start, wide.stop)
    chosen = usable & (index >= part.start) & (index < part.stop) & (index % step == 0)
    columns = np.stack([*_lever_columns(rate[chosen], slope[chosen]), force[chosen]], axis=1)
    quaternion = orientation.quaternion[wide][chosen][:, None, :]
    earth = quaternions.rotate(quaternion, columns)
    return SegmentTerms(np.swapaxes(earth, 1, 2), index[chosen])


def shared_terms(
    sensors: tuple[InertialRecording, InertialRecording],
    orientations: tuple[OrientationRecording, OrientationRecording],
    part: slice,
) -> tuple[SegmentTerms, SegmentTerms]:
    """Return both sensors' terms at the samples that both have."""
    first, second = (
        segment_terms(sensor, orientation, part)
        for sensor, orientation in zip(sensors, orientations, strict=True)
    )
    _, one, two = np.intersect1d(
        first.sample, second.sample, assume_unique=True, return_indices=True
    )
    return (
        SegmentTerms(first.columns[one], first.sample[one]),
        SegmentTerms(second.columns[two], second.sample[two]),
    )


def find_joint_centre(
    proximal: SegmentTerms, distal: SegmentTerms, *, heading_rad: float | None = None
) -> JointCentre:
    """Solve for the two arms and, unless it is given, the heading difference.

    For every heading the arms follow from a 6 × 6 system of sums, so the heading is scanned in
    steps of 5° over the whole circle, before and after the first weighting, and refined. Four
    rounds with Cauchy weights keep impacts and soft tissue from deciding.

    Parameters
    ----------
    proximal, distal : SegmentTerms
        At the same samples.
    heading_rad : float, optional
        Known heading difference (0 when the two orientations share their earth frame).
    """
    weight = np.ones(proximal.sample.size)
    ridge = 1.0 / ARM_PRIOR_M**2
    scale, heading = 1.0, 0.0 if heading_rad is None else heading_rad
    for round_ in range(4):
        sums = _Sums.of(proximal.columns, distal.columns, weight)
        # two sensors whose signals are the same have arms without bounds, and no misfit
        prior = max(ridge * scale**2, _LEAST_PRIOR * float(np.trace(sums.first[:3, :3])))
        if heading_rad is None:
            whole = round_ < 2  # impacts may still mislead the first, unweighted round
            heading = _best_heading(sums, prior, None if whole else heading)
        arms, precision = sums.arms(heading, prior)
        misfit = misfit_of(proximal, distal, arms, heading)
        scale = max(robust_sd(misfit, 0.0), 1e-6)
        weight = cauchy_weights(misfit / scale)
    covariance = np.linalg.inv(precision) * scale**2 * sample_repeats()
    return JointCentre(arms[:3], arms[3:], np.asarray(covariance), heading, scale)


def solve_weighted(
    proximal: SegmentTerms, distal: SegmentTerms, weight: Array, spread: float, near: JointCentre
) -> JointCentre:
    """Solve once for arms and heading, within 20° of a known one, with given weights.

    Parameters
    ----------
    proximal, distal : SegmentTerms
        Whitened alike.
    weight : (n,) array
        Weight of each sample.
    spread : float
        SD of one component of the misfit, in the units of the terms.
    near : JointCentre
        The solution so far; its `residual_m_s2` is kept.
    """
    sums = _Sums.of(proximal.columns, distal.columns, weight)
    ridge = (spread / ARM_PRIOR_M) ** 2
    heading = _best_heading(sums, ridge, near.heading_rad)
    arms, precision = sums.arms(heading, ridge)
    covariance = np.linalg.inv(precision) * spread**2 * sample_repeats()
    return JointCentre(arms[:3], arms[3:], np.asarray(covariance), heading, near.residual_m_s2)


def cauchy_weights(misfit: Array) -> Array:
    """Return the weight of each row of a misfit (n, 3) in units of its spread."""
    size = np.linalg.norm(misfit, axis=1) / _ROBUST
    return np.asarray(1.0 / (1.0 + size**2))


def work_step(rate_hz: float) -> int:
    """Return how many samples of the recording lie between two that are used."""
    return max(1, int(rate_hz / _WORK_RATE_HZ))


def liveliest(proximal: InertialRecording, distal: InertialRecording) -> slice:
    """Return the stretch of two minutes with the most acceleration beside gravity."""
    length = int(_FIT_S * proximal.rate_hz)
    if proximal.n_samples <= length:
        return slice(0, proximal.n_samples)
    size = np.zeros(proximal.n_samples)
    for sensor in (proximal, distal):
        norm = np.linalg.norm(sensor.accelerometer, axis=1)
        size += np.nan_to_num((norm - np.nanmedian(norm)) ** 2)
    running = np.cumsum(np.insert(np.minimum(size, 400.0), 0, 0.0))
    start = int(np.argmax(running[length:] - running[:-length]))
    return slice(start, start + length)


def sample_repeats() -> float:
    """Return how many low-passed samples are worth one: 2 · cut-off a second are independent."""
    return max(1.0, _WORK_RATE_HZ / (2 * CUTOFF_HZ))


def horizontal(vector: Array) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
    """Return the horizontal part of earth vectors (n, 3) as complex east + i north."""
    return np.asarray(vector[:, 0] + 1j * vector[:, 1])


@dataclass(frozen=True, slots=True, eq=False)
class _Sums:
    """Weighted products of the columns, from which the misfit at any heading and arm follows.

    With u = (−r, 1): ‖M₁u₁ − R_z M₂u₂‖² = u₁ᵀ own₁ u₁ + u₂ᵀ own₂ u₂ − 2 u₁ᵀ X(δ) u₂ and
    X = cos δ · even + sin δ · odd + vertical.
    """

    first: Array
    second: Array
    even: Array
    odd: Array
    vertical: Array

    @classmethod
    def of(cls, one: Array, two: Array, weight: Array) -> _Sums:
        heavy = one * weight[:, None, None]

        def dot(a: Array, row_a: int, b: Array, row_b: int) -> Array:
            return np.asarray(a[:, row_a].T @ b[:, row_b])

        heavy_two = two * weight[:, None, None]
        return cls(
            first=sum((dot(heavy, k, one, k) for k in range(3)), start=np.zeros((4, 4))),
            second=sum((dot(heavy_two, k, two, k) for k in range(3)), start=np.zeros((4, 4))),
            even=dot(heavy, 0, two, 0) + dot(heavy, 1, two, 1),
            odd=dot(heavy, 1, two, 0) - dot(heavy, 0, two, 1),
            vertical=dot(heavy, 2, two, 2),
        )

    def cross(self, heading: float) -> Array:
        return np.asarray(np.cos(heading) * self.even + np.sin(heading) * self.odd + self.vertical)

    def arms(self, heading: float, ridge: float) -> tuple[Array, Array]:
        """Return the best arms (6,) at a heading, and the matrix of their normal equations."""
        x = self.cross(heading)
        matrix = np.empty((6, 6))
        matrix[:3, :3], matrix[3:, 3:] = self.first[:3, :3], self.second[:3, :3]
        matrix[:3, 3:], matrix[3:, :3] = -x[:3, :3], -x[:3, :3].T
        matrix.flat[::7] += ridge
        right = np.concatenate([self.first[:3, 3] - x[:3, 3], self.second[:3, 3] - x[3, :3]])
        return np.linalg.solve(matrix, right), matrix

    def cost(self, heading: float, ridge: float) -> float:
        """Return the least misfit any arms reach at this heading."""
        arms, _ = self.arms(heading, ridge)
        one, two = np.append(-arms[:3], 1.0), np.append(-arms[3:], 1.0)
        return float(
            one @ self.first @ one
            + two @ self.second @ two
            - 2 * one @ self.cross(heading) @ two
            + ridge * arms @ arms
        )

    def costs(self, headings: Array, ridge: float) -> Array:
        """Return :meth:`cost` at each of several headings, solved together."""
        x = (
            np.cos(headings)[:, None, None] * self.even
            + np.sin(headings)[:, None, None] * self.odd
            + self.vertical
        )
        matrix = np.empty((headings.size, 6, 6))
        matrix[:, :3, :3], matrix[:, 3:, 3:] = self.first[:3, :3], self.second[:3, :3]
        matrix[:, :3, 3:], matrix[:, 3:, :3] = -x[:, :3, :3], -np.swapaxes(x[:, :3, :3], 1, 2)
        matrix[:, range(6), range(6)] += ridge
        right = np.concatenate(
            [self.first[:3, 3] - x[:, :3, 3], self.second[:3, 3] - x[:, 3, :3]], axis=1
        )
        arms = np.linalg.solve(matrix, right[:, :, None])[:, :, 0]
        ones = np.ones((headings.size, 1))
        one = np.concatenate([-arms[:, :3], ones], axis=1)
        two = np.concatenate([-arms[:, 3:], ones], axis=1)
        return np.asarray(
            np.einsum("ni,ij,nj->n", one, self.first, one)
            + np.einsum("ni,ij,nj->n", two, self.second, two)
            - 2 * np.einsum("ni,nij,nj->n", one, x, two)
            + ridge * np.sum(arms**2, axis=1)
        )


def _best_heading(sums: _Sums, ridge: float, near_rad: float | None) -> float:
    """Return the heading of least misfit: over the whole circle, or within 20° of a known one."""
    step = np.radians(5.0)
    start = near_rad
    if start is None:
        grid = np.arange(0.0, 2 * np.pi, step)
        start = grid[int(np.argmin(sums.costs(grid, ridge)))]
    reach = step if near_rad is None else 4 * step
    found = scipy.optimize.minimize_scalar(
        lambda heading: sums.cost(heading, ridge),
        bounds=(start - reach, start + reach),
        method="bounded",
        options={"xatol": 1e-5},
    )
    return float(found.x)


def misfit_of(one: SegmentTerms, two: SegmentTerms, arms: Array, heading: float) -> Array:
    """Return what the two sensors' specific forces at the joint centre differ by, (n, 3) m/s²."""
    turned = two.force(arms[3:])
    turn = np.exp(1j * heading) * horizontal(turned)
    other = np.stack([turn.real, turn.imag, turned[:, 2]], axis=1)
    return np.asarray(one.force(arms[:3]) - other)


def _lever_columns(rate: Array, slope: Array) -> list[Array]:
    """Return the three columns of Γ: what a unit arm along each axis adds to the acceleration."""
    units = np.eye(3)
    return [
        quaternions.cross(rate, quaternions.cross(rate, unit)) + quaternions.cross(slope, unit)
        for unit in units
    ]


def _bridged(signals: Array, known: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> Array:
    """Fill unknown rows by straight lines, for the low-pass alone; they are dropped after it."""
    if known.all() or not known.any():
        return np.nan_to_num(signals)
    where = np.arange(known.size)
    return np.stack(
        [np.interp(where, where[known], channel[known]) for channel in signals.T], axis=1
    )


def _low_pass(signals: Array, rate_hz: float) -> Array:
    if rate_hz <= 2.2 * CUTOFF_HZ or signals.shape[0] < 30:
        return signals
    return both_ways(butterworth(2, CUTOFF_HZ, rate_hz), signals)
