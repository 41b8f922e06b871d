"""Devices that recorded at once, told apart by one part of the names of their files."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from twinangle.init.folder_contents import Found, Look, Row
from twinangle.init.paths import identity
from twinangle.init.shared_words import lesser_words
from twinangle.init.words_in_paths import is_condition, is_device_like
from twinangle.naming import listed

OWN_CELLS = (
    "static", "static_start_s", "static_end_s", "functional", "functional_start_s",
    "functional_end_s",
)  # fmt: skip
_LABEL = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]*")


@dataclass(frozen=True, slots=True)
class Devices:
    """The names of devices that recorded at once, and what they were told apart by."""

    labels: tuple[str, ...]
    why: str
    sections: Mapping[str, str]  # what reads each device's files

    def of(self, found: Found) -> str:
        """Return whose file it is."""
        return next(label for label in self.labels if label in found.place.tokens)

    def without(self, found: Found) -> Found:
        """Return a file whose device is no word of its recording."""
        tokens = tuple(token for token in found.place.tokens if token not in self.labels)
        return replace(found, place=replace(found.place, tokens=tokens))

    @property
    def section(self) -> str:
        """The sections of all of them, one after the other."""
        return "\n\n".join(
            re.sub(
                r"^\[wearable\b", f"[wearables.{label}", self.sections[label], flags=re.MULTILINE
            )
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


def devices_at_once(look: Look) -> Devices | None:
    """Return the devices that recorded at once, where names tell of any; ask where they may.

    Names of two devices differ in one part, and every recording has both. Conditions do that too:
    that part is a device's where the reference's files are named alike without it, where each has
    columns of its own, or where it is a capital or number, alone or behind a word for a device
    (strapA, strapB). Anything else is asked about.
    """
    worn = [each for each in look.wearables if not each.place.part]
    candidates = [_Candidate(one, look, worn) for one in _varying(worn, lesser_words(look))]
    sure = [one for one in candidates if one.why]
    if len(sure) == 1:
        found = sure[0].devices(worn)
        if found is not None and all(_has_one(each, found.labels) for each in look.wearables):
            look.questions.insert(0, _told(found))
            return found
    look.questions += [_asked(one.labels) for one in (sure or candidates)]
    return None


def _has_one(found: Found, labels: Sequence[str]) -> bool:
    return len(set(labels) & set(found.place.tokens)) == 1


def _varying(files: Sequence[Found], lesser: frozenset[str]) -> list[tuple[str, ...]]:
    """Return each set of words that files differ in, one in place of the other."""
    by_rest: dict[tuple[str, ...], set[str]] = defaultdict(set)
    for each in files:
        tokens = each.place.tokens
        conditions = identity(tokens, lesser)["condition"].split()
        for k, token in enumerate(tokens):
            if token in conditions and _may_be_a_device(token):
                by_rest[(*tokens[:k], "", *tokens[k + 1 :])].add(token)
    sets = {tuple(sorted(labels)) for labels in by_rest.values() if len(labels) > 1}
    return [labels for labels in sorted(sets) if all(_has_one(each, labels) for each in files)]


def _may_be_a_device(token: str) -> bool:
    return not is_condition(token) and bool(_LABEL.fullmatch(token))


class _Candidate:
    """Words that may be names of devices, and why they are; `why` is empty where nothing says."""

    def __init__(self, labels: tuple[str, ...], look: Look, worn: Sequence[Found]) -> None:
        self.labels = labels
        told = [each.place.tokens for each in look.references]
        rests = {
            tuple(token for token in each.place.tokens if token not in labels) for each in worn
        }
        shared = [rest for rest in rests if any(set(rest) <= set(tokens) for tokens in told)]
        beside = any(set(labels) & set(tokens) for tokens in told)
        sections = [self._sections(label, worn) for label in labels]
        unlike = len(set.union(*sections)) == len(labels)
        stems = {re.sub(r"[A-Z]$|^[a-z]$|[-_]?\d+$", "", label) for label in labels}
        columns = "each has its own columns" if unlike else "these files have the same columns"
        reason = ""
        if shared and not beside and len(rests) > 1:
            reason = "one reference file goes with all of them"
        elif len(stems) == 1 and all(map(is_device_like, labels)):
            reason = "that is what devices are called"
        elif unlike and not beside:
            reason = "conditions would share one layout"
        self.why = reason and f"{columns}, every recording has one of each, and {reason}"

    @staticmethod
    def _sections(label: str, worn: Sequence[Found]) -> set[str]:
        return {each.section for each in worn if label in each.place.tokens}

    def devices(self, worn: Sequence[Found]) -> Devices | None:
        """Return the devices; None where a table could not name the files of each."""
        found = {}
        for label in self.labels:
            own = [each for each in worn if label in each.place.tokens]
            found[label] = Counter(each.section for each in own).most_common(1)[0][0]
        if any("proximal_file" in each.cells for each in worn):
            return None
        return Devices(self.labels, self.why, found)


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
        "[wearables.NAME] and column wearable_NAME (docs/how-to/several-instruments.md). Trials of "
        "one condition go into the column `trial`."
    )
