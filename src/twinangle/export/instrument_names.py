"""What several wearables and references are called in a data set: tracking systems and columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

from twinangle.errors import StudyError
from twinangle.export.labels import label
from twinangle.study import Study, Trial
from twinangle.study.instruments import OF_REFERENCE, OF_WEARABLE, Part

Value = TypeVar("Value")
OWN = {"wearable": OF_WEARABLE, "reference": OF_REFERENCE}


def pairs_of(study: Study) -> tuple[Part, ...]:
    """Return every wearable against every reference; the study itself where it has one of each."""
    return study.parts or (Part("", "", study),)


def system_of(kind: str, name: str, sensor: str = "") -> str:
    """Return the tracking system of an instrument: its kind, and its name where it has one.

    Parameters
    ----------
    kind : str
        "wearable" or "reference".
    name : str
        Its name in the study file; empty where there is but one.
    sensor : str
        "proximal" or "distal" for one of a wearable's two files.
    """
    if not name:
        return sensor or kind
    return label(" ".join(filter(None, (kind, name, sensor))))


def system_of_angles(part: Part) -> str:
    """Return the tracking system that the angles of a pair on one clock stand under."""
    return label(" ".join(filter(None, ("angles", part.wearable, part.reference))))


def refuse_alike(study: Study) -> None:
    """Refuse instruments whose names would become one tracking system.

    Raises
    ------
    StudyError
        With both names, as the study file has them.
    """
    taken: dict[str, str] = {}
    for kind in OWN:
        for name in dict.fromkeys(getattr(part, kind) for part in study.parts):
            for sensor in ("", "proximal", "distal"):
                other = taken.setdefault(system_of(kind, name, sensor), name)
                if other != name:
                    raise StudyError(
                        f"{kind}s {other!r} and {name!r} have the same letters and digits, of "
                        "which alone the name of a tracking system is made; rename one of them in "
                        "the study file."
                    )


def column_of(kind: str, name: str, plain: str) -> str:
    """Return an instrument's own column of the trials table for a plain one."""
    if not name:
        return plain
    if plain == kind:
        return f"{kind}_{name}"
    end = next(end for end, of in OWN[kind].items() if of == plain)
    return f"{kind}_{name}_{end}"


def columns_for(study: Study, plain: str) -> list[str]:
    """Return a plain column of the trials table and the own ones that may stand for it."""
    found = [plain]
    for kind, own in OWN.items():
        names = dict.fromkeys(getattr(part, kind) for part in study.parts)
        if plain == kind or plain in own.values():
            found += [column_of(kind, name, plain) for name in names if name]
    return found


def placed(values: Mapping[tuple[str, str], Value], plain: str, nothing: Value) -> dict[str, Value]:
    """Return in which columns a setting of every pair stands, so that each pair reads its own.

    A reference's own goes before a wearable's own, which goes before the plain one.
    """
    whole, by_wearable, by_reference = spread(values, nothing)
    found = {plain: whole} if whole != nothing else {}
    found |= {column_of("wearable", w, plain): v for w, v in by_wearable.items() if v != nothing}
    return found | {column_of("reference", r, plain): v for r, v in by_reference.items()}


def spread(
    values: Mapping[tuple[str, str], Value], nothing: Value
) -> tuple[Value, dict[str, Value], dict[str, Value]]:
    """Return what holds for all pairs, for single wearables, and for single references.

    Parameters
    ----------
    values : mapping
        Of each pair of names.
    nothing : object
        What holds where nothing is said.
    """
    wearables = list(dict.fromkeys(w for w, _ in values))
    references = list(dict.fromkeys(r for _, r in values))
    if all(value == values[wearables[0], references[0]] for value in values.values()):
        return values[wearables[0], references[0]], {}, {}
    columns = {r: [values[w, r] for w in wearables] for r in references}
    uneven = [r for r in references if any(v != columns[r][0] for v in columns[r])]
    own = columns[uneven[0]] if uneven else [nothing] * len(wearables)
    by_reference = {r: column[0] for r, column in columns.items() if column != own}
    return nothing, dict(zip(wearables, own, strict=True)) if uneven else {}, by_reference


def numbers_of(pairs: Sequence[tuple[Part, Trial]], names: Sequence[str]) -> dict[str, Any]:
    """Return the cells of one recording that hold a setting, each in the column of its own."""
    found: dict[str, Any] = {}
    for plain in names:
        if plain in OF_WEARABLE.values() and plain in OF_REFERENCE.values():
            values = {(p.wearable, p.reference): getattr(row, plain) for p, row in pairs}
            found |= placed(values, plain, None)
            continue
        kind = "wearable" if plain in OF_WEARABLE.values() else "reference"
        for part, row in pairs:
            found[column_of(kind, getattr(part, kind), plain)] = getattr(row, plain)
    return found
