"""The cycles of one recording that every wearable keeps, cut at the same times."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from twinangle.agreement._result import counted
from twinangle.analysis.clock_between import Worn
from twinangle.cycles import recut
from twinangle.cycles.enough import LEAST_CYCLES
from twinangle.results import TrialResult
from twinangle.results.grouping import reason_kind
from twinangle.results.instruments import CommonCycles, LeftOut
from twinangle.signals.recording import AngleRecording, Array, CycleSet, PairedAngles
from twinangle.study import Trial
from twinangle.study.instruments import Part

SAME_CYCLE = 0.25
"""Share of a cycle's duration by which two starts of it may be apart. Own rule, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One recording as one wearable against one reference has it."""

    part: Part
    trial: Trial
    results: tuple[TrialResult, ...]

    @property
    def good(self) -> list[TrialResult]:
        """The results that hold numbers."""
        return [one for one in self.results if one.status == "ok"]

    def worn(self, result: TrialResult) -> Worn:
        """Return what relates the clock of one of the results to that of another wearable."""
        assert result.paired is not None
        paired = result.paired
        angle = AngleRecording(
            paired.wearable_deg, paired.start_s, paired.rate_hz, self.part.wearable
        )
        return Worn(self.part.study, self.trial, angle, result.synchronisation)


def with_common_cycles(seen: Sequence[Seen]) -> Iterator[tuple[TrialResult, ...]]:
    """Yield the results of each, with what they are on the cycles common to all wearables."""
    common: dict[str, dict[str, CommonCycles]] = {}
    for name in dict.fromkeys(one.part.reference for one in seen):
        several = [one for one in seen if one.part.reference == name]
        common[name] = _common(several) if len(several) > 1 else {}
    for one in seen:
        known = common[one.part.reference]
        yield tuple(replace(result, common=known.get(result.procedure)) for result in one.results)


def _common(several: Sequence[Seen]) -> dict[str, CommonCycles]:
    """Return what each wearable and procedure gives on the common cycles, by its name."""
    good = [result for one in several for result in one.good if result.agreement is not None]
    if not good:
        return {}
    lacking = [one.part.wearable for one in several if not any(r in good for r in one.good)]
    if lacking:
        reason = f"no result of {', '.join(lacking)} in this recording."
        return {one.procedure: CommonCycles(0, (), reason=reason) for one in good}
    mains = [one.good[0] for one in several]
    lead, clock = mains[0], mains[0].synchronisation
    assert lead.cycles is not None
    assert clock is not None
    starts, ends = (clock.to_reference(getattr(lead.cycles, k)) for k in ("start_s", "end_s"))
    reasons = reasons_of(
        (starts, ends),
        [(one.wearable, _starts_on_reference(one), one.cycles.reason) for one in mains
         if one.cycles is not None],
    )  # fmt: skip
    cut = {one.procedure: _cut_at(starts, ends, one) for one in good}
    reasons = with_gaps(reasons, *(curves for both in cut.values() for curves in both))
    kept = np.array([not reason for reason in reasons], dtype=bool)
    left, n = tally(reasons), int(kept.sum())
    if n < LEAST_CYCLES:
        reason = too_few_common(n, left, [one.cycles.method for one in mains if one.cycles])
        return {name: CommonCycles(n, left, reason=reason) for name in cut}
    return {
        name: CommonCycles(n, left, _rms_demeaned(wearable[kept], reference[kept]))
        for name, (wearable, reference) in cut.items()
    }


def _rms_demeaned(first: Array, second: Array) -> float:
    difference = first.mean(axis=0) - second.mean(axis=0)
    return float(np.std(difference))


def _starts_on_reference(result: TrialResult) -> Array:
    assert result.synchronisation is not None
    assert result.cycles is not None
    return result.synchronisation.to_reference(result.cycles.start_s)


def _cut_at(starts: Array, ends: Array, result: TrialResult) -> tuple[Array, Array]:
    """Return both instruments' curves of cycles that are given on the reference's clock."""
    clock, paired = result.synchronisation, result.paired
    assert clock is not None
    assert paired is not None
    return curves_between(clock.to_wearable(starts), clock.to_wearable(ends), paired)


def reasons_of(
    lead: tuple[Array, Array], several: Sequence[tuple[str, Array, Sequence[str]]]
) -> list[str]:
    """Return why each of the first instrument's cycles does not count; empty where it does.

    Parameters
    ----------
    lead : tuple of ndarray
        Starts and ends of its cycles.
    several : sequence of (str, ndarray, sequence of str)
        Of each instrument its name, the starts of its cycles on the same clock, and why each of
        them is left out (empty where it is kept).

    Returns
    -------
    list of str
        The rule alone where all leave a cycle out by the same; else the first instrument that lacks
        it, with the rule.
    """
    starts, ends = lead
    found = [""] * starts.size
    beside = [_beside(starts, ends, own, reason) for _, own, reason in several]
    for k, of_all in enumerate(zip(*beside, strict=True)):
        if of_all[0] and len(several) > 1 and len(set(of_all)) == 1:
            found[k] = of_all[0]
    for (name, _, _), kinds in zip(several, beside, strict=True):
        for k, kind in enumerate(kinds):
            if kind is None:
                found[k] = found[k] or f"{name} has no such cycle"
            elif kind:
                found[k] = found[k] or f"left out for {name}, {kind}"
    return found


def _beside(starts: Array, ends: Array, own: Array, reason: Sequence[str]) -> list[str | None]:
    """Return why an instrument leaves each cycle out: empty where kept, None where it has none."""
    found: list[str | None] = []
    for start, end in zip(starts, ends, strict=True):
        nearest = int(np.abs(own - start).argmin()) if own.size else -1
        there = nearest >= 0 and abs(own[nearest] - start) <= SAME_CYCLE * (end - start)
        found.append(reason_kind(reason[nearest]) if there else None)
    return found


def too_few_common(n: int, left: Sequence[LeftOut], methods: Sequence[str]) -> str:
    """Return why instruments are not compared that share too few cycles, and what to write."""
    said = f"{counted(n, 'common cycle')}; at least {LEAST_CYCLES} are needed"
    reasons = "; ".join(f"{one.n_cycles} {one.reason}" for one in left)
    said += f" (left out: {reasons})." if reasons else "."
    ways = list(dict.fromkeys(method.partition(" of ")[0] for method in methods))
    if len(ways) > 1:
        said += (
            f" They are cut at different events ({' and '.join(ways)}): `method` under [cycles], "
            'such as "angle-peak", has all cut at the same.'
        )
    return said


def with_gaps(reasons: Sequence[str], *several: Array) -> list[str]:
    """Return the reasons, with one for each cycle in which a curve has a gap."""
    found = list(reasons)
    for curves in several:
        for k in np.flatnonzero(np.isnan(curves).any(axis=1)):
            found[k] = found[k] or "a gap in an angle"
    return found


def tally(reasons: Iterable[str]) -> tuple[LeftOut, ...]:
    """Return how many cycles do not count, by reason."""
    counts = Counter(reason for reason in reasons if reason)
    return tuple(LeftOut(reason, n) for reason, n in sorted(counts.items()))


def curves_between(starts: Array, ends: Array, paired: PairedAngles) -> tuple[Array, Array]:
    """Return the curves between these times; a cycle beyond the recording is NaN."""
    inside = (starts >= paired.time_s[0]) & (ends <= paired.time_s[-1])
    nothing = np.zeros((int(inside.sum()), 101))
    both = [np.full((starts.size, 101), np.nan) for _ in range(2)]
    if inside.any():
        blank = CycleSet(starts[inside], ends[inside], ("",) * len(nothing), nothing, None, "")
        cut = recut(blank, paired, few=True)
        gaps = ~cut.kept
        for curves, own in zip(both, (cut.wearable_deg, cut.reference_deg), strict=True):
            assert own is not None
            values = np.array(own)
            values[gaps] = np.nan
            curves[inside] = values
    return both[0], both[1]
