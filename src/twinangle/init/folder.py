"""A whole folder, or a whole Motion-BIDS data set: its recordings, paired, as a study."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from twinangle.errors import RecordingError, StudyError
from twinangle.formats import FORMATS, describe_file
from twinangle.formats.bids_layout import DESCRIPTION, read_table
from twinangle.formats.bids_motion import ENDING
from twinangle.formats.delimited_layout import MISSING_WORDS
from twinangle.formats.description import FileDescription
from twinangle.init.pairing import pair_names, split_in_pairs
from twinangle.init.places import (
    Place,
    data_set_identity,
    identity,
    place_in_data_set,
    place_of,
)
from twinangle.init.recognition import words
from twinangle.init.sections import (
    REFERENCE_WORDS,
    angle_wearable,
    blank_section,
    quoted,
    suggest_section,
    two_angles,
)
from twinangle.init.sensor_files import (
    SensorFile,
    lone_sensor,
    pair_sensors,
    patterns,
    section_of_pair,
)
from twinangle.signals.joint import joint_named, joint_of

MOST_FILES = 2000
AGREEMENT = """\
[agreement]
confidence = 0.95                # of every interval
# acceptable_deg =               # the largest difference you can accept, in degrees: your own, set
#                                # before you look; without it nothing is tested against a margin"""
NOT_RAW = ("derivatives", "sourcedata", "code", "phenotype", "stimuli")
TABLE_COLUMNS = (
    "participant", "session", "condition", "trial", "side", "wearable", "proximal_file",
    "distal_file", "distal_lag_s", "reference", "static", "static_start_s", "static_end_s",
    "functional", "functional_start_s", "functional_end_s", "exclude",
)  # fmt: skip
ALWAYS = (
    "participant", "session", "condition", "trial", "side", "wearable", "reference",
    "static_start_s", "static_end_s", "functional_start_s", "functional_end_s", "exclude",
)  # fmt: skip
Row = dict[str, str]


@dataclass(frozen=True, slots=True)
class StudyProposal:
    """A first study file and trials table, and what they rest on.

    `recognised` and `open_questions` are sentences for the terminal.
    """

    study_toml: str
    trials_csv: str
    recognised: tuple[str, ...]
    open_questions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Found:
    """One recording: its cells in the table, its place in the study, the section that reads it."""

    path: str  # relative to the folder, or both of two files
    cells: Row
    place: Place
    section: str  # TOML
    description: FileDescription | None = None  # None of two files


@dataclass(slots=True)
class _Look:
    """What was found in a folder."""

    wearables: list[_Found] = field(default_factory=list)
    references: list[_Found] = field(default_factory=list)
    unknown: list[_Found] = field(default_factory=list)
    sensors: list[SensorFile] = field(default_factory=list)
    recognised: list[str] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)


def propose_study(folder: str | Path) -> StudyProposal:
    """Propose a study file and a trials table for a folder of recordings.

    Parameters
    ----------
    folder : path
        Searched with all folders below it; files that begin with a dot are left out. In a data
        set of the Brain Imaging Data Structure the motion recordings of its participants are
        looked at, by its entities, and participants.tsv gives covariates.

    Returns
    -------
    StudyProposal
        Nothing is written.

    Raises
    ------
    StudyError
        If the folder does not exist, or holds no recording that can be read.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise StudyError(f"{folder}: is not a folder; give the folder that holds the recordings.")
    whole_set = (folder / DESCRIPTION).is_file()
    look = _look_at_files(folder, place_in_data_set if whole_set else place_of)
    files_section = _join_sensors(look)
    trials = _trials(look)
    if not trials:
        what = " ".join(look.questions) or "It holds no file of a known format."
        raise StudyError(
            f"{folder}: no recording of two inertial sensors is recognised by its channel names "
            f"(such as thigh_acc_x and shank_gyr_z). {what}"
        )
    wearable, odd = _commonest(look.wearables)
    reference, odd_references = _commonest(look.references) if look.references else (None, [])
    rows = _rows(look, trials, data_set_identity if whole_set else identity)
    covariates = _add_participants(folder, rows) if whole_set else ()
    look.questions += [
        f"{path}: has other channels than most files of its kind; a study has one layout."
        for path in (*odd, *odd_references)
    ]
    study = _study_text(folder, [wearable, files_section], reference)
    look.questions += [
        f"study.toml: {line.strip()}" for line in study.splitlines() if '"?"' in line
    ]
    ready_made = 'kind = "angle"' in wearable
    if not ready_made and not all(row.get("static") for row in rows):
        look.questions.append(
            "trials.csv: when each person stood still (static_start_s, static_end_s)."
        )
    return StudyProposal(
        study_toml=study,
        trials_csv=_table_text(rows, covariates),
        recognised=tuple(look.recognised),
        open_questions=tuple(look.questions),
    )


def write_proposal(folder: str | Path, proposal: StudyProposal) -> tuple[Path, Path]:
    """Write the proposal as `study.toml` and `trials.csv`; never overwrite.

    Raises
    ------
    StudyError
        If either file exists already, or the folder cannot be written to.
    """
    paths = Path(folder) / "study.toml", Path(folder) / "trials.csv"
    for path in paths:
        if path.exists():
            raise StudyError(f"{path}: exists already; move it away first. Nothing was written.")
    for path, text in zip(paths, (proposal.study_toml, proposal.trials_csv), strict=True):
        try:
            with path.open("x", encoding="utf-8", newline="") as stream:
                stream.write(text)
        except OSError as error:
            raise StudyError(f"{path}: cannot be written: {error.strerror}.") from error
    return paths


def _look_at_files(folder: Path, place_by: Callable[[str], Place]) -> _Look:
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
    look = _Look()
    for path in paths:
        name = path.relative_to(folder).as_posix()
        try:
            _sort(look, name, place_by(name), path)
        except RecordingError as error:
            look.questions.append(str(error).replace(str(path), name))
    return look


def _is_looked_at(parts: Sequence[str], *, whole_set: bool) -> bool:
    if any(part.startswith(".") for part in parts):
        return False
    return not (whole_set and parts[0] in NOT_RAW)


def _sort(look: _Look, name: str, place: Place, path: Path) -> None:
    """Put one file among the wearables, the references, the lone sensors or the questions."""
    description = describe_file(path)
    section = suggest_section(description)
    sensor = lone_sensor(name, place, description)
    if sensor is not None:
        look.sensors.append(sensor)
    elif section is not None and "[wearable]" in section:
        look.wearables.append(_Found(name, {"wearable": name}, place, section, description))
        look.recognised.append(f"{name}: wearable{_of_part(place)}")
    elif section is not None:
        look.references.append(_Found(name, {"reference": name}, place, section, description))
        look.recognised.append(f"{name}: reference")
    else:
        section = blank_section(replace(description, path=name))
        look.unknown.append(_Found(name, {"wearable": name}, place, section, description))
        look.questions.append(f"{name}: no channel is recognised by its name.")


def _of_part(place: Place) -> str:
    return {"static": ", neutral standing", "functional": ", functional movement"}.get(
        place.part, ""
    )


def _join_sensors(look: _Look) -> str | None:
    """Turn files of one sensor into wearables, and return the section `[wearable.files]`."""
    pairs, left_over = pair_sensors(look.sensors)
    look.questions += left_over
    readable = [pair for pair in pairs if section_of_pair(pair) is not None]
    look.questions += [
        f"{pair.proximal.path} and {pair.distal.path}: hold sensors of unlike kinds."
        for pair in pairs
        if pair not in readable
    ]
    if not readable:
        return None
    section, cells = patterns(readable)
    for pair, own in zip(readable, cells, strict=True):
        paths = [file.path for file in pair.both]
        place = pair.proximal.place
        look.wearables.append(_Found(" and ".join(paths), own, place, section_of_pair(pair) or ""))
        look.recognised.append(
            f"{' and '.join(paths)}: wearable, one file a sensor{_of_part(place)}"
        )
    look.questions.append(
        "trials.csv: whether both sensors' files are on one clock (docs/study-file.md, "
        "[wearable.files]); distal_lag_s where they are not."
    )
    return section


def _trials(look: _Look) -> list[_Found]:
    """Return the recordings that make rows: of sensors, else of angles, else of what is there."""
    if not any(not each.place.part for each in look.wearables) and look.references:
        _angles_alone(look)
    trials = [each for each in look.wearables if not each.place.part]
    if not trials:
        lone = [
            _Found(
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


def _angles_alone(look: _Look) -> None:
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


def _tested(angles: list[_Found]) -> list[_Found]:
    """Return the angles to take for the wearable's: those that nothing calls a reference."""
    named = [each for each in angles if _called_reference(each)]
    if named and len(named) < len(angles):
        return [each for each in angles if each not in named]
    sections = list(dict.fromkeys(each.section for each in angles))
    if len(sections) == 2:
        return [each for each in angles if each.section == sections[0]]
    pairs = split_in_pairs([each.path for each in angles])
    return [each for each in angles if each.path in pairs] if pairs else angles


def _called_reference(found: _Found) -> bool:
    names = [channel.name for channel in found.description.channels] if found.description else []
    spoken = words(" ".join([found.path.rpartition(".")[0], *names])).split()
    return bool(REFERENCE_WORDS & set(spoken))


def _paired(look: _Look, trials: list[_Found]) -> dict[str, _Found]:
    """Return the reference of each trial, by the trial's path: of the same words, or by names."""
    by_tokens = {frozenset(each.place.tokens): each for each in look.references if each.cells}
    pairs = {}
    for trial in trials:
        reference = by_tokens.pop(frozenset(trial.place.tokens), None)
        if reference is not None and "reference" not in trial.cells:
            pairs[trial.path] = reference
    used = {each.path for each in pairs.values()}
    left = {each.path: each for each in look.references if each.cells and each.path not in used}
    alone = [each.path for each in trials if each.path not in pairs]
    found = pair_names(alone, list(left))
    return pairs | {path: left[other] for path, other in found.items()}


def _rows(look: _Look, trials: list[_Found], identify: Callable[[Sequence[str]], Row]) -> list[Row]:
    """Return the table's rows, wearable and reference paired by tokens; ask about the rest."""
    pairs = _paired(look, trials)
    rows = []
    for each in trials:
        reference = pairs.get(each.path)
        tokens = each.place.tokens
        if reference is not None:
            shared = tuple(token for token in tokens if token in reference.place.tokens)
            tokens = shared or tokens
        rows.append(identify(tokens) | each.cells | (reference.cells if reference else {}))
    used = {each.path for each in pairs.values()}
    look.questions += [
        f"{each.path}: belongs to no wearable file by its name."
        for each in look.references
        if each.cells and each.path not in used
    ]
    for part in (each for each in look.wearables if each.place.part):
        fitting = [
            row
            for row, trial in zip(rows, trials, strict=True)
            if set(part.place.tokens) <= set(trial.place.tokens)
        ]
        for row in fitting:
            row[part.place.part] = part.cells.get("wearable", "")
        if not fitting or "wearable" not in part.cells:
            look.questions.append(f"{part.path}: belongs to no trial by its name.")
    return rows


def _add_participants(folder: Path, rows: list[Row]) -> tuple[str, ...]:
    """Add what participants.tsv says of each participant; return its columns."""
    try:
        people = read_table(folder / "participants.tsv")
    except (OSError, UnicodeDecodeError, csv.Error):
        return ()
    about = {row.get("participant_id", "").removeprefix("sub-"): row for row in people}
    columns = tuple(
        name for name in (people[0] if people else ()) if name not in ("participant_id", *ALWAYS)
    )
    for row in rows:
        found = about.get(row["participant"], {})
        cells = {name: found.get(name, "") for name in columns}
        row |= {name: "" if cell in MISSING_WORDS else cell for name, cell in cells.items()}
    return columns


def _commonest(found: list[_Found]) -> tuple[str, list[str]]:
    """Return the section most files share, and the paths of those that have another."""
    section, _ = Counter(each.section for each in found).most_common(1)[0]
    return section, [each.path for each in found if each.section != section]


def _study_text(folder: Path, wearable: Sequence[str | None], reference: str | None) -> str:
    sections = [each for each in (*wearable, reference) if each]
    joint = joint_of("".join(sections))
    title = quoted(folder.resolve().name or "Study")
    head = f'[study]\ntitle = {title}\njoint = "{joint}"\ntrials = "trials.csv"'
    return "\n\n".join([head, *sections, _cycles_text(joint), AGREEMENT]) + "\n"


def _cycles_text(joint: str) -> str:
    """Return the section on cycles, with what the joint's cycles most often are."""
    usual = joint_named(joint).movement_studied
    other = {
        "walking": 'or "exercise": repetitions such as squats or seated extensions',
        "exercise": 'repetitions of any kind; or "walking"',
    }[usual]
    return f"[cycles]\nmovement = {quoted(usual):<22} # {other}"


def _table_text(rows: list[Row], covariates: tuple[str, ...]) -> str:
    used = {name for row in rows for name, cell in row.items() if cell}
    columns = [name for name in TABLE_COLUMNS if name in ALWAYS or name in used]
    if "proximal_file" in used:
        columns.remove("wearable")
    text = io.StringIO()
    writer = csv.DictWriter(
        text, [*columns, *covariates], restval="", extrasaction="ignore", lineterminator="\n"
    )
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()
