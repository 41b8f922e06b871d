"""Two wearables, or two references, held against each other in one recording."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from twinangle.agreement.curves import compare_curves
from twinangle.analysis.common_cycles import Seen, curves_between, reasons_of, tally
from twinangle.clocks import align, shared_clock, synchronise
from twinangle.cycles.enough import LEAST_CYCLES
from twinangle.errors import TwinangleError
from twinangle.results import TrialResult
from twinangle.results.instruments import PairOfInstruments
from twinangle.signals.recording import (
    AngleRecording,
    Array,
    CycleSet,
    PairedAngles,
    Synchronisation,
)
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
        clock = _clock_between(first, second, one, two)
        paired = align(_angle_of(one), _angle_of(two), clock)
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
    return _compared(blank, one.cycles, several, paired, first.confidence)


def _blank(
    kind: str, first: str, second: str, procedure: str, of: TrialResult
) -> PairOfInstruments:
    names = ("participant", "session", "condition", "trial", "side")
    return PairOfInstruments(
        kind, first, second, procedure, **{name: getattr(of, name) for name in names}
    )


def _angle_of(result: TrialResult) -> AngleRecording:
    assert result.paired is not None
    paired = result.paired
    return AngleRecording(paired.wearable_deg, paired.start_s, paired.rate_hz, result.wearable)


def _clock_between(
    first: Seen, second: Seen, one: TrialResult, two: TrialResult
) -> Synchronisation:
    """Return the clock of the second wearable on the first's.

    Through the reference where both recorded with one: with ``t1 = a t + p`` and ``t2 = b t + q``
    of its time t, ``t1 = (a / b) t2 + p - (a / b) q``. Else they are shared, or found from the two
    angles.
    """
    own, other = one.synchronisation, two.synchronisation
    if own is not None and other is not None:
        ratio = (1 + own.drift_ppm * 1e-6) / (1 + other.drift_ppm * 1e-6)
        return Synchronisation(
            method="by the reference",
            lag_s=own.lag_s - ratio * other.lag_s,
            lag_se_s=float(np.hypot(own.lag_se_s, other.lag_se_s)),
            drift_ppm=(ratio - 1) * 1e6,
        )
    settings = [one.part.study.synchronisation for one in (first, second)]
    if all(each.method == "shared-clock" for each in settings):
        return shared_clock()
    expected, most = ([_lag(seen, name) for seen in (first, second)] for name in _LAGS)
    return synchronise(
        _angle_of(one),
        _angle_of(two),
        expected_lag_s=expected[0] - expected[1],
        max_lag_s=max(most),
        drift=all(each.drift for each in settings),
    )


_LAGS = ("expected_lag_s", "max_lag_s")


def _lag(seen: Seen, name: str) -> float:
    own = getattr(seen.trial, name)
    return float(getattr(seen.part.study.synchronisation, name) if own is None else own)


def _compared(
    blank: PairOfInstruments,
    cycles: CycleSet,
    several: Sequence[tuple[str, Array, Sequence[str]]],
    paired: PairedAngles,
    confidence: float,
) -> PairOfInstruments:
    """Return two instruments compared on the cycles that both keep."""
    reasons = reasons_of((cycles.start_s, cycles.end_s), several)
    first, second = curves_between(cycles.start_s, cycles.end_s, paired)
    whole = [bool(each) for each in np.isfinite(first + second).all(axis=1)]
    kept = np.array(whole) & np.array([not reason for reason in reasons])
    left = tally(
        reason or ("" if inside else "a gap in an angle")
        for reason, inside in zip(reasons, whole, strict=True)
    )
    found = replace(blank, n_cycles=int(kept.sum()), left_out=left)
    if found.n_cycles < LEAST_CYCLES:
        return replace(
            found, reason=f"{found.n_cycles} common cycles; at least {LEAST_CYCLES} are needed."
        )
    curves = compare_curves(first[kept], second[kept], confidence=confidence)
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


# Two references, on the cycles of one wearable


def references_apart(seen: Sequence[Seen]) -> tuple[PairOfInstruments, ...]:
    """Return what each two references differ by, on the first wearable's cycles and clock."""
    found = []
    for wearable in dict.fromkeys(one.part.wearable for one in seen):
        several = [one for one in seen if one.part.wearable == wearable]
        found += [_two_references(one, two) for one, two in combinations(several, 2)]
    return tuple(found)


def _two_references(first: Seen, second: Seen) -> PairOfInstruments:
    one = next(iter(first.good), first.results[0])
    two = next(
        (r for r in second.good if procedure_of(r.procedure) == procedure_of(one.procedure)),
        second.results[0],
    )
    wearable = first.part.wearable
    name = procedure_of(one.procedure)
    procedure = f"{wearable} {name}".strip()
    blank = _blank("references", first.part.reference, second.part.reference, procedure, one)
    for result, of in ((one, first), (two, second)):
        if result.status != "ok" or result.cycles is None or result.agreement is None:
            reason = result.reason or "no recording of it"
            return replace(blank, reason=f"{of.part.reference}: {reason}")
    assert one.paired is not None
    assert two.paired is not None
    assert one.cycles is not None
    assert two.cycles is not None
    assert one.paired.reference_deg is not None
    paired = replace(
        one.paired, wearable_deg=one.paired.reference_deg, reference_deg=two.paired.reference_deg
    )
    several = [
        (of.part.reference, result.cycles.start_s, result.cycles.reason)
        for of, result in ((first, one), (second, two))
        if result.cycles is not None
    ]
    blank = replace(blank, clock=f"both on the wearable's ({one.synchronisation.method})"
                    if one.synchronisation is not None else "")  # fmt: skip
    return _compared(blank, one.cycles, several, paired, first.confidence)
