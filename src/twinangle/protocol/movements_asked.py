"""What the sheet says of neutral standing, the functional movement and the clocks.

Limits are the program's own, from where they are applied; the rest is common practice, no source.
"""

from __future__ import annotations

from statistics import median_high

from twinangle.clocks.crosscorrelation import ENOUGH_STRIDES
from twinangle.clocks.synchronising_events import EDGE_S
from twinangle.protocol.by_instrument import Worn, for_each, names_of, pairs_of, wearables_of
from twinangle.protocol.instruments_worn import uses_magnetometers
from twinangle.signals.joint import JOINTS
from twinangle.signals.recording import Interval
from twinangle.study import AngleWearable, Study, SynchronisationSettings
from twinangle.wearable.flexion import MOVED_DEG, SMALL_MOVEMENT_DEG, SMALLEST_MOVEMENT_DEG
from twinangle.wording import listing

STANDING_S = 10  # seconds asked for; common practice, no source
REPETITIONS = 5  # of the functional movement; common practice, no source
DRIFT_S = 120  # over which the data settle the drift of two clocks: docs of the synchronisation
TO_BE_TOLD = "stretch to be written down, on the wearable's clock"


def standing(study: Study) -> list[str]:
    """Return how and why the participant stands still; none where no instrument needs it."""
    return for_each(wearables_of(study), lambda one: _standing(one, study))


def _standing(study: Study, whole: Study) -> list[str]:
    wearable = study.wearable
    zeroed = zeroed_at_standing(whole)
    if isinstance(wearable, AngleWearable) and not zeroed:
        return []
    posture = JOINTS[study.joint].neutral_posture
    planned = [each.end_s - each.start_s for each in _stretches(study, "static")]
    usual = median_high(planned or [STANDING_S])  # one who could not stand so long is no plan
    lines = [f"Stand still for {usual:g} s, {posture}; {_where(study, 'static')}."]
    if isinstance(wearable, AngleWearable):
        why = "The reference's zero is taken from it."
    else:
        angle = f"counts as {wearable.standing_deg:g}° of flexion"
        if wearable.standing_from_reference:
            angle = "is given the reference's angle, which has to record it too"
        why = (
            f"It tells how the sensors sit on the segments, and {angle}. Another posture shifts "
            f"the whole angle: the same one every time, no sway (a scatter above {MOVED_DEG:g}° is "
            "warned of)."
        )
    away = " Away from steel, lifts and radiators." if uses_magnetometers(study) else ""
    return [*lines, why + away]


def functional(study: Study) -> list[str]:
    """Return how the joint is moved for its axis; none where the angle is ready-made."""
    return for_each(wearables_of(study), _functional, many=bool(study.parts))


def _functional(study: Study) -> list[str]:
    if isinstance(study.wearable, AngleWearable):
        return []
    joint, walking = JOINTS[study.joint], study.cycles.movement == "walking"
    lines = [
        (
            f"Move the {joint.name} into {joint.movement} and back {REPETITIONS} times, in its "
            f"plane alone, to {SMALL_MOVEMENT_DEG:g}° or more if that is safe (below "
            f"{SMALLEST_MOVEMENT_DEG:g}° there is no axis); {_where(study, 'functional')}."
        ),
        (
            "It tells the axis of flexion. Whoever is spared it: leave the cells empty; the axis "
            f"is then found from the {'walk' if walking else 'exercise'}, less well."
        ),
    ]
    if study.reference is not None:
        lines.append("Both instruments record it: its bends help to find one clock.")
    return lines


def clocks(study: Study) -> list[str]:
    """Return what one clock of the instruments needs."""
    names = names_of(study)
    if not names:
        return _clocks(study)
    lines = [
        (
            f"{len(names)} instruments record at once: {listing(names)}. Each wearable is brought "
            "onto each reference's clock, so all of them have to see the movement, taps or trigger "
            "that does it. Write down of each when it was started and stopped and under which "
            "file name."
        ),
        (
            "An instrument that stops, restarts or loses its connection within a trial may set its "
            "clock anew: write down which one and when, and record the rest as a further trial."
        ),
    ]
    if study.reference is None:
        return [*lines, *for_each((Worn("", study),), _between_wearables, many=True)]
    return [*lines, *for_each(pairs_of(study), _clocks, many=True)]


def _between_wearables(study: Study) -> list[str]:
    """Return how wearables come on one clock that have no reference between them."""
    shared = study.synchronisation.method == "shared-clock"
    return (_shared if shared else _cross_correlation)(study.synchronisation)


def _clocks(study: Study) -> list[str]:
    """Return what one wearable and one reference need."""
    if study.reference is None:
        lines = ["One instrument: no clocks to bring together."]
    else:
        lines = _METHODS[study.synchronisation.method](study.synchronisation)
        if any(trial.reference is None and not trial.exclude for trial in study.trials):
            lines.append("Recordings without a reference need nothing of this.")
    if getattr(study.wearable, "files", None) is not None:
        lines.append(
            "Each sensor writes its own file: start both sensors on one clock, or write down what "
            "parts them (distal_lag_s)."
        )
    return lines


def loads_the_joint(study: Study) -> bool:
    """Return whether a movement is asked for beside the one that is studied."""
    several = [one.study for one in pairs_of(study)]
    events = any(
        one.reference is not None and one.synchronisation.method == "event" for one in several
    )
    return events or any(not isinstance(one.wearable, AngleWearable) for one in several)


def zeroed_at_standing(study: Study) -> bool:
    """Return whether a reference takes its zero from neutral standing."""
    references = [one.study.reference for one in pairs_of(study)]
    return any(one is not None and one.zero_at_standing for one in references)


def _where(study: Study, part: str) -> str:
    """Return where neutral standing or the functional movement is recorded."""
    found, stretches = _given(study, part), _stretches(study, part)
    if found and not stretches:
        return "a recording of its own"
    if len(found) == 1:
        one = stretches[0]
        return f"planned at {one.start_s:g} to {one.end_s:g} s of the wearable's clock"
    return TO_BE_TOLD


def _given(study: Study, part: str) -> set[object]:
    return {getattr(trial, part) for trial in study.trials if not trial.exclude} - {None}


def _stretches(study: Study, part: str) -> list[Interval]:
    """Return the stretch of each row that states one."""
    found = [getattr(trial, part) for trial in study.trials if not trial.exclude]
    return [each for each in found if isinstance(each, Interval)]


def _cross_correlation(settings: SynchronisationSettings) -> list[str]:
    expected = f" after allowing for {settings.expected_lag_s:g} s" * bool(settings.expected_lag_s)
    lines = [
        (
            f"Found from the movement. Start both recordings within {settings.max_lag_s:g} s of "
            f"each other{expected}, before the participant moves; stop both when all is done."
        ),
        (
            f"At least {ENOUGH_STRIDES} cycles with both instruments. Even walking looks the same "
            "one cycle later: stand still before the start and after the end, and let the walk "
            "have a stop or a turn."
        ),
    ]
    if settings.drift:
        lines.append(
            f"The clocks' drift is settled by {DRIFT_S // 60} minutes of movement or more; in "
            "shorter recordings what is usual of clocks is assumed."
        )
    return lines


def _event(settings: SynchronisationSettings) -> list[str]:
    where = f"within the first and the last {EDGE_S:g} s of both recordings"
    if settings.events_s:
        spans = "; ".join(f"{start:g} to {end:g} s" for start, end in settings.events_s)
        where = f"at {spans} of the wearable's clock"
    return [
        (
            f"Heel taps (seated if need be), a stamp or a small jump {where}: three single ones, "
            "still for 3 s before and after; the end needs them as the start does, for the drift."
        ),
        (
            "Nobody taps, stamps or jumps who should not: see the cautions. Then: a trigger, or "
            "the walk itself (a lag of that recording's own)."
        ),
    ]


def _trigger(settings: SynchronisationSettings) -> list[str]:
    return [
        (
            f"One trigger into both instruments: channels {settings.wearable_trigger} and "
            f"{settings.reference_trigger}. Give pulses at unlike distances at start and end, "
            "eight or more in all, and see both channels move before the participant does."
        )
    ]


def _shared(_: SynchronisationSettings) -> list[str]:
    return ["One clock runs both instruments: check that both files' times begin together."]


def _manual(settings: SynchronisationSettings) -> list[str]:
    drift = 0.0 if settings.drift_ppm is None else settings.drift_ppm
    return [
        (
            f"The study file states the lag: {settings.lag_s:g} s, drift {drift:g} ppm. It holds "
            "only as long as both instruments are started the same way; a tap seen by both "
            "checks it."
        )
    ]


_METHODS = {
    "cross-correlation": _cross_correlation,
    "event": _event,
    "trigger": _trigger,
    "shared-clock": _shared,
    "manual": _manual,
}
