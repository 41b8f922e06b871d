"""The cycles of the stretch to analyse: what lies beside it is none that was left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from twinangle.cycles.bouts import Candidates
from twinangle.cycles.judge import Asked
from twinangle.cycles.overrides import Override, placed
from twinangle.errors import TooFewCyclesError


def of_the_stretch(asked: Asked, candidates: Candidates) -> tuple[Asked, Candidates]:
    """Return the cycles within the stretch to analyse, and what is said by hand of these.

    Parameters
    ----------
    asked : Asked
        What :func:`twinangle.cycles.find.find_cycles` was asked for.
    candidates : Candidates
        All cycles of the recording.

    Returns
    -------
    Asked
        Without what forces out a cycle beside the stretch: another row of the trials table, which
        takes another part of the same recording, may have it.
    Candidates
        With one beside the stretch only where it is forced in. Their bouts are numbered from 1, as
        if nothing had been recorded beside it.

    Raises
    ------
    TooFewCyclesError
        If no cycle lies within it.
    """
    low, high = asked.limits_s
    inside = np.asarray((candidates.start_s >= low) & (candidates.end_s <= high))
    if inside.all():
        return asked, candidates
    taken = inside.copy()
    overrides = [one for one in asked.overrides if _counts(one, _at(one, candidates), taken)]
    decided = [one for one in asked.decided if _counts(one, _near(one, candidates), taken)]
    if not taken.any():
        raise TooFewCyclesError(
            f"No cycle found: none of the {taken.size} of the recording lies within {low:g} to "
            f"{high:g} s (`start_s` and `end_s`, on the wearable's clock)."
        )
    asked = replace(asked, overrides=overrides, decided=decided)
    return asked, _only(_numbered(candidates, inside), taken)


def _counts(said: Override, index: int | None, taken: NDArray[np.bool_]) -> bool:
    """Whether what is said by hand is of this stretch; a cycle beside it that is forced in is."""
    if index is None or taken[index]:
        return True
    taken[index] = said[1] == "include"
    return bool(taken[index])


def _at(said: Override, candidates: Candidates) -> int | None:
    """Return the cycle that an override names by a time; None where it names none, or a number."""
    if isinstance(said[0], (int, np.integer)):
        return None
    holds = np.flatnonzero((candidates.start_s <= said[0]) & (said[0] < candidates.end_s))
    return int(holds[0]) if holds.size else None


def _near(said: Override, candidates: Candidates) -> int | None:
    """Return the cycle that a decision names by its start, None where it names none."""
    found, _ = placed([said], candidates.start_s, candidates.end_s)
    return next(iter(found), None)


def _numbered(candidates: Candidates, inside: NDArray[np.bool_]) -> Candidates:
    """Return the cycles with those bouts numbered first, from 1, that have one inside."""
    order = [*np.unique(candidates.bout[inside]), *np.unique(candidates.bout[~inside])]
    bouts: Sequence[int] = list(dict.fromkeys(int(n) for n in order if n > 0))
    number = np.zeros(max(bouts, default=0) + 1, dtype=np.int64)
    number[list(bouts)] = np.arange(1, len(bouts) + 1)
    return replace(candidates, bout=number[candidates.bout])


def _only(candidates: Candidates, rows: NDArray[np.bool_]) -> Candidates:
    return Candidates(
        start_s=candidates.start_s[rows],
        end_s=candidates.end_s[rows],
        bout=candidates.bout[rows],
        before_s=candidates.before_s[rows],
        after_s=candidates.after_s[rows],
        pause=candidates.pause[rows],
        typical_s=candidates.typical_s,
    )
