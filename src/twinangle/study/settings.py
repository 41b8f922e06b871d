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
from twinangle.declare import measured, number
from twinangle.documents import DOCUMENTS, require_documents
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

    title: Annotated[Text, number("any text; it heads the report")]
    joint: Annotated[JointName, number("the joint whose flexion is compared")]
    trials: Annotated[Text, number("the trials table, CSV or TSV, in the study's folder")]
    invented: Annotated[
        bool,
        number(
            "no person was recorded (a simulation, an exercise); report and methods text "
            "then say so"
        ),
    ] = False


class SynchronisationSettings(Section):
    """`[synchronisation]`: how the two clocks are brought together."""

    method: Annotated[
        Literal["cross-correlation", "trigger", "shared-clock", "event", "manual"],
        number("what both clocks are brought together by"),
    ] = "cross-correlation"
    max_lag_s: Annotated[
        Positive, measured("s", "largest lag considered, either way from `expected_lag_s`")
    ] = 30.0
    drift: Annotated[bool, number("whether the clocks may run at unlike speeds")] = True
    max_drift_ppm: Annotated[
        Positive,
        measured(
            "ppm",
            "a drift found beyond it is refused: no two clocks part so far unless a rate "
            "is stated wrongly; from 250 ppm on (its interval beyond) there is a warning",
        ),
    ] = 1000.0
    expected_lag_s: Annotated[
        float,
        measured(
            "s",
            "with cross-correlation: the lag that is expected, where something tells it; "
            "with a small `max_lag_s` it settles which cycle is which",
        ),
    ] = 0.0
    signal: Annotated[
        Literal["angle", "gyroscope"],
        number(
            "what the lag is taken from in the end; from the gyroscopes, a delay of the "
            "angle procedure stays in the results; goes with cross-correlation and event"
        ),
    ] = "angle"
    lag_s: Annotated[
        float | None,
        measured("s", "with manual only, and needed there: what is added to the reference clock"),
    ] = None
    drift_ppm: Annotated[
        float | None,
        measured("ppm", "with manual only: how much faster the wearable's clock runs; left out, 0"),
    ] = None
    lag_se_s: Annotated[
        Positive | None,
        measured(
            "s",
            "with manual only: standard error of the lag, for what the clock costs; left "
            "out, unknown",
        ),
    ] = None
    drift_se_ppm: Annotated[
        Positive | None,
        measured("ppm", "with manual only: standard error of the drift; left out, unknown"),
    ] = None
    wearable_trigger: Annotated[
        Text | None,
        number(
            "with trigger only, and needed there: the channel of the pulse in the wearable's file"
        ),
    ] = None
    reference_trigger: Annotated[
        Text | None,
        number(
            "with trigger only, and needed there: the channel of the pulse in the reference's file"
        ),
    ] = None
    events_s: Annotated[
        tuple[tuple[float, float], ...] | None,
        measured(
            "s",
            "with event only: stretches of the wearable's clock that hold a jump, stamp or "
            "heel tap each, as `[[3, 7], [312, 316]]`; left out, found by their impact in "
            "the distal accelerometer",
        ),
    ] = None

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

    method: Annotated[
        Literal["shank-gyroscope", "angle-peak", "events"],
        number(
            "how cycles are found: the foot's contact in the shank's gyroscope (walking "
            "only), peaks of the angle, or a file of event times for each trial"
        ),
    ]
    movement: Annotated[
        Literal["walking", "exercise"],
        number(
            "walking, or repetitions of any other kind, such as curls, squats or seated "
            "extensions, which may begin and end at rest"
        ),
    ] = "walking"
    turns: Annotated[bool, number("whether cycles in which the heading changes are left out")] = (
        True
    )
    include_calibration: Annotated[
        bool,
        number(
            "whether cycles that reach into neutral standing or the functional movement "
            "count like others; otherwise they are dropped with that reason"
        ),
    ] = False
    event: Annotated[
        Text | None,
        number(
            "with events only: which kind of event, where a recording marks several "
            "(`twinangle describe` lists them)"
        ),
    ] = None
    overrides: Annotated[
        Text | None, number("a CSV table in the study's folder that forces cycles in or out")
    ] = None
    wearable: Annotated[
        Text | None,
        number(
            "of several wearables, the name of that which cuts the cycles of all; left out, the "
            "first that delivers more than an angle, else the first"
        ),
    ] = None

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

    confidence: Annotated[float, Field(gt=0, lt=1), number("level of every interval")] = 0.95
    acceptable_deg: Annotated[
        Positive | None,
        measured(
            "deg",
            "the difference that would not change a decision: the researcher's own margin, "
            "set before looking at the data; left out, nothing is tested against a margin",
        ),
    ] = None
    error_ratio: Annotated[
        Positive | None,
        number(
            "variance of the wearable's own error over that of the reference's, as known "
            "from elsewhere; Deming's line needs it"
        ),
    ] = None
    published_interval: Annotated[
        bool,
        number(
            "give limits with the published interval of Zou (2013) as well, beside the "
            "package's own"
        ),
    ] = False
    least_correlation: Annotated[
        float,
        Field(ge=-1, le=1),
        number(
            "mean curves of the two instruments that correlate less are refused where the "
            "reference spans 20° or more; lower it where so unlike a wearable is the "
            "finding"
        ),
    ] = 0.75


class ConditionSettings(Section):
    """`[conditions]`: the condition the others are compared with; the first one listed if None."""

    against: Annotated[
        Text | None,
        number("the condition the others are compared with; left out, the first one in the table"),
    ] = None


class ReportSettings(Section):
    """`[report]`: what is written beside the numbers.

    `traces`: both instruments' synchronised samples in `tables/traces.parquet`; None, where the
    study file says nothing, for recordings of up to two hours only.

    `documents`: what is made beside `report.pdf`, numbers and tables.

    The others are of the figures in `paper/figures`: widths in print, formats, and dots an inch of
    those in pixels.
    """

    traces: Annotated[
        bool | None,
        number(
            "whether both instruments' synchronised samples are written to "
            "`tables/traces.parquet`; left out, those of recordings of up to two hours; it "
            "changes no number"
        ),
    ] = None
    documents: Annotated[
        tuple[Text, ...],
        number(
            "what is made beside `report.pdf`, `results.json`, `methods.txt` and the tables; "
            "figures that would stand in none of them are not drawn (those of each recording are "
            "in `supplement.pdf`)"
        ),
    ] = DOCUMENTS
    figure_width_mm: Annotated[
        tuple[float, ...],
        measured(
            "mm",
            "widths in print of the figures in `paper/figures`, 80 to 200; empty, each has "
            "the width it has in the report",
        ),
    ] = Artwork().widths_mm
    figure_formats: Annotated[
        tuple[Text, ...], number("formats of the figures in `paper/figures`")
    ] = Artwork().formats
    dpi: Annotated[int, measured("dots an inch", "of png and tiff, 150 to 1200")] = Artwork().dpi

    @model_validator(mode="after")
    def _known_documents_and_artwork(self) -> Self:
        require_documents(self.documents)
        Artwork(self.figure_width_mm, self.figure_formats, self.dpi)
        return self


class DailyLifeSettings(Section):
    """`[daily_life]`: recordings of a day or a week, read stretch by stretch.

    Without such a section every recording is read whole.
    """

    stretch_min: Annotated[
        Annotated[float, Field(ge=5.0, le=240.0)] | None,
        measured(
            "min",
            "how much of a recording of a day or a week is held in memory at a time; left out, "
            "every recording is read whole",
        ),
    ] = None
