"""Movement cycles: where they begin, which to trust, and their time-normalised curves."""

from twinangle.cycles.find import find_cycles, recut
from twinangle.cycles.normalise import CYCLE_PERCENT
from twinangle.cycles.overrides import Override
from twinangle.cycles.summary import StrideSummary, bout_summaries, stride_summary
from twinangle.cycles.units import BoutUnit, bout_units

__all__ = [
    "CYCLE_PERCENT",
    "BoutUnit",
    "Override",
    "StrideSummary",
    "bout_summaries",
    "bout_units",
    "find_cycles",
    "recut",
    "stride_summary",
]


def __dir__() -> list[str]:
    """Return the public names, for completion."""
    return sorted(__all__)
