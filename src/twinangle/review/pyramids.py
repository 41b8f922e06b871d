"""Pyramids of the traces that a page has asked for, kept while memory allows."""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import Any

import numpy as np

from twinangle.review.tiles import BUCKETS, FACTOR, Pyramid, build_pyramid
from twinangle.signals.recording import Array

MOST_BYTES = 768 << 20


class Traces:
    """Traces by the address of their content; the longest unused go first.

    An address that has gone is made again when the page asks for its recording.
    """

    def __init__(self) -> None:
        self._kept: OrderedDict[str, Pyramid] = OrderedDict()
        self._lock = threading.Lock()

    def add(self, values: Array, *, start_s: float, rate_hz: float, about: bool) -> dict[str, Any]:
        """Keep a trace, and return what a page needs to ask for its tiles.

        Parameters
        ----------
        values : ndarray, shape (n,)
            NaN is a gap.
        start_s, rate_hz : float
            Its clock.
        about : bool
            About its own median, so that two traces do not show their offset.
        """
        finite = values[np.isfinite(values)]
        if about and finite.size:
            values = values - np.median(finite)
        made = build_pyramid(values, start_s=start_s, rate_hz=rate_hz)
        with self._lock:
            self._kept[made.digest] = made
            self._kept.move_to_end(made.digest)
            while len(self._kept) > 3 and self._bytes() > MOST_BYTES:
                self._kept.popitem(last=False)
        low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, 1.0)
        middle = float(np.median(finite)) if about and finite.size else 0.0
        return {
            "digest": made.digest,
            "start_s": start_s,
            "rate_hz": rate_hz,
            "size": made.size,
            "scales": len(made.scales),
            "factor": FACTOR,
            "buckets": BUCKETS,
            "low": low - middle,
            "high": high - middle,
            "missing": int(values.size - finite.size),
        }

    def tile(self, digest: str, level: int, index: int) -> bytes | None:
        """Return a tile; None where there is none."""
        with self._lock:
            found = self._kept.get(digest)
            if found is None:
                return None
            self._kept.move_to_end(digest)
        try:
            return found.tile(level, index)
        except IndexError:
            return None

    def clear(self) -> None:
        """Forget every trace, so that an earlier address answers nothing."""
        with self._lock:
            self._kept.clear()

    def _bytes(self) -> int:
        return sum(one.n_bytes for one in self._kept.values())
