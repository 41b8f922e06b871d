"""What the statistics of a run are asked for: one frozen value, handed down whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from twinangle.checks import require_fraction


@dataclass(frozen=True, slots=True)
class Options:
    """The choices behind every number of a run, from the study file to the report.

    Nothing has a default: a run that forgets one fails at once, it does not fall back on a level
    or a margin that nobody chose. Defaults are in the study file's settings alone.

    Attributes
    ----------
    confidence : float
        Of every interval, between 0 and 1.
    margin_deg : float or None
        Largest acceptable difference in either direction, in degrees, stated beforehand; None
        where none was, and then nothing is tested against one.
    error_ratio : float or None
        Variance of the wearable's error over that of the reference's, for Deming's line; None
        where it is not known.
    published_interval : bool
        Whether limits with a published interval are given beside those with the package's own.
    reference_sd_deg : float or None
        Standard deviation of the reference's own error, as its maker or an earlier study states
        it, in degrees; None where it is not known.
    against : str or None
        Condition the others are compared with; None for the first that has a reference.
    seed : int
        Of the random numbers, for what draws them.

    Raises
    ------
    ValueError
        If the confidence is not between 0 and 1, or another number is not above 0.
    """

    confidence: float
    margin_deg: float | None
    error_ratio: float | None
    published_interval: bool
    reference_sd_deg: float | None
    against: str | None
    seed: int

    def __post_init__(self) -> None:
        require_fraction(self.confidence, "confidence")
        for name in ("margin_deg", "error_ratio", "reference_sd_deg"):
            value = getattr(self, name)
            if value is not None and not (np.isfinite(value) and value > 0):
                raise ValueError(f"`{name}` must be above 0, or None, got {value!r}.")

    @property
    def level(self) -> str:
        """The confidence in words, such as "95 %"."""
        return f"{100 * self.confidence:g} %"

    def generator(self) -> np.random.Generator:
        """Return a fresh generator, so that no topic's numbers depend on which came before it."""
        return np.random.default_rng(self.seed)
