"""Two instruments none of whose columns is known: which is which, by how many columns each has."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from twinangle.init.partners import paired
from twinangle.init.recognition import signals_of

if TYPE_CHECKING:
    from twinangle.init.folder_contents import Found

FEWEST_OF_SENSORS = 6  # columns: two sensors have eight (orientations) or twelve, one has six


def references_by_columns(unknown: Sequence[Found]) -> tuple[list[Found], list[str]]:
    """Return the files to take for references, and what has to be asked.

    Of two kinds that go in pairs by their names they are the files of fewer columns than sensors
    have.

    Parameters
    ----------
    unknown : sequence of Found
        Files in which no channel is known.

    Returns
    -------
    tuple of list of Found, and list of str
        Nothing where there are other than two kinds, or where names make no pairs.
    """
    kinds: dict[tuple[str, ...], list[Found]] = {}
    for each in unknown:
        if each.description is not None and not each.place.part:
            kinds.setdefault(signals_of(each.description), []).append(each)
    if len(kinds) != 2:
        return [], []
    (many, worn), (few, others) = sorted(kinds.items(), key=lambda kind: -len(kind[0]))
    pairs = paired(
        {each.path: each.place.tokens for each in worn},
        {each.path: each.place.tokens for each in others},
    )
    if not pairs:
        return [], []
    if len(few) < FEWEST_OF_SENSORS <= len(many):
        return others, []
    first, second = next(iter(pairs.items()))
    asked = (
        f"study.toml and trials.csv: which of {first} and {second}, that go together by their "
        f"names, is the wearable's and which the reference's, no column tells ({len(many)} and "
        f"{len(few)} beside the time). "
    )
    if len(few) < FEWEST_OF_SENSORS:
        return others, [
            asked + "Swap sections and columns where it is the other way round; the same for "
            "every pair."
        ]
    return [], [asked + "Write both into one row, and a section for each kind."]
