"""Several wearables or references: held together on their common cycles, and each other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace

from twinangle.agreement._result import counted
from twinangle.agreement.ranking import Contest, Standing
from twinangle.agreement.three_instruments import ThreeInstruments
from twinangle.report.blocks import (
    Block,
    Column,
    Figures,
    bullets,
    described,
    figure,
    heading,
    table,
    text,
    with_interval,
)
from twinangle.results import StudyResults
from twinangle.results.answer import answer_of
from twinangle.results.grouping import distinct, key_of
from twinangle.results.instruments import ErrorsOfThree, LimitsBetween, PairOfInstruments
from twinangle.results.pooled import Absent, Pooled
from twinangle.under_test import procedure_of, reference_of, under_test, wearable_of
from twinangle.wording import NOTHING, between, file_name, listing, number, quantity_name

NOT_ACCURACY = (
    "This is agreement between the two, not accuracy of either: what both have wrong alike does "
    "not show."
)


def several_wearables(results: StudyResults) -> bool:
    """Tell whether a contest is of several wearables, and so a matrix."""
    return len(distinct(wearable_of(trial.procedure) for trial in results.trials)) > 1


def matrix_blocks(
    results: StudyResults, ranked: Sequence[tuple[Pooled[Contest], Contest]]
) -> list[Block]:
    """Return contests of several wearables as one matrix, wearable by procedure; none of one."""
    if not several_wearables(results):
        return []
    wearables = distinct(wearable_of(trial.procedure) for trial in results.trials)
    names = distinct(procedure_of(trial.procedure) for trial in results.trials)
    rows = []
    for pooled, contest in ranked:
        reference = reference_of(pooled.procedure)
        places = {place.procedure: place for place in contest.standings}
        for wearable in wearables:
            found = [places.get(under_test(wearable, name, reference)) for name in names]
            rows.append(
                [
                    pooled.condition,
                    reference,
                    wearable,
                    *(_ranked(place, contest) for place in found),
                    str(contest.n_participants),
                ]
            )
    columns = ("Condition", "Reference", "Wearable", *names, "People")
    sure = any(contest.can_tell_apart() for _, contest in ranked)
    ranks = ", with its rank; equal ranks are ties" if sure else ""
    return described(
        "RMS of the demeaned mean curves over the cycles that every wearable keeps, "
        f"arithmetic mean over participants{ranks}.",
        tuple(map(Column, columns)),
        rows,
        words=3,
    )


def _ranked(place: Standing | None, contest: Contest) -> str:
    """Return a mean with its rank, which too few people do not give."""
    if place is None:
        return NOTHING
    if not contest.can_tell_apart():
        return f"{number(place.mean)}°"
    return f"{number(place.mean)}° (rank {place.rank}{', tie' if place.tied_with else ''})"


def common_cycles_blocks(results: StudyResults, condition: str, reference: str) -> list[Block]:
    """Return which cycles count for every wearable, and why the others do not."""
    own = {
        key_of(trial): trial.common
        for trial in results.trials
        if trial.common is not None
        and trial.condition == condition
        and reference_of(trial.procedure) == reference
    }
    if not own:
        return []
    kept = sum(common.n_cycles for common in own.values())
    left: Counter[str] = Counter()
    for common in own.values():
        for one in common.left_out:
            left[one.reason] += one.n_cycles
    said = f"Every wearable is cut at the same times: {counted(kept, 'cycle')} of "
    said += f"{counted(len(own), 'recording')} count for all of them"
    reasons = [f"{n} {reason}" for reason, n in sorted(left.items())]
    said += f"; left out: {listing(reasons)}." if reasons else "."
    without = [common.reason for common in own.values() if common.reason]
    return [text(" ".join([said, *distinct(without)]))]


def instruments_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return what two wearables, and two references, differ by, and what references explain.

    Of several procedures that of the answer, or the first of a wearable, and a figure each two
    wearables, of two references where there is one wearable alone;
    :func:`further_instruments_section` has the others.
    """
    main = _of_main_procedures(results)
    drawn = _main_figures(results)
    blocks = [
        *([text(NOT_ACCURACY)] if main.between else []),
        *_between_blocks(main, results),
        *(block for name in drawn for block in figure(name, figures)),
        *_errors_blocks(main),
    ]
    if further_instruments_section(results, figures):
        blocks.append(text("Other procedures and conditions are in the supplement."))
    return blocks


def further_instruments_section(results: StudyResults, figures: Figures) -> list[Block]:
    """Return what the report leaves out of instruments held against each other, with figures."""
    main, drawn = _of_main_procedures(results), _main_figures(results)
    others = replace(
        results,
        between=tuple(one for one in results.between if one not in main.between),
        errors_of_three=tuple(
            one for one in results.errors_of_three if one not in main.errors_of_three
        ),
    )
    return [
        *_between_blocks(others, results),
        *(
            block
            for name in figures
            if name.startswith("between") and name not in drawn
            for block in figure(name, figures)
        ),
        *_errors_blocks(others),
    ]


def _of_main_procedures(results: StudyResults) -> StudyResults:
    """Return the results with what two or three instruments say under the main procedures."""
    answer = procedure_of(answer_of(results).procedure)
    pairs: dict[tuple[str, ...], list[str]] = {}
    for one in results.between:
        pairs.setdefault((one.kind, one.first, one.second), []).append(one.procedure)
    wearables: dict[str, list[str]] = {}
    for three in results.errors_of_three:
        wearables.setdefault(three.wearable, []).append(three.procedure)

    def main(several: list[str]) -> str:
        return answer if answer in several else several[0]

    return replace(
        results,
        between=tuple(
            one
            for one in results.between
            if one.procedure == main(pairs[one.kind, one.first, one.second])
        ),
        errors_of_three=tuple(
            one for one in results.errors_of_three if one.procedure == main(wearables[one.wearable])
        ),
    )


def _main_figures(results: StudyResults) -> tuple[str, ...]:
    """Return the name of a figure each two instruments: of the first condition that has both."""
    found: dict[tuple[str, ...], str] = {}
    given_both = [
        one for one in _of_main_procedures(results).between if not isinstance(one.value, Absent)
    ]
    wearables = any(one.kind == "wearables" for one in given_both)
    for one in given_both:
        if one.kind == "wearables" or not wearables:
            parts = filter(None, (one.procedure, one.condition))
            name = file_name("between", one.first, one.second, *parts)
            found.setdefault((one.kind, one.first, one.second), name)
    return tuple(found.values())


def pairs_section(results: StudyResults) -> list[Block]:
    """Return each recording of two wearables or references, one a row."""
    rows = [
        [
            pair.label,
            _named(pair),
            number(pair.lag, 4),
            str(pair.n_cycles),
            with_interval(pair.offset, pair.offset_ci),
            with_interval(pair.rms_demeaned, pair.rms_demeaned_ci),
            number(pair.correlation, 3),
        ]
        for pair in results.pairs
        if not pair.reason
    ]
    lacking = [pair for pair in results.pairs if pair.reason]
    failed = [f"{pair.label}, {_named(pair)}: {pair.reason}" for pair in lacking]
    blocks = [
        table(
            ("Recording", "Pair", "Lag s", "Cycles", "Offset", "RMS", "r"),
            rows,
            words=2,
            caption="First minus second, in degrees; lag: what is added to the second's clock to "
            "land on the first's. Agreement between the two, not accuracy of either.",
        )
    ]
    blocks = blocks if rows else []
    return [*blocks, heading("Not compared"), bullets(failed)] if failed else blocks


def instruments_paragraph(results: StudyResults) -> str:
    """Say how several wearables and references were held together, for the methods text."""
    said = []
    if any(trial.common is not None for trial in results.trials):
        said.append(
            "Several wearables were ranked on the same cycles: a cycle counted where every "
            "wearable kept it, the starts no more than a quarter of its duration apart on the "
            "reference's clock (own rule), and all were cut at the same times of that clock."
        )
    if any(pair.kind == "wearables" for pair in results.pairs):
        said.append(
            "Two wearables were compared with each other as two instruments of equal standing "
            "(first minus second), their clocks related through the reference's where there was "
            "one, else by their angles."
        )
    if any(not isinstance(one.value, Absent) for one in results.errors_of_three):
        said.append(
            "The error of a wearable and of each of two references was estimated from the "
            "variances of their three differences (Grubbs 1948), on the assumption that the errors "
            "are unrelated, with intervals by the jackknife over participants."
        )
    return " ".join(said)


def _named(one: PairOfInstruments | LimitsBetween) -> str:
    pair = f"{one.first} − {one.second}"
    return f"{pair}, {one.procedure}" if one.procedure else pair


def _between_blocks(results: StudyResults, whole: StudyResults) -> list[Block]:
    """Return what two wearables, and then two references, differ by, in one table."""
    several = sorted(results.between, key=lambda one: one.kind != "wearables")
    if not several:
        return []
    rows, reasons = [], []
    for one in several:
        if isinstance(one.value, Absent):
            reasons.append(f"{one.condition}, {_named(one)}: {one.value.reason}")
            continue
        found = one.value
        rows.append(
            [
                one.condition or NOTHING,
                _named(one),
                quantity_name(one.quantity),
                with_interval(found.bias, found.bias_ci),
                with_interval(found.lower, found.lower_ci),
                with_interval(found.upper, found.upper_ci),
                str(found.n_participants),
                str(found.n_observations),
            ]
        )
    pairs = distinct(f"{one.first} and {one.second}" for one in several)
    blocks = [heading(f"Agreement between {', between '.join(pairs)}")]
    if rows:
        head = ("Condition", "Pair", "Quantity", "Difference", "Lower limit", "Upper limit",
                "People", "Cycles")  # fmt: skip
        caption = "First minus second, in degrees, with intervals as of the limits of agreement."
        blocks.append(table(head, rows, words=3, caption=caption))
        told = {_named(one) for one in several}
        kept = [said for name, said in _cycles_of_both(whole) if name in told]
        blocks += [text(" ".join(kept))] if kept else []
    return [*blocks, *([bullets(distinct(reasons))] if reasons else [])]


def _cycles_of_both(results: StudyResults) -> Iterator[tuple[str, str]]:
    """Yield for each two, by name, how many cycles both keep, and why the others do not count."""
    found = [one for one in results.pairs if not one.reason]
    for name in distinct(_named(one) for one in found):
        own = [one for one in found if _named(one) == name]
        left: Counter[str] = Counter()
        for pair in own:
            for one in pair.left_out:
                left[one.reason] += one.n_cycles
        said = f"{name}: both keep {counted(sum(pair.n_cycles for pair in own), 'cycle')} of "
        said += counted(len(own), "recording")
        reasons = [f"{n} {reason}" for reason, n in sorted(left.items())]
        yield name, f"{said}; left out: {listing(reasons)}." if reasons else f"{said}."


def _errors_blocks(results: StudyResults) -> list[Block]:
    if not results.errors_of_three:
        return []
    rows, notes = [], list[str]()
    both = distinct(f"{one.first}, {one.second}" for one in results.errors_of_three)
    shared = both[0] if len(both) == 1 else ""
    absent: dict[tuple[str, str], list[str]] = {}
    for one in results.errors_of_three:
        if isinstance(one.value, Absent):
            absent.setdefault((one.condition, one.value.reason), []).append(_three(one, bare=True))
            continue
        rows += [_error_row(one, one.value, shared=shared)]
        name = under_test(one.wearable, one.procedure)
        notes += [
            line.replace(f"an error of {name}", "an error of the wearable")
            for line in one.value.assumptions
        ]
    reasons = [
        f"{condition or 'All recordings'}, {'; '.join(distinct(names))}: {reason}"
        for (condition, reason), names in absent.items()
    ]
    head = ("What", "Quantity", "Wearable", "First ref.", "Second ref.", "Share 1", "Share 2")
    caption = (
        "SD of each instrument's own error in degrees, estimated from the variances of the three "
        "differences (Grubbs 1948; a dash: variance estimated below 0), and what share of the "
        "variance of wearable minus reference is the reference's own error, in per cent."
    )
    caption += f" First and second reference: {shared}." if shared else ""
    blocks = [heading("What the references explain")]
    blocks += [table(head, rows, words=2, caption=caption)] if rows else []
    said = [*reasons, *distinct(notes)]
    return [*blocks, bullets(said)] if said else blocks


def _error_row(one: ErrorsOfThree, found: ThreeInstruments, *, shared: str) -> list[str]:
    shares = (
        (found.share_second, found.share_second_ci),
        (found.share_third, found.share_third_ci),
    )
    return [
        _three(one).removesuffix(f", {shared}"),
        quantity_name(one.quantity),
        *(number(each.sd) for each in found.errors),
        *(_percent(share, ends) for share, ends in shares),
    ]


def _percent(share: float, ends: tuple[float, float]) -> str:
    inner = between((100 * ends[0], 100 * ends[1]), 0)
    shown = number(100 * share, 0)
    return shown if inner == NOTHING else f"{shown} ({inner})".replace(" ", "\u00a0")


def _three(one: ErrorsOfThree, *, bare: bool = False) -> str:
    name = under_test(one.wearable, one.procedure)
    condition = "" if bare else one.condition
    return ", ".join(filter(None, (condition, name, f"{one.first}, {one.second}")))
