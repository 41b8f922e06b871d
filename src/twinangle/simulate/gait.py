"""Joint angles of a stylised walk, as smooth functions of time that vary from stride to stride."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BSpline, make_interp_spline
from scipy.special import ndtr

from twinangle.signals.recording import Array
from twinangle.simulate.schedule import Schedule

STANCE_PEAK = (0.14, 0.06)  # centre and width in cycles
SWING_PEAK = (0.72, 0.09)
# Forward angle of the thigh over a stride, degrees and place of a peak: least squares on the right
# stride of the walking trial in Winter (2009), Biomechanics and Motor Control of Human Movement,
# appendix A (residual 0.3°).
THIGH_MEAN_DEG = 6.5
THIGH_HARMONICS = ((20.1, 0.945), (5.0, 0.266), (1.7, 0.093))


def periodic_bump(phase: Array, centre: float, width: float) -> Array:
    """Return exp(−d²/2w²), d the distance of the phase from the centre, once a cycle."""
    distance = (phase - centre + 0.5) % 1.0 - 0.5
    return np.asarray(np.exp(-0.5 * (distance / width) ** 2))


def stylised_knee_deg(phase: Array) -> Array:
    """Return the stylised knee flexion θ(p) = 3 + 14 g(p; 0.14, 0.06) + 59 g(p; 0.72, 0.09).

    `phase` is in cycles from initial contact; the result is in degrees. Two bumps at the usual
    places of the stance and the swing peak (Perry & Burnfield 2010, Gait Analysis; the numbers
    are common practice, no source).
    """
    return (
        3.0 + 14.0 * periodic_bump(phase, *STANCE_PEAK) + 59.0 * periodic_bump(phase, *SWING_PEAK)
    )


@dataclass(frozen=True, slots=True)
class Gait:
    """One person's walk in one trial: everything a function of time, nothing sampled.

    `contact_s` are initial contacts of the instrumented leg, cycle k starting at the k-th. The
    four splines of the phase hold the stride-to-stride variation in degrees.
    """

    schedule: Schedule
    contact_s: Array
    phase_of_time: BSpline
    baseline_deg: BSpline
    stance_deg: BSpline
    swing_deg: BSpline
    functional_deg: float
    standing_deg: float = 0.0

    def phase(self, time_s: Array) -> Array:
        """Return the gait phase in cycles; held at its ends outside the walk."""
        held = np.clip(time_s, self.contact_s[0], self.contact_s[-1])
        return np.asarray(self.phase_of_time(held))

    def knee_deg(self, time_s: Array) -> Array:
        """Return the true knee flexion in degrees at any times."""
        phase, turning = self.phase(time_s), self.schedule.turning(time_s)
        stance = self.stance_deg(phase) + 4.0 * turning
        swing = self.swing_deg(phase) - 8.0 * turning
        walking = (
            self.baseline_deg(phase)
            + stance * periodic_bump(phase, *STANCE_PEAK)
            + swing * periodic_bump(phase, *SWING_PEAK)
        )
        walks = self.schedule.walking(time_s)
        functional = self.functional_deg * self.schedule.flexing(time_s)
        return np.asarray(walks * walking + functional + self.standing_deg * (1.0 - walks))

    def hip_deg(self, time_s: Array) -> Array:
        """Return hip flexion in degrees: harmonics of the thigh, and its braking at contact."""
        phase = self.phase(time_s)
        wave = np.full_like(phase, THIGH_MEAN_DEG)
        for order, (height, peak) in enumerate(THIGH_HARMONICS, start=1):
            wave += height * np.cos(2.0 * np.pi * order * (phase - peak))
        # The leg is braked at contact: the sharp trough of the shank's sagittal rate.
        since = (phase + 0.5) % 1.0 - 0.5
        braked = 5.0 * (since - ndtr((since - 0.012) / 0.016))
        raised = 25.0 + 1.5 * np.sin(2.0 * np.pi * 0.6 * time_s)
        return np.asarray(
            self.schedule.walking(time_s) * (wave + braked) + self.schedule.lifted(time_s) * raised
        )


def make_gait(
    schedule: Schedule,
    *,
    rng: np.random.Generator,
    stride_s: float,
    stride_cv: float,
    knee_sd_deg: float,
    swing_peak_deg: float,
    functional_deg: float,
    standing_deg: float = 0.0,
) -> Gait:
    """Draw the strides of one walk.

    Parameters
    ----------
    schedule : Schedule
    rng : numpy.random.Generator
    stride_s, stride_cv : float
        Mean stride time in seconds and its coefficient of variation.
    knee_sd_deg : float
        Stride-to-stride SD of the stance peak in degrees; 1.3 times it for the swing peak and
        0.5 times it for the level of the whole curve.
    swing_peak_deg : float
        Mean height of the swing bump in degrees.
    functional_deg : float
        Amplitude of the functional movement in degrees.
    standing_deg : float
        Flexion while the person does not walk, in degrees.

    Returns
    -------
    Gait
    """
    contact_s = _draw_contacts(schedule, rng, stride_s, stride_cv)
    cycles = np.arange(contact_s.size, dtype=np.float64)

    def varying(mean: float, sd: float, place: float) -> BSpline:
        # A spline through one drawn value a stride, at the place in the cycle where it matters.
        return make_interp_spline(cycles + place, mean + sd * rng.standard_normal(cycles.size), k=3)

    return Gait(
        schedule=schedule,
        contact_s=contact_s,
        phase_of_time=make_interp_spline(contact_s, cycles, k=5),
        baseline_deg=varying(3.0, 0.5 * knee_sd_deg, 0.4),
        stance_deg=varying(14.0, knee_sd_deg, STANCE_PEAK[0]),
        swing_deg=varying(swing_peak_deg, 1.3 * knee_sd_deg, SWING_PEAK[0]),
        functional_deg=functional_deg,
        standing_deg=standing_deg,
    )


def _draw_contacts(
    schedule: Schedule, rng: np.random.Generator, stride_s: float, stride_cv: float
) -> Array:
    """Draw contact times from before the walk to after it; strides last 8 % longer in a turn.

    Successive strides are correlated (0.4), as long-range correlation of stride times is the
    rule in walking (Hausdorff et al. 1995, J Appl Physiol 78:349).
    """
    contacts = [schedule.walk.start_s - 2.0 * stride_s]
    deviation = 0.0
    while contacts[-1] < schedule.walk.end_s + 2.0 * stride_s:
        deviation = 0.4 * deviation + np.sqrt(1.0 - 0.4**2) * rng.standard_normal()
        turning = float(schedule.turning(np.array([contacts[-1] + 0.5 * stride_s]))[0])
        contacts.append(
            contacts[-1] + stride_s * (1.0 + stride_cv * deviation) * (1.0 + 0.08 * turning)
        )
    return np.array(contacts)
