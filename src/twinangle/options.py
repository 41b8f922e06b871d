"""What the statistics of a run are asked for: one frozen value, handed down whole."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from twinangle.checks import require_fraction
from twinangle.declare import measured, number


@dataclass(frozen=True, slots=True)
class Options:
    """The choices behind every number of a run, from the study file to the report.

    Nothing has a default: a run that forgets one fails at once, it does not fall back on a level
    or a margin that nobody chose. Defaults are in the study file's settings alone.

    Raises
    ------
    ValueError
        If the confidence is not between 0 and 1, or another number is not above 0.
    """

    confidence: Annotated[float, number("level of every interval, between 0 and 1")]
    margin_deg: Annotated[
        float | None,
        measured("deg", "largest acceptable difference either way, stated beforehand, if it was"),
    ]
    error_ratio: Annotated[
        float | None,
        number("variance of the wearable's error over that of the reference's, where known"),
    ]
    published_interval: Annotated[
        bool, number("whether limits with a published interval are given beside the package's own")
    ]
    reference_sd_deg: Annotated[
        float | None, measured("deg", "SD of the reference's own error, where it is known")
    ]
    against: Annotated[
        str | None,
        number("condition the others are compared with; null: the first that has a reference"),
    ]
    seed: Annotated[int, number("of the random numbers, for what draws them")]

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
