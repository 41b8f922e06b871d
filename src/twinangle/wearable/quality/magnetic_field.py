"""How disturbed the magnetic field was that a sensor took its heading from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import scipy
from numpy.typing import NDArray

from twinangle.errors import AngleError
from twinangle.notices import Notice
from twinangle.signals.recording import Array, InertialRecording, Interval
from twinangle.thresholds import told_apart
from twinangle.wearable import quaternions
from twinangle.wearable.orientation import levelled
from twinangle.wearable.procedure_input import slice_samples

if TYPE_CHECKING:
    import pandas as pd

NORM_LIMIT = 0.10  # share of the undisturbed norm; from memory, common practice
DIP_LIMIT_DEG = 10.0  # likewise
SPREAD_LIMIT_DEG = 3.0
"""Spread of the magnetic heading above which the heading of `kalman` was off by more than 0.6° on
simulated walks (`benchmarks/heading_in_disturbed_field.py`)."""


@dataclass(frozen=True, slots=True, eq=False)
class MagneticDisturbance:
    """Result of :func:`magnetic_disturbance`; arrays hold one value a sample, NaN in gaps."""

    source: str
    norm: float  # undisturbed norm, in the magnetometer's unit (µT unless normalised)
    dip_deg: float  # undisturbed dip, positive below the horizontal
    norm_deviation: Array  # (norm − undisturbed) / undisturbed
    dip_deviation_deg: Array
    disturbed: NDArray[np.bool_]  # beyond ±10 % or ±10°
    start_s: float
    rate_hz: float

    @property
    def n_samples(self) -> int:
        """Number of samples with a magnetometer reading and a dip."""
        return int(np.isfinite(self.norm_deviation).sum())

    @property
    def share(self) -> float:
        """Share of disturbed samples, 0 to 1."""
        return float(self.disturbed.sum() / self.n_samples)

    @property
    def heading_spread_deg(self) -> float:
        """How far the magnetic heading strays, from how far norm and upward part do, in degrees.

        √(mean D / 2) / (B cos dip), D the squared deviation of the norm and of the upward part and
        B the undisturbed norm: a disturbance without a preferred direction turns the horizontal
        field by as much as either of the two deviates.
        """
        norm = 1 + self.norm_deviation
        up = norm * np.sin(np.radians(self.dip_deg + self.dip_deviation_deg))
        off = self.norm_deviation**2 + (up - np.sin(np.radians(self.dip_deg))) ** 2
        level = np.cos(np.radians(self.dip_deg))
        return float(np.degrees(np.sqrt(np.nanmean(off) / 2) / level))

    @property
    def warnings(self) -> tuple[str, ...]:
        """A warning where the field is too disturbed for a heading, else nothing."""
        if self.heading_spread_deg <= SPREAD_LIMIT_DEG:
            return ()
        spread, limit = told_apart(self.heading_spread_deg, SPREAD_LIMIT_DEG, 0)
        text = (
            f"the magnetic field's direction strays by about {spread}°; from {limit}° on, the "
            "heading that one sensor has from it is uncertain. Compare kalman-two-sensors or a "
            "procedure without magnetometers."
        )
        return (Notice(text, "magnetic-disturbance", size=self.heading_spread_deg),)

    def summary(self) -> str:
        """Return one line for a terminal or a caption."""
        return (
            f"{self.source}: {100 * self.share:.0f} % of samples magnetically disturbed; norm "
            f"{self.norm:.1f}, RMS deviation "
            f"{100 * np.sqrt(np.nanmean(self.norm_deviation**2)):.0f} %; dip "
            f"{self.dip_deg:.0f}°, RMS deviation "
            f"{np.sqrt(np.nanmean(self.dip_deviation_deg**2)):.0f}°"
        )

    def to_frame(self) -> pd.DataFrame:
        """Return one row: undisturbed values, RMS and largest deviations, share."""
        import pandas as pd

        return pd.DataFrame([self.numbers()])

    def numbers(self) -> dict[str, Any]:
        """Return what :meth:`to_frame` holds, by its columns' names."""
        norm, dip = np.abs(self.norm_deviation), np.abs(self.dip_deviation_deg)
        return {
            "source": self.source,
            "norm": self.norm,
            "dip_deg": self.dip_deg,
            "norm_deviation_rms": float(np.sqrt(np.nanmean(norm**2))),
            "norm_deviation_max": float(np.nanmax(norm)),
            "dip_deviation_rms_deg": float(np.sqrt(np.nanmean(dip**2))),
            "dip_deviation_max_deg": float(np.nanmax(dip)),
            "disturbed_share": self.share,
            "heading_spread_deg": self.heading_spread_deg,
            "n_samples": self.n_samples,
        }

    def by_time(self, bin_s: float = 1.0) -> pd.DataFrame:
        """Return mean deviations and the disturbed share in bins of `bin_s` seconds."""
        import pandas as pd

        return pd.DataFrame(self.bins(bin_s))

    def bins(self, bin_s: float = 1.0) -> dict[str, Array]:
        """Return what :meth:`by_time` holds, by its columns' names."""
        time = self.start_s + np.arange(self.disturbed.size) / self.rate_hz
        known = np.isfinite(self.norm_deviation)
        start = self.start_s + np.floor((time[known] - self.start_s) / bin_s + 1e-9) * bin_s
        columns = {
            "norm_deviation": self.norm_deviation,
            "dip_deviation_deg": self.dip_deviation_deg,
            "disturbed_share": self.disturbed.astype(float),
        }
        values = np.column_stack([column[known] for column in columns.values()])
        starts, means = _means_by(start, values)
        return {"start_s": starts, **dict(zip(columns, means.T, strict=True))}


def _means_by(increasing: Array, values: Array) -> tuple[Array, Array]:
    """Return each value (m,) of a key that never falls, and the means (m, k) of its rows (n, k).

    Summed in extended precision where the machine has it.
    """
    first = np.flatnonzero(np.diff(increasing, prepend=np.nan) != 0)
    if not first.size:
        return increasing, values
    sums = np.add.reduceat(values.astype(np.longdouble), first, axis=0).astype(np.float64)
    counts = np.diff(np.append(first, increasing.size))
    return increasing[first], sums / counts[:, None]


@dataclass(frozen=True, slots=True)
class DisturbanceAndError:
    """Rank correlation of disturbance and error over seconds."""

    correlation: float  # Spearman's ρ; NaN when either is constant
    n_seconds: int

    def summary(self) -> str:
        """Return one line; a correlation over neighbouring seconds needs no p-value."""
        return (
            f"magnetic disturbance and error of the angle: Spearman's ρ {self.correlation:+.2f} "
            f"over {self.n_seconds} seconds"
        )


def magnetic_disturbance(
    sensor: InertialRecording,
    *,
    undisturbed: Interval | None = None,
    norm: float | None = None,
    dip_deg: float | None = None,
) -> MagneticDisturbance:
    """Compare the field's norm and dip at every sample with their undisturbed values.

    The dip is taken against the vertical of a six-axis orientation, which the field cannot
    disturb. The undisturbed values are, in this order: what is given; the medians over the
    `undisturbed` interval; the medians over the whole recording.

    Parameters
    ----------
    sensor : InertialRecording
        With a magnetometer.
    undisturbed : Interval, optional
        A stretch known to be far from metal, on the recording's clock.
    norm, dip_deg : float, optional
        Undisturbed values, such as those of the place or of another recording of the sensor.

    Raises
    ------
    AngleError
        If there is no magnetometer, no reading, or no reading in the interval.

    References
    ----------
    de Vries et al. (2009). Gait Posture 29:535-541, on disturbance near a
    laboratory floor. Limits of 10 % and 10°: from memory, common practice.
    """
    if sensor.magnetometer is None:
        raise AngleError(f"{sensor.source}: no magnetometer, so its field cannot be judged.")
    field = sensor.magnetometer
    size = np.linalg.norm(field, axis=1)
    earth = quaternions.rotate(levelled(sensor).quaternion, field)
    dip = np.degrees(np.arctan2(-earth[:, 2], np.hypot(earth[:, 0], earth[:, 1])))
    part = slice(None)
    if undisturbed is not None:
        part = slice_samples(
            sensor.start_s, sensor.rate_hz, sensor.n_samples, undisturbed, "undisturbed"
        )
    if not (np.isfinite(dip[part]) & (size[part] > 0)).any():
        raise AngleError(f"{sensor.source}: no magnetometer reading to take as undisturbed.")
    norm = float(np.nanmedian(size[part])) if norm is None else norm
    dip_deg = float(np.nanmedian(dip[part])) if dip_deg is None else dip_deg
    norm_deviation = np.where(np.isfinite(dip), size / norm - 1, np.nan)
    dip_deviation = dip - dip_deg
    with np.errstate(invalid="ignore"):
        disturbed = (np.abs(norm_deviation) > NORM_LIMIT) | (np.abs(dip_deviation) > DIP_LIMIT_DEG)
    return MagneticDisturbance(
        sensor.source,
        norm,
        dip_deg,
        norm_deviation,
        dip_deviation,
        disturbed,
        sensor.start_s,
        sensor.rate_hz,
    )


def disturbance_and_error(
    disturbance: MagneticDisturbance, error_deg: Array
) -> DisturbanceAndError:
    """Correlate the field's deviation with the size of the angle's error, second by second.

    Parameters
    ----------
    disturbance : MagneticDisturbance
        Of the sensor in question.
    error_deg : (n,) array
        Wearable minus reference on the same samples; its mean is taken out first. NaN where
        there is no reference.

    Raises
    ------
    ValueError
        If `error_deg` has another length.
    """
    error = np.asarray(error_deg, dtype=float)
    if error.shape != disturbance.disturbed.shape:
        raise ValueError(
            f"`error_deg` must hold one value a sample, ({disturbance.disturbed.size},), got "
            f"{error.shape}."
        )
    deviation = np.hypot(
        disturbance.norm_deviation / NORM_LIMIT, disturbance.dip_deviation_deg / DIP_LIMIT_DEG
    )
    known = np.isfinite(error) & np.isfinite(deviation)
    if not known.any():
        return DisturbanceAndError(float("nan"), 0)
    second = np.floor(np.flatnonzero(known) / disturbance.rate_hz + 1e-9)
    off = np.abs(error[known] - error[known].mean())
    _, means = _means_by(second, np.column_stack([deviation[known], off]))
    if len(means) < 3 or any(np.unique(column).size < 2 for column in means.T):
        return DisturbanceAndError(float("nan"), len(means))
    ranks = np.column_stack([scipy.stats.rankdata(column) for column in means.T])
    return DisturbanceAndError(float(np.corrcoef(ranks, rowvar=False)[1, 0]), len(means))
