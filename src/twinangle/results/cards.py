"""What trials, topics and a whole study show of themselves in a notebook."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from twinangle.agreement._result import Result
from twinangle.card import Card, Shown
from twinangle.results.answer import answer_of, n_analysed_by_any
from twinangle.results.answer_words import answer_sentences, rests_on
from twinangle.results.failures import failed_by_wearable, failure_lines
from twinangle.results.grouping import procedures, warnings_of
from twinangle.results.limits import StudyLimits
from twinangle.results.notices import gravest, grouped_notices, warning_line
from twinangle.results.pair_words import pair_sentences
from twinangle.results.pooled import Absent, Pooled, named
from twinangle.sketch import REFERENCE, WEARABLE, sketch_curves, sketch_limits
from twinangle.wording import between, count, degrees, listing, quantity_name

if TYPE_CHECKING:
    from twinangle.results.model import StudyResults
    from twinangle.results.trial_result import TrialResult

MOST_FAILED = 6  # written out in a study's answer
WHERE_FRAMES = "`.frames` holds the tables, `.to_frame()` a row a trial, `.to_json()` everything."


def card_of_study(results: StudyResults) -> Card:
    """Return the answer, the limits of every quantity, and where the tables are."""
    answer = answer_of(results)
    title = (
        f"StudyResults “{results.title}”: {count(answer.n_recordings, 'recording')}, "
        f"{n_analysed_by_any(results)} analysed, by {listing(procedures(results))}"
    )
    limits = [(key, found.limits) for key, found in named(results.limits)]
    rows = tuple(
        (
            procedure, condition, quantity_name(quantity), degrees(one.bias),
            f"{between((one.lower, one.upper))}°",
        )
        for (procedure, condition, quantity), one in limits
    )  # fmt: skip
    drawn = [
        (quantity_name(key[2]), one.lower, one.bias, one.upper)
        for key, one in limits
        if key[:2] == (answer.procedure, answer.condition)
    ]
    return Card(
        title,
        (
            *answer_sentences(results),
            *pair_sentences(results),
            rests_on(results),
            *_troubles(results),
            WHERE_FRAMES,
        ),
        ("procedure", "condition", "quantity", "bias", "limits of agreement"),
        rows,
        sketch_limits(drawn, f"Bias and limits of agreement of {answer.procedure}, in degrees"),
        results.notes,
        "Notes",
    )


def _troubles(results: StudyResults) -> tuple[str, ...]:
    """Return what failed and the gravest warnings, each a line, as a terminal prints them."""
    failed, rows = failure_lines(results), grouped_notices(results)
    first = gravest(rows)
    warnings = tuple(warning_line(row, results) for row in first)
    more = (
        (len(failed) - MOST_FAILED, "further failure", "further failures"),
        (
            sum(row.gravity != "note" for row in rows) - len(first),
            "further kind of warning",
            "further kinds of warnings",
        ),
    )
    left = listing(count(n, one, several) for n, one, several in more if n > 0)
    where = (f"{left} under `.trials`, by `reason` and `warnings`.",) if left else ()
    counted = filter(None, (failed_by_wearable(results),))
    return (*counted, *failed[:MOST_FAILED], *warnings, *where)


def card_of_trial(trial: TrialResult) -> Card:
    """Return a trial's state, its main numbers, its mean curves and its warnings."""
    title = f"TrialResult {trial.label}, {trial.procedure}: {trial.status}"
    if trial.status not in ("ok", "pooled"):
        return Card(title, (trial.reason,))
    warnings = warnings_of(trial)
    said = [trial.reason] if trial.reason else []
    if trial.agreement is not None:
        said.append(trial.agreement.summary("°"))
    elif trial.wearable_variability is not None:
        said.append(trial.wearable_variability.summary("°"))
    if warnings:
        said.append(f"{count(len(warnings), 'warning')}, under `.warnings`.")
    return Card(
        title, tuple(said), ("", ""), tuple(_numbers(trial)), _curves(trial), warnings, "Warnings"
    )


def _numbers(trial: TrialResult) -> list[tuple[str, str]]:
    rows = []
    if trial.cycles is not None:
        kept, found = int(trial.cycles.kept.sum()), trial.cycles.kept.size
        rows.append(("cycles kept", f"{kept} of {found}"))
    if trial.synchronisation is not None:
        clock = trial.synchronisation
        rows.append(("lag", f"{clock.lag_s:.4f} s, drift {clock.drift_ppm:.0f} ppm"))
    sds = (("wearable", trial.wearable_variability), ("reference", trial.reference_variability))
    rows += [(f"SD over cycles, {name}", degrees(one.sd)) for name, one in sds if one is not None]
    return rows


def _curves(trial: TrialResult) -> str:
    """Return both instruments' mean curves over the kept cycles."""
    if trial.cycles is None or not trial.cycles.kept.any():
        return ""
    kept, seen = trial.cycles.kept, trial.cycles.reference_deg
    curves = [("wearable", np.asarray(trial.cycles.wearable_deg[kept].mean(axis=0)), WEARABLE)]
    if seen is not None:
        curves.append(("reference", np.asarray(seen[kept].mean(axis=0)), REFERENCE))
    return sketch_curves(curves, f"Mean angle over the cycle, {trial.label}")


def card_of_pooled(pooled: Pooled[Any]) -> Card:
    """Return one topic's value under its procedure, condition and quantity."""
    names = (pooled.procedure, pooled.condition, pooled.quantity)
    title = ", ".join(filter(None, names)) or "all together"
    value = pooled.value
    if isinstance(value, Absent):
        return Card(title, (f"Not given: {value.reason}",))
    if not isinstance(value, Shown):
        return Card(title, (str(value),))
    own = value._card()
    said = own.sentences
    if isinstance(value, Result) and not pooled.quantity:
        said = (value.summary("°"),)  # curves and SDs are angles; other topics say their own unit
    return Card(f"{title}: {own.title}", said, own.head, own.rows, own.sketch, own.behind)


def card_of_limits(found: StudyLimits) -> Card:
    """Return the limits of agreement in degrees."""
    own = found.limits._card()
    said = (found.limits.summary("°"),)
    return Card("StudyLimits", said, own.head, own.rows, own.sketch, own.behind)
