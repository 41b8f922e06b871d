"""What the sheet says of the movement that is studied: how many cycles, on which route."""

from __future__ import annotations

from twinangle.agreement import cycles_for_mean, cycles_for_sd
from twinangle.cycles.enough import CYCLES_FOR_MEAN, LEAST_CYCLES
from twinangle.protocol.by_instrument import for_each, references_of, wearables_of
from twinangle.protocol.instruments_worn import uses_magnetometers
from twinangle.study import Study, Trial
from twinangle.under_test import NOT_RECORDED
from twinangle.wording import listing

SD_PRECISION = 0.2  # a per-cycle SD known to ± 20 % of itself
SHARE_OF_MARGIN = 5  # "a fifth": a participant's mean difference known to a fifth of the margin
SPREADS_DEG = (1.0, 2.0, 3.0)  # per-cycle SDs of the difference that are tried
STRIDE_S = 1.1  # of usual walking; common practice, no source


def strides(study: Study) -> list[str]:
    """Return how many cycles are needed, and for what."""
    return for_each(wearables_of(study), _strides)


def _strides(study: Study) -> list[str]:
    walking = study.cycles.movement == "walking"
    noun = "strides" if walking else "repetitions"
    wanted = cycles_for_sd(SD_PRECISION, confidence=study.agreement.confidence).n
    level = f"{100 * study.agreement.confidence:g} %"
    lines = [
        (
            f"At least {wanted} {noun} that count, under every condition and in every trial that "
            f"stands alone: from {wanted} on a person's SD over {noun} is known to ± "
            f"{100 * SD_PRECISION:g} % ({level}); a mean curve needs {CYCLES_FOR_MEAN}; below "
            f"{LEAST_CYCLES} the trial is refused."
        ),
        *_for_margin(study, noun),
        _what_counts(study, wanted, walking),
    ]
    if study.cycles.method == "events":
        lines.append("Cycles begin at events from a file: mark or export it for every recording.")
    return lines


def _for_margin(study: Study, noun: str) -> list[str]:
    """Return the cycles that hold a person's mean difference well inside the margin."""
    margin = study.agreement.acceptable_deg
    if margin is None or study.reference is None:
        return []
    target, level = margin / SHARE_OF_MARGIN, study.agreement.confidence
    sizes = [cycles_for_mean(target, sd=sd, confidence=level).n for sd in SPREADS_DEG]
    each = listing(f"{n} for {sd:g}°" for n, sd in zip(sizes, SPREADS_DEG, strict=True))
    return [
        (
            f"The margin is {margin:g}°. For a person's mean difference within ± {target:g}° "
            f"({100 * level:g} %), a fifth of it, by the SD of the difference over {noun}: {each}. "
            "How many people: `twinangle plan`."
        )
    ]


def _what_counts(study: Study, wanted: int, walking: bool) -> str:
    if not walking:
        return (
            "Repetitions at an even, comfortable speed; a pause longer than two and a half of them "
            "ends a set."
        )
    seconds = 10 * round(wanted * STRIDE_S / 10)
    turns = " and strides in turns" if study.cycles.turns else ""
    return (
        f"First and last strides of a walk{turns} do not count: {wanted} take about {seconds} s of "
        f"straight walking ({STRIDE_S:g} s each), so walk longer, on straights as long as can be."
    )


def route_boxes(study: Study) -> tuple[str, ...]:
    """Return what is written down of each condition's place."""
    iron = "Iron, lifts, rails, power lines" if uses_magnetometers(study) else "Obstacles"
    return ("Place, length, surface, slope", iron, "Traffic, light, weather", "Walks beside, phone")


def _lacks_reference(trial: Trial) -> bool:
    """Whether the row is recorded without the reference; of several, a further one's says so."""
    left_out = trial.exclude and not trial.exclude.startswith(NOT_RECORDED)
    return trial.reference is None and not left_out


def route(study: Study) -> list[str]:
    """Return what to heed of place and route."""
    walking = study.cycles.movement == "walking"
    lines = []
    if walking:
        lines.append(
            "Walk every route beforehand. Indoors: clear, dry floor, room to turn. Outdoors: "
            "level, dry, without traffic, in daylight; not in ice, storm or heat; know "
            "where help is."
        )
    else:
        lines.append("A firm chair or stand, room for the whole movement, one place for everyone.")
    if uses_magnetometers(study):
        lines.append(
            "Note where iron lies (steel floors, hatches, lifts, rails, cars, power lines), and "
            "keep standing and start away from it: it turns the heading, and so the angle."
        )
    for one in references_of(study):
        without = sorted({t.condition for t in one.study.trials if _lacks_reference(t)})
        if one.study.reference is not None and without:
            lines.append(f"Without {one.name or 'a reference'}: {listing(without)}.")
    return lines
