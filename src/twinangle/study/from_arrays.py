"""A study from arrays in memory: joint angles that other software computed, without any file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from twinangle.card import Shown
from twinangle.errors import StudyError
from twinangle.naming import listed
from twinangle.signals.joint import JOINTS
from twinangle.signals.recording import Interval, Recording
from twinangle.study.reference_settings import AngleReference
from twinangle.study.settings import (
    AgreementSettings,
    ConditionSettings,
    CycleSettings,
    SynchronisationSettings,
    with_cycle_defaults,
)
from twinangle.study.trial_row import Trial
from twinangle.study.wearable_settings import AngleWearable

if TYPE_CHECKING:
    from twinangle.study.study_file import Study

TIME, REFERENCE = "time_s", "reference_deg"


@dataclass(frozen=True, slots=True, eq=False)
class AngleTrial(Shown):
    """One recording of ready-made angles, for :meth:`twinangle.Study.from_angles`.

    Parameters
    ----------
    participant : str
        A code.
    time_s : array_like, shape (n,)
        Increasing, on the wearable's clock.
    wearable_deg : array_like, shape (n,), or mapping of str to such
        The wearable's angle, flexion positive; several by the names of their procedures.
    reference_deg : array_like, shape (m,), optional
        The reference's angle; None where it was not worn.
    reference_time_s : array_like, shape (m,), optional
        On the reference's own clock; None: the wearable's times.
    condition, session, trial, side : str
        As in the trials table.
    standing_s : (start, end), optional
        Neutral standing, on the wearable's clock.
    events_s : array_like, shape (k,), optional
        When each cycle begins, and the last one ends, such as initial contacts: two or more,
        increasing, on the wearable's clock. Cycles are then cut there; all
        trials have them, or none.
    covariates : mapping
        Further numbers or texts of the recording, such as ``{"speed_m_s": 1.3}``.
    """

    participant: str
    time_s: ArrayLike
    wearable_deg: ArrayLike | Mapping[str, ArrayLike]
    reference_deg: ArrayLike | None = None
    reference_time_s: ArrayLike | None = None
    condition: str = "all"
    session: str = "1"
    trial: str = "1"
    side: str = ""
    standing_s: tuple[float, float] | None = None
    covariates: Mapping[str, float | str] = field(default_factory=dict)
    events_s: ArrayLike | None = None

    @property
    def angles(self) -> dict[str, ArrayLike]:
        """The wearable's angles by procedure."""
        given = self.wearable_deg
        return dict(given) if isinstance(given, Mapping) else {"angle": given}


def study_from_angles(trials: Sequence[AngleTrial], *, title: str, joint: str) -> Study:
    """Return a study of ready-made angles with the settings that a study file has by default.

    Raises
    ------
    StudyError
        If there is no trial, two have the same names, they have unlike procedures, the joint is
        unknown, or arrays do not fit each other; the message names the trial and the argument.
    """
    from twinangle.study.study_file import Study  # it needs this module

    if joint not in JOINTS:
        raise StudyError(f"`joint` must be {listed(JOINTS, last='or')}, got {joint!r}.")
    procedures = _procedures(trials)
    rows = tuple(_row(one, k) for k, one in enumerate(trials, start=1))
    seen = [row.identity for row in rows]
    twice = next((each for each in seen if seen.count(each) > 1), None)
    if twice is not None:
        raise StudyError(
            f"two trials are called {' '.join(filter(None, twice))}; tell them apart by session, "
            "condition, trial or side."
        )
    with_events = [row.events is not None for row in rows]
    if any(with_events) and not all(with_events):
        lacks = rows[with_events.index(False)].label
        raise StudyError(f"{lacks}: has no `events_s`, but others have; give all of them, or none.")
    cycles = {"method": "events"} if all(with_events) else {}
    filled = with_cycle_defaults(
        {"study": {"joint": joint}, "wearable": {"kind": "angle"}, "cycles": cycles}
    )
    paired = any(row.reference is not None for row in rows)
    return Study(
        title=title,
        joint=joint,
        folder=Path(),
        path=Path("study in memory"),
        table=Path("trials in memory"),
        trials=rows,
        wearable=AngleWearable(kind="angle", time=TIME, angles={one: one for one in procedures}),
        reference=AngleReference(kind="angle", time=TIME, angle=REFERENCE) if paired else None,
        synchronisation=SynchronisationSettings(
            method="cross-correlation" if _own_clocks(trials) else "shared-clock"
        ),
        cycles=CycleSettings.model_validate(filled["cycles"]),
        agreement=AgreementSettings.model_validate({}),
        conditions=ConditionSettings(),
    )


def _procedures(trials: Sequence[AngleTrial]) -> tuple[str, ...]:
    if not trials:
        raise StudyError("a study needs at least one trial.")
    names = [tuple(one.angles) for one in trials]
    for k, own in enumerate(names):
        if own != names[0] or not own:
            raise StudyError(
                f"{_name(trials[k])}: `wearable_deg` has {listed(own) or 'no angle'}, the first "
                f"trial {listed(names[0]) or 'none'}; every trial needs the same procedures."
            )
    return names[0]


def _own_clocks(trials: Sequence[AngleTrial]) -> bool:
    """Tell whether a reference has times of its own, so that its clock has to be placed."""
    return any(one.reference_time_s is not None for one in trials)


def _row(one: AngleTrial, row: int) -> Trial:
    reference = None
    if one.reference_deg is not None:
        times = one.time_s if one.reference_time_s is None else one.reference_time_s
        reference = _recording(one, "reference", times, {REFERENCE: one.reference_deg})
    try:
        static = None if one.standing_s is None else Interval(*one.standing_s)
    except ValueError as error:
        raise StudyError(f"{_name(one)}: `standing_s`: {error}") from None
    return Trial(
        participant=one.participant,
        session=one.session,
        condition=one.condition,
        trial=one.trial,
        side=one.side,
        wearable=_recording(one, "wearable", one.time_s, one.angles),
        reference=reference,
        static=static,
        functional=None,
        start_s=None,
        end_s=None,
        exclude="",
        covariates=dict(one.covariates),
        row=row,
        events=_events(one),
    )


def _events(one: AngleTrial) -> tuple[float, ...] | None:
    """Return when cycles begin, or None where that is not given."""
    if one.events_s is None:
        return None
    times = _array(one, "`events_s`", one.events_s)
    steps = np.flatnonzero(~(np.diff(times) > 0))
    if times.size < 2 or steps.size or not np.isfinite(times).all():
        where = f" (at number {int(steps[0]) + 2}: {times[steps[0] + 1]:g} s)" if steps.size else ""
        raise StudyError(f"{_name(one)}: `events_s` must be two times or more and increase{where}.")
    return tuple(times.tolist())


def _recording(
    one: AngleTrial, role: str, times: ArrayLike, angles: Mapping[str, ArrayLike]
) -> Recording:
    time_s = _array(one, f"{role} times", times)
    columns = {name: _array(one, f"{role} angle `{name}`", each) for name, each in angles.items()}
    for name, values in columns.items():
        if values.shape != time_s.shape:
            raise StudyError(
                f"{_name(one)}: the {role}'s angle `{name}` has {values.size} values for "
                f"{time_s.size} times."
            )
    steps = np.flatnonzero(~(np.diff(time_s) > 0))
    if time_s.size < 2 or steps.size or not np.isfinite(time_s).all():
        where = f" (at sample {int(steps[0]) + 1})" if steps.size else ""
        raise StudyError(
            f"{_name(one)}: the {role}'s times must be two or more and increase{where}."
        )
    source = f"{_name(one)} {role} in memory"
    values = np.column_stack(list(columns.values()))
    units = ("deg",) * len(columns)
    return Recording(time_s, values, tuple(columns), units, source)


def _array(one: AngleTrial, what: str, values: Any) -> Any:
    try:
        found = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise StudyError(f"{_name(one)}: the {what} must be numbers.") from None
    if found.ndim != 1:
        raise StudyError(f"{_name(one)}: the {what} must have one dimension, got {found.shape}.")
    return found


def _name(one: AngleTrial) -> str:
    parts = (one.participant, one.condition, one.session, one.trial, one.side)
    return " ".join(part for part in parts if part)
