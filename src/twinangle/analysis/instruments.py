"""Several wearables or references on one recording: each by itself, then held together."""

from __future__ import annotations

from dataclasses import replace

from twinangle.analysis.common_cycles import Seen, with_common_cycles
from twinangle.analysis.pairs import references_apart, triples_of, wearables_apart
from twinangle.analysis.trial import analyse_trial
from twinangle.results import TrialResult
from twinangle.study import Study, Trial


def analyse_parts(study: Study, trial: Trial) -> tuple[TrialResult, ...]:
    """Analyse one recording under every wearable, reference and procedure of a study.

    Each wearable against each reference is analysed by itself: its own files, clock and cycles.
    What they say together goes with the results: the common cycles that procedures are ranked on,
    and what two wearables or two references differ by.
    """
    seen = []
    for part, own in study.rows_of(trial):
        results = analyse_trial(part.study, own)
        named = (replace(one, procedure=part.named(one.procedure)) for one in results)
        seen.append(Seen(part, own, tuple(named)))
    pairs = (*wearables_apart(seen), *references_apart(seen))
    found = [result for one in with_common_cycles(seen) for result in one]
    return (replace(found[0], pairs=pairs, triples=triples_of(seen)), *found[1:])
