"""Cycles that someone has forced in or out by hand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, cast

import numpy as np

from twinangle.errors import OverrideError
from twinangle.notices import Notice
from twinangle.signals.recording import Array

Override = tuple[float, Literal["include", "exclude"], str]
"""Which cycle (an int is its index, a float a time within it, in seconds), what, and why."""


NEAR = 0.25  # of a cycle's duration
_DONE = {"include": "taken in", "exclude": "left out"}


def resolve(
    overrides: Sequence[Override], start_s: Array, end_s: Array, *, part: bool = False
) -> tuple[dict[int, str], dict[int, str]]:
    """Find the cycles that overrides name.

    Parameters
    ----------
    overrides : sequence of (int or float, "include" or "exclude", str)
        An int is the index of a cycle, a float a time within it on the wearable's clock.
    start_s, end_s : ndarray, shape (m,)
        The cycles found.
    part : bool
        They are those of a part of the recording: times that lie in none of them are left alone.

    Returns
    -------
    include, exclude : dict of int to str
        The reason given, by index of the cycle.

    Raises
    ------
    OverrideError
        If an override names no cycle, or two overrides the same one.
    ValueError
        If an override is malformed or gives no reason.
    """
    chosen: dict[str, dict[int, str]] = {"include": {}, "exclude": {}}
    for entry in overrides:
        where, what, why = _checked(entry)
        if part and not ((start_s <= where) & (where < end_s)).any():
            continue
        index = _cycle_at(where, start_s, end_s)
        if any(index in known for known in chosen.values()):
            raise OverrideError(
                f"Cycle {index} ({start_s[index]:.2f} to {end_s[index]:.2f} s) is forced in or out "
                f"more than once, the last time by {entry!r}. Keep one."
            )
        chosen[what][index] = why
    return chosen["include"], chosen["exclude"]


def placed(
    decided: Sequence[tuple[float, Literal["include", "exclude"], str]],
    start_s: Array,
    end_s: Array,
) -> tuple[dict[int, Override], tuple[str, ...]]:
    """Find the cycles that decisions name by their start.

    Parameters
    ----------
    decided : sequence of (float, "include" or "exclude", str)
        The start of a cycle on the wearable's clock, what becomes of it, and why; of two on one
        cycle the later counts.
    start_s, end_s : ndarray, shape (m,)
        The cycles found.

    Returns
    -------
    found : dict of int to (float, "include" or "exclude", str)
        By index of the cycle.
    lost : tuple of str
        What is to be told of decisions that name no cycle: none starts within a quarter of the
        nearest one's duration (own rule), as where another interval is analysed since.
    """
    found: dict[int, Override] = {}
    lost: list[str] = []
    for entry in decided:
        at_s, what, why = entry
        nearest = int(np.argmin(np.abs(start_s - at_s))) if start_s.size else -1
        if nearest >= 0 and abs(start_s[nearest] - at_s) <= NEAR * (
            end_s[nearest] - start_s[nearest]
        ):
            found[nearest] = entry
            continue
        beside = f"; the nearest starts at {start_s[nearest]:.2f} s" if nearest >= 0 else ""
        text = (
            f"The cycle that starts at {at_s:.2f} s is to be {_DONE[what]} by hand ({why}), but "
            f"no cycle starts there{beside}: not applied. Look again, or undo the decision."
        )
        lost.append(Notice(text, "decision-not-applied", "grave"))
    return found, tuple(lost)


def not_taken_in(index: int, times_s: tuple[float, float], why: str, reason: str) -> Notice:
    """Return what is to be told of a cycle that a decision takes in, and that has a gap."""
    begin, end = times_s
    text = (
        f"Cycle {index} ({begin:.2f} to {end:.2f} s) is to be taken in by hand ({why}), and "
        f"cannot be: {reason}."
    )
    return Notice(text, "decision-not-applied", "grave")


def not_forced_in(index: int, times_s: tuple[float, float], reason: str) -> OverrideError:
    """Return the fault of a cycle that an override forces in, and that has a gap."""
    begin, end = times_s
    return OverrideError(
        f"Cycle {index} ({begin:.2f} to {end:.2f} s) cannot be forced in: {reason}. Take it off "
        "the list of forced cycles."
    )


def _checked(entry: object) -> Override:
    """Check the form of one override."""
    form = "(index or time, 'include' or 'exclude', reason)"
    if not (isinstance(entry, (tuple, list)) and len(entry) == 3):
        raise ValueError(f"an override must be {form}, got {entry!r}.")
    where, what, why = entry
    if not _is_number(where):
        raise ValueError(f"an override must be {form}, got {entry!r}.")
    if what not in ("include", "exclude"):
        raise ValueError(f"an override must say 'include' or 'exclude', got {what!r}.")
    if not (isinstance(why, str) and why.strip()):
        raise ValueError(f"the override {entry!r} must give its reason.")
    return cast(Override, (where, what, why.strip()))


def _is_number(value: object) -> bool:
    """Tell whether a value is a finite number, and no truth value."""
    number = isinstance(value, (int, float, np.integer, np.floating)) and not isinstance(
        value, bool
    )
    return number and bool(np.isfinite(cast(float, value)))


def _cycle_at(where: float | int, start_s: Array, end_s: Array) -> int:
    """Return the index of the cycle with this index, or that holds this time."""
    if isinstance(where, (int, np.integer)):
        if 0 <= where < start_s.size:
            return int(where)
        raise OverrideError(
            f"No cycle {where}: {start_s.size} were found, 0 to {start_s.size - 1}."
        )
    holds = np.flatnonzero((start_s <= where) & (where < end_s))
    if holds.size:
        return int(holds[0])
    if not start_s.size:
        raise OverrideError(f"No cycle was found at {where:g} s, nor anywhere else.")
    nearest = int(np.argmin(np.abs((start_s + end_s) / 2 - where)))
    raise OverrideError(
        f"No cycle was found at {where:g} s; the nearest is cycle {nearest}, "
        f"{start_s[nearest]:.2f} to {end_s[nearest]:.2f} s."
    )
