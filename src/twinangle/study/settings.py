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
from twinangle.study.section import (
    JointName,
    Positive,
    Section,
    Text,
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


class DailyLifeSettings(Section):
    """`[daily_life]`: recordings of a day or a week, read stretch by stretch.

    `stretch_min`: how many minutes are held in memory at a time; None, where the study file has no
    such section, reads every recording whole.
    """

    stretch_min: Annotated[float, Field(ge=5.0, le=240.0)] | None = None
