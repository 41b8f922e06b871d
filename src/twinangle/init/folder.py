"""A whole folder, or a whole Motion-BIDS data set: its recordings, paired, as a study."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from twinangle.errors import StudyError
from twinangle.formats.bids_layout import DESCRIPTION, read_table
from twinangle.formats.delimited_layout import MISSING_WORDS
from twinangle.init.broken_files import told_of
from twinangle.init.devices_at_once import Devices, devices_at_once
from twinangle.init.folder_contents import (
    Found,
    Look,
    Row,
    join_sensors,
    look_at_files,
    trials_of,
)
from twinangle.init.further_instruments import set_further_aside
from twinangle.init.messages import grouped
from twinangle.init.partners import paired
from twinangle.init.paths import (
    data_set_identity,
    identity,
    place_in_data_set,
    place_of,
)
from twinangle.init.questions import OTHER_CHANNELS, asked_of_people, left_open, rows_alike
from twinangle.init.sections import joint_in, with_segments
from twinangle.init.shared_words import lesser_words, read_names_together, set_own_names_aside
from twinangle.init.toml_lines import quoted
from twinangle.signals.joint import joint_named
from twinangle.study.schema import EDITOR_LINE, SCHEMA_FILE, schema_text
from twinangle.wording import count

AGREEMENT = """\
[agreement]
confidence = 0.95                # of every interval
# acceptable_deg =               # the largest difference you can accept, in degrees: your own, set
#                                # before you look; without it nothing is tested against a margin"""
TABLE_COLUMNS = (
    "participant", "session", "condition", "trial", "side", "wearable", "proximal_file",
    "distal_file", "distal_lag_s", "reference", "static", "static_start_s", "static_end_s",
    "functional", "functional_start_s", "functional_end_s", "exclude",
)  # fmt: skip
ALWAYS = (
    "participant", "session", "condition", "trial", "side", "wearable", "reference",
    "static_start_s", "static_end_s", "functional_start_s", "functional_end_s", "exclude",
)  # fmt: skip

STANDING = ("static_start_s", "static_end_s")


@dataclass(frozen=True, slots=True)
class StudyProposal:
    """A first study file and trials table, and what they rest on.

    `recognised`, `open_questions` and `ignored` are sentences for the terminal.
    """

    study_toml: str
    trials_csv: str
    recognised: tuple[str, ...]
    open_questions: tuple[str, ...]
    ignored: tuple[str, ...] = ()


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
    look = look_at_files(folder, place_in_data_set if whole_set else place_of)
    join_sensors(look)
    whose, devices = _by_device(look) if not whole_set else ({}, None)
    trials = trials_of(look)
    if not trials:
        why = (*(each.why for each in look.broken), *look.questions)
        what = " ".join(why) or "It holds no file of a known format."
        raise StudyError(
            f"{folder}: no recording of two inertial sensors is recognised by its channel names "
            f"(such as thigh_acc_x and shank_gyr_z). {what}"
        )
    if not whole_set:
        set_own_names_aside(look)
        trials = [each for each in look.wearables if not each.place.part]
    wearable, odd = _commonest(look.wearables)
    reference, odd_references = _commonest(look.references) if look.references else (None, [])
    identify = data_set_identity if whole_set else partial(identity, lesser=lesser_words(look))
    rows = _rows(look, trials, identify, whose)
    if devices is not None:
        odd = [each.path for each in trials if each.section != devices.sections[whose[each.path]]]
        rows = _together(
            devices, [(whose[each.path], row) for each, row in zip(trials, rows, strict=True)]
        )
    elif not whole_set:
        look.questions += asked_of_people(trials, rows)
    look.questions += rows_alike(rows)
    _tell_who_has_no_row(look, rows)
    covariates = _add_participants(folder, rows) if whole_set else ()
    look.questions += [f"{path}: {OTHER_CHANNELS}" for path in (*odd, *odd_references)]
    study = _study_text(folder, wearable, reference, devices)
    look.questions += left_open(study)
    ready_made = 'kind = "angle"' in wearable
    if not ready_made and not all(row.get("static") for row in rows):
        look.questions.append(
            f"trials.csv: when each person stood still ({_standing_columns(devices)}); "
            "`propose_standing` in a notebook finds it (docs/tutorials/01-against-a-goniometer.md)."
        )
    return StudyProposal(
        study_toml=study,
        trials_csv=_table_text(rows, covariates, devices),
        recognised=(*grouped(look.recognised, look.paths), _told(rows)),
        open_questions=grouped(look.questions, look.paths),
        ignored=grouped(look.ignored, look.paths),
    )


def write_proposal(folder: str | Path, proposal: StudyProposal) -> tuple[Path, ...]:
    """Write the proposal as `study.toml` and `trials.csv`, and the schema for editors beside them.

    Nothing is overwritten; a schema that is there already stays.

    Raises
    ------
    StudyError
        If either file exists already, or the folder cannot be written to.
    """
    folder = Path(folder)
    texts = {
        folder / "study.toml": f"{EDITOR_LINE}\n\n{proposal.study_toml}",
        folder / "trials.csv": proposal.trials_csv,
    }
    for path in texts:
        if path.exists():
            raise StudyError(f"{path}: exists already; move it away first. Nothing was written.")
    if not (folder / SCHEMA_FILE).exists():
        texts[folder / SCHEMA_FILE] = schema_text()
    for path, text in texts.items():
        try:
            with path.open("x", encoding="utf-8", newline="") as stream:
                stream.write(text)
        except OSError as error:
            raise StudyError(f"{path}: cannot be written: {error.strerror}.") from error
    return tuple(texts)


def _rows(
    look: Look,
    trials: list[Found],
    identify: Callable[[Sequence[str]], Row],
    whose: Mapping[str, str],
) -> list[Row]:
    """Return the table's rows, wearable and reference paired by tokens; ask about the rest.

    `whose` are the devices of the wearables' files; where there are any, a reference goes with all
    wearables of its words.
    """
    references = {each.path: each for each in look.references if each.cells}
    pairs = paired(
        {each.path: each.place.tokens for each in trials if "reference" not in each.cells},
        {path: each.place.tokens for path, each in references.items()},
        one_each=not whose,
    )
    rows = []
    for each in trials:
        reference = references.get(pairs.get(each.path, ""))
        cells = reference.cells if reference is not None else {}
        rows.append(identify(each.place.tokens) | each.cells | cells)
    look.questions += [
        f"{path}: belongs to no wearable file by its name."
        for path in references
        if path not in pairs.values()
    ]
    for part in (each for each in look.wearables if each.place.part):
        fitting = [
            row
            for row, trial in zip(rows, trials, strict=True)
            if set(part.place.tokens) <= set(trial.place.tokens)
            and whose.get(part.path) == whose.get(trial.path)
        ]
        for row in fitting:
            row[part.place.part] = part.cells.get("wearable", "")
        if not fitting or "wearable" not in part.cells:
            look.questions.append(f"{part.path}: belongs to no trial by its name.")
    return rows


def _by_device(look: Look) -> tuple[dict[str, str], Devices | None]:
    """Return whose each wearable's file is and the devices, where several recorded at once."""
    read_names_together(look)
    devices = devices_at_once(look)
    whose = {} if devices is None else {each.path: devices.of(each) for each in look.wearables}
    if devices is not None:
        look.wearables = [devices.without(each) for each in look.wearables]
    set_further_aside(look, devices.labels if devices is not None else ())
    return whose, devices


def _tell_who_has_no_row(look: Look, rows: Sequence[Row]) -> None:
    """Say of files that cannot be read, or in which nothing is known, whether a row names them."""
    look.questions += told_of(look.broken, rows)
    named = {cell for row in rows for cell in row.values()}
    unnamed = tuple(f"{each.path}: no channel" for each in look.unknown if each.path not in named)
    look.questions = [
        f"{text} So far no row of trials.csv names it." if text.startswith(unnamed) else text
        for text in look.questions
    ]


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


def _commonest(found: list[Found]) -> tuple[str, list[str]]:
    """Return the section most files share, and the paths of those that have another."""
    section, _ = Counter(each.section for each in found).most_common(1)[0]
    return section, [each.path for each in found if each.section != section]


def _told(rows: Sequence[Row]) -> str:
    """Say what the names were taken to mean, so that a wrong reading is seen at once."""
    found = []
    for column in ("participant", "session", "condition", "trial", "side"):
        values = list(dict.fromkeys(row.get(column, "") for row in rows))
        if values == [""]:
            continue
        shown = values if len(values) <= 4 else [values[0], values[1], "…", values[-1]]
        many = f"{len(values)} {column}s" if len(values) > 1 else column
        found.append(f"{many} ({', '.join(shown)})")
    return f"trials.csv, {count(len(rows), 'row')}, by the names: {'; '.join(found)}"


def _standing_columns(devices: Devices | None) -> str:
    starts = [""] if devices is None else [f"wearable_{label}_" for label in devices.labels]
    return ", ".join(f"{start}{name}" for start in starts for name in STANDING)


def _together(devices: Devices, rows: Sequence[tuple[str, Row]]) -> list[Row]:
    """Return one row a recording of the rows of its devices; none takes another's place."""
    names = ("participant", "session", "condition", "trial", "side")
    several: dict[tuple[str, ...], list[dict[str, Row]]] = {}
    for label, row in rows:
        alike = several.setdefault(tuple(row.get(name, "") for name in names), [])
        own = next((each for each in alike if label not in each), None)
        if own is None:
            own = {}
            alike.append(own)
        own[label] = row
    return [devices.row(list(own.items())) for alike in several.values() for own in alike]


def _study_text(
    folder: Path, wearable: str, reference: str | None, devices: Devices | None = None
) -> str:
    worn = wearable if devices is None else devices.section
    sections = [each for each in (worn, reference) if each]
    joint = joint_in("\n".join(sections))
    title = quoted(folder.resolve().name or "Study")
    head = f'[study]\ntitle = {title}\njoint = "{joint}"\ntrials = "trials.csv"'
    return (
        "\n\n".join(
            [
                head,
                *(with_segments(each, joint) for each in sections),
                _cycles_text(joint),
                AGREEMENT,
            ]
        )
        + "\n"
    )


def _cycles_text(joint: str) -> str:
    """Return the section on cycles, with what the joint's cycles most often are."""
    usual = joint_named(joint).movement_studied
    other = {
        "walking": 'or "exercise": repetitions such as squats or seated extensions',
        "exercise": 'repetitions of any kind; or "walking"',
    }[usual]
    return f"[cycles]\nmovement = {quoted(usual):<22} # {other}"


def _table_text(
    rows: list[Row], covariates: tuple[str, ...], devices: Devices | None = None
) -> str:
    used = {name for row in rows for name, cell in row.items() if cell}
    table, always = (
        (list(each) if devices is None else devices.columns(each))
        for each in (TABLE_COLUMNS, ALWAYS)
    )
    columns = [name for name in table if name in always or name in used]
    if "proximal_file" in used and devices is None:
        columns.remove("wearable")
    text = io.StringIO()
    writer = csv.DictWriter(
        text, [*columns, *covariates], restval="", extrasaction="ignore", lineterminator="\n"
    )
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()
