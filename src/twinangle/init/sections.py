"""`[wearable]` and `[reference]` sections for what was recognised; open places hold "?"."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

from twinangle.formats.description import FileDescription
from twinangle.init.languages import in_english
from twinangle.init.recognition import (
    Instruments,
    Markers,
    Sensors,
    find_angles,
    find_markers,
    find_sensors,
    is_sensor,
    signals_of,
    words,
)
from twinangle.init.toml_lines import clock_lines, one_line, quoted
from twinangle.init.units_in_names import angle_unit, sensor_unit
from twinangle.naming import listed
from twinangle.signals.joint import SEGMENTS, joint_named, joint_of

UNIT_CHOICES = {
    "accelerometer": '"m/s^2", "g" or "mg"',
    "gyroscope": '"rad/s" or "deg/s"',
    "magnetometer": '"uT", "gauss" or "normalised"',
}
REFERENCE_WORDS = frozenset(
    ("gonio", "goniometer", "electrogoniometer", "ref", "reference", "optical", "mocap", "optic")
)
BY_NAMES = "by the columns' names"
ASKING = """\
# The file holds {n} sensors, {names}; no name tells where each was worn.
# The notes of the sessions decide. Without notes look at the gyroscopes while only the {distal}
# moves (seated, the joint bent and stretched): its own sensor turns, the {proximal}'s hardly does.
# Write what each is into the brackets below; it holds for every recording."""
EITHER = (
    "in its place [wearable.proximal] if on the {proximal}, [wearable.distal] if on the {distal}"
)
HERE = {"proximal": "<proximal>", "distal": "<distal>"}  # until the study's joint is known


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
    section = draft_section(description)
    return None if section is None else with_segments(section, joint_in(section))


def as_wearable(section: str) -> str | None:
    """Return the section of a ready angle for a device that computes it; None for other sections.

    Names do not tell whether an angle is a goniometer's or a wearable's.

    Parameters
    ----------
    section : str
        As :func:`suggest_section` returns it.

    Returns
    -------
    str or None
    """
    ready = section.startswith("[reference]") and 'kind = "angle"' in section
    return angle_wearable(section) if ready else None


def joint_in(sections: str) -> str:
    """Return the joint that sections speak of, what their comments say left out."""
    return joint_of(in_english(re.sub(r"(?m)\s#.*$", "", sections)))


def with_segments(section: str, joint: str) -> str:
    """Return a section whose comments call the segments as this joint does."""
    for segment, named in joint_named(joint).segments.items():
        section = section.replace(HERE[segment], named.name)
    return section


def draft_section(description: FileDescription) -> str | None:
    """Return the section of `suggest_section`, for a study whose joint is not known yet."""
    sensors = find_sensors(description)
    section = _wearable(description, description, sensors.by_segment)
    if section is not None and len(sensors.sides) > 1:
        section = f"# The file holds both sides; these are the {sensors.sides[0]} ones.\n{section}"
    if section is not None and sensors.labels:
        first, second = sensors.labels
        proximal, distal = HERE["proximal"], HERE["distal"]
        said = f"# {first} was taken for the {proximal}'s sensor, {second} for the {distal}'s."
        section = f"{said}\n{section}"
    if section is not None:
        return section
    if sensors.called and not any(map(is_sensor, sensors.by_segment.values())):
        return _asking_section(description, sensors)
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
    clock = clock_lines(description)
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
            *clock_lines(description),
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


def _asking_section(description: FileDescription, sensors: Sensors) -> str:
    """Return a section for sensors that names tell apart, but not which was worn where."""
    called = {name or "unnumbered": each for name, each in sensors.called.items()}
    notes = ["", *ASKING.format(n=len(called), names=listed(called), **HERE).splitlines()]
    notes += ["# Take out the others."] * (len(called) > 2)
    heads = {name: f'[wearable."? {name}"]   # {EITHER.format(**HERE)}' for name in called}
    clock = clock_lines(description)
    if not all({"accelerometer", "gyroscope"} <= set(each) for each in called.values()):
        return "\n".join(_orientation_lines(called, heads, clock, notes))
    return "\n".join(_inertial_lines((description,), called, heads, clock, notes))


def _listed(names: Iterable[str]) -> str:
    return f"[{', '.join(quoted(name) for name in names)}]"


def _wearable(
    proximal: FileDescription, distal: FileDescription, sensors: Mapping[str, Instruments]
) -> str | None:
    clock = clock_lines(proximal)
    two = {segment: sensors[segment] for segment in SEGMENTS}
    heads = {segment: f"[wearable.{segment}]" for segment in SEGMENTS}
    if all({"accelerometer", "gyroscope"} <= set(each) for each in two.values()):
        return "\n".join(_inertial_lines((proximal, distal), two, heads, clock))
    if all("quaternion" in each for each in two.values()):
        return "\n".join(_orientation_lines(two, heads, clock))
    return None


def _inertial_lines(
    files: Sequence[FileDescription],
    sensors: Mapping[str, Instruments],
    heads: Mapping[str, str],
    clock: Sequence[str],
    notes: Sequence[str] = (),
) -> list[str]:
    instruments = [each for each in UNIT_CHOICES if all(each in s for s in sensors.values())]
    lines = ["[wearable]", 'kind = "inertial"', *clock]
    lines.append('gyroscope_sample = "instantaneous"   # or "interval-mean": see the device')
    if "magnetometer" not in instruments:
        lines.append('procedures = ["kalman-joint-centre"]   # there is no magnetometer')
    lines += notes
    for key, sensor in sensors.items():
        lines += ["", heads[key]]
        lines += [f"{each} = {_listed(sensor[each])}" for each in instruments]
    return lines + _unit_lines(files, sensors, instruments)


def _unit_lines(
    files: Sequence[FileDescription],
    sensors: Mapping[str, Instruments],
    instruments: Sequence[str],
) -> list[str]:
    """Return `[wearable.units]`: what the files do not declare, by the names or left open."""
    declared = {channel.name for each in files for channel in each.channels if channel.unit}
    lines = []
    for each in instruments:
        names = [name for sensor in sensors.values() for name in sensor[each]]
        unit = sensor_unit(names, each)
        if not declared.issuperset(names):
            lines.append(
                f'{each} = "?"   # {UNIT_CHOICES[each]}'
                if unit is None
                else f"{each} = {quoted(unit)}   # {BY_NAMES}"
            )
    return ["", "[wearable.units]", *lines] if lines else []


def _orientation_lines(
    sensors: Mapping[str, Instruments],
    heads: Mapping[str, str],
    clock: Sequence[str],
    notes: Sequence[str] = (),
) -> list[str]:
    lines = ["[wearable]", 'kind = "orientation"', *clock, *notes]
    for key, sensor in sensors.items():
        lines += ["", heads[key], f"quaternion = {_listed(sensor['quaternion'])}"]
    return lines


def _angle_section(description: FileDescription, angles: list[str]) -> str:
    name = angles[0]
    declared = next(channel.unit for channel in description.channels if channel.name == name)
    lines = ["[reference]", 'kind = "angle"', *clock_lines(description)]
    lines.append(f"angle = {quoted(name)}")
    lines += _angle_unit_lines(angle_unit(name, declared), named=not declared)
    if len(angles) > 1:
        lines.append(f"# other angles in the file: {', '.join(angles[1:])}")
    return "\n".join(lines)


def _angle_unit_lines(unit: str | None, *, named: bool) -> list[str]:
    """Return the lines on an angle's unit, its gain where it is a voltage, and its sign."""
    said = "by the column's name" if unit and named else '"deg", "rad" or "V" with a gain'
    gain = 'gain = "?"                       # degrees per volt, or: calibration = "file"'
    return [
        f'unit = "{unit or "?"}"                     # {said}',
        *([gain] if unit == "V" else []),
        "sign = 1                         # -1 where flexion is negative in the file",
    ]


def blank_reference(description: FileDescription) -> str:
    """Return a `[reference]` section of an angle whose column no name tells."""
    names = signals_of(description)
    units = {
        angle_unit(each.name, each.unit) for each in description.channels if each.name in names
    }
    shown = ", ".join(quoted(one_line(name)) for name in names)
    asked = f'angle = "?"                      # the column of the angle, one of: {shown}'
    alone = f"angle = {quoted(names[0])}   # the only column beside the time"
    return "\n".join(
        [
            "[reference]",
            'kind = "angle"                   # or another (docs/reference/study-file.md)',
            *clock_lines(description),
            alone if len(names) == 1 and description.time is not None else asked,
            *_angle_unit_lines(units.pop() if len(units) == 1 else None, named=True),
        ]
    )


def _marker_section(description: FileDescription, markers: Markers) -> str:
    """Return a section for markers; which of them lie on the joint's segments is left open."""
    landmarks = ["markers", "lateral", "medial"]
    lines = ["[reference]", 'kind = "markers"', *clock_lines(description)]
    if markers.pattern != "{marker}_{axis}":
        lines.append(f"marker_columns = {quoted(markers.pattern)}")
    lines.append(f"unit = {quoted(markers.unit)}")
    lines += [f'calibration_{end}_s = "?"   # every landmark seen' for end in ("start", "end")]
    shown = [re.sub(r"\s", " ", name) for name in markers.names]
    lines.append(f"# markers in the file: {', '.join(shown)}")
    for segment, keys in (("proximal", [*landmarks, "upper"]), ("distal", landmarks)):
        lines += ["", f"[reference.{segment}]", *(f'{key} = "?"' for key in keys)]
    return "\n".join(lines)
