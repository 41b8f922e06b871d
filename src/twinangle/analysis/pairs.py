"""Two wearables, or two references, held against each other in one recording."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from twinangle.agreement.curves import compare_curves
from twinangle.analysis.clock_between import clock_between
from twinangle.analysis.common_cycles import (
    Seen,
    curves_between,
    reasons_of,
    tally,
    too_few_common,
    with_gaps,
)
from twinangle.clocks import align
from twinangle.cycles.enough import LEAST_CYCLES
from twinangle.errors import TwinangleError
from twinangle.options import Options
from twinangle.results import TrialResult
from twinangle.results.instruments import PairOfInstruments, Triple
from twinangle.signals.recording import Array, CycleSet, PairedAngles
from twinangle.under_test import procedure_of


def wearables_apart(seen: Sequence[Seen]) -> tuple[PairOfInstruments, ...]:
    """Return what each two wearables differ by, under the procedures that both have."""
    first_reference = seen[0].part.reference
    several = [one for one in seen if one.part.reference == first_reference]
    return tuple(
        _two_wearables(first, second, *names)
        for first, second in combinations(several, 2)
        for names in _procedures_of(first, second)
    )


def _procedures_of(first: Seen, second: Seen) -> list[tuple[str, str]]:
    """Return the procedures to hold together: those that both have, else the first of each."""
    names = [[procedure_of(r.procedure) for r in one.results] for one in (first, second)]
    shared = [(name, name) for name in names[0] if name in names[1]]
    return shared or [(names[0][0], names[1][0])]


def _two_wearables(first: Seen, second: Seen, name: str, other: str) -> PairOfInstruments:
    one = next(r for r in first.results if procedure_of(r.procedure) == name)
    two = next(r for r in second.results if procedure_of(r.procedure) == other)
    procedure = name if name == other else f"{name} and {other}"
    blank = _blank("wearables", first.part.wearable, second.part.wearable, procedure, one)
    for result, of in ((one, first), (two, second)):
        if result.status != "ok" or result.paired is None or result.cycles is None:
            return replace(blank, reason=f"{of.part.wearable}: {result.reason or result.status}")
    assert one.paired is not None
    assert two.paired is not None
    try:
        worn = first.worn(one), second.worn(two)
        clock = clock_between(*worn)
        paired = align(worn[0].angle, worn[1].angle, clock)
    except TwinangleError as error:
        return replace(blank, reason=str(error))
    assert one.cycles is not None
    assert two.cycles is not None
    blank = replace(blank, clock=clock.method, lag=clock.lag_s, drift=clock.drift_ppm)
    starts = clock.to_wearable(two.cycles.start_s)
    several = [
        (first.part.wearable, one.cycles.start_s, one.cycles.reason),
        (second.part.wearable, starts, two.cycles.reason),
    ]
    methods = (one.cycles.method, two.cycles.method)
    return _compared(blank, one.cycles, several, paired, first.part.study.options, methods)


def _blank(
    kind: str, first: str, second: str, procedure: str, of: TrialResult
) -> PairOfInstruments:
    names = ("participant", "session", "condition", "trial", "side")
    return PairOfInstruments(
        kind, first, second, procedure, **{name: getattr(of, name) for name in names}
    )


def _compared(
    blank: PairOfInstruments,
    cycles: CycleSet,
    several: Sequence[tuple[str, Array, Sequence[str]]],
    paired: PairedAngles,
    options: Options,
    methods: Sequence[str] = (),
) -> PairOfInstruments:
    """Return two instruments compared on the cycles that both keep."""
    first, second = curves_between(cycles.start_s, cycles.end_s, paired)
    reasons = with_gaps(reasons_of((cycles.start_s, cycles.end_s), several), first, second)
    kept = np.array([not reason for reason in reasons], dtype=bool)
    found = replace(blank, n_cycles=int(kept.sum()), left_out=tally(reasons))
    if found.n_cycles < LEAST_CYCLES:
        return replace(found, reason=too_few_common(found.n_cycles, found.left_out, methods))
    curves = compare_curves(first[kept], second[kept], confidence=options.confidence)
    return replace(
        found,
        offset=curves.offset,
        offset_ci=curves.offset_ci,
        rms_demeaned=curves.rms_demeaned,
        rms_demeaned_ci=curves.rms_demeaned_ci,
        range_difference=curves.range_difference,
        correlation=curves.correlation,
        first_curves=first[kept],
        second_curves=second[kept],
    )


# Two references, on the cycles of a wearable


def references_apart(seen: Sequence[Seen]) -> tuple[PairOfInstruments, ...]:
    """Return what each two references differ by, on the cycles of the first wearable that can."""
    by_pair: dict[tuple[str, str], list[PairOfInstruments]] = {}
    for one, two, _, of, other in _reference_pairs(seen):
        names = (one.part.reference, two.part.reference)
        by_pair.setdefault(names, []).append(_two_references(one, two, of, other))
    return tuple(
        next((pair for pair in several if not pair.reason), several[0])
        for several in by_pair.values()
    )


def triples_of(seen: Sequence[Seen]) -> tuple[Triple, ...]:
    """Return each wearable and procedure with each two references, on one clock and its cycles."""
    found = []
    for one, two, procedure, of, other in _reference_pairs(seen):
        names = (one.part.wearable, procedure, one.part.reference, two.part.reference)
        if _lacking(one, two, of, other):
            curves = (np.zeros((0, 101)),) * 3
        else:
            assert of.cycles is not None
            assert of.paired is not None
            assert other.paired is not None
            between = (of.cycles.start_s, of.cycles.end_s)
            test, first = curves_between(*between, of.paired)
            _, second = curves_between(*between, other.paired)
            reasons = with_gaps(_reasons_of_both(one, two, of, other), test, first, second)
            kept = np.array([not reason for reason in reasons], dtype=bool)
            curves = (test[kept], first[kept], second[kept])
        found.append(Triple(*names, of.participant, of.condition, curves))
    return tuple(found)


def _reference_pairs(
    seen: Sequence[Seen],
) -> Iterator[tuple[Seen, Seen, str, TrialResult, TrialResult]]:
    """Yield each two references under each wearable and procedure, with the two results."""
    for wearable in dict.fromkeys(one.part.wearable for one in seen):
        several = [one for one in seen if one.part.wearable == wearable]
        for one, two in combinations(several, 2):
            for of, other in zip(one.results, two.results, strict=True):
                yield one, two, procedure_of(of.procedure), of, other


def _lacking(first: Seen, second: Seen, one: TrialResult, two: TrialResult) -> str:
    """Return why two references cannot be held together in a recording; empty where they can."""
    for result, of in ((one, first), (two, second)):
        if result.status != "ok" or result.agreement is None:
            return f"{of.part.reference}: {result.reason or 'no recording of it'}"
    return ""


def _reasons_of_both(first: Seen, second: Seen, one: TrialResult, two: TrialResult) -> list[str]:
    assert one.cycles is not None
    assert two.cycles is not None
    return reasons_of(
        (one.cycles.start_s, one.cycles.end_s),
        [
            (first.part.reference, one.cycles.start_s, one.cycles.reason),
            (second.part.reference, two.cycles.start_s, two.cycles.reason),
        ],
    )


def _two_references(
    first: Seen, second: Seen, one: TrialResult, two: TrialResult
) -> PairOfInstruments:
    blank = _blank("references", first.part.reference, second.part.reference, "", one)
    why = _lacking(first, second, one, two)
    if why:
        return replace(blank, reason=why)
    assert one.paired is not None
    assert two.paired is not None
    assert one.cycles is not None
    assert two.cycles is not None
    assert one.paired.reference_deg is not None
    paired = replace(
        one.paired, wearable_deg=one.paired.reference_deg, reference_deg=two.paired.reference_deg
    )
    several = [
        (first.part.reference, one.cycles.start_s, one.cycles.reason),
        (second.part.reference, two.cycles.start_s, two.cycles.reason),
    ]
    blank = replace(blank, clock=f"both on that of {first.part.wearable or 'the wearable'}")
    return _compared(blank, one.cycles, several, paired, first.part.study.options)
