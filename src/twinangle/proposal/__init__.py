"""From a folder of recordings to a first study file: what was recognised, and what was not.

Names are read, values are not: a channel's role is taken from its name, a file's place in the
study from its path. What names do not tell (units, when the person stood still) is left open in
the proposal with a question mark, which the study reader refuses until it is filled in.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from twinangle.errors import RecordingError, StudyError
from twinangle.importers import FORMATS, FileDescription, describe_file

SEGMENTS = {
    "proximal": ("thigh", "femur", "upperarm", "upper arm", "humerus", "proximal"),
    "distal": ("shank", "tibia", "shin", "calf", "lower leg", "lowerleg", "forearm", "distal"),
}
INSTRUMENTS = {
    "accelerometer": ("acceleration", "accelerometer", "accel", "acc"),
    "gyroscope": ("angular velocity", "gyroscope", "gyro", "gyr", "rate"),
    "magnetometer": ("magnetometer", "magn", "mag"),
    "quaternion": ("quaternion", "quat", "orientation", "q"),
}
ANGLE_WORDS = ("knee", "elbow", "flexion", "angle", "gonio", "goniometer")
ROLE_WORDS = frozenset(
    ("wearable", "imu", "imus", "sensor", "sensors", "inertial", "reference", "ref", "gonio",
     "goniometer", "optical", "data", "raw", "motion", "tracksys", "angle", "angles")
)  # fmt: skip
UNIT_CHOICES = {
    "accelerometer": '"m/s^2" or "g"',
    "gyroscope": '"rad/s" or "deg/s"',
    "magnetometer": '"uT", "gauss" or "normalised"',
}
LENGTH_UNITS = ("mm", "cm", "m")
LEAST_MARKERS = 4  # as many as the plain sagittal angle needs
MOST_FILES = 2000
TABLE_COLUMNS = (
    "participant", "session", "condition", "trial", "side", "wearable", "reference",
    "static_start_s", "static_end_s", "functional_start_s", "functional_end_s", "exclude",
)  # fmt: skip


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
    """One recording: where it is, what it holds, and the section that would read it."""

    path: str  # relative to the folder
    role: str  # "wearable" or "reference"
    section: str  # TOML


def suggest_section(description: FileDescription) -> str | None:
    """Return a `[wearable]` or `[reference]` section for a file, to paste into a study file.

    Parameters
    ----------
    description : FileDescription
        As `twinangle.importers.describe_file` returns it.

    Returns
    -------
    str or None
        TOML text; a question mark stands where neither names nor file tell. None where no channel
        is recognised by its name.
    """
    sensors = _sensors(description)
    clock = _clock_lines(description)
    if all("quaternion" in sensors[segment] for segment in SEGMENTS):
        return _orientation_section(sensors, clock)
    if all({"accelerometer", "gyroscope"} <= set(sensors[segment]) for segment in SEGMENTS):
        return _inertial_section(description, sensors, clock)
    markers = _markers(description)
    coordinates = {f"{marker}_{axis}" for marker in markers for axis in "xyz"}
    angles = [
        channel.name
        for channel in description.channels
        if channel.name not in coordinates
        and any(word in _words(channel.name) for word in ANGLE_WORDS)
    ]
    if angles:
        return _angle_section(description, angles, clock)
    return _marker_section(markers, clock) if len(markers) >= LEAST_MARKERS else None


def propose_study(folder: str | Path) -> StudyProposal:
    """Propose a study file and a trials table for a folder of recordings.

    Parameters
    ----------
    folder : path
        Searched with all folders below it; files that begin with a dot are left out.

    Returns
    -------
    StudyProposal
        Nothing is written.

    Raises
    ------
    StudyError
        If the folder does not exist, or no recording of a wearable is recognised in it.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise StudyError(f"{folder}: is not a folder; give the folder that holds the recordings.")
    found, questions = _look_at_files(folder)
    wearables = [each for each in found if each.role == "wearable"]
    if not wearables:
        what = " ".join(questions) or "It holds no file of a known format."
        raise StudyError(
            f"{folder}: no recording of two inertial sensors is recognised by its channel names "
            f"(such as thigh_acc_x and shank_gyr_z). {what}"
        )
    references = [each for each in found if each.role == "reference"]
    rows, unpaired = _pair(wearables, references)
    questions += [f"{path}: belongs to no wearable file by its name." for path in unpaired]
    wearable, odd = _commonest(wearables)
    reference, odd_references = _commonest(references) if references else (None, [])
    questions += [
        f"{path}: has other channels than most files of its kind; a study has one layout."
        for path in (*odd, *odd_references)
    ]
    study = _study_text(folder, wearable, reference)
    questions += [f"study.toml: {line.strip()}" for line in study.splitlines() if '"?"' in line]
    questions.append("trials.csv: when each person stood still (static_start_s, static_end_s).")
    return StudyProposal(
        study_toml=study,
        trials_csv=_table_text(rows),
        recognised=tuple(f"{each.path}: {each.role}" for each in found),
        open_questions=tuple(questions),
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


def _words(name: str) -> str:
    """Return a channel's name in lower case, its parts set apart by single spaces."""
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    return " ".join(re.split(r"[^a-z0-9]+", apart.lower())).strip()


def _sensors(description: FileDescription) -> dict[str, dict[str, tuple[str, ...]]]:
    """Return each segment's instruments with their channels in the order of the axes."""
    axes: dict[tuple[str, str], dict[str, str]] = {}
    for channel in description.channels:
        words = _words(channel.name)
        segment = _first_match(words, SEGMENTS)
        instrument = _first_match(words, INSTRUMENTS)
        axis = words[-1:]
        if segment and instrument and axis in "wxyz":
            axes.setdefault((segment, instrument), {}).setdefault(axis, channel.name)
    sensors: dict[str, dict[str, tuple[str, ...]]] = {segment: {} for segment in SEGMENTS}
    for (segment, instrument), names in axes.items():
        wanted = "wxyz" if instrument == "quaternion" else "xyz"
        if set(wanted) == set(names):
            sensors[segment][instrument] = tuple(names[axis] for axis in wanted)
    return sensors


def _first_match(words: str, known: Mapping[str, Iterable[str]]) -> str | None:
    return next(
        (
            name
            for name, spellings in known.items()
            if any(re.search(rf"(^|\s){spelling}", words) for spelling in spellings)
        ),
        None,
    )


def _clock_lines(description: FileDescription) -> list[str]:
    if description.time is not None:
        return [f"time = {_quoted(description.time)}"]
    if description.rate_hz == description.rate_hz:  # the file itself tells its rate
        return []
    return ['rate_hz = "?"                    # samples a second, or: time = "column of seconds"']


def _quoted(text: str) -> str:
    """Return a TOML string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _listed(names: Iterable[str]) -> str:
    return f"[{', '.join(_quoted(name) for name in names)}]"


def _inertial_section(
    description: FileDescription, sensors: dict[str, dict[str, tuple[str, ...]]], clock: list[str]
) -> str:
    instruments = [
        each for each in UNIT_CHOICES if all(each in sensors[segment] for segment in SEGMENTS)
    ]
    lines = ["[wearable]", 'kind = "inertial"', *clock]
    lines.append('gyroscope_sample = "instantaneous"   # or "interval-mean": see the device')
    for segment in SEGMENTS:
        lines += ["", f"[wearable.{segment}]"]
        lines += [f"{each} = {_listed(sensors[segment][each])}" for each in instruments]
    units = {channel.name: channel.unit for channel in description.channels}
    undeclared = [
        each for each in instruments if not all(units[name] for name in sensors["distal"][each])
    ]
    if undeclared:
        lines += ["", "[wearable.units]"]
        lines += [f'{each} = "?"   # {UNIT_CHOICES[each]}' for each in undeclared]
    return "\n".join(lines)


def _orientation_section(sensors: dict[str, dict[str, tuple[str, ...]]], clock: list[str]) -> str:
    lines = ["[wearable]", 'kind = "orientation"', *clock]
    for segment in SEGMENTS:
        quaternion = _listed(sensors[segment]["quaternion"])
        lines += ["", f"[wearable.{segment}]", f"quaternion = {quaternion}"]
    return "\n".join(lines)


def _angle_section(description: FileDescription, angles: list[str], clock: list[str]) -> str:
    name = angles[0]
    unit = next(channel.unit for channel in description.channels if channel.name == name)
    last = _words(name).rpartition(" ")[2]
    told = {"deg": "deg", "°": "deg", "degrees": "deg", "rad": "rad", "v": "V"}
    value = told.get(unit.lower()) or told.get(last) or "?"
    lines = ["[reference]", 'kind = "angle"', *clock, f"angle = {_quoted(name)}"]
    lines.append(f'unit = "{value}"                     # "deg", "rad" or "V" with a gain')
    lines.append("sign = 1                         # -1 where flexion is negative in the file")
    if len(angles) > 1:
        lines.append(f"# other angles in the file: {', '.join(angles[1:])}")
    return "\n".join(lines)


def _markers(description: FileDescription) -> dict[str, str]:
    """Return each marker, three channels ``name_x``, ``_y``, ``_z`` in a unit of length."""
    units = {channel.name: channel.unit for channel in description.channels}
    names = [name.removesuffix("_x") for name in units if name.endswith("_x")]
    return {
        name: units[f"{name}_x"]
        for name in names
        if all(units.get(f"{name}_{axis}") in LENGTH_UNITS for axis in "xyz")
    }


def _marker_section(markers: Mapping[str, str], clock: list[str]) -> str:
    unit = next(iter(markers.values()))
    landmarks = ["markers", "lateral", "medial"]
    lines = ["[reference]", 'kind = "markers"', *clock, f"unit = {_quoted(unit)}"]
    lines += [f'calibration_{end}_s = "?"   # every landmark seen' for end in ("start", "end")]
    lines.append(f"# markers in the file: {', '.join(markers)}")
    for segment, keys in (("proximal", [*landmarks, "upper"]), ("distal", landmarks)):
        lines += ["", f"[reference.{segment}]", *(f'{key} = "?"' for key in keys)]
    return "\n".join(lines)


def _look_at_files(folder: Path) -> tuple[list[_Found], list[str]]:
    """Describe every file of a known format; return recordings, and questions about the rest."""
    suffixes = tuple(suffix for form in FORMATS for suffix in form.suffixes)
    paths = [
        path
        for path in sorted(folder.rglob("*"))
        if path.is_file()
        and path.name.lower().endswith(suffixes)
        and path.name not in ("study.toml", "trials.csv")
        and not any(part.startswith(".") for part in path.relative_to(folder).parts)
    ]
    if len(paths) > MOST_FILES:
        raise StudyError(f"{folder}: holds {len(paths)} files; give a folder of one study.")
    found, questions = [], []
    for path in paths:
        name = path.relative_to(folder).as_posix()
        try:
            section = suggest_section(describe_file(path))
        except RecordingError as error:
            questions.append(str(error).replace(str(path), name))
            continue
        if section is None:
            questions.append(f"{name}: no channel is recognised by its name.")
        else:
            role = "wearable" if section.startswith("[wearable]") else "reference"
            found.append(_Found(name, role, section))
    return found, questions


def _tokens(path: str) -> tuple[str, ...]:
    """Return what a path says of a recording, its role and file type left out."""
    stem = path[: path.index(".")] if "." in path else path
    return tuple(
        token for token in re.split(r"[/_\s]+", stem) if token.lower() not in ROLE_WORDS | {""}
    )


def _pair(
    wearables: list[_Found], references: list[_Found]
) -> tuple[list[dict[str, str]], list[str]]:
    """Return the table's rows, wearable and reference paired by tokens, and what is left over."""
    by_tokens = {frozenset(_tokens(each.path)): each.path for each in references}
    rows = []
    for each in wearables:
        tokens = _tokens(each.path)
        reference = by_tokens.pop(frozenset(tokens), "")
        rows.append(_identity(tokens) | {"wearable": each.path, "reference": reference})
    return rows, list(by_tokens.values())


def _identity(tokens: tuple[str, ...]) -> dict[str, str]:
    """Return participant, session, condition, trial and side as far as the tokens tell."""
    identity = {"session": "1", "trial": "1"}
    rest = []
    for token in dict.fromkeys(tokens):
        name = token.lower()
        if match := re.fullmatch(r"(?:ses|session)-?(\w+)", name):
            identity["session"] = match[1]
        elif match := re.fullmatch(r"(?:trial|run|t)-?(\d+)", name):
            identity["trial"] = match[1]
        elif name in ("left", "right"):
            identity["side"] = name
        elif "participant" not in identity and re.fullmatch(
            r"(?:sub|subj|subject|participant|p|s)-?\w*\d+", name
        ):
            identity["participant"] = token
        else:
            rest.append(token)
    if "participant" not in identity:
        identity["participant"] = rest.pop(0) if rest else "?"
    identity["condition"] = " ".join(rest) or "all"
    return identity


def _commonest(found: list[_Found]) -> tuple[str, list[str]]:
    """Return the section most files share, and the paths of those that have another."""
    section, _ = Counter(each.section for each in found).most_common(1)[0]
    return section, [each.path for each in found if each.section != section]


def _study_text(folder: Path, wearable: str, reference: str | None) -> str:
    joint = "elbow" if re.search(r"arm|elbow|humerus", wearable + (reference or "")) else "knee"
    title = _quoted(folder.resolve().name or "Study")
    head = f'[study]\ntitle = {title}\njoint = "{joint}"\ntrials = "trials.csv"'
    parts = [head, wearable, *([reference] if reference else [])]
    parts.append("[agreement]\nacceptable_deg = 5.0             # your own margin, set beforehand")
    return "\n\n".join(parts) + "\n"


def _table_text(rows: list[dict[str, str]]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, TABLE_COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()
