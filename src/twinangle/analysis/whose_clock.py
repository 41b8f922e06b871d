"""Which instrument is at fault where a lag steps: what the others on the same recording say."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from twinangle.analysis.common_cycles import Seen
from twinangle.clocks import Fault, LagStep, Stepped, StepTold, StepWarned
from twinangle.clocks.stepped import Side
from twinangle.naming import listed
from twinangle.notices import kind_of
from twinangle.plausibility.outcome import AT_FAULT
from twinangle.results import TrialResult
from twinangle.signals.recording import CycleSet

# Own rules, no source.
_LEAST_CYCLES = 3  # before the step and behind it, for a pair to vouch that neither stepped
_ALIKE_S = 0.05  # sizes of two steps that are one
_BREAKS = frozenset({"clock-step", "clock-not-straight", "uncertain-stride", "lost-samples"})


def with_whose_clock(seen: Sequence[Seen]) -> list[Seen]:
    """Return one recording's results, with whose clock it is where a lag steps.

    Refusals for a step, and warnings of one too small or too uncertain to be refused.

    One pair tells that a lag steps and not which of the two files is at fault. Where the wearable
    keeps to one clock with another reference through that time, the reference is; where another
    wearable keeps to one clock with the reference, the wearable is. A third instrument to which the
    lag steps alike, at the same place, says the same of the one that the two pairs share. Where
    these speak for both or for neither, nothing is decided.

    Parameters
    ----------
    seen : sequence of Seen
        One recording as each wearable against each reference has it.

    Returns
    -------
    list of Seen
    """
    return [replace(one, results=tuple(_retold(one, seen))) for one in seen]


def _retold(one: Seen, seen: Sequence[Seen]) -> Iterator[TrialResult]:
    for result in one.results:
        reason = result.reason
        if isinstance(reason, StepTold):
            faults = _faults(one, reason.found, seen)
            fault = faults[0] if len(faults) == 1 else None
            found = reason.found if fault is None else _clearest(one, reason.found, fault, seen)
            reason = StepTold(found, reason.before, fault, weigh_gaps=len(faults) < 2)
        clock = result.synchronisation
        if clock is not None:
            clock = replace(clock, warnings=_decided(clock.warnings, one, seen))
        warnings = _decided(result.warnings, one, seen)
        yield replace(result, reason=reason, synchronisation=clock, warnings=warnings)


def _decided(texts: tuple[str, ...], one: Seen, seen: Sequence[Seen]) -> tuple[str, ...]:
    """Return warnings, those of a step with the file that the other pairs show to be at fault."""
    found = []
    for text in texts:
        if isinstance(text, StepWarned):
            faults = _faults(one, text.found, seen)
            text = text.decided(faults[0] if len(faults) == 1 else None)
        found.append(text)
    return tuple(found)


def _faults(one: Seen, found: Stepped, seen: Sequence[Seen]) -> list[Fault]:
    """Return which of a pair's files the other pairs show to be at fault; they may differ."""
    step = found.step
    of_wearable, of_reference = found.sources
    own = (step.first_s, step.last_s)
    on_reference = (step.first_s - step.before_s, step.last_s - step.before_s)
    beside = [
        other
        for other in seen
        if other.part.wearable == one.part.wearable and other.part.reference != one.part.reference
    ]
    across = [
        other
        for other in seen
        if other.part.reference == one.part.reference and other.part.wearable != one.part.wearable
    ]
    kept = [other.part.reference for other in beside if _keeps(other, own)]
    kept_across = [
        other.part.wearable for other in across if _keeps(other, on_reference, reference=True)
    ]
    alike = [other.part.reference for other in beside if _steps_alike(other, step)]
    alike_across = [
        other.part.wearable for other in across if _steps_alike(other, step, reference=True)
    ]
    at_fault = {
        "wearable": _because(of_reference, kept_across, alike),
        "reference": _because(of_wearable, kept, alike_across),
    }
    sides: tuple[Side, Side] = ("wearable", "reference")
    return [Fault(side, at_fault[side]) for side in sides if at_fault[side]]


def _clearest(one: Seen, found: Stepped, fault: Fault, seen: Sequence[Seen]) -> Stepped:
    """Return the step with the size of that pair of the file at fault that tells it best.

    A file stepped once and by one size, whichever instrument it is held against.
    """
    of_wearable = fault.side == "wearable"
    other_file = 1 if of_wearable else 0
    alike = [found]
    for other in seen:
        a, b = one.part, other.part
        shares = a.wearable == b.wearable if of_wearable else a.reference == b.reference
        if shares and a != b and _steps_alike(other, found.step, reference=not of_wearable):
            alike.append(next(step for result in other.results for step in _steps_of(result)))

    def doubt(each: Stepped) -> tuple[float, str]:
        error_s = each.step.size_se_s
        return (error_s if np.isfinite(error_s) else np.inf, each.sources[other_file])

    best = min(alike, key=doubt)
    known = np.isfinite(best.step.size_se_s) or best.step.size_s != found.step.size_s
    if best is found or not known:
        return found
    return replace(found, clearest=(best.step, best.sources[other_file]))


def _because(sound: str, kept: Sequence[str], alike: Sequence[str]) -> str:
    """Say what clears one file of the two; empty where nothing does."""
    reasons = []
    if kept:
        reasons.append(f"{sound} keeps to one clock with {listed(kept)} all through that time")
    if alike:
        verb = "steps" if len(alike) == 1 else "step"
        lag = "the lag" if len(alike) == 1 else "the lags"
        reasons.append(f"{lag} to {listed(alike)} {verb} there by as much")
    if not reasons:
        return ""
    return f"{_capital(', and '.join(reasons))}: leave {sound} as it is."


def _capital(text: str) -> str:
    return f"The{text[3:]}" if text.startswith("the ") else text


def _keeps(other: Seen, span: tuple[float, float], *, reference: bool = False) -> bool:
    """Whether a pair was found to keep to one clock before and behind a span.

    Its movement must reach over the span: three cycles that both recorded on either side.
    """
    for result in other.good:
        clock, cycles = result.synchronisation, result.cycles
        if clock is None or cycles is None or cycles.reference_deg is None or _breaks(result):
            continue
        first, last = clock.to_wearable(np.array(span)) if reference else np.array(span)
        if min(_seen_by_both(cycles, first, last)) >= _LEAST_CYCLES:
            return True
    return False


def _breaks(result: TrialResult) -> bool:
    """Whether anything was said against one straight clock."""
    clock = result.synchronisation
    warned = {kind_of(text) for text in (*result.warnings, *(clock.warnings if clock else ()))}
    steps = any(
        one.test == "lost samples" and one.verdict in AT_FAULT for one in result.plausibility
    )
    return bool(warned & _BREAKS) or steps


def _seen_by_both(cycles: CycleSet, first_s: float, last_s: float) -> tuple[int, int]:
    """Count the cycles before and behind a span of which both instruments have the curve."""
    assert cycles.reference_deg is not None
    both = np.isfinite(cycles.wearable_deg).all(axis=1)
    both &= np.isfinite(cycles.reference_deg).all(axis=1)
    before, behind = cycles.end_s <= first_s, cycles.start_s >= last_s
    return int((both & before).sum()), int((both & behind).sum())


def _steps_of(result: TrialResult) -> Iterator[Stepped]:
    """Yield the steps that a result was refused or is warned of."""
    clock = result.synchronisation
    for text in (result.reason, *result.warnings, *(clock.warnings if clock else ())):
        if isinstance(text, StepTold | StepWarned):
            yield text.found


def _steps_alike(other: Seen, step: LagStep, *, reference: bool = False) -> bool:
    """Whether a pair has a step of the same size at the same place."""
    found = next((step for result in other.results for step in _steps_of(result)), None)
    if found is None:
        return False
    its = found.step
    spans = []
    for one in (step, its):
        shift = one.before_s if reference else 0.0
        spans.append((one.first_s - shift, one.last_s - shift))
    (first, last), (its_first, its_last) = spans
    together = first <= its_last and its_first <= last
    return together and abs(its.size_s - step.size_s) <= _ALIKE_S
