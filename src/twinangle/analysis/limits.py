"""Limits of agreement of a study, with participants as clusters."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from twinangle.agreement._people import FEWEST_PEOPLE
from twinangle.agreement.limits import limits_of_agreement, within_participant_limits
from twinangle.agreement.limits_found import LimitsOfAgreement
from twinangle.agreement.reference_error import CorrectedLimits, limits_without_reference_error
from twinangle.analysis.groups import QUANTITIES, Cycles, Group, Groups, pooled, unique, zero_of
from twinangle.analysis.sides import sides_note
from twinangle.options import Options
from twinangle.results.limits import StudyLimits, read_only
from twinangle.results.pooled import Absent, Pooled
from twinangle.signals.recording import Array
from twinangle.wording import count

_ONE_REFERENCE = (
    "One participant: an error of the reference that stays as it is through a recording (its zero, "
    "its mounting, its calibration) does not spread these differences, so the stated one cannot be "
    "taken out of them."
)

NAMED_RECORDINGS = 3  # of which one reason is told; of more the first stands for all


def pool(groups: Groups, options: Options) -> tuple[Pooled[StudyLimits], ...]:
    """Return limits of agreement for each procedure, condition and quantity with a reference.

    Where the reference's own error is stated, limits without it stand beside.
    """
    return tuple(
        pooled(group, quantity, partial(_study_limits, group, quantity, options))
        for group in groups.compared
        for quantity in QUANTITIES
    )


def main_limits(group: Group, quantity: str, options: Options) -> LimitsOfAgreement:
    """Return limits over participants, or over the cycles of the only one."""
    points = group.cycles[quantity]
    return limits_over(points.difference, points.participant, options)


def _study_limits(group: Group, quantity: str, options: Options) -> StudyLimits:
    points = group.cycles[quantity]
    unknown = _unknown_zero(group, quantity)
    of_sides = points.participant, points.side, points.difference
    return StudyLimits(
        limits=main_limits(group, quantity, options),
        note=" ".join(filter(None, (_note(points), sides_note(*of_sides)))),
        participant=tuple(points.participant),
        size=read_only((points.wearable + points.reference) / 2),
        difference=read_only(points.difference),
        zero=read_only(points.zero.copy()),
        zeroed=Absent(unknown)
        if unknown
        else limits_over(points.difference - points.zero, points.participant, options),
        corrected=_corrected(points, options),
        published=_published(points, options),
    )


def _note(points: Cycles) -> str:
    n, people = points.wearable.size, unique(points.participant)
    if len(people) == 1:
        return (
            f"One participant ({people[0]}): these are limits within this participant, over "
            f"{count(n, 'cycle')}. They say nothing about other people."
        )
    rests = f"{n} cycles of {len(people)} participants; participants are what was sampled"
    recorded = set(zip(points.participant, points.session, strict=True))
    most = max(Counter(person for person, _ in recorded).values())
    if most > 1:
        rests = (
            f"{n} cycles of {len(people)} participants in up to {most} sessions each, "
            "what differs from session to session counted as a difference within the participant; "
            "participants are what was sampled"
        )
    if len(people) < FEWEST_PEOPLE:
        return f"{rests}, and two have no interval over people."
    return f"{rests}, so the intervals are over participants."


def _corrected(points: Cycles, options: Options) -> CorrectedLimits | Absent | None:
    """Return the limits without the reference's own error; None where none is stated."""
    if options.reference_sd_deg is None:
        return None
    if len(unique(points.participant)) == 1:
        return Absent(_ONE_REFERENCE)
    return limits_without_reference_error(
        points.difference,
        options.reference_sd_deg,
        points.participant,
        confidence=options.confidence,
    )


def _published(points: Cycles, options: Options) -> LimitsOfAgreement | None:
    """Return the limits with a published interval, where it is asked for and another."""
    people = len(unique(points.participant))
    if not options.published_interval or people == 1 or points.wearable.size <= people:
        return None
    return limits_of_agreement(
        points.difference,
        points.participant,
        confidence=options.confidence,
        form="pooled-within",
    )


def limits_over(
    difference: Array, participant: Sequence[str] | NDArray[np.object_], options: Options
) -> LimitsOfAgreement:
    """Return limits of differences, one a cycle, over participants or within the only one."""
    if len(unique(participant)) == 1:
        return within_participant_limits(difference, confidence=options.confidence)
    return limits_of_agreement(difference, participant, confidence=options.confidence)


def _unknown_zero(group: Group, quantity: str) -> str:
    """Return why limits with both instruments zeroed cannot be given; empty if they can."""
    if quantity == "range_deg":
        return "a range of motion does not depend on the zeros."
    reasons: dict[str, list[str]] = {}
    for trial in group.trials:
        if not np.isfinite(zero_of(trial)):
            why = trial.standing.unknown if trial.standing else "neutral standing is not given."
            reasons.setdefault(why, []).append(trial.label)
    return " ".join(f"{_few(names)}: {why}" for why, names in reasons.items())


def _few(names: list[str]) -> str:
    """Return names, of many the first and how many more."""
    if len(names) <= NAMED_RECORDINGS:
        return ", ".join(names)
    return f"{names[0]} and {len(names) - 1} more recordings"
