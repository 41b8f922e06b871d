"""Devices of the same columns, told apart by one part of the names of their files."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from twinangle.init.folder_contents import Found, Look, Row
from twinangle.init.paths import identity
from twinangle.naming import listed

# Parts of a name that tell conditions apart, and no devices; common practice, no source.
CONDITION_WORDS = frozenset(
    ("indoor", "indoors", "outdoor", "outdoors", "inside", "outside", "lab", "field", "slow",
     "usual", "normal", "fast", "level", "up", "down", "uphill", "downhill", "upstairs",
     "downstairs", "stairs", "ramp", "grass", "gravel", "walk", "walking", "run", "running", "pre",
     "post", "before", "after", "morning", "evening", "left", "right", "l", "r")
)  # fmt: skip
OWN_CELLS = (
    "static", "static_start_s", "static_end_s", "functional", "functional_start_s",
    "functional_end_s",
)  # fmt: skip
# What devices are called before a letter or number; common practice, no source.
DEVICE_WORDS = frozenset(
    ("", "device", "dev", "imu", "imus", "sensor", "strap", "sleeve", "brace", "wearable", "unit",
     "logger", "system", "sys", "set", "suit", "band")
)  # fmt: skip
_LABEL = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]*")


@dataclass(frozen=True, slots=True)
class Devices:
    """The names of devices that recorded at once, and what they were told apart by."""

    labels: tuple[str, ...]
    why: str

    def of(self, found: Found) -> str:
        """Return whose file it is."""
        return next(label for label in self.labels if label in found.place.tokens)

    def without(self, found: Found) -> Found:
        """Return a file whose device is no word of its recording."""
        tokens = tuple(token for token in found.place.tokens if token not in self.labels)
        return replace(found, place=replace(found.place, tokens=tokens))

    def section(self, wearable: str) -> str:
        """Return the section of one wearable once for each of them."""
        return "\n\n".join(
            re.sub(r"^\[wearable\b", f"[wearables.{label}", wearable, flags=re.MULTILINE)
            for label in self.labels
        )

    def row(self, rows: Sequence[tuple[str, Row]]) -> Row:
        """Return one recording's row of the rows that its devices would have alone."""
        joined: Row = {}
        for label, row in rows:
            for name, cell in row.items():
                own = f"wearable_{label}"
                if name == "wearable":
                    joined[own] = cell
                elif name in OWN_CELLS:
                    joined[f"{own}_{name}"] = cell
                else:
                    joined[name] = joined.get(name) or cell
        return joined

    def columns(self, plain: Sequence[str]) -> list[str]:
        """Return the table's columns, those of the wearable once for each device."""
        found: list[str] = []
        own = [name for name in plain if name in OWN_CELLS]
        for name in plain:
            if name == "wearable":
                found += [f"wearable_{label}" for label in self.labels]
            elif name not in OWN_CELLS:
                found.append(name)
            elif name == own[0]:
                found += [f"wearable_{label}_{each}" for label in self.labels for each in own]
        return found


def alike_devices(look: Look) -> Devices | None:
    """Return the devices that recorded at once, where names tell of any; ask where they may.

    Names of two devices differ in one part, and every recording has both. Conditions do that too:
    that part is a device's where the reference's files are named alike without it, or where it is
    a letter or number, alone or behind a word for a device (strapA, strapB). Anything else is
    asked about.
    """
    if look.sensors or any(each.place.part for each in look.wearables):
        return None
    candidates = [_Candidate(one, look) for one in _varying(look.wearables)]
    sure = [one for one in candidates if one.why]
    if len(sure) == 1:
        found = Devices(sure[0].labels, sure[0].why)
        look.questions.insert(0, _told(found))
        return found
    look.questions += [_asked(one.labels) for one in (sure or candidates)]
    return None


def _varying(files: Sequence[Found]) -> list[tuple[str, ...]]:
    """Return each set of words that files of one layout differ in, one in place of the other."""
    by_rest: dict[tuple[str, tuple[str, ...]], set[str]] = defaultdict(set)
    for each in files:
        tokens = each.place.tokens
        for k, token in enumerate(tokens):
            if _may_be_a_device(token):
                by_rest[each.section, (*tokens[:k], "", *tokens[k + 1 :])].add(token)
    sets = {tuple(sorted(labels)) for labels in by_rest.values() if len(labels) > 1}
    whole = []
    for labels in sorted(sets):
        own = [each for each in files if set(labels) & set(each.place.tokens)]
        once = all(len(set(labels) & set(each.place.tokens)) == 1 for each in own)
        if once and len(own) == len(files):
            whole.append(labels)
    return whole


def _may_be_a_device(token: str) -> bool:
    told = identity((token, "P01"))
    no_more = told["condition"] == token  # neither who, nor when, nor which side
    return no_more and token.lower() not in CONDITION_WORDS and bool(_LABEL.fullmatch(token))


class _Candidate:
    """Words that may be names of devices, and why they are; `why` is empty where nothing says."""

    def __init__(self, labels: tuple[str, ...], look: Look) -> None:
        self.labels = labels
        self.why = ""
        told = [each.place.tokens for each in look.references]
        rests = {
            tuple(token for token in each.place.tokens if token not in labels)
            for each in look.wearables
        }
        shared = [rest for rest in rests if any(set(rest) <= set(tokens) for tokens in told)]
        beside = any(set(labels) & set(tokens) for tokens in told)
        stems = {re.sub(r"[A-Z]$|^[a-z]$|[-_]?\d+$", "", label) for label in labels}
        if shared and not beside and len(rests) > 1:
            self.why = (
                "these files have the same columns, every recording has one of each, and one "
                "reference file goes with all of them"
            )
        elif len(stems) == 1 and stems.pop().lower() in DEVICE_WORDS:
            self.why = (
                "these files have the same columns, every recording has one of each, and that is "
                "what devices are called"
            )


def _told(devices: Devices) -> str:
    names = listed(devices.labels)
    first = devices.labels[0]
    return (
        f"study.toml: {names} in the names are taken for devices worn at once, [wearables.{first}] "
        f"and so on: {devices.why}. Where they are conditions or trials instead, put them into the "
        "column `condition` or `trial`, a row each, under one [wearable]. Times in trials.csv are "
        "on the clock of the device that stands in their column."
    )


def _asked(labels: Sequence[str]) -> str:
    return (
        f"trials.csv: whether {listed(labels)} in the names are conditions, as which they are "
        "written, or devices worn at once, which nothing here tells: then give each its own "
        "[wearables.NAME] and column wearable_NAME (docs/how-to/several-instruments.md)."
    )
