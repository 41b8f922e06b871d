"""Limits in other forms, and the checks of what the limits take for granted."""

from __future__ import annotations

import math

from twinangle.agreement.forms import FEWEST_FOR_A_LINE_OF_SPREAD, RatioLimits
from twinangle.agreement.mixed import MixedModelLimits
from twinangle.agreement.percentiles import PercentileLimits
from twinangle.options import Options
from twinangle.report.blocks import (
    NAMED,
    Block,
    bullets,
    grouped,
    heading,
    named_cells,
    named_in_words,
    table,
    text,
    with_interval,
    with_open_interval,
)
from twinangle.report.deming import absent_lines, deming_blocks
from twinangle.results import Absent, LimitForms, Pooled, StudyResults, absences, given
from twinangle.results.grouping import distinct
from twinangle.wording import listing, number

TOO_FEW = (
    f"Limits as lines on the size are not printed below {FEWEST_FOR_A_LINE_OF_SPREAD} "
    "participants, of whom they would say little; they are in results.json."
)
_ThreeNumbers = MixedModelLimits | PercentileLimits | RatioLimits


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
        bullets(grouped((named_in_words(item), found.checks.suggestion) for item, found in forms)),
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
                    (named_in_words(item), f"No limits {words}: {form.reason}")
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
            *named_cells(item),
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
                *named_cells(item),
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
        "sides nested in them: the model weights participants by how much they were measured, so "
        "that it is not quite the bias above). Degrees but for the ratio; "
        f"{options.level} intervals in brackets, “from” or “to” where one end is open.",
    )


def _enough(forms: list[tuple[Pooled[LimitForms], LimitForms]]) -> bool:
    """Return whether so many participants are behind lines on the size that they say something."""
    people = [
        found.regression.n_participants
        for _, found in forms
        if not isinstance(found.regression, Absent)
    ]
    return max(people, default=0) >= FEWEST_FOR_A_LINE_OF_SPREAD


def _regression_table(
    forms: list[tuple[Pooled[LimitForms], LimitForms]], options: Options
) -> list[Block]:
    if not _enough(forms):
        return [text(TOO_FEW)]
    rows = [
        [
            *named_cells(item),
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


def at_sizes_blocks(
    forms: list[tuple[Pooled[LimitForms], LimitForms]], options: Options
) -> list[Block]:
    """Return bias and limits, with intervals, at the sizes of three participants."""
    if not _enough(forms):
        return []
    rows = [
        [
            *named_cells(item),
            number(one.size),
            with_interval(one.bias, one.bias_ci),
            with_open_interval(one.lower, one.lower_ci),
            with_open_interval(one.upper, one.upper_ci),
        ]
        for item, found in forms
        for one in found.at_sizes
    ]
    if not rows:
        return []
    people = distinct(
        "one SD about the line at every size, as fewer than "
        f"{FEWEST_FOR_A_LINE_OF_SPREAD} participants cannot show how it changes; if it does "
        "change, the coverage of these intervals is lowest at the ends"
        if one.constant_spread
        else "an SD that follows the size along a line of its own"
        for item, found in forms
        for one in found.at_sizes
    )
    is_open = any(
        not math.isfinite(one.upper_ci[1]) for _, found in forms for one in found.at_sizes
    )
    opened = (
        " “From” or “to”: one end is open, as these people do not show how far the spread "
        "reaches there."
        if is_open
        else ""
    )
    return [
        heading("Limits at the smallest, middle and largest size"),
        table(
            (*NAMED, "Size", "Bias", "Lower limit", "Upper limit"),
            rows,
            words=3,
            caption="From the regression above, at the smallest, the median and the largest mean "
            "of a participant (both instruments averaged), in degrees. "
            f"{options.level} intervals over participants, each for one size alone; with "
            f"{'; or '.join(people)}.{opened}",
        ),
    ]


_FORMS = {
    "regression": "lines on the size of the measurement (Bland & Altman 1999)",
    "ratio": "ratios of the instruments",
    "percentile": "percentiles",
    "mixed": "a mixed model of participants and cycles",
    "deming": "Deming's line between the instruments",
}


def forms_paragraph(results: StudyResults) -> str:
    """Say in which other forms limits are given, and what was checked."""
    found = [forms for _, forms in given(results.forms)]
    if not found:
        return ""
    shown = [
        words
        for name, words in _FORMS.items()
        if any(not isinstance(getattr(forms, name), Absent) for forms in found)
    ]
    text = (
        "What limits of agreement take for granted was looked at: slope of the differences and of "
        "their spread on the size of the measurement, skewness and kurtosis of participants' mean "
        "differences, and serial correlation of the cycles; no form was chosen by a test."
    )
    return f"{text} Limits are also given as {listing(shown)}." if shown else text
