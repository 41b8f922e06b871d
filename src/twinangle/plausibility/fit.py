"""The reference's rate of change held against the rates of both gyroscopes, all along the trial.

Whatever the mounting, a hinge turns at a fixed combination of the six gyroscope channels. So the
reference's slope follows one such combination at one lag from end to end, unless samples were
lost, recordings were spliced, or the two files are not of one joint.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from twinangle.plausibility.channels import sure_causes
from twinangle.plausibility.common_time import ACTIVE_DEG_S, CommonTime, common_time
from twinangle.plausibility.evidence import Evidence
from twinangle.plausibility.lag_windows import (
    HOP_S,
    STRANGE,
    Windows,
    at_home,
    lag_windows,
    largest_step,
    solved,
    without_drift,
)
from twinangle.plausibility.outcome import Outcome, Verdict, not_tested
from twinangle.signals.recording import Array
from twinangle.thresholds import told_apart

TEST, STEPS, PARTS, DELAY = "fit", "lost samples", "parts", "delay"
LEAST_FIT = 0.97
"""Multiple correlation below which is warned: 0.992 and more on the open walks, 0.999 on jumps and
a robot, 0.998 and more on simulated walks with soft tissue."""
REFUSED_FIT = 0.85
MOST_STEP_S, REFUSED_STEP_S = 0.025, 0.06
"""Steps of the lag that are warned of and refused: 8 ms and less on open and simulated walks."""
MOST_DELAY_S = 0.04  # sensors and optical systems that share a clock differed by up to 20 ms
_STRANGE_S = 8.0
_PIECE_S, _ALONE_S = 2.0, 4.0  # where one instrument moves and the other is still
_STILL = 0.25  # of what counts as movement


@lru_cache(maxsize=2)
def reference_fit(evidence: Evidence) -> tuple[Outcome, ...]:
    """Hold the reference's rate of change against both gyroscopes: as a whole, and piece by piece.

    ``b'(t + lag) = c + w·ω(t) + η b''(t + lag)`` is fitted by least squares to all samples; b is
    the reference, ω the six gyroscope channels, lag the median over windows, and b'' takes up what
    a whole sample leaves of it. R is its multiple correlation. For the lag along the trial, w is
    fitted to the 20 s that agree best, and the lag of every 8 s is where the slope follows w·ω most
    closely; then w and lags are fitted in turn. Where an instrument is saturated, nothing but R is
    judged: it would be blamed on the files. A forearm turns about itself as well, so an elbow is
    no one combination, and what would be refused of a knee is warned of. Own method; the limits
    are of our own measurements, see docs/background/plausibility.md.
    """
    found = common_time(evidence)
    if isinstance(found, str):
        return (not_tested(TEST, "reference", found),)
    outcomes = _judged(found, evidence)
    return outcomes if evidence.joint == "knee" else tuple(_milder(one) for one in outcomes)


def _judged(found: CommonTime, evidence: Evidence) -> tuple[Outcome, ...]:
    """Return the outcomes, the sure cause first and alone."""
    cut = sure_causes(evidence)
    windows = lag_windows(found)
    late = _median_lag(windows)
    if cut:
        reason = f"an instrument is saturated: {cut}"
        others = tuple(not_tested(test, "reference", reason) for test in (PARTS, STEPS, DELAY))
        return (*others, _whole(found, late, cut))
    parts = _parts(found, windows)
    if parts.verdict == "contradicted":
        reason = "another recording's reference begins within this trial"
        return (parts, *(not_tested(test, "reference", reason) for test in (STEPS, DELAY, TEST)))
    steps = _steps(found, without_drift(windows, evidence.clock))
    if steps.verdict in ("doubtful", "contradicted"):
        reason = "the lag steps within this trial"
        return (parts, steps, *(not_tested(test, "reference", reason) for test in (DELAY, TEST)))
    return (parts, steps, _delay(late), _whole(found, late, ""))


def _milder(outcome: Outcome) -> Outcome:
    """Return the outcome for a joint whose distal segment turns about its own length too."""
    if outcome.test == DELAY or outcome.verdict in ("consistent", "not tested"):
        return outcome
    if outcome.verdict == "doubtful":
        return replace(outcome, verdict="consistent", said="")
    said = f"{outcome.said} (Much turning of the forearm about itself does the same.)"
    return replace(outcome, verdict="doubtful", said=said)


def _median_lag(windows: Windows) -> float:
    """Return the median lag of the windows that fit; 0 where none does."""
    sure = np.isfinite(windows.lag_s) & (windows.explained > STRANGE)
    return float(np.median(windows.lag_s[sure])) if sure.any() else 0.0


def _delay(late_s: float) -> Outcome:
    """Judge by how much the reference, as the clock places it, follows after the gyroscopes."""
    if abs(late_s) <= MOST_DELAY_S:
        return Outcome(DELAY, "reference", "consistent", 1e3 * late_s, 1e3 * MOST_DELAY_S, "ms")
    shown, bound = told_apart(1e3 * abs(late_s), 1e3 * MOST_DELAY_S, 0)
    way = "after" if late_s > 0 else "before"
    said = (
        f"on the clock that was used it moves {shown} ms {way} the gyroscopes (more than {bound} "
        "ms): the clock or the stated lag is off by that, or an instrument delays its signal, as a "
        "filter that runs while recording does."
    )
    return Outcome(DELAY, "reference", "doubtful", 1e3 * late_s, 1e3 * MOST_DELAY_S, "ms", said)


def _whole(found: CommonTime, late_s: float, cut: str) -> Outcome:
    """Judge the multiple correlation over the whole trial."""
    correlation, _ = residual_of_fit(found, late_s)
    limit = REFUSED_FIT if correlation < REFUSED_FIT else LEAST_FIT
    if correlation >= LEAST_FIT:
        return Outcome(TEST, "reference", "consistent", correlation, limit)
    shown, bound = told_apart(correlation, limit, 2)
    cause = (
        f"{cut} This may be why."
        if cut
        else (
            "They may be of another joint, side, person or trial, or parts of them may be filled "
            "in or filtered. Check the pair of files."
        )
    )
    said = (
        f"its rate of change follows the gyroscopes with a multiple correlation of {shown} only "
        f"(below {bound}; recordings of one joint reach 0.99). {cause}"
    )
    verdict: Verdict = "contradicted" if correlation < REFUSED_FIT else "doubtful"
    return Outcome(TEST, "reference", verdict, correlation, limit, said=said)


def residual_of_fit(found: CommonTime, late_s: float = 0.0) -> tuple[float, Array]:
    """Return the multiple correlation and the residual, degrees a second, (n,), NaN in gaps."""
    shift = round(late_s * found.rate_hz)
    slope = np.full(found.slope.size, np.nan)
    slope[max(-shift, 0) : slope.size - max(shift, 0)] = found.slope[
        max(shift, 0) : slope.size + min(shift, 0)
    ]
    curve = np.gradient(slope) * found.rate_hz
    rows = np.column_stack([np.ones(found.time_s.size), found.proximal, found.distal, curve])
    kept = found.known & np.isfinite(rows).all(axis=1)
    residual = np.where(kept, slope - rows @ solved(rows, slope, kept), np.nan)
    share = float(np.var(residual[kept]) / np.var(slope[kept]))
    return float(np.sqrt(max(1.0 - share, 0.0))), residual


def _steps(found: CommonTime, windows: Windows) -> Outcome:
    """Judge the largest step of the lag between what lies before a time and what lies after."""
    step = largest_step(found, windows)
    if step is None:
        return not_tested(STEPS, "reference", "too few windows of 8 s with movement in them")
    size = abs(step.size_s)
    limit = REFUSED_STEP_S if size > REFUSED_STEP_S else MOST_STEP_S
    if size <= MOST_STEP_S:
        return Outcome(STEPS, "reference", "consistent", 1e3 * size, 1e3 * limit, "ms")
    shown, bound = told_apart(1e3 * size, 1e3 * limit, 0)
    loser, other = ("reference", "wearable") if step.size_s < 0 else ("wearable", "reference")
    said = (
        f"the lag between the instruments steps by {shown} ms (more than {bound} ms) near "
        f"{step.time_s:.1f} s of the wearable's clock, as when the {loser} lost samples there "
        f"without a mark, or when the {other} repeated some or had its clock set ahead: these two "
        "files alone do not tell which. Analyse the part before and the part after as trials of "
        "their own (`start_s`, `end_s`); restore time stamps only in a file known to be at fault."
    )
    verdict: Verdict = "contradicted" if size > REFUSED_STEP_S else "doubtful"
    return Outcome(STEPS, "reference", verdict, 1e3 * size, 1e3 * limit, "ms", said)


def _parts(found: CommonTime, windows: Windows) -> Outcome:
    """Judge whether a part of the trial has a reference that belongs to it, and another not."""
    told = np.isfinite(windows.explained)
    if not told.any():
        return not_tested(PARTS, "reference", "no window of 8 s has movement in it")
    time, explained = windows.time_s[told], windows.explained[told]
    strange = explained < STRANGE
    value, limit = max(float(explained.min()), 0.0), STRANGE
    if HOP_S * strange.sum() <= _STRANGE_S or not at_home(windows):
        return Outcome(PARTS, "reference", "consistent", value, limit)
    first, last = (float(time[strange][k]) for k in (0, -1))
    legs = _in_turn(found, windows)
    shown, bound = told_apart(value, limit, 2)
    shown = shown if value > 0 else "none"
    said = (
        "it belongs to these sensors in one part of the trial and not in another: over "
        f"{first:.0f} to {last:.0f} s of the wearable's clock its rate of change shares {shown} of "
        f"its variance with theirs at the lag within a stride that fits best ({bound} is needed), "
        f"and nearly all of it elsewhere. {legs}Two recordings may be spliced in one file, or most "
        "of a second or more lost. Use the recordings apart, or leave the stretch out."
    )
    return Outcome(PARTS, "reference", "contradicted", value, limit, said=said)


def _in_turn(found: CommonTime, windows: Windows) -> str:
    """Say that left and right may be exchanged, where one instrument moves and the other not.

    And elsewhere the other way round, each for 4 s and more in pieces of 2 s: so it is where one
    leg bends after the other, and walking fits at a lag half a stride off. Own rule.
    """
    rows = np.column_stack([np.ones(found.time_s.size), found.proximal, found.distal])
    size = int(_PIECE_S * found.rate_hz)
    pieces = [
        each[: each.size // size * size].reshape(-1, size)
        for each in (rows @ windows.weights, found.slope)
    ]
    worn, reference = (np.sqrt(np.mean(each**2, axis=1)) for each in pieces)  # NaN: not counted
    alone = [
        _PIECE_S * int(((one > ACTIVE_DEG_S) & (other < _STILL * ACTIVE_DEG_S)).sum())
        for one, other in ((worn, reference), (reference, worn))
    ]
    if min(alone) < _ALONE_S:
        return ""
    return (
        f"The sensors turn for {alone[0]:.0f} s in which the reference is still, and the reference "
        f"for {alone[1]:.0f} s in which the sensors are, as where left and right were exchanged "
        "and one leg bends after the other: see first whether they were, by giving this row the "
        "other side's file. If not: "
    )
