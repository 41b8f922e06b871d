"""A path taken apart into words: dates, times, codes and what parts of names are called."""

from __future__ import annotations

import re
from collections.abc import Iterator

from twinangle.formats import FORMATS
from twinangle.init.languages import in_english, spellings

# Parts of a name that tell conditions apart, and no devices; common practice, no source.
CONDITION_WORDS = frozenset(
    ("indoor", "indoors", "outdoor", "outdoors", "inside", "outside", "lab", "field", "slow",
     "usual", "normal", "fast", "level", "up", "down", "uphill", "downhill", "upstairs",
     "downstairs", "stairs", "ramp", "grass", "gravel", "walk", "walking", "run", "running", "pre",
     "post", "before", "after", "morning", "evening", "treadmill", "overground", "track", "jog",
     "jogging", "sit", "squat", "squats")
)  # fmt: skip
# What devices are called before a letter or number; common practice, no source.
DEVICE_WORDS = frozenset(
    ("", "device", "dev", "imu", "imus", "sensor", "strap", "sleeve", "brace", "wearable", "unit",
     "logger", "system", "sys", "set", "suit", "band")
)  # fmt: skip
SIDE_WORDS = {"left": "left", "right": "right", "l": "left", "r": "right"}
# A word and its number set apart, as in `S 01`, `sub_7` or `trial 2`, are one word.
_NUMBERED = re.compile(
    r"(?<![^\W_])(sub|subj|subject|participant|p|s|ses|session|day|visit|trial|run|t"
    rf"|{spellings('subject', 'session', 'day', 'trial')})[\s_]+(\d{{1,3}})(?![^\W_])",
    re.IGNORECASE,
)
# Words to which a hyphen adds a label, as in `ses-pre`; other hyphens set words apart.
_LABELLED = frozenset(("sub", "subj", "subject", "participant", "ses", "session", "task", "acq"))
_YEAR, _MONTH, _DAY = r"(?:19|20)\d\d", r"(?:0[1-9]|1[0-2])", r"(?:0[1-9]|[12]\d|3[01])"
_DATE = re.compile(
    rf"(?<!\d)(?:(?P<year>{_YEAR})(?P<sep>[-_.]?)(?P<month>{_MONTH})(?P=sep)(?P<day>{_DAY})"
    rf"|(?P<others>\d\d(?P<sep2>[-_.])\d\d(?P=sep2){_YEAR}))"
    r"(?:[-_\sT]+(?P<clock>[0-2]\d[-:.h]?[0-5]\d(?:[-:.m]?[0-5]\d)?)(?!\d))?(?!\d)"
)
DATE = re.compile(rf"{_YEAR}-?{_MONTH}-?{_DAY}|\d\d-\d\d-{_YEAR}")
CLOCK = re.compile(r"\d\d:\d\d(?::\d\d)?")
_CODE_AHEAD = re.compile(
    r"((?:sub|subj|subject|participant|p|s)\d+)([A-Za-z]{3,}.*)", re.IGNORECASE
)
_JOINED_AHEAD = frozenset(("fore", "upper", "lower"))  # ForeArm is one segment
_HYPHEN = "\N{NON-BREAKING HYPHEN}"  # of a date, while words are set apart
_SUFFIXES = tuple(
    sorted({each for form in FORMATS for each in form.suffixes}, key=len, reverse=True)
)


def words_of(path: str) -> list[str]:
    """Return the words of a path in their order, its file type left out.

    A date is one word and the time of day behind it another, `10:15:30`. Spaces, underscores,
    full stops, folders and hyphens set words apart, but for the hyphen between a word and its
    label or number (`ses-pre`, `trial-2`).
    """
    stem = _DATE.sub(_protected, _without_type(path))
    plain = _NUMBERED.sub(r"\1\2", stem)
    found: list[str] = []
    for text in re.split(r"[/_\s.]+", plain):
        for part in _at_hyphens(text):
            found += _behind_a_code(part.replace(_HYPHEN, "-"))
    return [word for word in found if word]


def _without_type(path: str) -> str:
    suffix = next((each for each in _SUFFIXES if path.lower().endswith(each.lower())), "")
    if suffix:
        return path[: -len(suffix)]
    name = path.rpartition("/")[2]
    return path[: len(path) - len(name) + name.index(".")] if "." in name else path


def _protected(match: re.Match[str]) -> str:
    """Return a date, and the time of day behind it, as words of their own."""
    if match["others"]:
        date = match["others"].replace(match["sep2"], _HYPHEN)
    else:
        between = _HYPHEN if match["sep"] else ""
        date = between.join((match["year"], match["month"], match["day"]))
    digits = re.sub(r"\D", "", match["clock"] or "")
    clock = ":".join(digits[k : k + 2] for k in range(0, len(digits), 2))
    return f"_{date}_{clock}_"


def _at_hyphens(text: str) -> Iterator[str]:
    parts = text.split("-")
    while parts:
        first = parts.pop(0)
        labels = first.lower() in _LABELLED or (
            first.isalpha() and parts[:1] and parts[0].isdigit()
        )
        yield f"{first}-{parts.pop(0)}" if labels and parts else first


def _behind_a_code(word: str) -> list[str]:
    """Return `P01IndoorImu` as its words; other capitals set none apart."""
    match = _CODE_AHEAD.fullmatch(word)
    if match is None:
        return [word]
    found = [match[1]]
    for part in re.split(r"(?<=[a-z0-9])(?=[A-Z])", match[2]):
        if found[-1].lower() in _JOINED_AHEAD:
            found[-1] += part
        else:
            found.append(part)
    return found


def is_condition(word: str) -> bool:
    """Tell whether a word, in any language known, tells conditions apart."""
    return in_english(word).lower() in CONDITION_WORDS


def is_device_like(word: str) -> bool:
    """Tell whether a word is what devices are called: a capital, or such as `strapB` or `imu2`."""
    stem = re.sub(r"[A-Z]$|[-_]?\d+$", "", word)
    return stem != word and not word.isdigit() and stem.lower() in DEVICE_WORDS
