"""Every number the filter rests on, with its unit and its reason."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
import scipy

from twinangle.checks import require_positive


@dataclass(frozen=True, slots=True)
class KalmanParameters:
    """Noise figures and time constants of the orientation filter; one set for every recording.

    The figures are those of consumer-grade micromechanical sensors worn on a body segment; they
    are argued from what data sheets usually state and from how people move, not fitted to a
    recording: common practice, no source, but where a figure's own line derives it. Lengths of
    field are fractions of the local field, so a magnetometer in any unit will do.
    """

    block_s: float = 0.5
    """Length of a preintegrated block: half a stride, so that the velocity is seen twice a step
    cycle, and short against every time constant below."""
    scale_error: float = 0.005
    """Gyroscope scale and cross-axis error as a fraction of a block's net rotation: 0.5 % is what
    a factory calibration leaves."""
    vertical_scale_factor: float = 3.0
    """Turning is coherent: quarter turns add up over many blocks, so that the same scale error
    counts three times about the vertical."""
    rate_noise_deg_per_sqrt_s: float = 0.02
    """Angle random walk, °/√s; such data sheets give 0.005 to 0.02 (from memory)."""
    bias_walk_deg_s_per_sqrt_s: float = 0.002
    """Walk of the gyroscope bias, (°/s)/√s: 0.1°/s in forty minutes, a warming sensor."""
    start_bias_deg_s: float = 1.0
    """SD of the bias at the start, °/s: the zero-rate tolerance of a calibrated sensor."""
    accelerometer_bias: float = 0.05
    """Accelerometer bias, m/s²: 5 mg, the offset that a factory calibration leaves."""
    accelerometer_bias_s: float = 5.0
    """How long that bias pushes one way in the earth frame before the segment has turned, s."""
    velocity_correlation_s: float = 0.5
    """Correlation time of a segment's velocity about its mean, s: half a stride."""
    velocity_window_s: float = 5.0
    """Window over which the mean square velocity is taken, s: several strides."""
    velocity_floor: float = 0.05
    """Smallest velocity SD outside rest, m/s: swaying on the spot."""
    velocity_ceiling: float = 2.0
    """Largest velocity SD, m/s: a runner's leg. Three times it is no velocity of a segment: the
    attitude is then lost, after a saturated gyroscope, and sought again."""
    field_noise: float = 0.02
    """Undisturbed deviation of the field as a fraction of its norm: 1 µT in 50 µT."""
    heading_noise_deg: float = 0.5
    """White part of a block's magnetic heading, °."""
    disturbance_moving_s: float = 2.0
    """Correlation time of the undisturbed deviation in motion, s: a stride or two. The field's
    deviation and its change from block to block are averaged over as long, as a disturbed field
    passes through its norm."""
    disturbance_rest_s: float = 200.0
    """Longest correlation time of a magnetic disturbance, s, and that of the undisturbed deviation
    at rest: the field near a thing stays."""
    usual_share: float = 0.25
    """Share of the motion whose deviation of the field is taken to be the place's usual one: iron
    in a floor disturbs everywhere, a magnet in one part of the recording."""
    rejection: float = 4.0
    """Multiple of the usual mean squared deviation beyond which a heading is rejected: chi-square
    with four degrees of freedom exceeds four times its mean in 0.3 % of cases."""
    forget: float = 2.0
    """Multiple of the rejected deviation beyond which nothing of the heading's disturbance is taken
    to last: its spread is then sixteen times the usual, and it may be any."""
    gate_sd: float = 3.0
    """Innovation of the heading, in its SD, beyond which the disturbance has jumped."""
    found_s: float = 60.0
    """How long a disturbance of more than `gate_sd` times the usual lasts, s, once it is found: a
    magnet that is worn, or a stay in one place."""
    doubt_s: float = 20.0
    """For so long after the attitude was lost, after a start in motion and after a magnetometer's
    first reading a jump of the heading is the heading's, not the field's, s."""
    magnet_memory_s: float = 10.0
    """Memory of the fit of a magnet fixed to the sensor, s: the heading drifts little in it, and a
    segment turns enough."""
    magnet_least_s: float = 5.0
    """Shortest time after which such a fit is used, s."""
    magnet_jump: float = 16.0
    """Squared residual of that fit, as a multiple of the field's usual mean square, beyond which
    the fit begins anew: four times the usual deviation."""
    magnet_prior: float = 10.0
    """SD of a magnet's field, as a multiple of the field's usual deviation: weak, so that a fit to
    a sensor that does not turn stays bounded."""
    contradiction_deg: float = 30.0
    """Angle between vertical and mean specific force beyond which the attitude is lost, °. Motion
    below `velocity_ceiling` tilts that mean by 5°."""
    levelled_tilt_deg: float = 20.0
    """SD of the tilt after levelling by the mean specific force, °: half of that mean may be older
    than what went wrong."""
    levelled_heading_deg: float = 60.0
    """SD of the heading then, °: any."""
    magnetometer_offset: float = 0.005
    """SD of the magnetometer's own offset on each axis before it is estimated, as a fraction of the
    field's norm: 0.25 µT in 50 µT, what calibrating leaves."""
    lag_prior_s: float = 0.02
    """SD of the magnetometer's lag before it is estimated, s: about one sample at its own rate."""
    rest_gyroscope_deg_s: float = 0.7
    """Largest scatter (root of the summed variances) of a resting gyroscope in a block, °/s."""
    rest_accelerometer: float = 0.1
    """Largest scatter of a resting accelerometer in a block, m/s²."""
    rest_rate_deg_s: float = 3.0
    """Largest mean rate taken for bias at rest, °/s; a steady turn is faster."""
    rest_velocity: float = 0.01
    """SD of the velocity at rest, m/s."""
    rest_bias_deg_s: float = 0.03
    """SD of a block's mean rate at rest about the bias, °/s."""
    start_window_s: float = 5.0
    """How far the start looks ahead when the sensor does not begin at rest, s: over it the mean
    acceleration of a segment is small against gravity."""
    start_tilt_deg: float = 5.0
    """SD of the first tilt, °."""
    start_velocity: float = 1.0
    """SD of the first velocity, m/s: walking."""
    reference_memory_s: float = 120.0
    """Memory of the forward form's running magnetic reference, s."""
    bias_again_deg_s: float = 0.3
    """A mean bias above this is taken off the gyroscope and the blocks are integrated again, °/s:
    below it the first-order correction of a block is exact to 0.01°."""
    passes: int = 3
    """Filter-smoother passes of the offline form; each is linearised about the one before."""

    def __post_init__(self) -> None:
        for item in fields(self):
            require_positive(getattr(self, item.name), item.name)
        if not self.usual_share < 1:
            raise ValueError(f"`usual_share` must be below 1, got {self.usual_share!r}.")


class Constants(NamedTuple):
    """The parameters as the compiled code takes them: radians, metres, seconds, variances."""

    scale: float
    vertical_scale: float
    rate_density: float
    bias_density: float
    velocity_density: float
    velocity_correlation: float
    velocity_window: float
    velocity_floor: float
    velocity_ceiling: float
    field_noise: float
    heading_variance: float
    moving: float
    rest: float
    rejection: float
    forget: float
    gate: float
    found: float
    doubt: float
    magnet_memory: float
    magnet_least: float
    magnet_jump: float
    magnet_ridge: float
    contradiction: float
    levelled_tilt: float
    levelled_heading: float
    usual_share: float
    usual_factor: float
    lag_prior: float
    rest_gyroscope: float
    rest_accelerometer: float
    rest_rate: float
    rest_velocity_variance: float
    rest_bias_variance: float
    reference_memory: float


def usual_factor(share: float) -> float:
    """Return the mean of chi-square with four degrees of freedom over its quantile at `share`.

    The field's deviation has two components, norm and upward part, of which a mean over 2 s holds
    about two independent values of each.
    """
    return float(2 / scipy.special.gammaincinv(2, share))


def constants(parameters: KalmanParameters) -> Constants:
    """Convert the parameters to the units of the compiled code."""
    p, deg = parameters, np.pi / 180
    return Constants(
        scale=p.scale_error**2,
        vertical_scale=(p.vertical_scale_factor * p.scale_error) ** 2,
        rate_density=(p.rate_noise_deg_per_sqrt_s * deg) ** 2,
        bias_density=(p.bias_walk_deg_s_per_sqrt_s * deg) ** 2,
        velocity_density=p.accelerometer_bias**2 * p.accelerometer_bias_s,
        velocity_correlation=p.velocity_correlation_s,
        velocity_window=p.velocity_window_s,
        velocity_floor=p.velocity_floor**2,
        velocity_ceiling=p.velocity_ceiling**2,
        field_noise=p.field_noise,
        heading_variance=(p.heading_noise_deg * deg) ** 2,
        moving=p.disturbance_moving_s,
        rest=p.disturbance_rest_s,
        rejection=p.rejection,
        forget=p.forget,
        gate=p.gate_sd**2,
        found=p.found_s,
        doubt=p.doubt_s,
        magnet_memory=p.magnet_memory_s,
        magnet_least=p.magnet_least_s,
        magnet_jump=p.magnet_jump,
        magnet_ridge=1 / p.magnet_prior**2,
        contradiction=float(np.cos(p.contradiction_deg * deg)),
        levelled_tilt=(p.levelled_tilt_deg * deg) ** 2,
        levelled_heading=(p.levelled_heading_deg * deg) ** 2,
        usual_share=p.usual_share,
        usual_factor=usual_factor(p.usual_share),
        lag_prior=p.lag_prior_s,
        rest_gyroscope=(p.rest_gyroscope_deg_s * deg) ** 2,
        rest_accelerometer=p.rest_accelerometer**2,
        rest_rate=(p.rest_rate_deg_s * deg) ** 2,
        rest_velocity_variance=p.rest_velocity**2,
        rest_bias_variance=(p.rest_bias_deg_s * deg) ** 2,
        reference_memory=p.reference_memory_s,
    )
