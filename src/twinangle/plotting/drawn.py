"""A figure and the words that go with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """A figure, the end of its file name, and the words that go with it."""

    name: str
    figure: Figure
    caption: str
    alternative: str  # for readers who cannot see it
