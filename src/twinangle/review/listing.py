"""What needs eyes first in each recording, from what the analysis told, not computed anew."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from twinangle.analysis.likeness import OF_CURVES
from twinangle.cycles.enough import CYCLES_FOR_MEAN, NOT_THE_MOVEMENT, SHORT_LACKS, reason_kind
from twinangle.notices import gravity_of, kind_of
from twinangle.plausibility.outcome import AT_FAULT
from twinangle.results import TrialResult
from twinangle.review.look import Look
from twinangle.signals.recording import CycleSet
from twinangle.wording import count

MANY_EXCLUDED = 0.25  # share of the cycles of the movement; common practice, no source

# What a notice is about, for the page: its kind to what the eye is to look at.
TOPIC_OF_KIND = {
    "uncertain-stride": "clock",
    "clock-step": "clock",
    "clock-not-straight": "clock",
    "lags-disagree": "clock",
    "unusual-drift": "clock",
    "drift-unknown": "clock",
    "sensor-clocks-apart": "clock",
    "curves-unlike": "curves",
    "strides-apart": "reference",
    "large-difference": "curves",
    "large-offset": "curves",
    "large-scatter": "curves",
    "reference-saturated": "saturation",
    "reference-flat": "saturation",
    "magnetic-disturbance": "field",
    "field-strength": "field",
    "moved-in-standing": "standing",
    "flexion-in-standing": "standing",
    "short-standing": "standing",
    "cycles-lost-in-gaps": "cycles",
    "cycles-without-reference": "cycles",
    "most-cycles-in-turns": "cycles",
    "long-cycles": "cycles",
    "few-cycles": "cycles",
    "decision-not-applied": "decisions",
    # tests of plausibility, by the words of their names
    "standing": "standing",
    "standing-file": "standing",
    "fit": "reference",
    "amplitude": "reference",
    "fast-movement": "reference",
    "offset-step": "reference",
    "offset-spread": "reference",
    "bursts": "reference",
    "lost-samples": "clock",
    "parts": "clock",
    "delay": "clock",
    "sensors-times": "clock",
    "magnetometer": "field",
    "dip": "field",
}
# In which order eyes are asked for; what is refused comes before all.
TOPICS = (
    "refused",
    "decisions",
    "clock",
    "standing",
    "reference",
    "cycles",
    "curves",
    "saturation",
    "field",
    "sensors",
)
# That comparison would tell of the difference while deciding blind.
OF_THE_DIFFERENCE = (
    "curves-unlike",
    "strides-apart",
    "large-difference",
    "large-offset",
    "large-scatter",
    "fit",
    "amplitude",
    "fast-movement",
    "offset-step",
    "offset-spread",
    "bursts",
)

HIDDEN = "Why it is refused would tell how the instruments differ, which is hidden."


@dataclass(frozen=True, slots=True)
class Flag:
    """One thing to look at: its topic, a sentence, and how grave it is."""

    topic: str
    text: str
    gravity: str


def flags_of(look: Look, *, blind: bool) -> tuple[Flag, ...]:
    """Return what needs eyes in a recording, the gravest first.

    Parameters
    ----------
    look : Look
        The recording.
    blind : bool
        Leave out what tells how the two instruments differ.
    """
    found = list(_flags(look, blind=blind))
    unique = {(flag.topic, flag.text): flag for flag in found}.values()
    grave = {"grave": 0, "warning": 1, "note": 2}
    return tuple(sorted(unique, key=lambda flag: (grave[flag.gravity], TOPICS.index(flag.topic))))


def urgency(look: Look, flags: tuple[Flag, ...]) -> int:
    """Return where a recording stands in the list: 0 needs eyes before all others."""
    if look.first.status == "failed":
        return 0
    if any(flag.gravity == "grave" for flag in flags):
        return 1
    return 2 if any(flag.gravity == "warning" for flag in flags) else 3


def _flags(look: Look, *, blind: bool) -> Iterator[Flag]:
    trial = look.first
    if trial.status == "failed":
        if blind and tells_the_difference(trial):
            yield Flag("refused", HIDDEN, "grave")
        elif look.clock_state == "refused" and trial.reason == look.clock_refused:
            yield Flag("clock", trial.reason, "grave")
        else:
            yield Flag(_topic_of_refusal(trial), trial.reason, "grave")
    for text in dict.fromkeys(trial.warnings):
        gravity, kind = gravity_of(text), kind_of(text)
        topic = TOPIC_OF_KIND.get(kind, "sensors")
        if gravity == "note" or (blind and kind in OF_THE_DIFFERENCE) or kind == "few-cycles":
            continue
        yield Flag(topic, str(text), gravity)
    told = {str(text) for text in trial.warnings}
    for outcome in trial.plausibility:
        text = outcome.told
        if outcome.verdict not in AT_FAULT or text in told or outcome.said in trial.reason:
            continue
        if not (blind and kind_of(text) in OF_THE_DIFFERENCE):
            yield Flag(TOPIC_OF_KIND.get(kind_of(text), "sensors"), str(text), "grave")
    yield from _of_cycles(None if trial.cycles is None else look.cycles)
    yield from _of_sensors(look)


def tells_the_difference(trial: TrialResult) -> bool:
    """Tell whether the reason of a refusal says how the two instruments differ."""
    return OF_CURVES in trial.reason or any(
        outcome.said in trial.reason and kind_of(outcome.told) in OF_THE_DIFFERENCE
        for outcome in trial.plausibility
        if outcome.verdict == "contradicted"
    )


def _topic_of_refusal(trial: TrialResult) -> str:
    """Return what to look at where a physical test refused it; `refused` for anything else."""
    for outcome in trial.plausibility:
        if outcome.verdict == "contradicted" and outcome.said in trial.reason:
            return TOPIC_OF_KIND.get(kind_of(outcome.told), "refused")
    return "refused"


def _of_cycles(cycles: CycleSet | None) -> Iterator[Flag]:
    """Tell of few cycles, and of many left out by rules that judge them."""
    if cycles is None:
        return
    kept = int(cycles.kept.sum())
    if kept < CYCLES_FOR_MEAN:
        yield Flag(
            "cycles", f"Only {count(kept, 'cycle')} {'is' if kept == 1 else 'are'} kept.", "warning"
        )
    kinds = Counter(reason_kind(text) for text in cycles.reason if text)
    judged = {k: n for k, n in kinds.items() if k not in (*NOT_THE_MOVEMENT, *SHORT_LACKS)}
    n = sum(judged.values())
    if n > MANY_EXCLUDED * (n + kept):
        most = ", ".join(f"{kind} {count}" for kind, count in Counter(judged).most_common())
        yield Flag(
            "cycles",
            f"{n} of {count(n + kept, 'cycle')} {'is' if n == 1 else 'are'} left out ({most}).",
            "warning",
        )


def _of_sensors(look: Look) -> Iterator[Flag]:
    """Tell of saturation, and of a disturbed field where headings may rest on it."""
    for sensor in look.sensors:
        share = sensor.device.saturated_share
        if np.isfinite(share) and share > 0:
            text = f"{sensor.segment} sensor: {100 * share:.2g} % of the samples are saturated."
            yield Flag("saturation", text, "warning")
        disturbed = 0.0 if sensor.field is None else sensor.field.disturbed_share
        if np.isfinite(disturbed) and disturbed > MANY_EXCLUDED:
            text = f"{sensor.segment} sensor: the field is disturbed for {100 * disturbed:.0f} %."
            yield Flag("field", text, "note")
