"""Each wearable against each reference on the first page: what was found, on whom, what failed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from twinangle.agreement.limits_found import LimitsOfAgreement
from twinangle.agreement.pooled_curves import PooledCurves
from twinangle.results.answer import WORKED, Answer, Rests, answer_of, has_reference, rests_of
from twinangle.results.answer_words import degrees_with_interval
from twinangle.results.grouping import distinct, procedures
from twinangle.results.pooled import named
from twinangle.under_test import parts_of, reference_of
from twinangle.wording import count, degrees

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults

MOST_PAIRS = 6
"""Pairs that the first page has room for; those against the answer's reference come first."""


@dataclass(frozen=True, slots=True)
class PairFound:
    """A wearable against a reference, by the first of its procedures that gave numbers.

    `rests` counts the recordings under `condition`; what was not found is None or empty.
    """

    name: str
    condition: str
    rests: Rests
    limits: LimitsOfAgreement | None
    curves: PooledCurves | None
    verdict: str

    @property
    def n_meant(self) -> int:
        """Recordings that the study meant to hold against this reference."""
        return self.rests.with_reference.n_recordings + self.rests.n_failed


def pairs_found(results: StudyResults) -> tuple[PairFound, ...]:
    """Return each wearable against each reference; none where the study has but one of either."""
    answer = answer_of(results)
    pairs: dict[tuple[str, str], list[str]] = {}
    for name in filter(None, procedures(results)):
        wearable, _, reference = parts_of(name)
        pairs.setdefault((wearable, reference), []).append(name)
    main = reference_of(answer.procedure)
    ordered = sorted(pairs, key=lambda pair: pair[1] != main)
    found = [_pair_found(results, answer, pairs[pair]) for pair in ordered]
    told = tuple(pair for pair in found if pair.n_meant)
    return told if len(told) > 1 and answer.with_reference else ()


def _pair_found(results: StudyResults, answer: Answer, names: list[str]) -> PairFound:
    limits = dict(named(results.limits))
    curves = dict(named(results.curves))
    claims = dict(named(results.equivalence))
    worked = {trial.procedure for trial in results.trials if trial.status in WORKED}
    seen = {trial.procedure for trial in results.trials if has_reference(trial)}
    name = next((n for wanted in (seen, worked) for n in names if n in wanted), names[0])
    known = distinct(key[1] for key in limits if key[0] == name)
    condition = answer.condition if answer.condition in known or not known else known[0]
    key = (name, condition, "mean_deg")
    claim = claims.get(key)
    return PairFound(
        name=name,
        condition=condition,
        rests=rests_of(results, name, condition),
        limits=limits[key].limits if key in limits else None,
        curves=curves.get((name, condition, "")),
        verdict=claim.verdict if claim is not None else "",
    )


def pair_sentences(results: StudyResults) -> tuple[str, ...]:
    """Return a lead and a line for each wearable and reference, as the first page has a table."""
    pairs = pairs_found(results)
    if not pairs:
        return ()
    lead = (
        "Each wearable against each reference, in the mean over the cycle (RMS: of the demeaned "
        "mean curves; in brackets behind the limits: the verdict on the margin):"
    )
    lines = [_line(pair, answer_of(results)) for pair in pairs[:MOST_PAIRS]]
    return (lead, *lines, *filter(None, [left_over(pairs)]))


def left_over(pairs: tuple[PairFound, ...]) -> str:
    """Say where the pairs stand that the first page has no room for."""
    more = len(pairs) - MOST_PAIRS
    if more <= 0:
        return ""
    return f"{count(more, 'further pair')} of instruments: tables/limits_of_agreement.csv."


def _line(pair: PairFound, answer: Answer) -> str:
    where = f" under “{pair.condition}”" if pair.condition != answer.condition else ""
    on = f"{pair.rests.with_reference.n_recordings} of {count(pair.n_meant, 'recording')}"
    if not pair.rests.with_reference.n_recordings:
        return f"{pair.name}{where}: none of {count(pair.n_meant, 'recording')} could be analysed."
    said = []
    if pair.limits is not None:
        between = f"{degrees(pair.limits.lower)} to {degrees(pair.limits.upper)}"
        verdict = f"({pair.verdict})" if pair.verdict else ""
        said += [
            f"off by {degrees_with_interval(pair.limits.bias, pair.limits.bias_ci)}",
            f"limits of agreement {between} {verdict}".rstrip(),
        ]
    if pair.curves is not None:
        said.append(
            f"RMS {degrees_with_interval(pair.curves.rms_demeaned, pair.curves.rms_demeaned_ci)}"
        )
    people = count(pair.rests.with_reference.n_participants, "participant")
    failed = f", {pair.rests.n_failed} could not be analysed" if pair.rests.n_failed else ""
    return f"{pair.name}{where}: {', '.join(said)}; {people}, {on}{failed}."
