"""What a path says of a recording: who, under which condition, which sensor, what for."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from twinangle.formats.bids_layout import entities
from twinangle.init.recognition import segment_of, side_of, words

ROLE_WORDS = frozenset(
    ("wearable", "imu", "imus", "sensor", "sensors", "inertial", "reference", "ref", "gonio",
     "goniometer", "optical", "data", "raw", "motion", "tracksys", "angle", "angles")
)  # fmt: skip
PART_WORDS = {
    "static": ("static", "standing", "stand", "neutral"),
    "functional": ("functional", "squat", "squats"),
}
# A word and its number set apart, as in `S 01`, `sub_7` or `trial 2`, are one word.
_NUMBERED = re.compile(
    r"(?<![^\W_])(sub|subj|subject|participant|p|s|ses|session|day|visit|trial|run|t)[\s_]+(\d+)(?![^\W_])",
    re.IGNORECASE,
)
_PERSON = re.compile(r"(?:sub|subj|subject|participant)-?\w*\d+|p-?\d+", re.IGNORECASE)
_PERSON_PERHAPS = re.compile(r"(?:sub|subj|subject|participant|p|s)-?\w*\d+", re.IGNORECASE)
_SESSION = re.compile(r"(?:session|ses)-?(\w+)|(?:day|visit)-?(\d+)", re.IGNORECASE)
_SESSION_PERHAPS = re.compile(r"[sdv]-?(\d+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Place:
    """What a path tells. `tokens` are the words that single out the trial."""

    tokens: tuple[str, ...]
    part: str  # "static" or "functional" where the file holds that alone, else empty


def place_of(path: str) -> Place:
    """Return what a path says of a recording; its role, its segment and its file type left out."""
    stem = path[: path.index(".")] if "." in path else path
    kept, part = [], ""
    for token in re.split(r"[/_\s]+", _NUMBERED.sub(r"\1\2", stem)):
        named = next((key for key, spelt in PART_WORDS.items() if token.lower() in spelt), "")
        part = part or named
        if token and token.lower() not in ROLE_WORDS and not named and not is_segment(token):
            kept.append(token)
    return Place(tuple(dict.fromkeys(kept)), part)


def place_in_data_set(path: str) -> Place:
    """Return what the entities of a Motion-BIDS name say; tracking systems are left out."""
    found = entities(path.rsplit("/", 1)[-1])
    return Place(tuple(f"{key}-{label}" for key, label in found.items() if key != "tracksys"), "")


def is_segment(token: str) -> bool:
    """Tell whether a word of a path names a segment and nothing else."""
    return segment_of(words(token)) is not None


def identity(tokens: Sequence[str]) -> dict[str, str]:
    """Return participant, session, condition, trial and side as far as the words tell.

    Where the participant is told by another word, S1, D1 and V1 are a session, a day and a visit.
    """
    found = {"trial": "1"}
    named = [token for token in tokens if not _SESSION.fullmatch(token)]
    person = next(
        (one for shape in (_PERSON, _PERSON_PERHAPS) for one in named if shape.fullmatch(one)), None
    )
    sessions, rest = [], []
    for token in tokens:
        name = token.lower()
        if token == person:
            found["participant"] = token
        elif match := _SESSION.fullmatch(token):
            sessions.append(match[1] or match[2])
        elif person is not None and (match := _SESSION_PERHAPS.fullmatch(token)):
            sessions.append(match[1])
        elif match := re.fullmatch(r"(?:trial|run|t)-?(\d+)", name):
            found["trial"] = match[1]
        elif name in ("left", "right"):
            found["side"] = name
        else:
            rest.append(token)
    if "participant" not in found:
        found["participant"] = rest.pop(0) if rest else "?"
    found["condition"] = " ".join(rest) or "all"
    found["session"] = "-".join(sessions) or "1"
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
