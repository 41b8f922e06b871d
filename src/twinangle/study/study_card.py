"""What a study shows of itself in a notebook: recordings by condition, and how they are read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from twinangle.card import Card
from twinangle.wording import NO_MARGIN, count, listing, stated

if TYPE_CHECKING:
    from twinangle.study.study_file import Study


def card_of_study(study: Study) -> Card:
    """Return recordings and participants by condition, instruments, clock and margin."""
    people = {trial.participant for trial in study.trials}
    title = (
        f"Study “{study.title}” ({study.joint}): {count(len(study.trials), 'recording')} of "
        f"{count(len(people), 'participant')}"
    )
    rows = tuple(_of_condition(study, one) for one in _conditions(study))
    by_condition = listing(
        f"{row[1]} {row[0]}" + (f" ({row[3]} with a reference)" if row[3] != "0" else "")
        for row in rows
    )
    head = ("condition", "recordings", "participants", "with a reference", "left out")
    return Card(title, (by_condition, _instruments(study)), head, rows, behind=study.warnings)


def _conditions(study: Study) -> tuple[str, ...]:
    return tuple(dict.fromkeys(trial.condition for trial in study.trials))


def _of_condition(study: Study, condition: str) -> tuple[str, ...]:
    trials = [trial for trial in study.trials if trial.condition == condition]
    numbers = (
        len(trials),
        len({trial.participant for trial in trials}),
        sum(trial.reference is not None for trial in trials),
        sum(bool(trial.exclude) for trial in trials),
    )
    return (condition, *map(str, numbers))


def _instruments(study: Study) -> str:
    margin = study.agreement.acceptable_deg
    if study.parts:
        names = {
            kind: dict.fromkeys(getattr(part, kind) for part in study.parts if getattr(part, kind))
            for kind in ("wearable", "reference")
        }
        said = [f"{kind}s {listing(names[kind])}" for kind in names if names[kind]]
        return (
            f"Several instruments: {'; '.join(said)}; "
            + (NO_MARGIN if margin is None else f"margin ±{stated(margin)}°")
            + "."
        )
    reference = "no reference" if study.reference is None else f"reference {study.reference.kind}"
    return (
        f"Wearable {study.wearable.kind} by {listing(study.wearable.procedures)}; {reference}; "
        f"clocks by {study.synchronisation.method}; cycles by {study.cycles.method}; "
        + (NO_MARGIN if margin is None else f"margin ±{stated(margin)}°")
        + "."
    )
