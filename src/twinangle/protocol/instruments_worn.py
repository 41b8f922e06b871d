"""What the sheet says of the instruments: where each is worn, under which names its channels are.

What no setting states is common practice in movement laboratories, no source.
"""

from __future__ import annotations

from twinangle.protocol.by_instrument import in_lines, references_of, wearables_of
from twinangle.signals.joint import JOINTS, Joint
from twinangle.study import (
    AngleReference,
    AngleWearable,
    InertialWearable,
    MarkerReference,
    OrientationReference,
    OrientationWearable,
    Study,
)
from twinangle.wearable.procedures import needs_magnetometers

NO_REFERENCE = (
    "No reference is worn: the study file has no [reference]. How far the wearable is off cannot "
    "be known then, only how it repeats and how conditions differ."
)
PLACED_ANEW = (
    "Several sessions: take all of it off in between and place it anew by the same landmarks, "
    "measured and written down."
)
AT_ONCE = (
    "All of it is worn at once: none on top of another or pulled by another's strap or cable, in "
    "the same places and the same order every time."
)
RANGE_TRIED = (
    "Try the whole range of motion once, slowly, before the recording: nothing may pull, touch or "
    "reach the end of its range."
)


def placement(study: Study, sides: tuple[str, ...]) -> list[str]:
    """Return where wearable and reference go.

    Parameters
    ----------
    study : Study
    sides : tuple of str
        The sides that the trials table names; may be empty.
    """
    worn = f" on the {' and the '.join(sides)}" if sides else ""
    side = f"Side: {' and '.join(sides)}." if sides else "Side: write it down for every trial."
    lines = [
        line
        for one in wearables_of(study)
        for line in in_lines(_wearable(one.study, worn), "Wearable", one.name)
    ]
    lines += [
        line
        for one in references_of(study)
        for line in in_lines(_reference(one.study), "Reference", one.name)
    ]
    together = [AT_ONCE] if study.parts else []
    again = [PLACED_ANEW] if len({trial.session for trial in study.trials}) > 1 else []
    return [side, *lines, *together, RANGE_TRIED, *again]


def _wearable(study: Study, worn: str) -> list[str]:
    """Return where one wearable goes, and its channels."""
    wearable, joint = study.wearable, JOINTS[study.joint]
    if isinstance(wearable, AngleWearable):
        return _device(wearable, joint)
    return [_two_sensors(joint, worn), *_channels(wearable, joint), *_mounting(study)]


def uses_magnetometers(study: Study) -> bool:
    """Return whether a procedure of the study takes the heading from the magnetic field."""
    return any(_uses_magnetometers(one.study) for one in wearables_of(study))


def _uses_magnetometers(study: Study) -> bool:
    wearable = study.wearable
    return isinstance(wearable, InertialWearable) and any(
        needs_magnetometers(name) for name in wearable.procedures
    )


def _device(wearable: AngleWearable, joint: Joint) -> list[str]:
    """Return what is known of a device that delivers the angle itself."""
    columns = ", ".join(wearable.columns)
    return [
        (
            f"Wearable: it computes the {joint.name} angle itself (column {columns}, "
            f"{wearable.unit}). Put on and calibrate it as its maker says, each time the same way."
        ),
        (
            "What it computes inside is not known here and not mended afterwards: write down its "
            "firmware, mode and settings, and change none of them during the study."
        ),
    ]


def _two_sensors(joint: Joint, worn: str) -> str:
    return (
        f"Wearable: one sensor on the {joint.proximal.name} (proximal, nearer the trunk), one on "
        f"the {joint.distal.name} (distal){worn}. Check which is which before strapping: "
        "names on the sensors, or move one and look."
    )


def _channels(wearable: InertialWearable | OrientationWearable, joint: Joint) -> list[str]:
    """Return a line a sensor: its channels in the order of its axes, and its file."""
    lines = []
    for place, segment in joint.segments.items():
        sensor = wearable.proximal if place == "proximal" else wearable.distal
        names = [f"{kind} {', '.join(value)}" for kind, value in sensor if isinstance(value, tuple)]
        own = f"; file {getattr(wearable.files, place)}" if wearable.files is not None else ""
        lines.append(f"{segment.name.capitalize()} ({place}): {'; '.join(names)}{own}.")
    return lines


def _mounting(study: Study) -> list[str]:
    """Return how sensors are strapped, whose mounting is found from standing and movement."""
    kind = "x, y, z of a right-handed frame"
    if isinstance(study.wearable, OrientationWearable):
        kind = "w, x, y, z, sensor to earth"
    lines = [
        (
            f"Axes as the study file has them: {kind}. The sensors may be turned any way on the "
            "segment, over little muscle, but must not move from neutral standing to the last "
            "cycle. A sensor that slipped or was taken off needs neutral standing "
            "and functional movement anew, in a further trial."
        )
    ]
    if _uses_magnetometers(study):
        lines.append(
            "The heading is taken from the magnetic field: no magnet, phone, keys, steel brace or "
            "magnetic clasp near a sensor; calibrate the magnetometers as their maker says, away "
            "from iron."
        )
    elif isinstance(study.wearable, InertialWearable):
        lines.append(
            "No magnetometer is used: standing, movement and walk belong into one recording "
            "without a gap, and the joint has to move about, not bend on the spot alone."
        )
    return lines


def _reference(study: Study) -> list[str]:
    reference, joint = study.reference, JOINTS[study.joint]
    if reference is None:
        return [NO_REFERENCE]
    if isinstance(reference, MarkerReference):
        lines = _markers(reference)
    elif isinstance(reference, OrientationReference):
        lines = [
            (
                f"Reference: the frames of {joint.proximal.name} and {joint.distal.name}, with the "
                f"axis {reference.flexion_axis} mediolateral and {reference.long_axis} along the "
                "segment."
            )
        ]
    else:
        lines = _angle(reference, joint)
    if reference.zero_at_standing:
        lines.append(
            "The reference's zero is taken from neutral standing: it has to record that too."
        )
    return lines


def _angle(reference: AngleReference, joint: Joint) -> list[str]:
    lines = [
        (
            f"Reference: a goniometer or the like over the {joint.name} (column {reference.angle}, "
            f"{reference.unit}); flexion {'positive' if reference.sign == 1 else 'negative'} in "
            f"its file. One end on the {joint.proximal.name}, one on the {joint.distal.name}, "
            "along the segments, clear of the sensors; its spring is guided, not stretched."
        )
    ]
    if reference.limits is not None:
        low, high = reference.limits
        lines.append(f"Its range is {low:g} to {high:g} {reference.unit}: stay inside.")
    if reference.calibration is not None:
        lines.append(
            f"Take its readings at known angles first: file {reference.calibration}, columns value "
            "and angle_deg."
        )
    return lines


def _markers(reference: MarkerReference) -> list[str]:
    lines = [
        (
            "Reference: optical markers. Proximal: "
            f"{', '.join(reference.proximal.names)}. Distal: {', '.join(reference.distal.names)}. "
            "Each landmark's marker sits on the bone, none on a strap or a sensor."
        )
    ]
    start, end = reference.calibration_start_s, reference.calibration_end_s
    if start is not None and end is not None:
        lines.append(
            f"Every landmark has to be seen from {start:g} to {end:g} s of the cameras' recording: "
            "stand still there."
        )
    lines.append(
        "Gaps of a marker above "
        f"{reference.max_gap_s:g} s stay gaps. Sunlight and shining things are covered; beyond the "
        "cameras' volume there is no reference."
    )
    return lines
