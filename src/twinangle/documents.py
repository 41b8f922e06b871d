"""Which documents a run makes beside `report.pdf`, whose numbers and tables are always written."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

SUPPLEMENT, PAGE, PAPER = "supplement.pdf", "report.html", "paper"
DOCUMENTS = (SUPPLEMENT, PAGE, PAPER)


def require_documents(names: Collection[str]) -> None:
    """Refuse (ValueError) a name that is not known, or one given twice."""
    for name in names:
        if name not in DOCUMENTS:
            raise ValueError(f"`documents`: {name!r} is not one of {', '.join(DOCUMENTS)}.")
    if len(set(names)) != len(names):
        raise ValueError("`documents`: must hold each once.")


def documents_of(parameters: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what a run's parameters ask for: all, where they do not say."""
    section = parameters.get("report")
    said = section.get("documents") if isinstance(section, Mapping) else None
    return DOCUMENTS if said is None else tuple(said)
