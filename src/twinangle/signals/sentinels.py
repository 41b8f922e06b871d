"""Numbers that stand for missing values: one value, repeated exactly, far outside all others."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from twinangle.errors import RecordingError
from twinangle.signals.recording import Array, Recording
from twinangle.wording import count as counted

_FEWEST = 2  # a single one is an outlier, not a habit of the file. Own rule, as the next
_SMALLEST = 99.0  # in size; 0 may be a lost packet, and small numbers are readings
_APART = 3.0  # distance from the nearest other value, in ranges of all others


def sentinel(values: Array) -> tuple[float, int] | None:
    """Return the value that stands for missing ones, and how often; None where there is none.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Of one channel; NaN is missing already.

    Notes
    -----
    The least or the greatest value, where it is a whole number of 99 or more in size, occurs twice
    or more and lies farther from the nearest other value than three times the range of all others.
    A saturated instrument ends where its other values begin, and a spike has hardly the same value
    twice.
    """
    known = values[np.isfinite(values)]
    if known.size < _FEWEST + 2:
        return None
    for extreme in (float(known.min()), float(known.max())):
        others = known[known != extreme]
        if (
            abs(extreme) < _SMALLEST
            or extreme != round(extreme)
            or others.size < 2
            or known.size - others.size < _FEWEST
        ):
            continue
        apart = float(np.abs(others - extreme).min())
        if apart > _APART * float(np.ptp(others)) > 0:
            return extreme, known.size - others.size
    return None


def refuse_sentinels(recording: Recording, names: Sequence[str]) -> None:
    """Refuse a recording in whose channels of these names a number stands for missing values.

    Raises
    ------
    RecordingError
        Naming every such channel of one value, its share, and the remedy.
    """
    found: dict[float, list[tuple[str, int, Array]]] = {}
    for name in names:
        values = recording.columns([name])[:, 0]
        one = sentinel(values)
        if one is not None:
            found.setdefault(one[0], []).append((name, one[1], values))
    if not found:
        return
    value, channels = max(found.items(), key=lambda item: len(item[1]))
    name, count, values = max(channels, key=lambda channel: channel[1])
    rest = values[np.isfinite(values) & (values != value)]
    more = f" (likewise in {len(channels) - 1} more)" if len(channels) > 1 else ""
    raise RecordingError(
        f"{recording.source}: channel {name!r}{more} holds {value:.10g} in "
        f"{counted(count, 'sample')} ({100 * count / values.size:.2g} %), far outside all others "
        f"({rest.min():.4g} to {rest.max():.4g}): it seems to stand for missing values. Export "
        "them as empty cells (or NaN), or leave these rows out of the file: they are then gaps "
        "and counted as such."
    )
