"""Relative heading of two sensors without magnetometers.

Six-axis orientations share the vertical, but each has a heading of its own, and the difference δ(t)
drifts slowly. It is found from the joint centre's horizontal acceleration, which both sensors feel,
or, where there is too little of it, from the joint's axis as if it were a hinge.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from twinangle.errors import AngleError
from twinangle.notices import Notice
from twinangle.signals.recording import (
    Array,
    InertialRecording,
    OrientationPair,
    OrientationRecording,
    SensorPair,
)
from twinangle.thresholds import told_apart
from twinangle.wearable import quaternions
from twinangle.wearable.heading.drift import (
    Complex,
    FollowedHeading,
    at_samples,
    follow_heading,
    fresh_starts,
    seconds_of,
)
from twinangle.wearable.heading.joint_centre import (
    JointCentre,
    SegmentTerms,
    find_joint_centre,
    horizontal,
    liveliest,
    sample_repeats,
    shared_terms,
)
from twinangle.wearable.heading.whitening import (
    REACH_S,
    Whitening,
    find_whitened_joint_centre,
    no_whitening,
)

# Common practice, no source.
LEAST_COHERENCE, SURE_COHERENCE = 0.5, 0.8
LEAST_ACCELERATION = 0.3  # m/s², RMS horizontal acceleration of the joint centre
MOST_NOISE_RATIO = 1.3  # misfit over acceleration
_OFFSET_M_S2 = 0.1  # half a degree of tilt, or the offset of a consumer-grade accelerometer
_SYSTEMATIC_DEG = 5.0  # heading error at a misfit as large as the acceleration
_CHUNK_S = 600.0


@dataclass(frozen=True, slots=True, eq=False)
class HeadingEstimate:
    """Heading difference over time, and how far it can be trusted.

    A turn of the distal sensor's earth frame by `heading_rad` about the vertical brings it into
    the proximal one's.
    """

    heading_rad: Array  # (n,) one a sample
    standard_error_deg: float  # at any one time: RMS over time, systematic part included
    mean_error_deg: float  # of the heading's mean over the recording, systematic part included
    coherence: float  # |Σ z| / Σ |z| after the drift is taken out: 1 is perfect
    acceleration_m_s2: float  # RMS horizontal acceleration of the joint centre, h
    misfit_m_s2: float  # RMS horizontal difference between the two sensors' views of it, s
    proximal_arm_m: Array  # (3,) joint centre to sensor
    distal_arm_m: Array
    warnings: tuple[str, ...] = ()

    def apply(self, pair: OrientationPair) -> OrientationPair:
        """Return the pair with the distal sensor turned into the proximal one's earth frame."""
        turn = quaternions.about_axis(np.array([0.0, 0.0, 1.0]), self.heading_rad)
        turned = quaternions.multiply(turn, pair.distal.quaternion)
        return OrientationPair(pair.proximal, replace(pair.distal, quaternion=turned))


def joint_centre_heading(sensors: SensorPair, oriented: OrientationPair) -> HeadingEstimate:
    """Estimate the heading difference from the joint centre's horizontal acceleration.

    The arms and one heading are found on the liveliest two minutes, each frequency weighed by how
    well the sensors agree there. With these arms, z = h₁ h₂* of the horizontal accelerations,
    whitened and summed over one second, has the heading difference as its phase; a random-walk
    smoother (0.3°/√s) joins the seconds.

    Parameters
    ----------
    sensors : SensorPair
        Raw signals; magnetometers are not used.
    oriented : OrientationPair
        Six-axis orientations of the same samples.

    Returns
    -------
    HeadingEstimate
        Its standard error is ``√(SE² + (5° · s/h)²)``: the smoother's own, and an allowance for
        soft tissue that a statistical error cannot see. Most of SE is the drift that the smoother
        allows for; in the mean over m seconds of variances σₖ² it is 1/√(Σ 1/σₖ²).

    Raises
    ------
    AngleError
        If the motion cannot tell: C < 0.5, h < 0.3 m/s² or s/h > 1.3.

    References
    ----------
    Kok, Hol & Schön (2014), IFAC World Congress; Weygers & Kok (2020), IEEE Sensors J 20:7969.
    The drift smoother and the rules for refusing are our own.
    """
    both = (sensors.proximal, sensors.distal)
    turned = (oriented.proximal, oriented.distal)
    terms = shared_terms(both, turned, liveliest(*both))
    if terms[0].sample.size < 100:
        raise AngleError(
            "heading without magnetometers: fewer than two seconds in which both sensors have "
            "signals. Give a longer recording."
        )
    rate, n = both[0].rate_hz, both[0].n_samples
    fresh = fresh_starts(oriented)

    def follow(centre: JointCentre, whitening: Whitening) -> tuple[_Seconds, FollowedHeading]:
        seconds = _second_sums(both, turned, centre, whitening)
        noise = _phase_noise(seconds, whitening)
        return seconds, follow_heading(seconds.white, noise, fresh, plain.heading_rad)

    plain = find_joint_centre(*terms)
    _, rough = follow(plain, no_whitening(plain, rate))
    # A heading that drifts would pass for a misfit: it is taken out before the spectrum.
    steady = terms[1].turned(at_samples(rough.heading_rad, fresh, n, rate)[terms[1].sample])
    centre, whitening = find_whitened_joint_centre(
        terms[0], steady, rate, replace(plain, heading_rad=0.0)
    )
    seconds, followed = follow(centre, whitening)
    estimate = _judge(seconds, followed, centre)
    return replace(estimate, heading_rad=at_samples(followed.heading_rad, fresh, n, rate))


@dataclass(frozen=True, slots=True, eq=False)
class _Seconds:
    """One-second sums over the recording; empty seconds hold zeros."""

    product: Complex  # Σ h₁ h₂*
    size: Array  # Σ |h₁ h₂|
    power: Array  # (2, m) Σ |h₁|², Σ |h₂|²
    white: Complex  # Σ h₁ h₂* of the whitened h
    white_power: Array  # (2, m) likewise
    count: Array


def _second_sums(
    sensors: tuple[InertialRecording, InertialRecording],
    oriented: tuple[OrientationRecording, OrientationRecording],
    centre: JointCentre,
    whitening: Whitening,
) -> _Seconds:
    """Sum the horizontal accelerations of the joint centre over each second, chunk by chunk."""
    rate, n = sensors[0].rate_hz, sensors[0].n_samples
    sums = np.zeros((8, int(np.ceil(n / rate))), dtype=complex)
    chunk, reach = int(_CHUNK_S * rate), int(REACH_S * rate)
    for start in range(0, n, chunk):
        stop = min(start + chunk, n)
        wide = slice(max(start - reach, 0), min(stop + reach, n))
        terms = shared_terms(sensors, oriented, wide)
        if terms[0].sample.size == 0:
            continue
        inside = (terms[0].sample >= start) & (terms[0].sample < stop)
        bin_of = seconds_of(terms[0].sample[inside], rate)
        for row, value in enumerate(_products(terms, centre, whitening)):
            np.add.at(sums[row], bin_of, value[inside])
    real = sums.real
    return _Seconds(sums[0], real[1], real[2:4], sums[4], real[5:7], real[7])


def _products(
    terms: tuple[SegmentTerms, SegmentTerms], centre: JointCentre, whitening: Whitening
) -> Iterator[Complex | Array]:
    """Yield what is summed, sample by sample, in the order of :class:`_Seconds`."""
    forces = terms[0].force(centre.proximal_arm_m), terms[1].force(centre.distal_arm_m)
    first, second = (horizontal(force) for force in forces)
    yield first * second.conj()
    yield np.abs(first * second)
    yield from (np.abs(first) ** 2, np.abs(second) ** 2)
    white = [horizontal(whitening.apply(force, terms[0].sample)) for force in forces]
    yield white[0] * white[1].conj()
    yield from (np.abs(white[0]) ** 2, np.abs(white[1]) ** 2)
    yield np.ones(first.size)


def _phase_noise(seconds: _Seconds, whitening: Whitening) -> Array:
    """Return the variance of each second's phase; infinite where the joint centre is still.

    With P the power of the true acceleration (what was summed less what noise adds), σ² the
    variance of a component and n samples, the phase of Σ h₁ h₂* varies by
    ``(2σ² P + n (2σ²)²) / P²``, times the samples that repeat each other after the low-pass; all of
    it whitened. σ² holds the misfit, that of the second itself where it is above the usual one,
    and what tilt and accelerometer offset put into the horizontal; without the latter, a person
    standing still would seem to say something.
    """
    first, second = seconds.white_power
    count = np.maximum(seconds.count, 1.0)
    local = np.maximum(first + second - 2 * np.abs(seconds.white), 0.0) / count
    noise = np.maximum(2 * whitening.spread**2, local)
    noise += 2 * (whitening.offset_gain * _OFFSET_M_S2) ** 2
    power = np.sqrt(first * second) - seconds.count * noise
    variance = np.full(power.size, np.inf)
    seen = power > 0
    variance[seen] = ((noise * power + seconds.count * noise**2)[seen] / power[seen] ** 2) * (
        sample_repeats()
    )
    return variance


def _judge(seconds: _Seconds, followed: FollowedHeading, centre: JointCentre) -> HeadingEstimate:
    """Refuse what the motion cannot tell, and state how sure the rest is."""
    straight = seconds.product * np.exp(-1j * followed.heading_rad)
    n = max(float(seconds.count.sum()), 1.0)
    coherence = float(np.abs(straight.sum()) / max(seconds.size.sum(), 1e-12))
    power = float(seconds.power.sum()) / 2
    acceleration = float(np.sqrt(power / n))
    misfit = float(np.sqrt(max(2 * power - 2 * straight.real.sum(), 0.0) / n))
    ratio = misfit / max(acceleration, 1e-12)
    evidence = (
        f"coherence {coherence:.2f}, horizontal acceleration of the joint {acceleration:.2f} m/s² "
        f"RMS, misfit {misfit:.2f} m/s²"
    )
    if coherence < LEAST_COHERENCE or acceleration < LEAST_ACCELERATION or ratio > MOST_NOISE_RATIO:
        alike, least = told_apart(coherence, LEAST_COHERENCE, 2)
        moved, little = told_apart(acceleration, LEAST_ACCELERATION, 2)
        noise, most = told_apart(ratio, MOST_NOISE_RATIO, 2)
        raise AngleError(
            f"heading without magnetometers: the motion was too little or too disturbed to tell "
            f"how the sensors are turned to each other (coherence {alike}, at least {least} is "
            f"needed; horizontal acceleration of the joint {moved} m/s² RMS, at least {little}; "
            f"misfit {noise} times that, at most {most}). Give a recording in which the joint "
            "itself is accelerated, as in walking and squats, or use a procedure with "
            "magnetometers."
        )
    error, mean_error = (
        float(np.hypot(np.degrees(np.sqrt(variance)), _SYSTEMATIC_DEG * ratio))
        for variance in (followed.variance_rad2.mean(), followed.mean_variance_rad2)
    )
    warnings: tuple[str, ...] = ()
    if coherence < SURE_COHERENCE:
        warnings = (
            Notice(
                f"heading without magnetometers is uncertain by about {error:.0f}° ({evidence}).",
                "heading-uncertain",
                size=error,
            ),
        )
    return HeadingEstimate(
        followed.heading_rad,
        error,
        mean_error,
        coherence,
        acceleration,
        misfit,
        centre.proximal_arm_m,
        centre.distal_arm_m,
        warnings,
    )
