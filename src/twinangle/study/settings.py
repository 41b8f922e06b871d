"""What each section of the study file may hold: one model a section, one field a key.

The models are strict (a text is not taken for a number), frozen, and refuse keys they do not
know. Messages written here are ends of sentences: the reader puts file, line and key before them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from twinangle.artwork import Artwork
from twinangle.naming import listed
from twinangle.signals.joint import JOINTS
from twinangle.study.file_pairs import SensorFilePatterns
from twinangle.study.section import (
    AxisMethod,
    AxisName,
    FourColumns,
    JointName,
    Names,
    Positive,
    Section,
    Sign,
    Text,
    ThreeColumns,
)


class StudySection(Section):
    """`[study]`: what it is and where its trials are listed.

    `invented` says that no person was recorded (a simulation, an exercise); report and methods
    text then say so.
    """

    title: Text
    joint: JointName
    trials: Text
    invented: bool = False


class Clocked(Section):
    """A file's clock: a time column in seconds, a rate, or both for a column that counts samples.

    A file that carries its own rate needs neither.
    """

    time: Text | None = None
    time_unit: Literal["s", "ms", "us"] | None = None
    rate_hz: Positive | None = None

    @model_validator(mode="after")
    def _check_time_unit(self) -> Self:
        if self.time_unit is not None and (self.time is None or self.rate_hz is not None):
            raise ValueError(
                "has a `time_unit`, which goes with a column of times in `time`, without `rate_hz`"
            )
        return self


class SensorColumns(Section):
    """The columns of one inertial sensor; the magnetometer may be left out."""

    accelerometer: ThreeColumns
    gyroscope: ThreeColumns
    magnetometer: ThreeColumns | None = None

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns, accelerometer first."""
        return (*self.accelerometer, *self.gyroscope, *(self.magnetometer or ()))


class SensorUnits(Section):
    """The units in the wearable's files; None where the file itself declares them."""

    accelerometer: Literal["m/s^2", "g"] | None = None
    gyroscope: Literal["rad/s", "deg/s"] | None = None
    magnetometer: Literal["uT", "gauss", "normalised"] | None = None


class QuaternionColumns(Section):
    """The four columns of one segment's orientation, scalar first."""

    quaternion: FourColumns

    @property
    def columns(self) -> tuple[str, ...]:
        """The four columns."""
        return self.quaternion


class CalibratedWearable(Clocked):
    """What wearables share whose angle is computed from two sensors: axis and neutral standing."""

    axis_method: AxisMethod = "mean-rate"
    standing_deg: float = 0.0
    standing_from_reference: bool = False

    @model_validator(mode="after")
    def _check_standing(self) -> Self:
        if self.standing_from_reference and self.standing_deg != 0:
            raise ValueError("has `standing_deg` as well as `standing_from_reference`; give one")
        return self


class InertialWearable(CalibratedWearable):
    """`[wearable]` of kind "inertial": raw signals of two sensors."""

    kind: Literal["inertial"]
    gyroscope_sample: Literal["instantaneous", "interval-mean"] = "instantaneous"
    procedures: Names = ("kalman",)
    proximal: SensorColumns
    distal: SensorColumns
    units: SensorUnits = SensorUnits()
    files: SensorFilePatterns | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        if (self.proximal.magnetometer is None) != (self.distal.magnetometer is None):
            raise ValueError("needs `magnetometer` columns for both sensors, or for neither")
        for columns in _columns_by_file(self):
            _require_no_column_twice(columns)
        return self

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns of signals, the proximal sensor's first."""
        return (*self.proximal.columns, *self.distal.columns)


class OrientationWearable(CalibratedWearable):
    """`[wearable]` of kind "orientation": quaternions of the two segments, sensor to earth."""

    kind: Literal["orientation"]
    procedures: Names = ("orientation",)
    proximal: QuaternionColumns
    distal: QuaternionColumns
    files: SensorFilePatterns | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        for columns in _columns_by_file(self):
            _require_no_column_twice(columns)
        return self

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns of signals, the proximal segment's first."""
        return (*self.proximal.columns, *self.distal.columns)


class AngleWearable(Clocked):
    """`[wearable]` of kind "angle": one ready-made angle, or one a procedure under test."""

    kind: Literal["angle"]
    angle: Text | None = None
    angles: Mapping[str, Text] | None = None
    unit: Literal["deg", "rad"] = "deg"
    offset: float = 0.0
    sign: Sign = 1

    @model_validator(mode="after")
    def _check(self) -> Self:
        if (self.angle is None) == (not self.angles):
            raise ValueError('needs either `angle = "column"` or `angles = { name = "column" }`')
        return self

    @property
    def by_procedure(self) -> dict[str, str]:
        """The angle column of each procedure; a single one is called "angle"."""
        return dict(self.angles) if self.angles else {"angle": self.angle or ""}

    @property
    def procedures(self) -> tuple[str, ...]:
        """Names of the procedures, as the other kinds have them."""
        return tuple(self.by_procedure)

    @property
    def columns(self) -> tuple[str, ...]:
        """All angle columns, each once."""
        return tuple(dict.fromkeys(self.by_procedure.values()))


class ReferenceSection(Clocked):
    """What every kind of reference has."""

    offset: float = 0.0
    sign: Sign = 1
    filter_hz: Positive | None = None
    zero_at_standing: bool = False
    accuracy_deg: Positive | None = None


class AngleReference(ReferenceSection):
    """`[reference]` of kind "angle": ``sign * (gain * value + offset - crosstalk * second)``.

    A `calibration` file stands in for `gain` and `offset`, which `read_study` fits from it.
    """

    kind: Literal["angle"]
    angle: Text
    unit: Literal["deg", "rad", "V"] = "deg"
    gain: float | None = None
    calibration: Text | None = None
    limits: tuple[float, float] | None = None
    second_plane: Text | None = None
    crosstalk: float | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.unit == "V" and self.gain is None and self.calibration is None:
            raise ValueError('needs `gain` (degrees per volt) or `calibration` where `unit` is "V"')
        if self.gain == 0:
            raise ValueError("has a `gain` of 0, which would make every angle the same")
        if self.calibration is not None and (self.gain is not None or self.offset != 0):
            raise ValueError("has a `calibration` as well as `gain` or `offset`; give one of them")
        if self.limits is not None and not self.limits[0] < self.limits[1]:
            raise ValueError("needs `limits` in increasing order")
        if (self.second_plane is None) != (self.crosstalk is None):
            raise ValueError("needs `second_plane` and `crosstalk` together")
        return self

    @property
    def columns(self) -> tuple[str, ...]:
        """The angle column, and the second plane's where there is one."""
        return (self.angle,) if self.second_plane is None else (self.angle, self.second_plane)


class OrientationReference(ReferenceSection):
    """`[reference]` of kind "orientation": quaternions of the two segments' frames.

    `flexion_axis` is the segment frames' mediolateral axis and `long_axis` the one along the
    segment; a right-handed turn of the distal segment about the flexion axis counts as positive,
    so `sign = -1` where the axis points so that flexion is the other way (as it does where it
    points to the person's right).
    """

    kind: Literal["orientation"]
    proximal: QuaternionColumns
    distal: QuaternionColumns
    flexion_axis: AxisName = "z"
    long_axis: AxisName = "y"

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.flexion_axis == self.long_axis:
            raise ValueError("needs a `flexion_axis` other than the `long_axis`")
        _require_no_column_twice(self.columns)
        return self

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns, the proximal segment's first."""
        return (*self.proximal.quaternion, *self.distal.quaternion)


class MarkerSegment(Section):
    """The markers of one segment; which ones are needed depends on the method."""

    markers: Names | None = None
    lateral: Text | None = None
    medial: Text | None = None
    upper: Text | None = None
    lower: Text | None = None

    def require(self, segment: str, method: str, keys: tuple[str, ...]) -> None:
        """Refuse a segment that lacks a key its method needs."""
        missing = [key for key in keys if getattr(self, key) is None]
        if missing:
            raise ValueError(f"needs {listed(missing)} in `{segment}` for the method {method!r}")

    @property
    def names(self) -> tuple[str, ...]:
        """Every marker named, each once."""
        single = (self.lateral, self.medial, self.upper, self.lower)
        return tuple(dict.fromkeys((*(self.markers or ()), *(each for each in single if each))))


class MarkerReference(ReferenceSection):
    """`[reference]` of kind "markers": optical marker trajectories."""

    kind: Literal["markers"]
    method: Literal["joint-coordinate-system", "sagittal"] = "joint-coordinate-system"
    marker_columns: Text = "{marker}_{axis}"
    unit: Literal["mm", "cm", "m"] = "mm"
    plane: tuple[AxisName, AxisName] = ("x", "y")
    proximal: MarkerSegment
    distal: MarkerSegment
    calibration_start_s: float | None = None
    calibration_end_s: float | None = None
    max_gap_s: Annotated[float, Field(ge=0)] = 0.1

    @model_validator(mode="after")
    def _check(self) -> Self:
        axes = sum(each in self.marker_columns for each in ("{axis}", "{AXIS}"))
        if "{marker}" not in self.marker_columns or axes != 1:
            raise ValueError(
                'needs {marker} and {axis} in `marker_columns`, as "{marker}_{axis}"; {AXIS} '
                "stands for a capital X, Y or Z"
            )
        if self.plane[0] == self.plane[1]:
            raise ValueError("needs two different axes in `plane`, forwards and upwards")
        if self.method == "sagittal":
            for name, segment in (("proximal", self.proximal), ("distal", self.distal)):
                segment.require(name, self.method, ("upper", "lower"))
        else:
            self.proximal.require(
                "proximal", self.method, ("markers", "lateral", "medial", "upper")
            )
            self.distal.require("distal", self.method, ("markers", "lateral", "medial"))
            self._check_clusters()
        return self

    def _check_clusters(self) -> None:
        """Refuse clusters too small for a pose, and calibration frames that are not given."""
        for segment in (self.proximal, self.distal):
            if len(segment.markers or ()) < 3:
                raise ValueError("needs at least 3 `markers` on each segment for a pose")
        start, end = self.calibration_start_s, self.calibration_end_s
        if start is None or end is None or not start < end:
            raise ValueError(
                "needs `calibration_start_s` before `calibration_end_s`, a stretch on the "
                "reference's clock in which every landmark is seen"
            )

    def marker_axes(self, marker: str) -> tuple[str, ...]:
        """Return a marker's columns: the plane's two axes, or x, y and z."""
        axes = self.plane if self.method == "sagittal" else ("x", "y", "z")
        return tuple(
            self.marker_columns.replace("{axis}", axis)
            .replace("{AXIS}", axis.upper())
            .replace("{marker}", marker)
            for axis in axes
        )

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns of all markers."""
        names = dict.fromkeys((*self.proximal.names, *self.distal.names))
        return tuple(column for name in names for column in self.marker_axes(name))


class SynchronisationSettings(Section):
    """`[synchronisation]`: how the two clocks are brought together."""

    method: Literal["cross-correlation", "trigger", "shared-clock", "event", "manual"] = (
        "cross-correlation"
    )
    max_lag_s: Positive = 30.0
    drift: bool = True
    max_drift_ppm: Positive = 1000.0  # a drift beyond it is refused
    expected_lag_s: float = 0.0
    # what the lag is taken from in the end; "gyroscope" leaves a delay of the angle in the results
    signal: Literal["angle", "gyroscope"] = "angle"
    lag_s: float | None = None
    drift_ppm: float | None = None
    lag_se_s: Positive | None = None  # standard errors of a clock given by hand
    drift_se_ppm: Positive | None = None
    wearable_trigger: Text | None = None
    reference_trigger: Text | None = None
    events_s: tuple[tuple[float, float], ...] | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        by_hand = ("drift_ppm", "lag_se_s", "drift_se_ppm")
        self._keys_belong("manual", "lag_s", required=("lag_s",), optional=by_hand)
        triggers = ("wearable_trigger", "reference_trigger")
        self._keys_belong("trigger", "the two trigger channels", required=triggers, optional=())
        self._keys_belong("event", "the events", required=(), optional=("events_s",))
        if self.signal == "gyroscope" and self.method not in ("cross-correlation", "event"):
            raise ValueError(
                f"has `signal` = 'gyroscope', which goes with the methods that find the lag in the "
                f"movement (cross-correlation, event), and `method` = {self.method!r}"
            )
        for start_s, end_s in self.events_s or ():
            if not start_s < end_s:
                raise ValueError(
                    f"has an event in `events_s` that ends ({end_s:g} s) before it starts "
                    f"({start_s:g} s)"
                )
        for before, after in pairwise(sorted(self.events_s or ())):
            if after[0] < before[1]:
                raise ValueError(
                    f"has two events in `events_s` that overlap ({before[0]:g} to {before[1]:g} s "
                    f"and {after[0]:g} to {after[1]:g} s)"
                )
        return self

    def _keys_belong(
        self, method: str, what: str, *, required: Iterable[str], optional: Iterable[str]
    ) -> None:
        """Refuse a method's keys under another method, and the method without them."""
        given = [key for key in (*required, *optional) if getattr(self, key) is not None]
        missing = [key for key in required if getattr(self, key) is None]
        if self.method == method and missing:
            raise ValueError(f"needs {listed(missing)} where `method` is {method!r}")
        if self.method != method and given:
            raise ValueError(f"has {listed(given)}, which only `method = {method!r}` takes")


class CycleSettings(Section):
    """`[cycles]`: what the movement is, and how its cycles are found.

    What the file leaves out is filled in by :func:`with_cycle_defaults`, as it depends on the joint
    and on the wearable. `turns`: whether cycles in which the heading changes are left out.
    `include_calibration`: whether cycles in neutral standing and in the functional movement count.
    """

    method: Literal["shank-gyroscope", "angle-peak", "events"]
    movement: Literal["walking", "exercise"] = "walking"
    turns: bool = True
    include_calibration: bool = False
    event: Text | None = None  # which events of a recording that marks several kinds
    overrides: Text | None = None  # a table that forces cycles in or out

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.event is not None and self.method != "events":
            raise ValueError('has an `event`, which only `method = "events"` takes')
        if self.method == "shank-gyroscope" and self.movement == "exercise":
            raise ValueError(
                "has the `method` 'shank-gyroscope', which finds the foot's contact in walking, "
                "for the `movement` 'exercise'; accepted for it: 'angle-peak' or 'events' (or "
                '`movement = "walking"`, where it is)'
            )
        return self


def with_cycle_defaults(data: Mapping[str, Any]) -> dict[str, Any]:
    """Return a study file's sections with what `[cycles]` leaves out filled in.

    Parameters
    ----------
    data : mapping
        The file as it was parsed; a section of the wrong kind is left for its model to refuse.
    """
    given = data.get("cycles", {})
    if not isinstance(given, dict):
        return dict(data)
    joint = JOINTS.get(str(_raw(data, "study", "joint")))
    movement = given.get("movement", joint.movement_studied if joint is not None else "walking")
    gyroscope = _raw(data, "wearable", "kind") != "angle"
    filled = {
        "method": "shank-gyroscope" if gyroscope and movement == "walking" else "angle-peak",
        "movement": movement,
        "turns": movement == "walking",
    }
    return {**data, "cycles": {**filled, **given}}


def _raw(data: Mapping[str, Any], section: str, key: str) -> object:
    values = data.get(section)
    return values.get(key) if isinstance(values, dict) else None


class AgreementSettings(Section):
    """`[agreement]`: the level of confidence, and the difference the researcher can accept.

    `acceptable_deg` has no default: a margin nobody stated beforehand is none, and without one
    nothing is tested against a margin.
    `error_ratio` is the variance of the wearable's error over that of the reference's, where it is
    known; Deming's line is fitted with it. `published_interval` asks for limits with the interval
    of Zou (2013) beside those with the package's own. Mean curves of the two instruments that
    correlate below `least_correlation` are refused.
    """

    confidence: Annotated[float, Field(gt=0, lt=1)] = 0.95
    acceptable_deg: Positive | None = None
    error_ratio: Positive | None = None
    published_interval: bool = False
    least_correlation: Annotated[float, Field(ge=-1, le=1)] = 0.75


class ConditionSettings(Section):
    """`[conditions]`: the condition the others are compared with; the first one listed if None."""

    against: Text | None = None


class ReportSettings(Section):
    """`[report]`: what is written beside the numbers.

    `traces`: both instruments' synchronised samples in `tables/traces.parquet`; None, where the
    study file says nothing, for recordings of up to two hours only.

    The others are of the figures in `paper/figures`: widths in print, formats, and dots an inch of
    those in pixels.
    """

    traces: bool | None = None
    figure_width_mm: tuple[float, ...] = Artwork().widths_mm
    figure_formats: tuple[Text, ...] = Artwork().formats
    dpi: int = Artwork().dpi

    @model_validator(mode="after")
    def _known_artwork(self) -> Self:
        Artwork(self.figure_width_mm, self.figure_formats, self.dpi)
        return self


Wearable = InertialWearable | OrientationWearable | AngleWearable
Reference = AngleReference | OrientationReference | MarkerReference

WEARABLE_KINDS: dict[str, type[Section]] = {
    "inertial": InertialWearable,
    "orientation": OrientationWearable,
    "angle": AngleWearable,
}
REFERENCE_KINDS: dict[str, type[Section]] = {
    "angle": AngleReference,
    "orientation": OrientationReference,
    "markers": MarkerReference,
}


def merged_columns(
    wearable: InertialWearable | OrientationWearable,
) -> InertialWearable | OrientationWearable:
    """Return the settings for two files merged into one, each channel under its file's place.

    The channel `acc_x` of the proximal sensor's file is "proximal acc_x" there. Settings of a
    study with both sensors in one file are returned as they are.
    """
    if wearable.files is None:
        return wearable
    places = {}
    for place in ("proximal", "distal"):
        columns = getattr(wearable, place)
        names = {
            key: tuple(f"{place} {name}" for name in value)
            for key, value in columns
            if value is not None
        }
        places[place] = columns.model_copy(update=names)
    return wearable.model_copy(update=places)


def _columns_by_file(wearable: InertialWearable | OrientationWearable) -> list[tuple[str, ...]]:
    """Return the columns that must differ: those of each file."""
    if wearable.files is None:
        return [wearable.columns]
    return [wearable.proximal.columns, wearable.distal.columns]


def _require_no_column_twice(columns: tuple[str, ...]) -> None:
    """Refuse one column in two places."""
    twice = dict.fromkeys(name for name in columns if columns.count(name) > 1)
    if twice:
        raise ValueError(f"names {listed(twice)} more than once; each column has one place")
