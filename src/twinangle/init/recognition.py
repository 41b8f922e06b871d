"""What the channels of a file are, by their names and by what the file itself says of them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from twinangle.formats.description import ChannelDescription, FileDescription
from twinangle.init.languages import LABELS, in_english
from twinangle.init.name_parts import INSTRUMENTS, NameParts, name_parts
from twinangle.init.units_in_names import angle_unit, without_unit
from twinangle.init.unnamed_instruments import by_unit_or_symbol
from twinangle.signals.joint import JOINTS, SEGMENTS, Joint

ANGLE_WORDS = ("flexion", "flex ext", "flexext", "angle", "gonio", "goniometer", "jntang")
SIDES = {"left": ("left", "l"), "right": ("right", "r")}
MARKER = re.compile(r"(.*?[^\W_].*?)([_ .:-]?)([xyzXYZ])((?:[_ ]?[(\[]?(?:mm|cm|m)[)\]]?)?)")
NUMBERED_AXES = {" 1": "x", " 2": "y", " 3": "z"}  # columns of a matrix
SHORT = 3  # letters: "arm" is not the beginning of another word
FEWEST_MARKERS = 4  # of a sagittal angle

Instruments = dict[str, tuple[str, ...]]  # each instrument's channels in the order of the axes


@dataclass(frozen=True, slots=True)
class Sensors:
    """The sensors of one file: each segment's instruments, and those of no segment.

    `lone` is the sensor of a file that holds one of no segment; `called` are several of them, by
    what sets their names apart ("S1", a serial number). `sides` are the sides that the channels
    tell; of two, the sensors are those of the first.
    """

    by_segment: Mapping[str, Instruments]
    lone: Instruments
    called: Mapping[str, Instruments]
    sides: tuple[str, ...]
    labels: tuple[str, ...] = ()  # short ones, by which alone the segments were told


@dataclass(frozen=True, slots=True)
class Markers:
    """Optical markers of one file, and how their columns are called."""

    names: tuple[str, ...]
    pattern: str  # "{marker}_{axis}_mm", or with {AXIS} for capitals
    unit: str


def words(name: str) -> str:
    """Return a name in lower case and in English, its parts set apart by single spaces."""
    apart = in_english(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name))
    return " ".join(re.split(r"[^a-z0-9]+", apart.lower())).strip()


def segment_of(text: str, joint: Joint | None = None) -> str | None:
    """Return the segment that words name, "proximal" or "distal", of one joint or of any.

    A segment between two joints is one of the joint that stands first in `JOINTS`.
    """
    for each in JOINTS.values() if joint is None else (joint,):
        matches = [
            (len(word), name)
            for name, part in each.segments.items()
            for word in (*part.words, name)
            if _names(word, text)
        ]
        if matches:  # the longest: a lower arm is no arm
            return max(matches, key=lambda found: found[0])[1]
    return None


def _names(word: str, text: str) -> bool:
    """Tell whether a text has a word, a short one with nothing more than a number after it."""
    end = r"(?=$|\s|\d)" if len(word) <= SHORT else ""
    return re.search(rf"(^|\s){word}{end}", text) is not None


def side_of(text: str) -> str:
    """Return the side that a whole word names; empty where none does."""
    parts = text.split()
    return next((side for side, spelt in SIDES.items() if any(s in parts for s in spelt)), "")


def find_sensors(description: FileDescription) -> Sensors:
    """Return the sensors whose channels are all there, axis by axis.

    They are those of the joint with sensors on most of its segments.
    """
    found = [_sensors_of(description, joint) for joint in JOINTS.values()]
    return max(found, key=lambda each: sum(map(bool, each.by_segment.values())))


def _sensors_of(description: FileDescription, joint: Joint) -> Sensors:
    """Return the sensors, each on the segment of this joint that its channels name."""
    axes: dict[tuple[str, str, str], dict[str, str]] = {}
    untold = _untold(description)
    rests: dict[tuple[str, str, str], set[str]] = {}
    for channel in description.channels:
        place = _place(channel, joint, untold.get(channel.name))
        if place is not None:
            side, segment, instrument, axis = place
            axes.setdefault((side, segment, instrument), {}).setdefault(axis, channel.name)
            if channel.name in untold:
                rests.setdefault((side, segment, instrument), set()).add(untold[channel.name].rest)
    for several in (key for key, found in rests.items() if len(found) > 1):
        del axes[several]  # two of one unit on one segment: which is the sensor's nothing tells
    sides = tuple(dict.fromkeys(side for side, segment, _ in axes if side and segment))
    by_segment: dict[str, Instruments] = {segment: {} for segment in joint.segments}
    lone: Instruments = {}
    for (side, segment, instrument), names in axes.items():
        if side in ("", *sides[:1]):
            sensor = by_segment[segment] if segment else lone
            sensor |= _whole(instrument, names)
    called = _called(description, joint, untold)
    by_label = {label.lower(): each for label, each in called.items()}
    for labels in LABELS.get(joint.name, ()):
        if by_label.keys() == set(labels) and not any(by_segment.values()):
            by_segment |= dict(zip(SEGMENTS, (by_label[one] for one in labels), strict=True))
            return Sensors(by_segment, lone, {}, sides, tuple(each.upper() for each in labels))
    if len(called) < 2:
        return Sensors(by_segment, lone | next(iter(called.values()), {}), {}, sides)
    return Sensors(by_segment, {}, called, sides)


def _untold(description: FileDescription) -> dict[str, NameParts]:
    """Return what units or symbols tell of the channels, for instruments that no word tells."""
    told = set()
    for channel in description.channels:
        for text in (channel.role, without_unit(channel.name)):
            parts = name_parts(text)
            told |= {parts.instrument if parts else first_match(words(text), INSTRUMENTS)}
    found = by_unit_or_symbol(description.channels)
    return {name: parts for name, parts in found.items() if parts.instrument not in told}


def is_sensor(instruments: Instruments) -> bool:
    """Tell whether these are the channels of one whole sensor."""
    return "quaternion" in instruments or {"accelerometer", "gyroscope"} <= set(instruments)


def _whole(instrument: str, names: Mapping[str, str]) -> Instruments:
    """Return an instrument's channels in the order of its axes; nothing where one is missing."""
    wanted = "wxyz" if instrument == "quaternion" else "xyz"
    return {instrument: tuple(names[a] for a in wanted)} if set(wanted) == set(names) else {}


def _called(
    description: FileDescription, joint: Joint, untold: Mapping[str, NameParts]
) -> dict[str, Instruments]:
    """Return whole sensors of no segment by what their channels' names have in common."""
    axes: dict[tuple[str, str], dict[str, str]] = {}
    for channel in description.channels:
        parts = name_parts(channel.role) or name_parts(without_unit(channel.name))
        parts = parts or untold.get(channel.name)
        if parts is not None and not segment_of(words(parts.rest), joint):
            axes.setdefault((parts.rest, parts.instrument), {})[parts.axis] = channel.name
    found: dict[str, Instruments] = {}
    for (rest, instrument), names in axes.items():
        found.setdefault(rest, {}).update(_whole(instrument, names))
    return {rest: each for rest, each in found.items() if is_sensor(each)}


def _place(
    channel: ChannelDescription, joint: Joint, untold: NameParts | None
) -> tuple[str, str, str, str] | None:
    """Return side, segment (may be empty), instrument and axis, from role, name or unit."""
    both = f"{words(channel.role)} {words(channel.name)}"
    side, segment = side_of(both), segment_of(both, joint) or ""
    for text in (words(channel.role), words(without_unit(channel.name))):
        instrument = first_match(text, INSTRUMENTS)
        axis = NUMBERED_AXES.get(text[-2:], text[-1:])
        if instrument and axis and axis in "wxyz":
            return side, segment, instrument, axis
    # What stands after the axis, or against it.
    parts = name_parts(without_unit(channel.name)) or untold
    return (side, segment, parts.instrument, parts.axis) if parts and segment else None


def find_angles(description: FileDescription) -> list[str]:
    """Return the channels of an angle by name or role, no marker; else a lone one in degrees."""
    coordinates = {
        name for channels in _coordinates(description).values() for name in channels.values()
    }
    found = [
        channel.name
        for channel in description.channels
        if channel.name not in coordinates
        and any(
            word in f"{words(channel.role)} {words(channel.name)}"
            for word in (*JOINTS, *ANGLE_WORDS)
        )
    ]
    return found or _lone_angle(description)


def _lone_angle(description: FileDescription) -> list[str]:
    """Return the only channel of a file if it is in degrees or radians, whatever its name."""
    names = signals_of(description)
    units = {each.name: each.unit for each in description.channels}
    alone = len(names) == 1 and angle_unit(names[0], units[names[0]]) in ("deg", "rad")
    return list(names) if alone else []


def signals_of(description: FileDescription) -> tuple[str, ...]:
    """Return the columns beside the time; where none is called so, beside those that increase."""
    clock = {description.time} if description.time is not None else {*description.rising}
    names = [each.name for each in description.channels]
    return tuple(name for name in names if name not in clock) or tuple(names)


def find_markers(description: FileDescription) -> Markers | None:
    """Return markers, at least four: as many as the plain sagittal angle needs."""
    coordinates = _coordinates(description)
    if len(coordinates) < FEWEST_MARKERS:
        return None
    _, between, axis, after = next(iter(coordinates))
    names = tuple(key[0] for key in coordinates if key[1:] == (between, axis, after))
    units = {channel.name: channel.unit for channel in description.channels}
    unit = units[next(iter(coordinates.values()))["x"]] or re.sub(r"[^a-z]", "", after)
    return Markers(names, f"{{marker}}{between}{axis}{after}", unit or "?")


def _coordinates(
    description: FileDescription,
) -> dict[tuple[str, str, str, str], dict[str, str]]:
    """Return names that occur with x, y and z and are lengths, with their three channels.

    Where neither file nor name declares a unit nothing tells a marker from another vector, so a
    name that says what else it is (acceleration, rate, field) is none.
    """
    found: dict[tuple[str, str, str, str], dict[str, str]] = {}
    for channel in description.channels:
        match = MARKER.fullmatch(channel.name)
        if match is None or channel.unit not in ("", "mm", "cm", "m"):
            continue
        marker, between, axis, after = match.groups()
        if first_match(words(marker), INSTRUMENTS) is None:
            key = (marker, between, "{axis}" if axis.islower() else "{AXIS}", after)
            found.setdefault(key, {})[axis.lower()] = channel.name
    return {key: channels for key, channels in found.items() if len(channels) == 3}


def first_match(text: str, known: Mapping[str, Iterable[str]]) -> str | None:
    """Return the first key one of whose spellings begins a word of a text."""
    return next(
        (
            name
            for name, spellings in known.items()
            if any(re.search(rf"(^|\s){spelling}", text) for spelling in spellings)
        ),
        None,
    )
