"""Columns of the trials table that are no covariates: misspelt ones, settings, paths of files."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path

from twinangle.naming import listed
from twinangle.study.reference_settings import REFERENCE_KINDS
from twinangle.study.section import Section
from twinangle.study.settings import CycleSettings, SynchronisationSettings
from twinangle.study.wearable_settings import WEARABLE_KINDS

NEAR = 0.85  # share of letters in common: "refrence" has 0.94, "design" 0.80 of "sign"
UNITS = ("_s", "_deg")
SECTIONS: dict[str, tuple[type[Section], ...]] = {
    "reference": tuple(REFERENCE_KINDS.values()),
    "wearable": tuple(WEARABLE_KINDS.values()),
    "synchronisation": (SynchronisationSettings,),
    "cycles": (CycleSettings,),
}


def faults_of_columns(
    columns: Mapping[str, Sequence[str]], present: Iterable[str], known: Iterable[str], folder: Path
) -> Iterator[str]:
    """Yield the end of a sentence for each further column that cannot be meant as a covariate.

    Parameters
    ----------
    columns : mapping of str to sequence of str
        The columns that the table gives no meaning to, with their filled cells.
    present, known : iterable of str
        The columns with a meaning: those that this table has, and those that there are.
    folder : Path
        The study folder.
    """
    absent = [name for name in known if name not in set(present)]
    for name, cells in columns.items():
        sections = _sections_with(name)
        file = next((cell for cell in cells if _is_file(folder, cell)), None)
        meant = _nearest(name, absent)
        if meant is not None:
            yield (
                f"column {name!r} is not known. Did you mean {meant!r}? Any other name makes a "
                "covariate of it."
            )
        elif sections:
            yield (
                f"column {name!r} is a setting of {' and of '.join(sections)}, which holds for the "
                "whole study: give it in the study file; a covariate needs another name."
            )
        elif file is not None:
            yield (
                f"column {name!r} names files ({file!r}), and no setting gives it a meaning; files "
                f"are read from the columns {listed(_FILES)}. Rename it, or leave it out."
            )


_FILES = ("wearable", "reference", "static", "functional", "events")


def _bare(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name.casefold())


def _nearest(name: str, known: Sequence[str]) -> str | None:
    """Return the known column that a name is nearly, its unit or "file" left out or not."""
    bare = _bare(name)
    spelt: dict[str, str] = {}
    for each in known:
        spelt.setdefault(_bare(each), each)
        for unit in UNITS:
            if each.endswith(unit):
                spelt.setdefault(_bare(each.removesuffix(unit)), each)
    for form in (bare, bare.removesuffix("file"), bare.removesuffix("path")):
        close = get_close_matches(form, spelt, n=1, cutoff=NEAR)
        if close:
            return spelt[close[0]]
    turned = [each for each in spelt if sorted(each) == sorted(bare) and each[0] == bare[0]]
    if turned:
        return spelt[turned[0]]
    return "sign" if bare == "referencesign" and "sign" in known else None


def _sections_with(name: str) -> list[str]:
    """Return the sections of the study file with a key of that name, their own name before it."""
    found = []
    for section, models in SECTIONS.items():
        keys = {key for model in models for key in model.model_fields}
        if name.casefold() in keys or name.casefold() in {f"{section}_{key}" for key in keys}:
            found.append(f"[{section}]")
    return found


def _is_file(folder: Path, cell: str) -> bool:
    """Tell whether a cell names a file in the study folder; plain words and numbers do not."""
    if not Path(cell).suffix:
        return False
    try:
        return (folder / cell.replace("\\", "/")).is_file()
    except (OSError, ValueError):
        return False
