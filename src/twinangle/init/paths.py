"""What a path says of a recording: who, under which condition, which sensor, what for."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from twinangle.formats.bids_layout import entities
from twinangle.init.languages import in_english
from twinangle.init.recognition import segment_of, side_of, words
from twinangle.init.words_in_paths import (
    CLOCK,
    CONDITION_WORDS,
    DATE,
    DEVICE_WORDS,
    SIDE_WORDS,
    words_of,
)

ROLE_WORDS = frozenset(
    ("wearable", "imu", "imus", "sensor", "sensors", "inertial", "reference", "ref", "gonio",
     "goniometer", "optical", "data", "raw", "motion", "tracksys", "angle", "angles")
)  # fmt: skip
PART_WORDS = {
    "static": ("static", "standing", "stand", "neutral"),
    "functional": ("functional", "squat", "squats"),
}
_PERSON = re.compile(r"(?:sub|subj|subject|participant)-?\w*\d+|p-?\d+", re.IGNORECASE)
_PERSON_PERHAPS = re.compile(r"(?:sub|subj|subject|participant|p|s)-?\w*\d+", re.IGNORECASE)
_SESSION = re.compile(r"(?:session|ses)-?(\w+)|(?:day|visit)-?(\d+)", re.IGNORECASE)
_SESSION_PERHAPS = re.compile(r"[sdv]-?(\d+)", re.IGNORECASE)
_TRIAL = re.compile(r"(?:trial|run|t)-?(\d+)", re.IGNORECASE)
_NUMBER = re.compile(r"\d{1,3}")


@dataclass(frozen=True, slots=True)
class Place:
    """What a path tells. `tokens` are the words that single out the trial."""

    tokens: tuple[str, ...]
    part: str  # "static" or "functional" where the file holds that alone, else empty


def place_of(path: str) -> Place:
    """Return what a path says of a recording; its role, its segment and its file type left out.

    A number behind a code of a participant, and a word that is known, is that of a trial.
    """
    kept: list[str] = []
    part = before = ""
    for word in words_of(path):
        said = in_english(word).lower()
        named = next((key for key, spelt in PART_WORDS.items() if said in spelt), "")
        part = part or named
        known = in_english(before).lower() in (CONDITION_WORDS | ROLE_WORDS | SIDE_WORDS.keys())
        known = known or _is_person(before) or bool(DATE.fullmatch(before))
        if _NUMBER.fullmatch(word) and known and any(map(_is_person, kept)):
            kept.append(f"trial-{word}")
        elif said not in ROLE_WORDS and not named and not is_segment(word):
            kept.append(word)
        before = word
    return Place(tuple(dict.fromkeys(kept)), part)


def place_in_data_set(path: str) -> Place:
    """Return what the entities of a Motion-BIDS name say; tracking systems are left out."""
    found = entities(path.rsplit("/", 1)[-1])
    return Place(tuple(f"{key}-{label}" for key, label in found.items() if key != "tracksys"), "")


def is_segment(token: str) -> bool:
    """Tell whether a word of a path names a segment and nothing else."""
    return segment_of(words(token)) is not None


def _is_person(token: str) -> bool:
    said = in_english(token)
    stem = re.sub(r"-?\d+$", "", said).lower()
    called = stem in CONDITION_WORDS or (stem in DEVICE_WORDS and stem != "")
    return not called and bool(_PERSON.fullmatch(said) or _PERSON_PERHAPS.fullmatch(said))


def person_in(tokens: Sequence[str], lesser: Collection[str] = ()) -> tuple[str | None, bool]:
    """Return the word for who was recorded, and whether it has the form of a code.

    Parameters
    ----------
    tokens : sequence of str
        Words of a path.
    lesser : collection of str
        Words of which one is taken only where there is no other.

    Returns
    -------
    tuple of str or None, and bool
        Without a code, such as P01, it is the first word that is nothing else that is known.
    """
    named = [
        token for token in tokens if not _SESSION.fullmatch(in_english(token)) and _is_person(token)
    ]
    sure = (one for one in named if _PERSON.fullmatch(in_english(one)))
    coded = next(sure, next(iter(named), None))
    if coded is not None:
        return coded, True
    free = [token for token in tokens if _kind_of(token) == "" and not _trial_of(token)]
    varied = [token for token in free if token not in lesser]
    return next(iter([*varied, *free]), None), False


def _trial_of(token: str) -> str:
    """Return the number of a trial; empty where the word tells none."""
    match = _TRIAL.fullmatch(in_english(token))
    return match[1] if match else ""


def _kind_of(token: str) -> str:
    """Return what a word tells besides who and which trial: "session", "side" …; "" if nothing."""
    said = in_english(token).lower()
    if _SESSION.fullmatch(said) or DATE.fullmatch(token):
        return "session"
    if CLOCK.fullmatch(token):
        return "clock"
    if said in SIDE_WORDS:
        return "side"
    stem = re.sub(r"-?\d+$", "", said)  # walk2 says as little of who as walk
    return "condition" if stem in CONDITION_WORDS else ""


def identity(tokens: Sequence[str], lesser: Collection[str] = ()) -> dict[str, str]:
    """Return participant, session, condition, trial and side as far as the words tell.

    Where the participant is told by another word, S1, D1 and V1 are a session, a day and a visit.
    A date is a session where nothing else is; the time of day tells nothing here. `lesser` is
    as for :func:`person_in`.
    """
    found = {"trial": "1"}
    person, coded = person_in(tokens, lesser)
    found["participant"] = person or "?"
    sessions, dates, rest = [], [], []
    for token in tokens:
        if token == person or CLOCK.fullmatch(token):
            continue
        said = in_english(token)
        if match := _SESSION.fullmatch(said):
            sessions.append(match[1] or match[2])
        elif DATE.fullmatch(token):
            dates.append(token)
        elif coded and (match := _SESSION_PERHAPS.fullmatch(token)):
            sessions.append(match[1])
        elif number := _trial_of(token):
            found["trial"] = number
        elif said.lower() in SIDE_WORDS:
            found["side"] = SIDE_WORDS[said.lower()]
        else:
            rest.append(token)
    found["condition"] = " ".join(rest) or "all"
    found["session"] = "-".join(sessions or dates) or "1"
    return found


def data_set_identity(tokens: Sequence[str]) -> dict[str, str]:
    """Return the same from a data set's entities: subject, session, task, run, and the rest."""
    labels = dict(token.split("-", 1) for token in tokens)
    found = {
        "participant": labels.pop("sub", "?"),
        "session": labels.pop("ses", "1"),
        "condition": labels.pop("task", "all"),
        "trial": labels.pop("run", "1"),
    }
    side = side_of(words(labels.get("acq", "")))
    if side and labels["acq"].lower() == side:
        found["side"] = side
        labels.pop("acq")
    found["condition"] = " ".join([found["condition"], *labels.values()])
    return found
