"""Movement cycles: where they begin, which to trust, and their time-normalised curves."""

from twinangle.cycles.find import find_cycles, recut
from twinangle.cycles.normalise import CYCLE_PERCENT

__all__ = ["CYCLE_PERCENT", "find_cycles", "recut"]
