"""What `[wearable]` may hold, one model a kind of wearable."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal, Self

from pydantic import model_validator

from twinangle.declare import measured, number
from twinangle.naming import listed
from twinangle.study.file_pairs import SensorFilePatterns
from twinangle.study.section import (
    AxisMethod,
    FourColumns,
    Names,
    Positive,
    Section,
    Sign,
    Text,
    ThreeColumns,
)
from twinangle.under_test import JOIN


class Clocked(Section):
    """A file's clock: a time column in seconds, a rate, or both for a column that counts samples.

    A file that carries its own rate needs neither.
    """

    time: Annotated[
        Text | None,
        number(
            "column of times; may be left out where `rate_hz` is given or the file carries "
            "its own clock"
        ),
    ] = None
    time_unit: Annotated[
        Literal["s", "ms", "us"] | None,
        number("unit of the column `time`; left out, what the file declares, or seconds"),
    ] = None
    rate_hz: Annotated[
        Positive | None,
        measured(
            "Hz",
            "sampling rate; without `time` samples follow each other from 0 s; with it "
            "that column counts samples, the first at 0 s",
        ),
    ] = None

    @model_validator(mode="after")
    def _check_time_unit(self) -> Self:
        if self.time_unit is not None and (self.time is None or self.rate_hz is not None):
            raise ValueError(
                "has a `time_unit`, which goes with a column of times in `time`, without `rate_hz`"
            )
        return self


class SensorColumns(Section):
    """The columns of one inertial sensor; the magnetometer may be left out."""

    accelerometer: Annotated[
        ThreeColumns, number("the three columns x, y, z of a right-handed frame")
    ]
    gyroscope: Annotated[ThreeColumns, number("the three columns x, y, z")]
    magnetometer: Annotated[
        ThreeColumns | None, number("the three columns x, y, z; for both sensors or for neither")
    ] = None

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns, accelerometer first."""
        return (*self.accelerometer, *self.gyroscope, *(self.magnetometer or ()))


class SensorUnits(Section):
    """The units in the wearable's files; None where the file itself declares them."""

    accelerometer: Annotated[
        Literal["m/s^2", "g", "mg"] | None,
        number("unit of the accelerometers; must be given unless the files declare it"),
    ] = None
    gyroscope: Annotated[
        Literal["rad/s", "deg/s"] | None,
        number("unit of the gyroscopes; must be given unless the files declare it"),
    ] = None
    magnetometer: Annotated[
        Literal["uT", "gauss", "normalised"] | None,
        number("unit of the magnetometers; must be given unless the files declare it"),
    ] = None


class QuaternionColumns(Section):
    """The four columns of one segment's orientation, scalar first."""

    quaternion: Annotated[
        FourColumns, number("the four columns w, x, y, z of the segment's orientation")
    ]

    @property
    def columns(self) -> tuple[str, ...]:
        """The four columns."""
        return self.quaternion


class CalibratedWearable(Clocked):
    """What wearables share whose angle is computed from two sensors: axis and neutral standing."""

    axis_method: Annotated[
        AxisMethod,
        number(
            "how the flexion axis is found in the functional movement: the mean angular "
            "velocity, its principal component, or the axis that both segments' rates fit "
            "best as a hinge"
        ),
    ] = "mean-rate"
    standing_deg: Annotated[float, measured("deg", "the joint's flexion in neutral standing")] = 0.0
    standing_from_reference: Annotated[
        bool,
        number(
            "take the flexion in neutral standing from the reference's mean there, found "
            "after synchronisation; offsets between the instruments then say nothing of "
            "standing"
        ),
    ] = False

    @model_validator(mode="after")
    def _check_standing(self) -> Self:
        if self.standing_from_reference and self.standing_deg != 0:
            raise ValueError("has `standing_deg` as well as `standing_from_reference`; give one")
        return self


class InertialWearable(CalibratedWearable):
    """`[wearable]` of kind "inertial": raw signals of two sensors."""

    kind: Annotated[Literal["inertial"], number("raw signals of two inertial sensors")]
    gyroscope_sample: Annotated[
        Literal["instantaneous", "interval-mean"],
        number(
            "what the device's rate at a sample stands for: that instant, or the mean over "
            "the interval that ends there"
        ),
    ] = "instantaneous"
    procedures: Annotated[
        Names,
        number(
            'names of the procedures that make the angle, or `"module:function"`, which '
            "runs only with `--allow-own-procedures`"
        ),
    ] = ("kalman",)
    proximal: Annotated[SensorColumns, number("columns of the sensor on the thigh or upper arm")]
    distal: Annotated[SensorColumns, number("columns of the sensor on the shank or forearm")]
    units: Annotated[SensorUnits, number("the units in the files")] = SensorUnits()
    files: Annotated[
        SensorFilePatterns | None,
        number("how the two files are called, where each sensor has its own"),
    ] = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        if (self.proximal.magnetometer is None) != (self.distal.magnetometer is None):
            raise ValueError("needs `magnetometer` columns for both sensors, or for neither")
        for columns in _columns_by_file(self):
            require_no_column_twice(columns)
        return self

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns of signals, the proximal sensor's first."""
        return (*self.proximal.columns, *self.distal.columns)


class OrientationWearable(CalibratedWearable):
    """`[wearable]` of kind "orientation": quaternions of the two segments, sensor to earth."""

    kind: Annotated[
        Literal["orientation"], number("quaternions of the two segments, sensor to earth")
    ]
    procedures: Annotated[Names, number("`orientation`, or procedures of your own")] = (
        "orientation",
    )
    proximal: Annotated[
        QuaternionColumns, number("columns of the sensor on the thigh or upper arm")
    ]
    distal: Annotated[QuaternionColumns, number("columns of the sensor on the shank or forearm")]
    files: Annotated[
        SensorFilePatterns | None,
        number("how the two files are called, where each sensor has its own"),
    ] = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        for columns in _columns_by_file(self):
            require_no_column_twice(columns)
        return self

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns of signals, the proximal segment's first."""
        return (*self.proximal.columns, *self.distal.columns)


class AngleWearable(Clocked):
    """`[wearable]` of kind "angle": one ready-made angle, or one a procedure under test."""

    kind: Annotated[Literal["angle"], number("an angle that the device or other software computed")]
    angle: Annotated[Text | None, number("the column of the angle; or `angles`")] = None
    angles: Annotated[
        Mapping[str, Text] | None,
        number('a column for each procedure under test, `{ name = "column" }`; or `angle`'),
    ] = None
    unit: Annotated[Literal["deg", "rad"], number("unit of the columns")] = "deg"
    offset: Annotated[float, measured("deg", "added to the angle, in the file's own sign")] = 0.0
    sign: Annotated[Sign, number("-1 where flexion is negative in the file")] = 1

    @model_validator(mode="after")
    def _check(self) -> Self:
        if (self.angle is None) == (not self.angles):
            raise ValueError('needs either `angle = "column"` or `angles = { name = "column" }`')
        for name in self.angles or ():
            if JOIN in name:
                raise ValueError(f"has {JOIN!r} in {name!r}, which parts names in the results")
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


Wearable = InertialWearable | OrientationWearable | AngleWearable


WEARABLE_KINDS: dict[str, type[Section]] = {
    "inertial": InertialWearable,
    "orientation": OrientationWearable,
    "angle": AngleWearable,
}


def merged_columns(
    wearable: InertialWearable | OrientationWearable,
) -> InertialWearable | OrientationWearable:
    """Return the settings for two files merged into one, each channel under its file's place.

    The channel `acc_x` of the proximal sensor's file is "proximal acc_x" there. Settings of a
    study with both sensors in one file are returned as they are.

    Parameters
    ----------
    wearable : InertialWearable or OrientationWearable
        The study file's section.

    Returns
    -------
    InertialWearable or OrientationWearable
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


def require_no_column_twice(columns: tuple[str, ...]) -> None:
    """Refuse one column in two places."""
    twice = dict.fromkeys(name for name in columns if columns.count(name) > 1)
    if twice:
        raise ValueError(f"names {listed(twice)} more than once; each column has one place")
