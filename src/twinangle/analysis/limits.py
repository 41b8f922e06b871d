"""Limits of agreement of a study, with participants as clusters."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from twinangle.agreement._people import FEWEST_PEOPLE
from twinangle.agreement.limits import limits_of_agreement, within_participant_limits
from twinangle.agreement.limits_found import LimitsOfAgreement
from twinangle.agreement.reference_error import CorrectedLimits, limits_without_reference_error
from twinangle.analysis.groups import QUANTITIES, Group, Groups, pooled, unique, zero_of
from twinangle.analysis.sides import sides_note
from twinangle.options import Options
from twinangle.results.limits import StudyLimits, read_only
from twinangle.results.pooled import Absent, Pooled
from twinangle.wording import count

if TYPE_CHECKING:
    import pandas as pd

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
    return limits_over(points["wearable"] - points["reference"], points["participant"], options)


def _study_limits(group: Group, quantity: str, options: Options) -> StudyLimits:
    points = group.cycles[quantity]
    difference = points["wearable"] - points["reference"]
    unknown = _unknown_zero(group, quantity)
    return StudyLimits(
        limits=main_limits(group, quantity, options),
        note=" ".join(filter(None, (_note(points), sides_note(points)))),
        participant=tuple(points["participant"]),
        size=read_only(((points["wearable"] + points["reference"]) / 2).to_numpy()),
        difference=read_only(difference.to_numpy()),
        zero=read_only(points["zero"].to_numpy()),
        zeroed=Absent(unknown)
        if unknown
        else limits_over(difference - points["zero"], points["participant"], options),
        corrected=_corrected(points, options),
        published=_published(points, options),
    )


def _note(points: pd.DataFrame) -> str:
    people = unique(points["participant"])
    if len(people) == 1:
        return (
            f"One participant ({people[0]}): these are limits within this participant, over "
            f"{count(len(points), 'cycle')}. They say nothing about other people."
        )
    rests = f"{len(points)} cycles of {len(people)} participants; participants are what was sampled"
    most = int(points.groupby("participant", sort=False)["session"].nunique().max())
    if most > 1:
        rests = (
            f"{len(points)} cycles of {len(people)} participants in up to {most} sessions each, "
            "what differs from session to session counted as a difference within the participant; "
            "participants are what was sampled"
        )
    if len(people) < FEWEST_PEOPLE:
        return f"{rests}, and two have no interval over people."
    return f"{rests}, so the intervals are over participants."


def _corrected(points: pd.DataFrame, options: Options) -> CorrectedLimits | Absent | None:
    """Return the limits without the reference's own error; None where none is stated."""
    if options.reference_sd_deg is None:
        return None
    if len(unique(points["participant"])) == 1:
        return Absent(_ONE_REFERENCE)
    return limits_without_reference_error(
        (points["wearable"] - points["reference"]).to_numpy(),
        options.reference_sd_deg,
        points["participant"].to_numpy(),
        confidence=options.confidence,
    )


def _published(points: pd.DataFrame, options: Options) -> LimitsOfAgreement | None:
    """Return the limits with a published interval, where it is asked for and another."""
    people = len(unique(points["participant"]))
    if not options.published_interval or people == 1 or len(points) <= people:
        return None
    return limits_of_agreement(
        (points["wearable"] - points["reference"]).to_numpy(),
        points["participant"].to_numpy(),
        confidence=options.confidence,
        form="pooled-within",
    )


def limits_over(
    difference: pd.Series, participant: pd.Series, options: Options
) -> LimitsOfAgreement:
    """Return limits of differences, one a cycle, over participants or within the only one."""
    if len(unique(participant)) == 1:
        return within_participant_limits(difference.to_numpy(), confidence=options.confidence)
    return limits_of_agreement(
        difference.to_numpy(), participant.to_numpy(), confidence=options.confidence
    )


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
