"""Several wearables or references on one recording: each by itself, then held together."""

from __future__ import annotations

from dataclasses import replace

from twinangle.analysis.common_cycles import Seen, with_common_cycles
from twinangle.analysis.pairs import references_apart, triples_of, wearables_apart
from twinangle.analysis.trial import analyse_trial
from twinangle.analysis.whose_clock import with_whose_clock
from twinangle.notices import reworded
from twinangle.results import TrialResult
from twinangle.study import Study, Trial
from twinangle.study.instruments import Part


def analyse_parts(study: Study, trial: Trial) -> tuple[TrialResult, ...]:
    """Analyse one recording under every wearable, reference and procedure of a study.

    Each wearable against each reference is analysed by itself: its own files, clock and cycles.
    What they say together goes with the results: the common cycles that procedures are ranked on,
    and what two wearables or two references differ by.
    """
    seen = []
    for part, own in study.rows_of(trial):
        results = analyse_trial(part.study, own)
        seen.append(Seen(part, own, results))
    seen = [_named(one) for one in with_whose_clock(seen)]
    pairs = (*wearables_apart(seen), *references_apart(seen))
    found = [result for one in with_common_cycles(seen) for result in one]
    return (replace(found[0], pairs=pairs, triples=triples_of(seen)), *found[1:])


def _named(one: Seen) -> Seen:
    """Return the results with their instruments' names, their texts in the study file's words."""
    part = one.part
    named = (
        replace(_in_the_files_words(result, part), procedure=part.named(result.procedure))
        for result in one.results
    )
    return replace(one, results=tuple(named))


def _in_the_files_words(result: TrialResult, part: Part) -> TrialResult:
    """Return a result whose texts name the sections as the study file of several has them."""
    clock = result.synchronisation
    if clock is not None:
        clock = replace(clock, warnings=_worded(clock.warnings, part))
    cycles = result.cycles
    if cycles is not None:
        cycles = replace(cycles, warnings=_worded(cycles.warnings, part))
    return replace(
        result,
        reason=part.worded(result.reason),
        warnings=_worded(result.warnings, part),
        synchronisation=clock,
        cycles=cycles,
    )


def _worded(texts: tuple[str, ...], part: Part) -> tuple[str, ...]:
    return tuple(reworded(text, part.worded(text)) for text in texts)
