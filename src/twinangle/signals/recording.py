"""The values that travel from one step to the next: frozen, read-only, on one uniform clock each.

Conventions (all modules rely on them): angles in degrees, flexion positive, neutral standing 0;
time in seconds; accelerometer m/s², gyroscope rad/s, magnetometer µT; quaternions scalar-first,
unit length, sensor to earth (z up). Sample k of a uniform signal is at ``start_s + k / rate_hz``.
A gap is NaN.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray

from twinangle.card import Card, Shown
from twinangle.declare import measured, number
from twinangle.notices import reworded

Array = NDArray[np.float64]
GyroscopeSample = Literal["instantaneous", "interval-mean"]


def _freeze(owner: object) -> None:
    """Make every array of a frozen dataclass read-only (a view: the caller's stays writable)."""
    for item in fields(owner):  # type: ignore[arg-type]
        value = getattr(owner, item.name)
        if isinstance(value, np.ndarray):
            view = np.asarray(value).view()
            view.setflags(write=False)
            object.__setattr__(owner, item.name, view)


@dataclass(frozen=True, slots=True)
class Interval:
    """A stretch of time, in seconds on the wearable's clock unless said otherwise."""

    start_s: float
    end_s: float

    def __post_init__(self) -> None:
        if not self.start_s < self.end_s:
            raise ValueError(
                f"an interval must end after it starts, got {self.start_s:g} to {self.end_s:g} s."
            )


@dataclass(frozen=True, slots=True)
class MaskedStretch:
    """A stretch of a recording to be left out, on the wearable's clock, and why."""

    start_s: float
    end_s: float
    reason: str

    @property
    def place(self) -> str:
        """Return where it is, in words."""
        return f"{self.start_s:g} to {self.end_s:g} s"


@dataclass(frozen=True, slots=True, eq=False)
class Recording(Shown):
    """Channels of one file as read, on the file's own time stamps.

    `time_s` is (n,), strictly increasing; `values` is (n, n_channels), NaN where missing;
    `units` holds one text a channel, empty where neither file nor study declares it.
    """

    time_s: Array
    values: Array
    channels: tuple[str, ...]
    units: tuple[str, ...]
    source: str  # the file as the user named it, for messages
    notes: tuple[str, ...] = ()  # what the importer found or mended

    def __post_init__(self) -> None:
        if self.values.shape != (self.time_s.size, len(self.channels)):
            raise ValueError(
                f"{self.source}: {len(self.channels)} channels and {self.time_s.size} times for "
                f"values of shape {self.values.shape}."
            )
        _freeze(self)

    def _card(self) -> Card:
        n, missing = self.time_s.size, int(np.isnan(self.values).any(axis=1).sum())
        title = f"Recording {self.source}: {n} samples of {len(self.channels)} channels"
        if n > 1:
            lasts = float(self.time_s[-1] - self.time_s[0])
            title += f", {self.time_s[0]:.6g} to {self.time_s[-1]:.6g} s ({(n - 1) / lasts:.6g} Hz)"
        title += f", {missing} with a value missing" if missing else ""
        rows = tuple(
            (name, unit, f"{known.min():.4g} to {known.max():.4g}" if known.size else "no value")
            for k, (name, unit) in enumerate(zip(self.channels, self.units, strict=True))
            for known in (self.values[np.isfinite(self.values[:, k]), k],)
        )
        return Card(title, head=("channel", "unit", "values"), rows=rows, behind=self.notes)

    def columns(self, names: tuple[str, ...] | list[str]) -> Array:
        """Return the named channels as an (n, len(names)) array."""
        return self.values[:, [self.channels.index(name) for name in names]]


@dataclass(frozen=True, slots=True, eq=False)
class InertialRecording(Shown):
    """One sensor on a uniform clock: (n, 3) arrays in the sensor's right-handed frame."""

    accelerometer: Array  # specific force, m/s²; +9.81 upwards at rest
    gyroscope: Array  # rad/s
    magnetometer: Array | None  # µT (or any one unit when the study says "normalised")
    start_s: float
    rate_hz: float
    source: str
    gyroscope_sample: GyroscopeSample = "instantaneous"

    def __post_init__(self) -> None:
        for name in ("accelerometer", "gyroscope", "magnetometer"):
            value = getattr(self, name)
            if value is not None:  # single precision and whole numbers, as files and loggers have
                object.__setattr__(self, name, np.asarray(value, dtype=np.float64))
        _freeze(self)

    @property
    def n_samples(self) -> int:
        """Number of samples."""
        return int(self.gyroscope.shape[0])

    @property
    def time_s(self) -> Array:
        """Sample times, (n,)."""
        return self.start_s + np.arange(self.n_samples) / self.rate_hz

    def without_magnetometer(self) -> InertialRecording:
        """Return the same recording with the magnetometer left out."""
        return replace(self, magnetometer=None)


@dataclass(frozen=True, slots=True, eq=False)
class SensorPair(Shown):
    """The sensors either side of the joint, sample for sample on one clock."""

    proximal: InertialRecording  # thigh or upper arm
    distal: InertialRecording  # shank or forearm


@dataclass(frozen=True, slots=True, eq=False)
class OrientationRecording(Shown):
    """Quaternions (n, 4) of one segment, scalar first, sensor to earth; NaN rows are gaps."""

    quaternion: Array
    start_s: float
    rate_hz: float
    source: str
    warnings: tuple[str, ...] = ()  # of the filter that made it
    levelled: tuple[Interval, ...] = ()  # stretches those warnings tell of: wrong up to the end

    def __post_init__(self) -> None:
        _freeze(self)


@dataclass(frozen=True, slots=True, eq=False)
class OrientationPair(Shown):
    """Orientations of the segments either side of the joint, on one clock and one earth frame."""

    proximal: OrientationRecording
    distal: OrientationRecording

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the filters warned of, by sensor."""
        both = (("proximal", self.proximal), ("distal", self.distal))
        return tuple(
            reworded(text, f"{name} sensor: {text}") for name, one in both for text in one.warnings
        )


@dataclass(frozen=True, slots=True, eq=False)
class AngleRecording(Shown):
    """One joint angle on a uniform clock: (n,) in degrees, flexion positive; NaN is a gap."""

    angle_deg: Array
    start_s: float
    rate_hz: float
    source: str

    def __post_init__(self) -> None:
        _freeze(self)

    @property
    def time_s(self) -> Array:
        """Sample times, (n,)."""
        return self.start_s + np.arange(self.angle_deg.size) / self.rate_hz

    @property
    def end_s(self) -> float:
        """Time of the last sample."""
        return self.start_s + (self.angle_deg.size - 1) / self.rate_hz


@dataclass(frozen=True, slots=True, eq=False)
class AngleQuality(Shown):
    """How far the wearable's angle can be trusted, as far as the signals themselves can tell.

    A figure that the procedure does not yield is NaN (None for the array).
    """

    neutral_scatter_deg: float = float("nan")  # RMS about the mean relative orientation
    axis_spread_deg: float = float("nan")  # RMS angle of the joint's rate from the flexion axis
    axis_difference_deg: float = float("nan")  # mean rate against principal component
    hinge_difference_deg: float = float("nan")  # axis against the hinge both gyroscopes fit best
    residual_deg: Array | None = None  # (n,) joint rotation left outside the hinge, ≥ 0
    heading_uncertainty_deg: float = float(
        "nan"
    )  # of the sensors' relative heading, standard error

    def __post_init__(self) -> None:
        _freeze(self)


@dataclass(frozen=True, slots=True, eq=False)
class JointMotion(Shown):
    """What a wearable procedure yields for one trial: the angle and what cycles are found by.

    The rates share the angle's clock. `sagittal_rate_rad_s` is the distal segment's rate about
    the flexion axis, any sign; `vertical_rate_rad_s` its rate about the vertical (turning).
    Either is None when the wearable delivers no gyroscope or orientation.
    """

    angle: AngleRecording
    sagittal_rate_rad_s: Array | None = None
    vertical_rate_rad_s: Array | None = None
    warnings: tuple[str, ...] = ()
    quality: AngleQuality | None = None

    def __post_init__(self) -> None:
        _freeze(self)


@dataclass(frozen=True, slots=True, eq=False)
class PairedAngles(Shown):
    """Both instruments on the wearable's clock and samples; reference None outdoors."""

    wearable_deg: Array  # (n,)
    reference_deg: Array | None  # (n,) resampled to the wearable's times; NaN outside its span
    start_s: float
    rate_hz: float

    def __post_init__(self) -> None:
        _freeze(self)

    @property
    def time_s(self) -> Array:
        """Sample times on the wearable's clock, (n,)."""
        return self.start_s + np.arange(self.wearable_deg.size) / self.rate_hz


@dataclass(frozen=True, slots=True, eq=False)
class CycleSet(Shown):
    """Movement cycles of one trial: all that were found, with the reason each dropped one has.

    Curves are time-normalised to 101 points (0 to 100 %), one row a found cycle, kept or not.
    """

    start_s: Array  # (m,) wearable clock
    end_s: Array  # (m,)
    reason: tuple[str, ...]  # (m,) empty text where the cycle is kept
    wearable_deg: Array  # (m, 101); a row may hold NaN when the cycle is dropped
    reference_deg: Array | None  # (m, 101)
    method: str  # how the events were found
    bout: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _freeze(self)

    @property
    def kept(self) -> NDArray[np.bool_]:
        """Which cycles enter the statistics, (m,)."""
        return np.array([text == "" for text in self.reason], dtype=bool)

    @property
    def duration_s(self) -> Array:
        """Cycle durations, (m,)."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True, eq=False)
class Synchronisation(Shown):
    """How the reference clock was placed on the wearable's.

    ``t_wearable = t_reference * (1 + drift_ppm * 1e-6) + lag_s``. A field that the method does
    not yield is NaN. `lag_se_s`, `centre_lag_se_s` and `drift_se_ppm` are total standard errors:
    the statistical part, from the scatter, and the systematic part, from a difference of the
    instruments that repeats every stride, added in quadrature. The parts stand beside them. Two
    curves cannot tell such a difference from a delay where it has a delay's shape: the systematic
    part is judged from what of it shows as a range or a pattern.
    """

    method: Annotated[str, number("how the lag was found")]
    lag_s: Annotated[
        float,
        measured(
            "s",
            "what is added to the reference clock to land on the wearable's, at reference time 0",
        ),
    ]
    lag_se_s: Annotated[float, measured("s", "total standard error of the lag at reference time 0")]
    drift_ppm: Annotated[
        float,
        measured("ppm", "drift of the reference clock against the wearable's"),
    ]
    drift_se_ppm: Annotated[
        float, measured("ppm", "total standard error of the drift, weighed against what clocks do")
    ] = float("nan")
    lag_statistical_s: Annotated[
        float,
        measured("s", "statistical part of the lag's standard error, at `centre_s`"),
    ] = float("nan")
    lag_systematic_s: Annotated[
        float,
        measured(
            "s",
            "systematic part of the lag's standard error, the same at all times: from a range and "
            "a pattern that repeat every cycle; of one shaped as a delay alone it knows nothing",
        ),
    ] = float("nan")
    drift_statistical_ppm: Annotated[
        float,
        measured("ppm", "statistical part of the drift's standard error"),
    ] = float("nan")
    drift_systematic_ppm: Annotated[
        float,
        measured("ppm", "systematic part of the drift's standard error"),
    ] = float("nan")
    peak_correlation: Annotated[float, number("correlation at the lag")] = float("nan")
    runner_up_correlation: Annotated[float, number("correlation at the best other lag")] = float(
        "nan"
    )
    # for the figures: the correlation over candidate lags, and the windowed lags behind the drift
    candidate_lags_s: Annotated[Array, measured("s", "candidate lags")] = field(
        default_factory=lambda: np.zeros(0)
    )
    candidate_correlation: Annotated[Array, number("correlation at each candidate lag")] = field(
        default_factory=lambda: np.zeros(0)
    )
    window_time_s: Annotated[Array, measured("s", "middles of the windows behind the drift")] = (
        field(default_factory=lambda: np.zeros(0))
    )
    window_lag_s: Annotated[Array, measured("s", "lag in each window")] = field(
        default_factory=lambda: np.zeros(0)
    )
    window_lag_se_s: Annotated[
        Array,
        measured("s", "statistical standard error of the lag in each window; or empty"),
    ] = field(default_factory=lambda: np.zeros(0))
    evidence: Annotated[
        float,
        number("log likelihood ratio over strides against the best rival lag"),
    ] = float("nan")
    # where on the reference clock the lag is best known, and its standard error there
    centre_s: Annotated[
        float, measured("s", "where on the reference clock the lag is best known")
    ] = float("nan")
    centre_lag_se_s: Annotated[float, measured("s", "total standard error of the lag there")] = (
        float("nan")
    )
    # degrees of freedom of the two total errors; NaN: as many as make t normal
    centre_lag_df: Annotated[
        float,
        number("degrees of freedom of that standard error; NaN: as many as make t normal"),
    ] = float("nan")
    drift_df: Annotated[
        float,
        number("degrees of freedom of the drift's standard error; NaN: as many as make t normal"),
    ] = float("nan")
    warnings: Annotated[tuple[str, ...], number("what to know before the clock is trusted")] = ()

    def __post_init__(self) -> None:
        _freeze(self)

    def to_wearable(self, reference_time_s: Array) -> Array:
        """Convert times on the reference clock to the wearable's."""
        return np.asarray(reference_time_s * (1 + self.drift_ppm * 1e-6) + self.lag_s)

    def to_reference(self, wearable_time_s: Array) -> Array:
        """Convert times on the wearable clock to the reference's."""
        return np.asarray((wearable_time_s - self.lag_s) / (1 + self.drift_ppm * 1e-6))
