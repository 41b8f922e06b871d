"""The answer in a few sentences, each of numbers of the results: page, terminal and notebook."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from twinangle.agreement._people import FEWEST_PEOPLE, NO_INTERVAL_OF_TWO, OWN_VALUES
from twinangle.agreement.limits_found import LimitsOfAgreement
from twinangle.results.answer import (
    Answer,
    Counted,
    answer_of,
    has_reference,
    rests_alike,
    rests_of,
)
from twinangle.results.comparison_words import (
    conditions_sentence,
    never_compared,
    procedures_sentence,
    under,
)
from twinangle.results.daily_words import daily_sentence
from twinangle.results.instruments import LimitsBetween
from twinangle.results.limits import StudyLimits
from twinangle.results.pooled import Absent, named
from twinangle.results.session_words import session_sentence
from twinangle.wording import (
    NO_MARGIN,
    SD_FREED,
    count,
    degrees,
    listing,
    quantity_name,
    span,
    stated,
)

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults

NOTHING_ANALYSED = (
    "No trial could be analysed, so no number is given. The reasons stand under “What was left out "
    "and what to beware of”."
)
BY_LIKENESS = "cross-correlation"  # of the two angles, the lag not taken from the gyroscopes
LOWER_VALUE = (
    "That RMS is a lower value: the clocks were fitted to the same angles, which in simulated "
    "walks with skin moving in swing took 16 to 18 % off it, and half where the range differed too."
)
"""Measured: docs/background/synchronisation.md, soft tissue in swing."""
MUCH_FAILED = 0.25  # share of recordings above which the answer itself says so. Own rule
NEXT_TO_NOTHING = 0.05  # share of the offset that makes no part of its own. Own rule
Ends = tuple[float, float]


def answer_sentences(results: StudyResults) -> tuple[str, ...]:
    """Return what was found, in at most seven sentences, each of numbers of the results.

    Where there are several wearables, one more tells what two of them differ by, and one what was
    compared nowhere.
    """
    answer = answer_of(results)
    if not answer.n_analysed:
        return (NOTHING_ANALYSED,)
    found = (
        _failed(results, answer),
        _limits(results, answer),
        _curves(results, answer),
        _zero(results, answer),
        conditions_sentence(results, answer),
        procedures_sentence(results, answer),
        session_sentence(results),
        _between_wearables(results),
        never_compared(results),
    )
    return tuple(sentence for sentence in found if sentence)


def rests_on(results: StudyResults) -> str:
    """Say what the answer's numbers rest on: people, recordings, cycles, and what was left out.

    They are of one procedure, and of several instruments of one pair, which is named wherever
    another procedure rests on more or less.
    """
    answer = answer_of(results)
    left = [
        f"{n} {words}"
        for n, words in (
            (answer.n_failed_main, "could not be analysed"),
            (answer.n_excluded, "excluded beforehand"),
            (answer.n_by_hand, "taken out by hand"),
        )
        if n
    ]
    if not answer.n_analysed:
        said = f"Of {count(answer.n_recordings, 'recording')}, {listing(left)}."
        return f"{said} {daily_sentence(results)}".rstrip()
    recordings = count(answer.n_analysed, "recording")
    if left:
        recordings += f" of {answer.n_made} ({listing(left)})"
    whose = f", of {answer.procedure}," if len(rests_alike(results)) > 1 else ""
    said = (
        f"These numbers{whose} rest on {count(answer.n_participants, 'participant')}, "
        f"{recordings} and {count(answer.n_cycles, 'cycle')}"
    )
    others = [name for name in answer.with_reference if name != answer.condition]
    found = _held_against(results, answer)
    if found.n_recordings:
        where = f", {under(answer.condition, first=False)}" if others else ""
        said += (
            f"; with a reference{where}, {count(found.n_participants, 'participant')}, "
            f"{count(found.n_recordings, 'recording')} and {count(found.n_cycles, 'cycle')}"
        )
    if answer.n_pooled:
        short = count(answer.n_pooled, "short recording")
        said += f"; the cycles of {short} are pooled person by person"
    said += f". {daily_sentence(results)}".rstrip()
    said += f" {_intervals_over(results, answer)}"
    if others:
        named_others = listing(f"“{name}”" for name in others)
        said += f" What was found under {named_others}, with a reference too, stands behind."
    return f"{said} {_margin(results)}" if answer.n_with_reference else said


def _held_against(results: StudyResults, answer: Answer) -> Counted:
    """Return what the main procedure's numbers against its reference rest on."""
    return rests_of(results, answer.procedure, answer.condition).with_reference


def _intervals_over(results: StudyResults, answer: Answer) -> str:
    """Say what intervals are over; of two people, that there are none, and both their values."""
    people = _held_against(results, answer).n_participants or answer.n_participants
    against = "Against the reference, i" if people < answer.n_participants else "I"
    if people == 1:
        return (
            f"{against}ntervals are over the strides of one participant: they say nothing about "
            "other people, and nothing of what is the same in all strides, such as a sensor's bias "
            "or how it was placed."
        )
    if people >= FEWEST_PEOPLE:
        lone = (
            "; where one participant stands alone, over that person's strides, which says nothing "
            "about other people"
        )
        return f"Intervals are over participants{lone if _one_alone(results) else ''}."
    key = (answer.procedure, answer.condition, "")
    found = (dict(named(results.curves)).get(key), dict(named(results.variability)).get(key))
    notes = [note for each in found if each is not None for note in each.notes]
    values = [note.partition(OWN_VALUES)[2].rstrip(".") for note in notes if OWN_VALUES in note]
    in_degrees = f"{OWN_VALUES}{', '.join(values)} (degrees)" if values else ""
    return f"{NO_INTERVAL_OF_TWO}{in_degrees}."


def _one_alone(results: StudyResults) -> bool:
    """Whether something that the answer may tell of rests on one person."""
    limits = [
        *(item.limits for _, item in named(results.limits)),
        *(one.value for one in results.between if isinstance(one.value, LimitsOfAgreement)),
    ]
    people = [one.n_participants for one in limits]
    return 1 in (*people, *(item.n_participants for _, item in named(results.conditions)))


def _margin(results: StudyResults) -> str:
    margin = results.options.margin_deg
    if margin is None:
        return f"{NO_MARGIN.capitalize()}, so that nothing is tested against one."
    return f"The margin of ±{stated(margin)}° is the study's own."


def _failed(results: StudyResults, answer: Answer) -> str:
    """Say how much of the study gave no main number, where that is more than a quarter.

    Of all recordings; where there it is less, of those under the condition that the limits are of.
    """
    failed, meant, where = answer.n_failed_main, answer.n_meant, ""
    if failed <= MUCH_FAILED * meant and answer.condition:
        own = rests_of(results, answer.procedure, answer.condition)
        failed, meant = own.n_failed, own.n_failed + own.worked.n_recordings
        where = f" {under(answer.condition, first=False)}"
    if failed <= MUCH_FAILED * meant:
        return ""
    return (
        f"{failed} of {count(meant, 'recording')}{where} ({100 * failed / meant:.0f} %) could not "
        f"be analysed by {answer.procedure}: what follows is of the others alone, and if what made "
        "them fail goes with the angle's error it is too good."
    )


def _main(results: StudyResults, answer: Answer, quantity: str) -> StudyLimits | None:
    """Return the main procedure's limits of a quantity, or None where there are none."""
    return dict(named(results.limits)).get((answer.procedure, answer.condition, quantity))


def _limits(results: StudyResults, answer: Answer) -> str:
    """Say bias and limits with intervals, and the verdicts; or that accuracy was not measured."""
    if not answer.with_reference:
        return "No recording has a reference: accuracy was not measured, only the variability."
    found = _main(results, answer, "mean_deg")
    if found is None:
        reasons = [each.absent.reason for each in results.limits if each.absent is not None]
        return f"No limits of agreement are given: {reasons[0]}" if reasons else ""
    limits, level = found.limits, results.options.level
    bias = degrees_with_interval(limits.bias, limits.bias_ci, f"{level} interval ")
    said = (
        f"{under(answer.condition)} the angle by {answer.procedure}, in the mean over the cycle, "
        f"was off the reference by {bias}, with {100 * limits.coverage:g} % limits of agreement "
        f"from {degrees_with_interval(limits.lower, limits.lower_ci)} to "
        f"{degrees_with_interval(limits.upper, limits.upper_ci)}"
    )
    return f"{said}{_verdicts(results, answer)}."


def _verdicts(results: StudyResults, answer: Answer) -> str:
    """Say how the limits stand to the margin, if one was set."""
    claims = [
        (key[2], claim)
        for key, claim in named(results.equivalence)
        if key[:2] == (answer.procedure, answer.condition)
    ]
    if not claims:
        return ""
    first = next((claim for quantity, claim in claims if quantity == "mean_deg"), claims[0][1])
    said = f": against the margin of ±{stated(first.margin)}° {first.verdict}, {first.reason}"
    others = [
        f"{quantity_name(quantity).lower()}: {claim.verdict}"
        for quantity, claim in claims
        if claim is not first
    ]
    return f"{said} ({'; '.join(others)})" if others else said


def _curves(results: StudyResults, answer: Answer) -> str:
    """Say the RMS of the demeaned mean curves, and both instruments' per-cycle SD."""
    key = (answer.procedure, answer.condition, "")
    curves = dict(named(results.curves)).get(key)
    both = dict(named(results.variability)).get(key)
    if curves is None:
        return _spread_alone(results, answer)
    lower = f" {LOWER_VALUE}" if _fitted_to_the_curves(results, answer) else ""
    rms = degrees_with_interval(curves.rms_demeaned, curves.rms_demeaned_ci)
    said = f"Each less its own mean, the mean curves differ by {rms} RMS"
    if both is None:
        return f"{said}.{lower}"
    return (
        f"{said}; the SD over cycles, {SD_FREED}, is "
        f"{degrees_with_interval(both.test_sd, both.test_sd_ci)} of the wearable and "
        f"{degrees_with_interval(both.reference_sd, both.reference_sd_ci)} of the reference"
        f"{_as_it_stands(results, key, both.n_trials)}.{lower}"
    )


def _fitted_to_the_curves(results: StudyResults, answer: Answer) -> bool:
    """Tell whether a clock of the main numbers was found by the likeness of the same angles."""
    return any(
        trial.synchronisation is not None and trial.synchronisation.method == BY_LIKENESS
        for trial in results.trials
        if (trial.procedure, trial.condition) == (answer.procedure, answer.condition)
        and has_reference(trial)
    )


def _as_it_stands(results: StudyResults, key: tuple[str, str, str], n_trials: int) -> str:
    """Say the SDs of a single recording as its own table has them, which are freed of nothing."""
    if n_trials != 1:
        return ""
    for trial in results.trials:
        wearable, reference = trial.wearable_variability, trial.reference_variability
        of_this = (trial.procedure, trial.condition) == key[:2]
        if of_this and wearable is not None and reference is not None:
            return (
                f" (as they stand in the table of recordings {degrees(wearable.sd)} and "
                f"{degrees(reference.sd)})"
            )
    return ""


def _spread_alone(results: StudyResults, answer: Answer) -> str:
    """Say the wearable's per-cycle SD where nothing can be held against a reference."""
    parts = []
    for condition in answer.without_reference:
        sds = [
            trial.wearable_variability.sd
            for trial in results.trials
            if (trial.procedure, trial.condition) == (answer.procedure, condition)
            and trial.wearable_variability is not None
        ]
        if sds:
            where = f" under “{condition}”" if condition else ""
            parts.append(f"{span(sds)}°{where}")
    if not parts:
        return ""
    return f"The wearable's SD over cycles ({answer.procedure}) is {listing(parts)}, by recording."


def _zero(results: StudyResults, answer: Answer) -> str:
    """Say what part of the offset is the instruments' zeros."""
    found = _main(results, answer, "mean_deg")
    if found is None:
        return ""
    if isinstance(found.zeroed, Absent):
        return (
            "What part of the offset is the instruments' zeros is not known, as what both read in "
            "neutral standing is not known of every recording."
        )
    alone = found.limits.n_participants == 1
    people = (
        ""
        if alone
        else (
            f"; participants' own offsets are {degrees(found.participants_bias_rms)} RMS as "
            f"recorded and {degrees(found.participants_bias_rms_zeroed)} with both zeroed there"
        )
    )
    offset, zeros, rest = found.limits.bias, found.bias_from_zero, found.zeroed.bias
    if found.zero_is_a_share:
        return (
            f"Of the offset of {degrees(offset)}, {degrees(zeros)} is how the instruments' zeros "
            f"differ in neutral standing{people}."
        )
    if abs(rest) < NEXT_TO_NOTHING * abs(offset):
        return (
            f"Nearly all of the offset of {degrees(offset)} is how the instruments' zeros differ "
            f"in neutral standing ({degrees(zeros)}; left over {degrees(rest)}){people}."
        )
    return (
        f"The offset of {degrees(offset)} is two parts of opposite sign: {degrees(zeros)} is how "
        f"the instruments' zeros differ in neutral standing, and {degrees(rest)} is what is left "
        f"with both zeroed there{people}."
    )


def _between_wearables(results: StudyResults) -> str:
    """Say what two wearables differ by: agreement between them, not accuracy."""
    found = next(
        (
            one
            for one in results.between
            if (one.kind, one.quantity) == ("wearables", "mean_deg")
            and not isinstance(one.value, Absent)
        ),
        None,
    )
    if found is None or isinstance(found.value, Absent):
        return ""
    limits = found.value
    return (
        f"Agreement between {found.first} and {found.second} ({found.procedure}), which is "
        f"accuracy of neither: {under(found.condition, first=False)}, in the mean over the cycle "
        f"({count(limits.n_participants, 'participant')}, {_recordings_of_both(results, found)}"
        f"{count(limits.n_observations, 'cycle')}), {found.first} minus {found.second} is "
        f"{degrees_with_interval(limits.bias, limits.bias_ci)}, "
        f"with {100 * limits.coverage:g} % limits of agreement from "
        f"{degrees_with_interval(limits.lower, limits.lower_ci)} to "
        f"{degrees_with_interval(limits.upper, limits.upper_ci)}."
    )


def _recordings_of_both(results: StudyResults, found: LimitsBetween) -> str:
    """Return how many recordings hold both, with a comma behind."""
    of = (found.kind, found.first, found.second, found.procedure)
    n = sum(
        pair.pair == of and pair.condition == found.condition and not pair.reason
        for pair in results.pairs
    )
    return f"{count(n, 'recording')}, " if n else ""


def degrees_with_interval(value: float, ends: Ends, lead: str = "") -> str:
    """Return an angle with its interval, which some numbers lack."""
    if not all(map(math.isfinite, ends)):
        return degrees(value)
    return f"{degrees(value)} ({lead}{degrees(ends[0])} to {degrees(ends[1])})"
