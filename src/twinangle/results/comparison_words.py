"""What the answer says of conditions and of procedures compared."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import TYPE_CHECKING

from twinangle.agreement._people import FEWEST_PEOPLE
from twinangle.agreement.conditions import ConditionDifference
from twinangle.agreement.ranking import Contest
from twinangle.results.answer import Answer, has_reference
from twinangle.results.grouping import distinct
from twinangle.results.pooled import given, named
from twinangle.under_test import procedure_of, reference_of, under_test, wearable_of
from twinangle.wording import count, listing, number

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults
    from twinangle.results.trial_result import TrialResult

NOT_MEASURED = "only the variability was compared; accuracy was not measured there"


def conditions_sentence(results: StudyResults, answer: Answer) -> str:
    """Say how the per-cycle SD compares between conditions, and what was not measured there."""
    found = [
        item
        for (procedure, _, quantity), item in named(results.conditions)
        if (procedure, quantity) == (answer.procedure, "wearable_sd_deg")
    ]
    if not found:
        return ""
    parts, seen = [], False
    for k, item in enumerate(found):
        if not math.isfinite(item.ratio):
            parts.append(_no_ratio(item, first=k == 0))
            continue
        of_what = "the wearable's SD over cycles is " if not seen else ""
        parts.append(
            f"{under(item.condition, first=k == 0)} {of_what}"
            f"{plain(item.ratio, item.ratio_ci)} times that under “{item.against}”"
            f"{_of_fewer(item, answer)}"
        )
        seen = True
    said = "; ".join(parts)
    unseen = [item.condition for item in found if item.condition in answer.without_reference]
    several = len(distinct(trial.wearable for trial in results.trials)) > 1
    if unseen and answer.with_reference and not several:  # `never_compared` says it of each
        where = " and ".join(f"“{name}”" for name in unseen)
        said += f". {'Under ' + where}, {NOT_MEASURED}"
    return f"{said}."


def _of_fewer(item: ConditionDifference, answer: Answer) -> str:
    """Say how many people a comparison is of, where it is not all that the answer rests on."""
    n = item.n_participants
    return "" if n == answer.n_participants else f" (in {count(n, 'participant')})"


def _no_ratio(item: ConditionDifference, *, first: bool) -> str:
    """Say that two conditions cannot be compared, and why."""
    where = under(item.condition, first=first)
    reason = item.note.split(". ")[0].rstrip(".") or "an SD over cycles is not above 0"
    return (
        f"{where} the wearable's SD over cycles cannot be held against that under "
        f"“{item.against}” ({reason[0].lower()}{reason[1:]})"
    )


def procedures_sentence(results: StudyResults, answer: Answer) -> str:
    """Say which procedure is nearest the reference, or that they tie."""
    contest = next(
        (
            each
            for pooled, each in given(results.ranking)
            if pooled.condition == answer.condition
            and reference_of(pooled.procedure) == reference_of(answer.procedure)
        ),
        None,
    )
    if contest is None or len(contest.standings) < 2:
        return ""
    reference = reference_of(answer.procedure)
    first = [_bare(place.procedure) for place in contest.standings if place.rank == 1]
    common = any(trial.common is not None for trial in results.trials)
    kept = ", over the cycles that every wearable keeps" if common else ""
    on = (
        f"{count(contest.n_participants, 'participant')} and {count(contest.n_trials, 'recording')}"
    )
    against = f" against {reference}" if reference else ""
    lead = f"By the RMS of the demeaned difference{against}{kept}, in {on},"
    if not contest.can_tell_apart():
        return f"{lead} {listing(first)} are not ranked: {_so_few(contest)}."
    if len(first) == len(contest.standings):
        said = f"{lead} {listing(first)} cannot be told apart: a tie"
    else:
        rest = [_bare(place.procedure) for place in contest.standings if place.rank != 1]
        verb = "is" if len(first) == 1 else "tie and are"
        said = f"{lead} {listing(first)} {verb} nearer the reference than {listing(rest)}"
    return f"{said}{_of_two(contest)}{f'. {ties}' if (ties := ties_sentence(contest)) else '.'}"


def ties_sentence(contest: Contest) -> str:
    """Say on how many people ties rest, and that they are no proof; empty where nothing ties."""
    if not contest.can_tell_apart():
        said = _so_few(contest)
        return f"{said[0].upper()}{said[1:]}."
    if not any(place.tied_with for place in contest.standings):
        return ""
    return (
        "A tie is no proof that procedures are equally good: in "
        f"{count(contest.n_participants, 'participant')} tied ones may still differ by up to "
        f"{number(contest.may_differ_by())}°."
    )


def tie_word(contest: Contest, *, tied: bool) -> str:
    """Return the verdict on two procedures in a word or two."""
    if not contest.can_tell_apart():
        return "too few people"
    return "tie" if tied else "apart"


def _so_few(contest: Contest) -> str:
    return (
        f"with {count(contest.n_participants, 'participant')} nothing can be told apart "
        f"(at least {FEWEST_PEOPLE} are needed)"
    )


def _bare(name: str) -> str:
    """Return what is ranked without its reference, which the sentence names."""
    return under_test(wearable_of(name), procedure_of(name))


def never_compared(results: StudyResults) -> str:
    """Say of several wearables which were never held against each other, or a reference, and where.

    Empty where there is one wearable, or all were.
    """
    worked = [trial for trial in results.trials if trial.status in ("ok", "pooled")]
    wearables = distinct(trial.wearable for trial in results.trials)
    if len(wearables) < 2 or not worked:
        return ""
    lacking = [*_pairs_never_compared(results, wearables, worked)]
    for condition in distinct(trial.condition for trial in worked):
        here = [trial for trial in worked if trial.condition == condition]
        seen = {trial.wearable for trial in here if has_reference(trial)}
        worn = distinct(trial.wearable for trial in here)
        without = [name for name in worn if name not in seen]
        if without:
            every = "either wearable" if len(wearables) == 2 else "any wearable"
            who = every if set(without) == set(wearables) else " and ".join(without)
            lacking.append(f"{who} with a reference{_where(condition)}")
    return f"Not compared anywhere in this study: {'; '.join(lacking)}." if lacking else ""


def _pairs_never_compared(
    results: StudyResults, wearables: Sequence[str], worked: Sequence[TrialResult]
) -> Iterator[str]:
    """Yield each two wearables without a comparison, in the study or under a condition of both."""
    done: dict[frozenset[str], set[str]] = {}
    for pair in results.pairs:
        if pair.kind == "wearables" and not pair.reason:
            done.setdefault(frozenset((pair.first, pair.second)), set()).add(pair.condition)
    worn = {(trial.wearable, trial.condition) for trial in worked}
    for first, second in combinations(wearables, 2):
        compared = done.get(frozenset((first, second)), set())
        both = [
            condition
            for condition in distinct(trial.condition for trial in results.trials)
            if {(first, condition), (second, condition)} <= worn and condition not in compared
        ]
        if not compared:
            yield f"{first} with {second} on the same cycles"
        elif both:
            where = " and ".join(f"“{name}”" for name in both)
            yield f"{first} with {second} on the same cycles under {where}"


def _where(condition: str) -> str:
    return f" under “{condition}”" if condition else ""


def _of_two(contest: Contest) -> str:
    """Return the difference where there are but two procedures."""
    if len(contest.differences) != 1:
        return ""
    pair = contest.differences[0]
    ends = (pair.lower, pair.upper)
    if not all(map(math.isfinite, ends)):
        return ""
    low, high = (f"{number(end, 3)}°" for end in ends)
    first, second = _bare(pair.first), _bare(pair.second)
    return f" ({first} − {second}: {number(pair.difference, 3)}°, {low} to {high})"


def under(condition: str, *, first: bool = True) -> str:
    """Return the words for a condition, which may have no name."""
    if not condition:
        return "Here" if first else "here"
    return f"{'Under' if first else 'under'} “{condition}”"


def plain(value: float, ends: tuple[float, float]) -> str:
    """Return a ratio with its interval."""
    if not all(map(math.isfinite, ends)):
        return number(value)
    return f"{number(value)} ({number(ends[0])} to {number(ends[1])})"
