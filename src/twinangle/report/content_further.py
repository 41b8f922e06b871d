"""Pages of the parts that only some designs support, each explained before its numbers."""

from __future__ import annotations

import math

from twinangle.agreement.forms import RatioLimits
from twinangle.agreement.mixed import MixedModelLimits
from twinangle.agreement.percentiles import PercentileLimits
from twinangle.options import Options
from twinangle.report.blocks import Block, bullets, heading, table, text, with_interval
from twinangle.report.content_lines import absent_lines, at_sizes_blocks, deming_blocks
from twinangle.report.form_words import NAMED, grouped, names, where, with_open_interval
from twinangle.report.grouping import distinct
from twinangle.report.wording import NOTHING, number, span
from twinangle.results import (
    Absent,
    LimitForms,
    Pooled,
    Reliability,
    StudyResults,
    absences,
    given,
    named,
)

_COVARIATES = {"speed_m_s": "walking speed", "stride_time_s": "stride time"}
_DESIGNS = {
    "both instruments": "Between the two instruments",
    "sessions": "Test and retest: between sessions",
    "trials of one session": "Between the trials of one session",
}
_ThreeNumbers = MixedModelLimits | PercentileLimits | RatioLimits
_SHOWN_FORMS = ("ICC(2,1)", "ICC(3,1)")  # all six are in tables/reliability.csv


def curves_table(results: StudyResults) -> list[Block]:
    """Return the numbers of mean curves over participants, with their intervals."""
    rows = [
        [
            condition or NOTHING,
            procedure,
            str(curves.n_participants),
            with_interval(curves.offset, curves.offset_ci),
            with_interval(curves.rms_demeaned, curves.rms_demeaned_ci),
            with_interval(curves.range_difference, curves.range_difference_ci),
            with_interval(curves.correlation, curves.correlation_ci, 4),
        ]
        for (procedure, condition, _), curves in named(results.curves)
    ]
    if not rows:
        return []
    return [
        table(
            ("Condition", "Procedure", "People", "Offset", "RMS demeaned", "Range difference", "r"),
            rows,
            words=2,
            caption="Mean curves, means over participants with "
            f"{results.options.level} intervals over participants (no interval with one), "
            "in degrees. RMS of the demeaned curves: arithmetic mean; r: correlation, on Fisher's "
            "scale, no measure of agreement.",
        )
    ]


def variability_table(results: StudyResults) -> list[Block]:
    """Return the per-cycle SDs of both instruments over participants, with their intervals."""
    rows = [
        [
            condition or NOTHING,
            procedure,
            with_interval(found.test_sd, found.test_sd_ci),
            with_interval(found.reference_sd, found.reference_sd_ci),
            with_interval(found.difference, found.difference_ci),
            with_interval(found.ratio, found.ratio_ci),
            with_interval(found.added_sd, found.added_sd_ci),
        ]
        for (procedure, condition, _), found in named(results.variability)
    ]
    if not rows:
        return []
    return [
        table(
            ("Condition", "Procedure", "SD wearable", "SD reference", "Difference", "Ratio",
             "SD added"),
            rows,
            words=2,
            caption="SD over cycles where there is a reference, means over participants with "
            f"{results.options.level} intervals over participants, paired; in degrees. SD added: "
            "what the wearable adds, "
            "√(w² − r²), a dash where it varies less than the reference.",
        )
    ]  # fmt: skip


def forms_blocks(results: StudyResults) -> list[Block]:
    """Return what the checks of the differences showed, and the limits in other forms."""
    forms = given(results.forms)
    if not forms:
        absent = distinct(
            f"Further forms of the limits are not given: {each.reason}"
            for _, each in absences(results.forms)
        )
        return [bullets(absent)] if absent else []
    return [
        heading("What the limits take for granted, looked at"),
        text(
            "The limits above lie at the same distance from the bias whatever the size of the "
            "angle, and suit differences whose distribution is symmetric. Here is how far that "
            "holds. Nothing is decided by a test: with few participants an interval that holds 0 "
            "is no proof that there is no trend."
        ),
        _checks_table(forms, results.options),
        bullets(grouped((where(item), found.checks.suggestion) for item, found in forms)),
        heading("Limits in other forms"),
        text(
            "The same differences seen by forms that take less, or something else, for granted. "
            "They stand beside the limits above, which remain the main ones: choose by what the "
            "checks show and by what was planned. Percentile limits take no distribution for "
            "granted, but with few participants the outer end of an interval is open."
        ),
        _forms_table(forms, results.options),
        *_regression_table(forms, results.options),
        bullets(
            [
                *grouped(
                    (where(item), f"No limits {words}: {form.reason}")
                    for item, found in forms
                    for form, words in (
                        (found.regression, "by regression"),
                        (found.ratio, "of the ratio"),
                        (found.mixed, "by a mixed model"),
                    )
                    if isinstance(form, Absent)
                ),
                *absent_lines(results),
            ]
        ),
        *at_sizes_blocks(forms, results.options),
        *deming_blocks(forms, results.options),
    ]


def _checks_table(forms: list[tuple[Pooled[LimitForms], LimitForms]], options: Options) -> Block:
    rows = [
        [
            *names(item),
            with_interval(found.checks.trend, found.checks.trend_ci),
            with_interval(found.checks.spread_trend, found.checks.spread_trend_ci),
            number(found.checks.skewness),
            number(found.checks.normality_p, 3),
            number(found.checks.serial_correlation),
        ]
        for item, found in forms
    ]
    return table(
        (*NAMED, "Bias on size", "SD on size", "Skewness", "Normal, p", "Serial r"),
        rows,
        words=3,
        caption="Slopes, over participants, of the difference and of its SD on the size (mean of "
        f"both instruments), with {options.level} intervals; skewness of the participants' "
        "mean differences, and Shapiro-Wilk p of them by their own errors; correlation of "
        "neighbouring cycles.",
    )


def _forms_table(forms: list[tuple[Pooled[LimitForms], LimitForms]], options: Options) -> Block:
    rows = []
    for item, several in forms:
        # The first of the three numbers goes by another name in each form.
        centres: list[tuple[str, _ThreeNumbers, float, tuple[float, float]]] = []
        if not isinstance(percentile := several.percentile, Absent):
            centres.append(("percentiles", percentile, percentile.median, percentile.median_ci))
        if not isinstance(ratio := several.ratio, Absent):
            centres.append(("ratio", ratio, ratio.ratio, ratio.ratio_ci))
        if not isinstance(mixed := several.mixed, Absent):
            centres.append(("mixed model", mixed, mixed.bias, mixed.bias_ci))
        rows += [
            [
                *names(item),
                form,
                with_open_interval(centre, centre_ci),
                with_open_interval(found.lower, found.lower_ci),
                with_open_interval(found.upper, found.upper_ci),
            ]
            for form, found, centre, centre_ci in centres
        ]
    return table(
        (*NAMED, "Form", "Centre", "Lower limit", "Upper limit"),
        rows,
        words=4,
        caption="Centre: median of the differences (percentiles), geometric mean of wearable over "
        "reference (ratio, no unit), bias (mixed model of participants with sessions, trials and "
        f"sides nested in them). Degrees but for the ratio; {options.level} intervals in brackets, "
        "“from” or “to” where one end is open.",
    )


def _regression_table(
    forms: list[tuple[Pooled[LimitForms], LimitForms]], options: Options
) -> list[Block]:
    rows = [
        [
            *names(item),
            with_interval(found.intercept, found.intercept_ci),
            with_interval(found.slope, found.slope_ci),
            number(found.residual_sd),
            with_interval(found.spread_slope, found.spread_slope_ci),
        ]
        for item, several in forms
        if not isinstance(found := several.regression, Absent)
    ]
    if not rows:
        return []
    return [
        table(
            (*NAMED, "Intercept", "Slope", "SD about it", "SD on size"),
            rows,
            words=3,
            caption="Limits by regression, over participants' means: the bias at a size is "
            "intercept + slope × size, the limits lie 1.96 SD from it; the last column is the "
            f"slope of that SD. {options.level} intervals in brackets.",
        )
    ]


def reliability_section(results: StudyResults) -> list[Block]:
    """Return intraclass correlations, measurement error, concordance, multiple correlation."""
    parts = given(results.reliability)
    blocks: list[Block] = []
    for design in distinct(found.design for _, found in parts):
        several = [each for each in parts if each[1].design == design]
        blocks += [
            heading(_DESIGNS.get(design, design)),
            *_reliability_tables(several, results.options),
        ]
    blocks += _multiple_correlation(results)
    if not any(trial.status == "ok" for trial in results.trials):
        return []
    lead = text(
        "Reliability says how well participants can be told apart, or how well a number repeats. "
        "It is not agreement: it grows with how much the participants differ, whatever the error. "
        "Values are means over each recording's kept cycles."
    )
    forms = {one.form: one.full_name for _, found in parts for one in found.intraclass}
    said = [f"{form}: {forms[form]}." for form in _SHOWN_FORMS if form in forms]
    said += distinct(
        line
        for _, found in parts
        if not isinstance(found.error, Absent)
        for line in found.error.assumptions
    )
    absent = distinct(
        [
            *(
                f"Reliability over {each.part} is not given: {each.reason}"
                for _, each in absences(results.reliability)
            ),
            *(
                f"Detectable change between the instruments is not given: {found.error.reason}"
                for _, found in parts
                if isinstance(found.error, Absent)
            ),
        ]
    )
    notes = [*said, *absent]
    if parts:
        notes.append("All six forms of the intraclass correlation are in tables/reliability.csv.")
    if not (blocks or notes):
        return []
    return [lead, *blocks, bullets(notes)] if notes else [lead, *blocks]


def _reliability_tables(
    parts: list[tuple[Pooled[Reliability], Reliability]], options: Options
) -> list[Block]:
    icc = [
        [
            *names(item),
            both.instrument,
            f"{both.intraclass[0].n_participants} × {both.intraclass[0].n_measurements}",
            *(
                with_interval(one.value, one.value_ci)
                for one in both.intraclass
                if one.form in _SHOWN_FORMS
            ),
            NOTHING
            if both.concordance is None
            else with_interval(both.concordance.value, both.concordance.value_ci),
        ]
        for item, both in parts
    ]
    error = [
        [
            *names(item),
            both.instrument,
            with_interval(found.sem, found.sem_ci),
            number(found.sem_agreement),
            with_interval(found.mdc, found.mdc_ci),
        ]
        for item, both in parts
        if not isinstance(found := both.error, Absent)
    ]
    columns = distinct(", ".join(both.columns) for _, both in parts)
    correlations = table(
        (*NAMED, "Values of", "Size", *_SHOWN_FORMS, "Lin's concordance"),
        icc,
        words=4,
        caption=f"Intraclass and concordance correlations; columns compared: "
        f"{'; '.join(columns)}. Size: people × columns; {options.level} intervals in brackets.",
    )
    if not error:
        return [correlations]
    return [
        correlations,
        table(
            (*NAMED, "Values of", "SEM", "SEM with shift", "Detectable change"),
            error,
            words=4,
            caption="Standard error of measurement without and with the shift between the columns, "
            f"and the smallest change that is one with {options.level} confidence, of one "
            f"instrument measured again; degrees, {options.level} intervals in brackets.",
        ),
    ]


def _multiple_correlation(results: StudyResults) -> list[Block]:
    """Return the coefficient of multiple correlation, as a range over recordings."""
    kinds = {
        "instruments_within_cycles": "wearable and reference, within each cycle",
        "wearable_between_cycles": "wearable, between cycles",
        "reference_between_cycles": "reference, between cycles",
    }
    rows = []
    worked = [t for t in results.trials if t.status == "ok"]
    groups = dict.fromkeys((t.condition, t.procedure) for t in worked)
    for condition, procedure in groups:
        found = [
            t.multiple_correlation
            for t in worked
            if (t.condition, t.procedure) == (condition, procedure)
        ]
        for key, words in kinds.items():
            values = [one[key] for one in found if one.get(key) is not None]
            if values:
                undefined = sum(not math.isfinite(value) for value in values)
                rows.append(
                    [condition or NOTHING, procedure, words, str(len(values)), span(values, 3),
                     str(undefined)]
                )  # fmt: skip
    if not rows:
        return []
    return [
        heading("Coefficient of multiple correlation"),
        text(
            "Asked for by some journals; no measure of agreement. It grows with the range of the "
            "movement whatever the error, mixes offset, size, timing and noise, and does not exist "
            "where its square is negative. It has no interval that is known to hold."
        ),
        table(
            ("Condition", "Procedure", "Between", "Recordings", "Coefficient", "Undefined"),
            rows,
            words=3,
            caption="Smallest to largest value over recordings.",
        ),
    ]


def adjusted_blocks(results: StudyResults) -> list[Block]:
    """Return the comparison of conditions at equal covariates."""
    found = named(results.conditions_adjusted)
    absent = distinct(
        f"Conditions at equal covariates{f' ({each.part})' if each.part else ''}: {each.reason}"
        for _, each in absences(results.conditions_adjusted)
    )
    if not found:
        return [heading("At equal speed and stride time"), bullets(absent)] if absent else []
    rows = [
        [
            procedure,
            f"{ratio.condition} / {ratio.against}",
            _COVARIATES.get(ratio.covariates, ratio.covariates),
            f"{ratio.n_participants} / {ratio.n_trials}",
            with_interval(ratio.ratio, ratio.ratio_ci),
            number(100 * ratio.shared, 0),
        ]
        for (procedure, *_), ratio in found
    ]
    said = [line for _, ratio in found for line in (*ratio.notes, *ratio.assumptions)]
    return [
        heading("At equal speed and stride time"),
        text(
            "People walk faster or slower in one place than in another, and the variability "
            "between cycles changes with it. A mixed model of the logarithm of the wearable's SD, "
            "with participants as random effect, gives the ratio that is left at equal speed, or "
            "at equal stride time."
        ),
        table(
            ("Procedure", "Conditions", "Held equal", "People / trials", "Ratio of SDs",
             "Shared, %"),
            rows,
            words=3,
            caption="Ratio of the wearable's SDs over cycles, "
            f"{results.options.level} interval in brackets. Shared: how much of the change of "
            "condition the covariate goes along with; near 100 the two "
            "cannot be told apart.",
        ),
        bullets([*distinct(said), *absent]),
    ]  # fmt: skip
