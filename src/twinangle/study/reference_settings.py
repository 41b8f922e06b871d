"""What `[reference]` may hold, one model a kind of reference."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

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
        require_no_column_twice(self.columns)
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


Reference = AngleReference | OrientationReference | MarkerReference


REFERENCE_KINDS: dict[str, type[Section]] = {
    "angle": AngleReference,
    "orientation": OrientationReference,
    "markers": MarkerReference,
}
