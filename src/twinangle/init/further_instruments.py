"""Folders of several instruments: files that differ in the last part of their names alone."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

from twinangle.init.folder_contents import Found, Look, called_reference
from twinangle.init.recognition import words
from twinangle.naming import listed

FEWEST = 3  # instruments; two are the wearable and the reference
REFERENCE_MARKS = frozenset(("gon", "opt", "cam", "cams", "vid"))  # common practice, no source
PAGE = "docs/how-to/several-instruments.md"
_LAST = re.compile(r"(?P<rest>.*[_\s./-])(?P<label>[^\W_]+)")


def set_further_aside(look: Look, devices: Sequence[str] = ()) -> None:
    """Leave one wearable and one reference where names tell of more, and say so in one line.

    `devices` are wearables of one layout that stay.

    Files whose names are alike but for their last part, and whose columns differ by that part, are
    of as many instruments. Conditions differ in a part of their names too, but have one layout.
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
        f"study.toml: by the last part of the names {len(of_label)} instruments recorded at once, "
        f"{listed(of_label)}; proposed are {listed(kept)}. {PAGE} tells how [wearables.NAME] and "
        f"[references.NAME] take in {listed(aside)} ({len(gone)} files, left out here).",
    )


def _instruments(files: Sequence[Found], devices: Sequence[str]) -> dict[str, list[Found]]:
    """Return the files by the last part of their names, where that part tells instruments apart."""
    named: dict[str, list[Found]] = defaultdict(list)
    rests: dict[str, set[str]] = defaultdict(set)
    for each in files:
        match = _LAST.fullmatch(each.path.rpartition(".")[0])
        if match and not match["label"].isdigit() and not each.place.part:
            named[match["label"]].append(each)
            rests[match["rest"]].add(match["label"])
    layouts = {label: {each.section for each in several} for label, several in named.items()}
    plain = [label for label, sections in layouts.items() if len(sections) == 1]
    alone = [
        label
        for label in plain
        if label in devices
        or not any(layouts[label] == layouts[other] for other in plain if other != label)
    ]
    together = {
        label for labels in rests.values() for label in labels if len(labels & set(alone)) >= FEWEST
    }
    return {label: named[label] for label in alone if label in together}


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
    tokens = tuple(token for token in found.place.tokens if token != label)
    return replace(found, place=replace(found.place, tokens=tokens))
