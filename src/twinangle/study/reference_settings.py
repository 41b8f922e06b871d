"""What `[reference]` may hold, one model a kind of reference."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from twinangle.declare import measured, number
from twinangle.naming import listed
from twinangle.study.section import (
    AxisName,
    Names,
    Positive,
    Section,
    Sign,
    Text,
)
from twinangle.study.wearable_settings import Clocked, QuaternionColumns, require_no_column_twice


class ReferenceSection(Clocked):
    """What every kind of reference has."""

    offset: Annotated[float, measured("deg", "added to the angle, in the file's own sign")] = 0.0
    sign: Annotated[
        Sign,
        number(
            "-1 where flexion is negative in the file; for kind orientation 1 where "
            "flexion is a right-handed turn about the flexion axis"
        ),
    ] = 1
    filter_hz: Annotated[
        Positive | None,
        measured(
            "Hz",
            "cut-off of a zero-phase low-pass on the angle, or on the coordinates of "
            "markers; left out, none",
        ),
    ] = None
    zero_at_standing: Annotated[
        bool,
        number(
            "subtract the reference's own mean in neutral standing, found after "
            "synchronisation; the amount is reported"
        ),
    ] = False
    accuracy_deg: Annotated[
        Positive | None,
        measured(
            "deg",
            "the reference's own error (SD), as its maker or an own test states it; left "
            "out, unknown",
        ),
    ] = None


class AngleReference(ReferenceSection):
    """`[reference]` of kind "angle": ``sign * (gain * value + offset - crosstalk * second)``.

    A `calibration` file stands in for `gain` and `offset`, which `read_study` fits from it.
    """

    kind: Annotated[
        Literal["angle"], number("a goniometer, or any other instrument that gives one angle")
    ]
    angle: Annotated[Text, number("the column of the angle")]
    unit: Annotated[
        Literal["deg", "rad", "V"],
        number("unit of that column; volts need a `gain` or a `calibration`"),
    ] = "deg"
    gain: Annotated[
        float | None,
        measured(
            "deg", "degrees for each unit of the column (radians become degrees first); left out, 1"
        ),
    ] = None
    calibration: Annotated[
        Text | None,
        number(
            "a file with the columns `value` and `angle_deg`, readings at known angles; "
            "gain and offset are fitted from it"
        ),
    ] = None
    limits: Annotated[
        tuple[float, float] | None,
        number(
            "the instrument's range in the column's unit; values at or beyond it are left "
            "out as gaps, and reported"
        ),
    ] = None
    second_plane: Annotated[
        Text | None,
        number("the other plane's column of a two-plane instrument; goes with `crosstalk`"),
    ] = None
    crosstalk: Annotated[
        float | None,
        measured("deg", "false flexion for each unit of the second plane, which is subtracted"),
    ] = None

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

    kind: Annotated[
        Literal["orientation"], number("frames of the two segments, as of an optical system")
    ]
    proximal: Annotated[
        QuaternionColumns, number("columns of the proximal segment, segment to laboratory")
    ]
    distal: Annotated[
        QuaternionColumns, number("columns of the distal segment, segment to laboratory")
    ]
    flexion_axis: Annotated[AxisName, number("the frames' mediolateral axis")] = "z"
    long_axis: Annotated[AxisName, number("the frames' axis along the segment")] = "y"

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.flexion_axis == self.long_axis:
            raise ValueError("needs a `flexion_axis` other than the `long_axis`")
        require_no_column_twice(self.columns)
        return self

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns, the proximal segment's first."""
        return (*self.proximal.quaternion, *self.distal.quaternion)


class MarkerSegment(Section):
    """The markers of one segment; which ones are needed depends on the method."""

    markers: Annotated[
        Names | None,
        number("joint coordinate system: three or more markers of the segment, not in a line"),
    ] = None
    lateral: Annotated[
        Text | None,
        number(
            "joint coordinate system: landmark at the outer side of the segment's lower "
            "end (epicondyle, malleolus); it may be of the cluster"
        ),
    ] = None
    medial: Annotated[Text | None, number("joint coordinate system: the one at the inner side")] = (
        None
    )
    upper: Annotated[
        Text | None,
        number(
            "the marker at the upper end; joint coordinate system: of the thigh or upper arm only"
        ),
    ] = None
    lower: Annotated[Text | None, number("sagittal: the marker at the lower end")] = None

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

    kind: Annotated[Literal["markers"], number("trajectories of optical markers")]
    method: Annotated[
        Literal["joint-coordinate-system", "sagittal"],
        number(
            "the angle of two segments' coordinate systems, or the plain angle in a plane "
            "from four markers"
        ),
    ] = "joint-coordinate-system"
    marker_columns: Annotated[
        Text,
        number(
            "how columns are called; `{marker}` stands for the marker, `{axis}` for x, y "
            "or z, `{AXIS}` for a capital"
        ),
    ] = "{marker}_{axis}"
    unit: Annotated[Literal["mm", "cm", "m"], number("unit of the coordinates")] = "mm"
    plane: Annotated[
        tuple[AxisName, AxisName], number("sagittal: the axes forwards and upwards")
    ] = ("x", "y")
    proximal: Annotated[MarkerSegment, number("markers of the thigh or upper arm")]
    distal: Annotated[MarkerSegment, number("markers of the shank or forearm")]
    calibration_start_s: Annotated[
        float | None,
        measured(
            "s",
            "joint coordinate system: begin of a stretch on the reference's clock in which "
            "every landmark is seen, such as standing",
        ),
    ] = None
    calibration_end_s: Annotated[
        float | None, measured("s", "joint coordinate system: its end")
    ] = None
    max_gap_s: Annotated[
        float, Field(ge=0), measured("s", "the longest gap of a marker that a spline may bridge")
    ] = 0.1

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


Reference = AngleReference | OrientationReference | MarkerReference


REFERENCE_KINDS: dict[str, type[Section]] = {
    "angle": AngleReference,
    "orientation": OrientationReference,
    "markers": MarkerReference,
}
