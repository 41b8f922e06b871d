"""From trials to the parts that only some designs support, each given or its absence explained.

Numbers of mean curves over participants, further forms of the limits with the checks that point to
them, reliability between instruments, sessions and trials, and conditions at equal covariates.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

import numpy as np
import pandas as pd

from twinangle.agreement.conditions_adjusted import AdjustedRatio, compare_conditions_adjusted
from twinangle.agreement.deming import DEMING, DemingLine, deming_regression
from twinangle.agreement.difference_checks import check_differences
from twinangle.agreement.forms import (
    FEWEST_FOR_A_LINE_OF_SPREAD,
    LimitsAtSize,
    RegressionLimits,
    ratio_limits,
    regression_limits,
)
from twinangle.agreement.mixed import mixed_model_limits
from twinangle.agreement.percentiles import percentile_limits
from twinangle.agreement.pooled_curves import pool_curves
from twinangle.agreement.pooled_variability import pool_variability
from twinangle.agreement.reliability import (
    concordance,
    intraclass_correlations,
    measurement_error,
)
from twinangle.analysis.pooling import QUANTITIES, base_condition, cycle_quantity, groups, unique
from twinangle.options import Options
from twinangle.results import FurtherParts, LimitForms, Reliability, TrialResult

FEWEST_FOR_A_LINE = 4
FEWEST_FOR_RELIABILITY = 3
COVARIATES = ("speed_m_s", "stride_time_s")
_WITH_ZERO = ("range_deg",)  # quantities with a true zero, of which a ratio makes sense
BOTH = "both"  # whose values the columns are where they are the two instruments
DETECTABLE = "Detectable change between the instruments"
NOT_DETECTABLE = (
    "it is for one instrument measured again. From two instruments it would be the half-width of "
    "the limits under another name, without the bias: see the limits of agreement."
)
NO_ERROR_RATIO = (
    "it needs error_ratio under [agreement], the variance of the wearable's error over that of "
    "the reference's, which has to be known and is not taken from these data."
)
Given = TypeVar("Given")


def further_parts(
    trials: Sequence[TrialResult],
    options: Options,
) -> FurtherParts:
    """Return every further part that the design supports, and why the others are not given.

    Parameters
    ----------
    trials : sequence of TrialResult
        All trials of the study.
    options : Options
        What the run was asked for.

    Returns
    -------
    FurtherParts
    """
    reasons: dict[str, str] = {}
    curves = tuple(
        (
            procedure,
            condition,
            pool_curves(
                [t.agreement for t in several if t.agreement is not None],
                [t.participant for t in several],
                confidence=options.confidence,
            ),
        )
        for procedure, condition, several in groups(trials)
    )
    variability = tuple(
        (
            procedure,
            condition,
            pool_variability(
                [t.wearable_variability for t in several if t.wearable_variability],
                [t.reference_variability for t in several if t.reference_variability],
                [t.participant for t in several if t.reference_variability],
                confidence=options.confidence,
            ),
        )
        for procedure, condition, several in groups(trials)
        if any(t.reference_variability is not None for t in several)
    )
    forms = tuple(
        _forms(procedure, condition, quantity, several, options)
        for procedure, condition, several in groups(trials)
        for quantity in QUANTITIES
        if _people(several) >= 2
    )
    if curves and not forms:
        reasons["Further forms of the limits"] = "one participant; they need several."
    if forms and options.error_ratio is None:
        reasons[DEMING] = NO_ERROR_RATIO
    return FurtherParts(
        curves=curves,
        variability=variability,
        forms=forms,
        reliability=_reliability(trials, options, reasons),
        adjusted=_adjusted(trials, options, reasons),
        not_given=tuple(reasons.items()),
    )


def _people(trials: Sequence[TrialResult]) -> int:
    return len({trial.participant for trial in trials})


def _cycles_frame(trials: Sequence[TrialResult], quantity: str) -> pd.DataFrame:
    """Return one row a kept cycle with a reference, with what it is nested in."""
    parts = []
    for trial in trials:
        cycles = trial.cycles
        if cycles is None or cycles.reference_deg is None:
            continue
        parts.append(
            pd.DataFrame(
                {
                    "participant": trial.participant,
                    "unit": " ".join((trial.session, trial.trial, trial.side)),
                    "wearable": cycle_quantity(cycles.wearable_deg[cycles.kept], quantity),
                    "reference": cycle_quantity(cycles.reference_deg[cycles.kept], quantity),
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _forms(
    procedure: str,
    condition: str,
    quantity: str,
    trials: Sequence[TrialResult],
    options: Options,
) -> LimitForms:
    """Return the further forms of one quantity's limits."""
    frame = _cycles_frame(trials, quantity)
    people, difference = frame["participant"].to_numpy(), frame["wearable"] - frame["reference"]
    pair = frame["wearable"].to_numpy(), frame["reference"].to_numpy()
    means = frame.groupby("participant", sort=False)[["wearable", "reference"]].mean()
    means_pair = means["wearable"].to_numpy(), means["reference"].to_numpy()
    reasons: dict[str, str] = {}
    regression, deming = _lines(reasons, *means_pair, options)
    ratio = _unless(
        reasons,
        "of the ratio",
        "an angle has no true zero, so a ratio of angles has no meaning."
        if quantity not in _WITH_ZERO
        else "",
        lambda: ratio_limits(*pair, people, confidence=options.confidence),
    )
    nested = frame.groupby("participant")["unit"].nunique().max() > 1
    mixed = _unless(
        reasons,
        "by a mixed model",
        "" if nested else "no participant has several sessions, trials or sides to be nested.",
        lambda: mixed_model_limits(
            difference.to_numpy(), people, frame["unit"].to_numpy(), confidence=options.confidence
        ),
    )
    return LimitForms(
        procedure=procedure,
        condition=condition,
        quantity=quantity,
        checks=check_differences(*pair, people, confidence=options.confidence),
        regression=regression,
        ratio=ratio,
        percentile=percentile_limits(difference.to_numpy(), people, confidence=options.confidence),
        mixed=mixed,
        not_given=tuple(reasons.items()),
        at_sizes=() if regression is None else _at_sizes(*means_pair, options),
        deming=deming,
    )


def _lines(
    reasons: dict[str, str],
    wearable: np.ndarray,
    reference: np.ndarray,
    options: Options,
) -> tuple[RegressionLimits | None, DemingLine | None]:
    """Return the lines through the participants' means, or note why there is none."""
    few = (
        f"{wearable.size} participants; a line over participants needs {FEWEST_FOR_A_LINE}."
        if wearable.size < FEWEST_FOR_A_LINE
        else ""
    )
    regression = _unless(
        reasons,
        "by regression",
        few,
        lambda: regression_limits(wearable, reference, confidence=options.confidence),
    )
    ratio = options.error_ratio
    if ratio is None:
        return regression, None
    deming = _unless(
        reasons,
        DEMING,
        few,
        lambda: deming_regression(
            wearable, reference, error_ratio=ratio, confidence=options.confidence
        ),
    )
    return regression, deming


def _at_sizes(
    wearable: np.ndarray, reference: np.ndarray, options: Options
) -> tuple[LimitsAtSize, ...]:
    """Return bias and limits at the smallest, middle and largest of the participants' means."""
    found = regression_limits(
        wearable,
        reference,
        constant_spread=wearable.size < FEWEST_FOR_A_LINE_OF_SPREAD,
        confidence=options.confidence,
    )
    return found.intervals_at(np.quantile(found.sizes, [0, 0.5, 1]))


def _unless(
    reasons: dict[str, str], name: str, reason: str, compute: Callable[[], Given]
) -> Given | None:
    """Return what is computed, or note why it cannot be."""
    if not reason:
        try:
            return compute()
        except ValueError as error:
            reason = str(error)
    reasons[name] = reason
    return None


def _reliability(
    trials: Sequence[TrialResult], options: Options, reasons: dict[str, str]
) -> tuple[Reliability, ...]:
    """Return reliability over instruments, sessions and trials, as far as there are several."""
    good = [t for t in trials if t.status == "ok" and t.cycles is not None]
    found: list[Reliability] = []
    designs: tuple[tuple[str, Callable[[TrialResult], str] | None, str], ...] = (
        ("both instruments", None, "no recording has a reference, or fewer than 3 participants."),
        (
            "sessions",
            lambda t: t.session,
            "no condition has 3 participants recorded in the same two or more sessions.",
        ),
        (
            "trials of one session",
            lambda t: t.trial,
            "no session has 3 participants with the same two or more trials.",
        ),
    )
    for design, column, reason in designs:
        several = [
            one
            for procedure in unique(t.procedure for t in good)
            for condition in unique(t.condition for t in good)
            for one in _designed(
                [t for t in good if (t.procedure, t.condition) == (procedure, condition)],
                design, column, options,
            )
        ]  # fmt: skip
        if not several:
            reasons[f"Reliability over {design}"] = reason
        found += several
    if any(item.instrument == BOTH for item in found):
        reasons[DETECTABLE] = NOT_DETECTABLE
    return tuple(found)


def _designed(
    trials: Sequence[TrialResult],
    design: str,
    column: Callable[[TrialResult], str] | None,
    options: Options,
) -> list[Reliability]:
    """Return the reliability of every quantity of one procedure and condition under a design."""
    if not trials:
        return []
    found = []
    for quantity in QUANTITIES:
        table = _instrument_means(trials, quantity)
        if column is None:
            scores = {BOTH: table.groupby("participant", sort=False)[["wearable", "reference"]]}
            wide = {BOTH: scores[BOTH].mean().dropna()}
        else:
            table["column"] = [column(trial) for trial in trials]
            if design == "trials of one session":
                first = table.groupby("participant", sort=False)["session"].transform("first")
                table = table[table["session"] == first]
            wide = {
                name: table.pivot_table(index="participant", columns="column", values=name,
                                        aggfunc="mean", sort=False).dropna()
                for name in ("wearable", "reference")
                if table[name].notna().any()
            }  # fmt: skip
        found += [
            _one_reliability(trials[0], quantity, design, instrument, scores, options)
            for instrument, scores in wide.items()
            if scores.shape[0] >= FEWEST_FOR_RELIABILITY and scores.shape[1] >= 2
        ]
    return found


def _instrument_means(trials: Sequence[TrialResult], quantity: str) -> pd.DataFrame:
    """Return one row a trial: the mean over its kept cycles by each instrument."""
    rows = []
    for trial in trials:
        cycles = trial.cycles
        if cycles is None:
            continue
        seen = cycles.reference_deg
        rows.append(
            (
                trial.participant,
                trial.session,
                float(cycle_quantity(cycles.wearable_deg[cycles.kept], quantity).mean()),
                float("nan")
                if seen is None
                else float(cycle_quantity(seen[cycles.kept], quantity).mean()),
            )
        )
    return pd.DataFrame(rows, columns=["participant", "session", "wearable", "reference"])


def _one_reliability(
    trial: TrialResult,
    quantity: str,
    design: str,
    instrument: str,
    scores: pd.DataFrame,
    options: Options,
) -> Reliability:
    """Return ICC, error of one instrument and, for two columns, concordance of one table."""
    values = scores.to_numpy(dtype=np.float64)
    again = instrument != BOTH
    two = values.shape[1] == 2 and np.ptp(values, axis=0).min() > 0
    return Reliability(
        procedure=trial.procedure,
        condition=trial.condition,
        quantity=quantity,
        design=design,
        instrument=instrument,
        columns=tuple(str(name) for name in scores.columns),
        intraclass=intraclass_correlations(values, confidence=options.confidence),
        error=measurement_error(values, confidence=options.confidence) if again else None,
        concordance=concordance(values[:, 0], values[:, 1], confidence=options.confidence)
        if two
        else None,
    )


def _adjusted(
    trials: Sequence[TrialResult],
    options: Options,
    reasons: dict[str, str],
) -> tuple[tuple[str, str, AdjustedRatio], ...]:
    """Return the wearable's SD under the conditions at equal speed and stride time."""
    name = "Conditions at equal covariates"
    good = [t for t in trials if t.status == "ok" and t.wearable_variability is not None]
    conditions = unique(t.condition for t in good)
    if len(conditions) < 2:
        reasons[name] = "one condition only."
        return ()
    base = base_condition(good, options)
    found: list[tuple[str, str, AdjustedRatio]] = []
    for procedure in unique(t.procedure for t in good):
        mine = [t for t in good if t.procedure == procedure]
        frame = _covariate_frame(mine)
        cycles = [t.wearable_variability for t in mine if t.wearable_variability is not None]
        for covariate in COVARIATES:
            known = int(frame[covariate].notna().sum())
            if known < len(frame):
                reasons[f"{name} ({covariate})"] = (
                    f"{known} of {len(frame)} trials have it; every trial must."
                    if known
                    else "no trial has it."
                )
                continue
            try:
                several = compare_conditions_adjusted(
                    frame,
                    against=base,
                    covariates=[covariate],
                    variability=cycles,
                    confidence=options.confidence,
                )
            except ValueError as error:
                reasons[f"{name} ({covariate})"] = str(error)
                continue
            found += [(procedure, "wearable_sd_deg", one) for one in several]
    return tuple(found)


def _covariate_frame(trials: Sequence[TrialResult]) -> pd.DataFrame:
    """Return one row a trial: whose it is, and the covariates, NaN where not known."""
    return pd.DataFrame(
        {
            "participant": [t.participant for t in trials],
            "condition": [t.condition for t in trials],
            "speed_m_s": [
                pd.to_numeric(t.covariates.get("speed_m_s"), errors="coerce") for t in trials
            ],
            "stride_time_s": [
                t.strides.duration_mean_s if t.strides is not None else np.nan for t in trials
            ],
        }
    )
