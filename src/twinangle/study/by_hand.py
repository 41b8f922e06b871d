"""What decisions say of one recording beyond what a row of the trials table can say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Cycle = tuple[float, Literal["include", "exclude"], str]
"""The start of a cycle on the wearable's clock in seconds, what becomes of it, and why."""


@dataclass(frozen=True, slots=True)
class ByHand:
    """Decisions on one recording that stand and fit it.

    Parameters
    ----------
    lag_s : float or None
        The lag stated; None where the study's method finds it.
    drift_ppm : float
        The drift stated with it.
    cycles : tuple of (float, "include" or "exclude", str)
        Cycles taken out or back in.
    excluded : str
        Why the whole recording is out; empty where it is not.
    told : tuple of str
        What a reader is to know of them.
    """

    lag_s: float | None = None
    drift_ppm: float = 0.0
    cycles: tuple[Cycle, ...] = ()
    excluded: str = ""
    told: tuple[str, ...] = ()

    @property
    def chooses(self) -> bool:
        """Whether cycles or the whole recording are chosen, which could favour a result."""
        return bool(self.cycles or self.excluded)
