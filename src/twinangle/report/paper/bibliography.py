"""References numbered in the order in which a text names them, and as BibTeX."""

from __future__ import annotations

from collections.abc import Sequence

from twinangle.report.citations import Citation, register_of_citations
from twinangle.report.methods import NAMED


def numbered(paragraphs: Sequence[str]) -> tuple[list[str], list[Citation]]:
    """Return the paragraphs with a number in square brackets behind each work, and the works.

    Parameters
    ----------
    paragraphs : sequence of str
        Texts that name works by author and year.
    """
    text = "\n\n".join(paragraphs)
    places = {key: text.find(mark) for key, mark in NAMED.items()}
    order = sorted((key for key, place in places.items() if place >= 0), key=places.__getitem__)
    # The longest first, so that a bare year is not marked within a longer name.
    for key in sorted(order, key=lambda key: -len(NAMED[key])):
        text = text.replace(NAMED[key], f"{NAMED[key]}\0{order.index(key) + 1}\0")
    shown = _in_brackets(text)
    register = register_of_citations()
    return shown.split("\n\n"), [register[key] for key in order]


def _in_brackets(text: str) -> str:
    """Turn the marks into numbers in brackets."""
    parts = text.split("\0")
    return "".join(f" [{part}]" if k % 2 else part for k, part in enumerate(parts))


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
