"""`[wearable]` and `[reference]` sections for what was recognised; open places hold "?"."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

from twinangle.formats.description import FileDescription
from twinangle.init.recognition import (
    Instruments,
    Markers,
    Sensors,
    find_angles,
    find_markers,
    find_sensors,
    words,
)
from twinangle.signals.joint import SEGMENTS

UNIT_CHOICES = {
    "accelerometer": '"m/s^2", "g" or "mg"',
    "gyroscope": '"rad/s" or "deg/s"',
    "magnetometer": '"uT", "gauss" or "normalised"',
}
REFERENCE_WORDS = frozenset(
    ("gonio", "goniometer", "electrogoniometer", "ref", "reference", "optical", "mocap", "optic")
)
UNIT_WORDS = {"deg": "deg", "°": "deg", "degrees": "deg", "rad": "rad", "v": "V", "volt": "V"}


def suggest_section(description: FileDescription) -> str | None:
    """Return a `[wearable]` or `[reference]` section for a file, to paste into a study file.

    Parameters
    ----------
    description : FileDescription
        As `twinangle.formats.describe_file` returns it.

    Returns
    -------
    str or None
        TOML text; a question mark stands where neither names nor file tell. For a file of one
        sensor alone, that sensor's part of the section. None where no channel is recognised.
    """
    sensors = find_sensors(description)
    section = _wearable(description, description, sensors.by_segment)
    if section is not None and len(sensors.sides) > 1:
        section = f"# The file holds both sides; these are the {sensors.sides[0]} ones.\n{section}"
    if section is not None:
        return section
    alone = _lone_section(description, sensors)
    if alone is not None:
        return alone
    angles = find_angles(description)
    if angles:
        return _angle_section(description, angles)
    markers = find_markers(description)
    return _marker_section(description, markers) if markers is not None else None


def angle_wearable(section: str) -> str:
    """Return a `[reference]` section of an angle as one of a wearable."""
    lines = section.splitlines()
    kept = [line for line in lines if not line.startswith(("gain", "# other"))]
    return (
        "\n".join(kept)
        .replace("[reference]", "[wearable]", 1)
        .replace(', "rad" or "V" with a gain', ' or "rad"')
    )


def two_angles(description: FileDescription) -> tuple[str, str] | None:
    """Return the sections of a file that holds both instruments' angles; None where it does not.

    The reference's is the one whose name says goniometer, optical or the like.
    """
    angles = find_angles(description)
    named = [name for name in angles if set(words(name).split()) & REFERENCE_WORDS]
    others = [name for name in angles if name not in named]
    if len(named) != 1 or len(others) != 1:
        return None
    wearable = angle_wearable(_angle_section(description, others))
    return wearable, _angle_section(description, named)


def blank_section(description: FileDescription) -> str:
    """Return a `[wearable]` section of blanks, with the file's channels to fill them from."""
    names = ", ".join(re.sub(r"\s", " ", channel.name) for channel in description.channels)
    clock = _clock_lines(description)
    return "\n".join(
        [
            "[wearable]",
            'kind = "?"                       # "inertial", "orientation" or "angle"',
            *clock,
            f"# channels of {description.path}: {names}",
            "# then, by kind (docs/reference/study-file.md):",
            "#   inertial     [wearable.proximal], [wearable.distal]: accelerometer, gyroscope,",
            "#                three columns each; [wearable.units]",
            "#   orientation  [wearable.proximal], [wearable.distal]: quaternion, four columns",
            '#   angle        angle = "column", unit',
        ]
    )


def _lone_section(description: FileDescription, sensors: Sensors) -> str | None:
    """Return the part of a section that one sensor's file tells; None where it holds none."""
    whole = {segment: each for segment, each in sensors.by_segment.items() if is_sensor(each)}
    if not whole and not is_sensor(sensors.lone):
        return None
    segment, instruments = next(iter(whole.items()), ("?", sensors.lone))
    kind = "orientation" if "accelerometer" not in instruments else "inertial"
    names = [each for each in (*UNIT_CHOICES, "quaternion") if each in instruments]
    return "\n".join(
        [
            "# One sensor alone: [wearable.files] names both sensors' files.",
            "[wearable]",
            f"kind = {quoted(kind)}",
            *_clock_lines(description),
            "",
            f"[wearable.{segment}]" if whole else '["wearable.?"]   # proximal or distal',
            *(f"{each} = {_listed(instruments[each])}" for each in names),
        ]
    )


def wearable_of_two(
    proximal: tuple[FileDescription, Instruments], distal: tuple[FileDescription, Instruments]
) -> str | None:
    """Return a `[wearable]` section for one file a sensor; None where the two hold unlike kinds."""
    by_segment = {"proximal": proximal[1], "distal": distal[1]}
    return _wearable(proximal[0], distal[0], by_segment)


def is_sensor(instruments: Instruments) -> bool:
    """Tell whether these are the channels of one whole sensor."""
    return "quaternion" in instruments or {"accelerometer", "gyroscope"} <= set(instruments)


def quoted(text: str) -> str:
    """Return a TOML string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _listed(names: Iterable[str]) -> str:
    return f"[{', '.join(quoted(name) for name in names)}]"


def _wearable(
    proximal: FileDescription, distal: FileDescription, sensors: Mapping[str, Instruments]
) -> str | None:
    clock = _clock_lines(proximal)
    if all({"accelerometer", "gyroscope"} <= set(sensors[segment]) for segment in SEGMENTS):
        return _inertial_section((proximal, distal), sensors, clock)
    if all("quaternion" in sensors[segment] for segment in SEGMENTS):
        return _orientation_section(sensors, clock)
    return None


def _clock_lines(description: FileDescription) -> list[str]:
    if description.format == "Motion-BIDS" and description.time is not None:
        return []  # its own LATENCY channel, with the start time in scans.tsv
    if description.time is not None:
        return [f"time = {quoted(description.time)}", *_time_unit_line(description)]
    if description.rate_hz == description.rate_hz:  # the file itself tells its rate
        return []
    return ['rate_hz = "?"                    # samples a second, or: time = "column of seconds"']


def _time_unit_line(description: FileDescription) -> list[str]:
    if description.time_unit == "?":
        rate = f"{description.rate_hz:.4g} Hz"
        return [f'time_unit = "?"                  # "s", "ms" or "us"; in seconds it is {rate}']
    unit = description.time_unit
    return [f'time_unit = "{unit}"                 # by the column\'s name'] if unit else []


def _inertial_section(
    files: Sequence[FileDescription], sensors: Mapping[str, Instruments], clock: list[str]
) -> str:
    instruments = [
        each for each in UNIT_CHOICES if all(each in sensors[segment] for segment in SEGMENTS)
    ]
    lines = ["[wearable]", 'kind = "inertial"', *clock]
    lines.append('gyroscope_sample = "instantaneous"   # or "interval-mean": see the device')
    if "magnetometer" not in instruments:
        lines.append('procedures = ["kalman-joint-centre"]   # there is no magnetometer')
    for segment in SEGMENTS:
        lines += ["", f"[wearable.{segment}]"]
        lines += [f"{each} = {_listed(sensors[segment][each])}" for each in instruments]
    units = {channel.name: channel.unit for each in files for channel in each.channels}
    undeclared = [
        each for each in instruments if not all(units[name] for name in sensors["distal"][each])
    ]
    if undeclared:
        lines += ["", "[wearable.units]"]
        lines += [f'{each} = "?"   # {UNIT_CHOICES[each]}' for each in undeclared]
    return "\n".join(lines)


def _orientation_section(sensors: Mapping[str, Instruments], clock: list[str]) -> str:
    lines = ["[wearable]", 'kind = "orientation"', *clock]
    for segment in SEGMENTS:
        quaternion = _listed(sensors[segment]["quaternion"])
        lines += ["", f"[wearable.{segment}]", f"quaternion = {quaternion}"]
    return "\n".join(lines)


def _angle_section(description: FileDescription, angles: list[str]) -> str:
    name = angles[0]
    unit = next(channel.unit for channel in description.channels if channel.name == name)
    last = words(name).rpartition(" ")[2]
    value = UNIT_WORDS.get(unit.lower()) or UNIT_WORDS.get(last) or "?"
    lines = ["[reference]", 'kind = "angle"', *_clock_lines(description)]
    lines.append(f"angle = {quoted(name)}")
    lines.append(f'unit = "{value}"                     # "deg", "rad" or "V" with a gain')
    if value == "V":
        lines.append(
            'gain = "?"                       # degrees per volt, or: calibration = "file"'
        )
    lines.append("sign = 1                         # -1 where flexion is negative in the file")
    if len(angles) > 1:
        lines.append(f"# other angles in the file: {', '.join(angles[1:])}")
    return "\n".join(lines)


def _marker_section(description: FileDescription, markers: Markers) -> str:
    """Return a section for markers; which of them lie on the joint's segments is left open."""
    landmarks = ["markers", "lateral", "medial"]
    lines = ["[reference]", 'kind = "markers"', *_clock_lines(description)]
    if markers.pattern != "{marker}_{axis}":
        lines.append(f"marker_columns = {quoted(markers.pattern)}")
    lines.append(f"unit = {quoted(markers.unit)}")
    lines += [f'calibration_{end}_s = "?"   # every landmark seen' for end in ("start", "end")]
    shown = [re.sub(r"\s", " ", name) for name in markers.names]
    lines.append(f"# markers in the file: {', '.join(shown)}")
    for segment, keys in (("proximal", [*landmarks, "upper"]), ("distal", landmarks)):
        lines += ["", f"[reference.{segment}]", *(f'{key} = "?"' for key in keys)]
    return "\n".join(lines)
