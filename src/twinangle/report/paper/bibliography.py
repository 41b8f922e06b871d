"""References numbered in the order in which a text names them, and as BibTeX."""

from __future__ import annotations

from collections.abc import Sequence

from twinangle.report.citations import Citation, register_of_citations, works_named


def numbered(paragraphs: Sequence[str]) -> tuple[list[str], list[Citation]]:
    """Return the paragraphs with a number in square brackets behind each work, and the works.

    Parameters
    ----------
    paragraphs : sequence of str
        Texts that name works by author and year.
    """
    order: dict[str, int] = {}
    shown = []
    for text in paragraphs:
        parts, last = [], 0
        for found in works_named(text):
            number = order.setdefault(found.key, len(order) + 1)
            parts.append(f"{text[last : found.end]} [{number}]")
            last = found.end
        shown.append("".join([*parts, text[last:]]))
    register = register_of_citations()
    return shown, [register[key] for key in order]


def reference_list(works: Sequence[Citation]) -> list[str]:
    """Return the works as lines; one that nobody looked up says so."""
    return [
        f"{k}. {work.reference()}"
        + (" (Cited from memory: compare with the work.)" if work.from_memory else "")
        for k, work in enumerate(works, start=1)
    ]


def as_bibtex(works: Sequence[Citation]) -> str:
    """Return the works as BibTeX, each with how its entry was checked."""
    lead = "% Made from the register of citations; each entry says how it was checked.\n"
    entries = [f"% {work.key}: {work.checked}\n{work.bibtex()}\n" for work in works]
    return "\n".join([lead, *entries])
