"""What a folder holds: each file sorted, files of one sensor joined, rows of the table found."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from twinangle.errors import RecordingError, StudyError
from twinangle.formats import FORMATS, describe_file
from twinangle.formats.bids_motion import ENDING
from twinangle.formats.delimited import NO_NUMBERS
from twinangle.formats.description import FileDescription
from twinangle.init.broken_files import BrokenFile, by_its_beginning
from twinangle.init.name_pairs import split_in_pairs
from twinangle.init.partners import paired
from twinangle.init.paths import (
    Place,
    place_in_data_set,
)
from twinangle.init.recognition import words
from twinangle.init.sections import (
    REFERENCE_WORDS,
    angle_wearable,
    blank_reference,
    blank_section,
    draft_section,
    two_angles,
)
from twinangle.init.sensor_files import (
    SensorFile,
    asking_patterns,
    lone_sensor,
    pair_by_label,
    pair_sensors,
    patterns,
    section_of_pair,
)
from twinangle.init.unknown_pairs import references_by_columns
from twinangle.naming import listed

MOST_FILES = 2000
ONE_CLOCK = (
    "trials.csv: whether both sensors' files are on one clock (docs/reference/study-file.md, "
    "[wearable.files]); distal_lag_s where they are not."
)


NOT_RAW = ("derivatives", "sourcedata", "code", "phenotype", "stimuli")


Row = dict[str, str]


@dataclass(frozen=True, slots=True)
class Found:
    """One recording: its cells in the table, its place in the study, the section that reads it."""

    path: str  # relative to the folder, or both of two files
    cells: Row
    place: Place
    section: str  # TOML
    description: FileDescription | None = None  # None of two files


@dataclass(slots=True)
class Look:
    """What was found in a folder."""

    wearables: list[Found] = field(default_factory=list)
    references: list[Found] = field(default_factory=list)
    unknown: list[Found] = field(default_factory=list)
    sensors: list[SensorFile] = field(default_factory=list)
    recognised: list[str] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)  # texts that are no recording
    paths: list[str] = field(default_factory=list)  # of all files looked at
    broken: list[BrokenFile] = field(default_factory=list)


def look_at_files(folder: Path, place_by: Callable[[str], Place]) -> Look:
    """Describe every file of a known format; sort recordings from questions."""
    whole_set = place_by is place_in_data_set
    suffixes = (ENDING,) if whole_set else tuple(s for form in FORMATS for s in form.suffixes)
    paths = [
        path
        for path in sorted(folder.rglob("*"))
        if path.is_file()
        and path.name.lower().endswith(suffixes)
        and path.name not in ("study.toml", "trials.csv")
        and _is_looked_at(path.relative_to(folder).parts, whole_set=whole_set)
    ]
    if len(paths) > MOST_FILES:
        raise StudyError(f"{folder}: holds {len(paths)} files; give a folder of one study.")
    look = Look()
    for path in paths:
        name = path.relative_to(folder).as_posix()
        look.paths.append(name)
        try:
            _sort(look, name, place_by(name), path)
        except RecordingError as error:
            told = str(error).replace(str(path), name)
            if path.suffix.lower() == ".txt" and NO_NUMBERS in told:
                look.ignored.append(told)
            else:
                look.broken.append(BrokenFile(name, place_by(name), told))
    _place_broken(look, folder)
    return look


def _place_broken(look: Look, folder: Path) -> None:
    """Put files that cannot be read beside those that have the same channels."""
    sound = (*look.wearables, *look.references)
    for broken in look.broken:
        found = by_its_beginning(broken, folder / broken.path, sound)
        if found is not None:
            worn = "wearable" in found.cells
            (look.wearables if worn else look.references).append(found)
            what = f"wearable{_of_part(broken.place)}" if worn else "reference"
            look.recognised.append(f"{broken.path}: {what}, by its first rows")
    for several in (look.wearables, look.references):
        several.sort(key=lambda each: look.paths.index(each.path))


def _is_looked_at(parts: Sequence[str], *, whole_set: bool) -> bool:
    if any(part.startswith(".") for part in parts):
        return False
    return not (whole_set and parts[0] in NOT_RAW)


def _sort(look: Look, name: str, place: Place, path: Path) -> None:
    """Put one file among the wearables, the references, the lone sensors or the questions."""
    description = describe_file(path)
    section = draft_section(description)
    sensor = lone_sensor(name, place, description)
    if sensor is not None:
        look.sensors.append(sensor)
    elif section is not None and "[wearable]" in section:
        look.wearables.append(Found(name, {"wearable": name}, place, section, description))
        look.recognised.append(f"{name}: wearable{_of_part(place)}")
    elif section is not None:
        look.references.append(Found(name, {"reference": name}, place, section, description))
        look.recognised.append(f"{name}: reference")
    else:
        section = blank_section(replace(description, path=name))
        look.unknown.append(Found(name, {"wearable": name}, place, section, description))
        held = listed([each.name for each in description.channels[:4]])
        more = ", …" if len(description.channels) > 4 else ""
        look.questions.append(
            f"{name}: no channel is recognised by its name; it holds {held}{more}. Recognised are "
            "names of a segment, an instrument and an axis, such as 'thigh_acc_x'."
        )


def _of_part(place: Place) -> str:
    return {"static": ", neutral standing", "functional": ", functional movement"}.get(
        place.part, ""
    )


def join_sensors(look: Look) -> None:
    """Turn files of one sensor into wearables, whose section ends with `[wearable.files]`."""
    if _join_unnamed(look):
        return
    pairs, left_over = pair_sensors(look.sensors)
    look.questions += left_over
    readable = [pair for pair in pairs if section_of_pair(pair) is not None]
    look.questions += [
        f"{pair.proximal.path} and {pair.distal.path}: hold sensors of unlike kinds."
        for pair in pairs
        if pair not in readable
    ]
    if not readable:
        return
    files, cells = patterns(readable)
    for pair, own in zip(readable, cells, strict=True):
        paths = [file.path for file in pair.both]
        place = pair.proximal.place
        section = f"{section_of_pair(pair)}\n\n{files}"
        look.wearables.append(Found(" and ".join(paths), own, place, section))
        look.recognised.append(
            f"{' and '.join(paths)}: wearable, one file a sensor{_of_part(place)}"
        )
    look.questions.append(ONE_CLOCK)


def _join_unnamed(look: Look) -> bool:
    """Turn files of one sensor, none of whose names tells a segment, into wearables, if it can."""
    if any(each.segment for each in look.sensors) or look.wearables:
        return False
    elsewhere = {t for each in (*look.references, *look.unknown) for t in each.place.tokens}
    joined = pair_by_label(look.sensors, elsewhere)
    found = joined and asking_patterns(*joined)
    if not joined or not found:
        return False
    pairs, labels = joined
    for pair, own in zip(pairs, found[1], strict=True):
        paths = " and ".join(file.path for file in pair.both)
        tokens = tuple(token for token in pair.proximal.place.tokens if token not in labels)
        place = replace(pair.proximal.place, tokens=tokens)
        look.wearables.append(Found(paths, own, place, f"{section_of_pair(pair)}\n\n{found[0]}"))
        look.recognised.append(f"{paths}: taken for the two sensors of one recording")
    look.questions.append(ONE_CLOCK)
    return True


def trials_of(look: Look) -> list[Found]:
    """Return the recordings that make rows: of sensors, else of angles, else of what is there."""
    _take_unknown_references(look)
    sensed = any(not each.place.part for each in look.wearables) or look.sensors
    if look.references and not sensed and not look.unknown:  # which may hold the wearable
        _angles_alone(look)
    trials = [each for each in look.wearables if not each.place.part]
    if not trials:
        lone = [
            Found(
                each.path,
                {"wearable": each.path},
                each.place,
                blank_section(replace(each.description, path=each.path)),
                each.description,
            )
            for each in look.sensors
        ]
        trials = [each for each in (*look.unknown, *lone) if not each.place.part]
        first = [each.section for each in trials[:1]]  # all share its blanks
        trials = [replace(each, section=first[0]) for each in trials]
        look.wearables += trials
    return trials


def _take_unknown_references(look: Look) -> None:
    """Take files of unknown columns for references: those called so, and the sensors' partners."""
    if look.references:
        return
    called = [each for each in look.unknown if called_reference(each)]
    trials = [each for each in look.wearables if not each.place.part]
    belonging = set(
        paired(
            {each.path: each.place.tokens for each in trials},
            {each.path: each.place.tokens for each in look.unknown},
        ).values()
    )
    by_columns: list[Found] = []
    if not (trials or look.sensors or called):
        by_columns, asked_of_pairs = references_by_columns(look.unknown)
        look.questions += asked_of_pairs
    taken = [
        each
        for each in look.unknown
        if each in called or each in by_columns or each.path in belonging
    ]
    if not taken or (len(taken) == len(look.unknown) and not (trials or look.sensors)):
        return
    look.unknown = [each for each in look.unknown if each not in taken]
    look.references = [
        replace(each, cells={"reference": each.path}, section=blank_reference(each.description))
        for each in taken
        if each.description is not None
    ]
    why = ", by its fewer columns" if by_columns else ""
    look.recognised += [
        f"{each.path}: taken for the reference{why}; {_of_its_angle(each.section)}"
        for each in look.references
    ]
    asked = {f"{each.path}: no channel" for each in taken}
    look.questions = [text for text in look.questions if not text.startswith(tuple(asked))]


def _of_its_angle(section: str) -> str:
    if 'angle = "?"' in section:
        return "which of its columns is the angle is asked for"
    return "its only column beside the time is written as the angle"


def _angles_alone(look: Look) -> None:
    """Make wearables of some of the angles, where no sensor is there to be one."""
    angles = [each for each in look.references if 'kind = "angle"' in each.section]
    others = [each for each in look.references if each not in angles]
    in_one = [two_angles(each.description) if each.description else None for each in angles]
    if angles and not others and None not in in_one:
        look.wearables = [
            replace(each, cells={"wearable": each.path, "reference": each.path}, section=both[0])
            for each, both in zip(angles, in_one, strict=True)
            if both is not None
        ]
        look.references = [
            replace(each, section=both[1], cells={})
            for each, both in zip(angles, in_one, strict=True)
            if both is not None
        ]
    else:
        tested = _tested(angles) if not others else angles
        look.wearables = [
            replace(each, cells={"wearable": each.path}, section=angle_wearable(each.section))
            for each in tested
        ]
        look.references = [each for each in look.references if each not in tested]
    if look.wearables:
        parts = {each.path for each in look.wearables}
        look.recognised = [
            text.replace(": reference", ": angle, taken for the wearable's")
            if text.rpartition(":")[0] in parts
            else text
            for text in look.recognised
        ]
        look.questions.append(
            "study.toml and trials.csv: which of the two angles is the wearable's was told by "
            "names alone, or by nothing; swap sections and columns where it is the other way round."
        )


def _tested(angles: list[Found]) -> list[Found]:
    """Return the angles to take for the wearable's: those that nothing calls a reference."""
    named = [each for each in angles if called_reference(each)]
    if named and len(named) < len(angles):
        return [each for each in angles if each not in named]
    sections = list(dict.fromkeys(each.section for each in angles))
    if len(sections) == 2:
        return [each for each in angles if each.section == sections[0]]
    pairs = split_in_pairs([each.path for each in angles])
    return [each for each in angles if each.path in pairs] if pairs else angles


def called_reference(found: Found) -> bool:
    """Tell whether a file or one of its channels is called what references are."""
    names = [channel.name for channel in found.description.channels] if found.description else []
    spoken = words(" ".join([found.path.rpartition(".")[0], *names])).split()
    return bool(REFERENCE_WORDS & set(spoken))
