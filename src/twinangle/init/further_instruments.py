"""Folders of several instruments: files that differ in one part of their names alone."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import replace

from twinangle.init.folder_contents import Found, Look, called_reference
from twinangle.init.paths import is_segment
from twinangle.init.recognition import words
from twinangle.init.words_in_paths import words_of
from twinangle.naming import listed

FEWEST = 3  # instruments; two are the wearable and the reference
REFERENCE_MARKS = frozenset(("gon", "opt", "cam", "cams", "vid"))  # common practice, no source
PAGE = "docs/how-to/several-instruments.md"


def set_further_aside(look: Look, devices: Sequence[str] = ()) -> None:
    """Leave one wearable and one reference where names tell of more, and say so in one line.

    `devices` are wearables of one layout that stay.

    Files whose names are alike but for one part, and whose columns differ by that part, are of as
    many instruments. Conditions differ in a part of their names too, but have one layout.
    """
    of_label = _instruments([*look.wearables, *look.references], devices)
    if len(of_label) < FEWEST:
        return
    worn = list(devices) or [_first_wearable(of_label, look)]
    left = {key: each for key, each in of_label.items() if key not in worn}
    kept = [label for label in (*worn, _first_reference(left, look)) if label]
    aside = [label for label in of_label if label not in kept]
    gone = {each.path for label in aside for each in of_label[label]}
    for found in (look.wearables, look.references):
        found[:] = [_without(each, of_label) for each in found if each.path not in gone]
    look.recognised[:] = [text for text in look.recognised if text.rpartition(": ")[0] not in gone]
    if not aside:
        return
    look.questions.insert(
        0,
        f"study.toml: by one part of the names {len(of_label)} instruments recorded at once, "
        f"{listed(of_label)}; proposed are {listed(kept)}. {PAGE} tells how [wearables.NAME] and "
        f"[references.NAME] take in {listed(aside)} ({len(gone)} files, left out here).",
    )


def _instruments(files: Sequence[Found], devices: Sequence[str]) -> dict[str, list[Found]]:
    """Return the files by the part of their names that tells instruments apart, if one does."""
    named: dict[str, list[Found]] = defaultdict(list)
    alternatives: dict[tuple[str, ...], set[str]] = defaultdict(set)
    for each in files:
        parts = () if each.place.part else _parts(each)
        for k, label in enumerate(parts):
            named[label].append(each)
            alternatives[*parts[:k], "", *parts[k + 1 :]].add(label)
    together = {
        label
        for labels in alternatives.values()
        for label in _of_own_layout(labels, named, devices)
    }
    return {label: several for label, several in named.items() if label in together}


def _of_own_layout(
    labels: set[str], named: dict[str, list[Found]], devices: Sequence[str]
) -> set[str]:
    """Return those of the labels each of which has one layout that no other has, if enough do."""
    layouts = {label: {each.section for each in named[label]} for label in labels}
    plain = [label for label in labels if len(layouts[label]) == 1 and not label.isdigit()]
    own = Counter(next(iter(layouts[label])) for label in plain)
    alone = {k for k in plain if k in devices or own[next(iter(layouts[k]))] == 1}
    return alone if len(alone) >= FEWEST else set()


def _parts(found: Found) -> tuple[str, ...]:
    """Return the words of a name; of two files of one recording, those that they share."""
    path = found.path.partition(" and ")[0] if found.description is None else found.path
    return tuple(word for word in words_of(path) if not is_segment(word))


def _first_wearable(of_label: dict[str, list[Found]], look: Look) -> str:
    sensors = {each.path for each in look.wearables}
    by_sensors = [label for label, several in of_label.items() if several[0].path in sensors]
    others = [label for label, several in of_label.items() if not _is_reference(label, several)]
    return [*by_sensors, *others, *of_label][0]


def _first_reference(of_label: dict[str, list[Found]], look: Look) -> str:
    """Return the instrument that is called a reference, else the first angle; "" without one."""
    angles = {each.path for each in look.references}
    possible = {key: each for key, each in of_label.items() if each[0].path in angles}
    called = [label for label, several in possible.items() if _is_reference(label, several)]
    return next(iter([*called, *possible]), "")


def _is_reference(label: str, several: Sequence[Found]) -> bool:
    return called_reference(several[0]) or words(label) in REFERENCE_MARKS


def _without(found: Found, of_label: dict[str, list[Found]]) -> Found:
    """Return a file whose instrument is no word of its trial."""
    label = next((k for k, each in of_label.items() if found.path in {e.path for e in each}), None)
    own = (label or "").casefold()
    tokens = tuple(token for token in found.place.tokens if token.casefold() != own)
    return replace(found, place=replace(found.place, tokens=tokens))
