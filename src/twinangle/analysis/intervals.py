"""The last step of a recording's analysis: its intervals, and what is judged by its curves.

Whatever of one recording depends on the confidence is formed here, from what was measured.
"""

from __future__ import annotations

from dataclasses import replace

from twinangle.agreement.budget import error_budget
from twinangle.agreement.curves import compare_curves
from twinangle.agreement.variability import compare_variability, cycle_variability
from twinangle.analysis.chosen_cycles import chosen_cycles
from twinangle.analysis.clock import with_clock_warnings
from twinangle.analysis.large_numbers import large_numbers
from twinangle.analysis.likeness import judge_likeness
from twinangle.analysis.measured import Measured, after_known, ended
from twinangle.analysis.plausibility import doubts
from twinangle.analysis.strides_together import strides_apart
from twinangle.errors import TwinangleError
from twinangle.results import TrialResult, Variability
from twinangle.results.clock_found import clock_found
from twinangle.signals.recording import CycleSet
from twinangle.study import Study, Trial


def with_intervals(study: Study, trial: Trial, measured: Measured) -> TrialResult:
    """Return the result of what was measured in one trial under one procedure.

    Where cycles were chosen by hand, what they would give without that goes with it.

    Parameters
    ----------
    study : Study
        The settings of the trial.
    trial : Trial
        One row of the trials table.
    measured : Measured
        Of it.
    """
    found = _result(study, trial, measured)
    if measured.undecided is None:
        return found
    bare = _result(study, trial, measured.undecided)
    return replace(
        found, chosen=chosen_cycles(trial, found, bare), undecided=replace(bare, paired=None)
    )


def _result(study: Study, trial: Trial, measured: Measured) -> TrialResult:
    result, gyroscopes = measured.result, measured.gyroscopes
    clock, angle_clock = result.synchronisation, measured.angle_clock
    if clock is not None and angle_clock is not None:
        clock, gyroscopes = with_clock_warnings(study, clock, angle_clock, gyroscopes)
        result = replace(result, synchronisation=clock)
    cycles = result.cycles
    if cycles is None:
        return result
    told = (*measured.told_before, *(clock.warnings if clock is not None else ()))
    result = replace(
        result,
        clock=None if clock is None else clock_found(clock, study.options),
        gyroscope_lag=gyroscopes,
        warnings=_unique(*told, *measured.told_after),
    )
    if result.status == "pooled":
        return result
    try:
        return _of_curves(study, result, cycles)
    except (TwinangleError, ValueError) as error:
        reason = after_known(doubts(result.plausibility), str(error))
        return ended(trial, result.procedure, "failed", reason, result.plausibility)


def _of_curves(study: Study, result: TrialResult, cycles: CycleSet) -> TrialResult:
    confidence = study.options.confidence
    wearable = cycles.wearable_deg[cycles.kept]
    own = cycle_variability(wearable, confidence=confidence)
    if cycles.reference_deg is None:
        large = large_numbers(None, {"wearable": own})
        return replace(
            result, variability=Variability(own), warnings=_unique(*large, *result.warnings)
        )
    reference = cycles.reference_deg[cycles.kept]
    spread = cycle_variability(reference, confidence=confidence)
    curves = compare_curves(wearable, reference, confidence=confidence)
    return replace(
        result,
        warnings=_unique(
            *strides_apart(cycles),
            *judge_likeness(study, curves, cycles),
            *large_numbers(curves, {"wearable": own, "reference": spread}),
            *result.warnings,
        ),
        agreement=curves,
        variability=Variability(
            own,
            spread,
            compare_variability(wearable, reference, confidence=confidence),
        ),
        budget=error_budget(wearable, reference, confidence=confidence),
    )


def _unique(*texts: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(texts))
