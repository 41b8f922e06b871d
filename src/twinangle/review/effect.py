"""What a decision does to the numbers: of its recording, and of the limits over all of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from twinangle.agreement.limits import LimitsOfAgreement
from twinangle.analysis.groups import group_trials
from twinangle.analysis.limits import main_limits
from twinangle.analysis.remounts import compare_mountings
from twinangle.analysis.short_recordings import pool_short
from twinangle.results import TrialResult
from twinangle.study import Study

QUANTITY = "peak_flexion_deg"  # the limits that the page shows


def numbers_of(results: Sequence[TrialResult]) -> dict[str, Any]:
    """Return a recording's own numbers under its first procedure, None where there is none."""
    trial = results[0]
    agreement, spread = trial.agreement, trial.variability
    reference = None if spread is None else spread.reference
    return {
        "status": trial.status,
        "reason": trial.reason,
        "kept": None if trial.cycles is None else int(trial.cycles.kept.sum()),
        "found": None if trial.cycles is None else len(trial.cycles.reason),
        "offset_deg": None if agreement is None else agreement.offset,
        "rms_deg": None if agreement is None else agreement.rms_demeaned,
        "wearable_sd_deg": None if spread is None else spread.wearable.sd,
        "reference_sd_deg": None if reference is None else reference.sd,
    }


def limits_over(study: Study, every: Sequence[TrialResult], like: TrialResult) -> dict[str, Any]:
    """Return limits of agreement of peak flexion over the recordings of one condition.

    Parameters
    ----------
    study : Study
        For its options.
    every : sequence of TrialResult
        All recordings that are analysed so far.
    like : TrialResult
        Says which procedure and condition.

    Returns
    -------
    dict
        bias, lower and upper in degrees, and over how many participants and cycles; or `reason`.
    """
    _, _, standing_in = pool_short(compare_mountings(study, every), study.options)
    for group in group_trials(standing_in).compared:
        if (group.procedure, group.condition) == (like.procedure, like.condition):
            try:
                found = main_limits(group, QUANTITY, study.options)
            except ValueError as error:
                return {"reason": str(error)}
            return _limits(found)
    return {"reason": "no recording of this condition has both instruments."}


def _limits(found: LimitsOfAgreement) -> dict[str, Any]:
    return {
        "bias_deg": found.bias,
        "lower_deg": found.lower,
        "upper_deg": found.upper,
        "n_participants": found.n_participants,
        "n_observations": found.n_observations,
    }
