"""How the figures for a paper are made: widths, formats, and dots an inch of those in pixels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

NARROWEST_MM, WIDEST_MM = 80.0, 200.0
FORMATS = ("pdf", "svg", "png", "tiff")
LEAST_DPI, MOST_DPI = 150, 1200


@dataclass(frozen=True, slots=True)
class Artwork:
    """What the study file's section `[report]` asks of the figures, or the command `report`.

    Attributes
    ----------
    widths_mm : tuple of float
        Widths in print for which every figure is drawn anew; none: as in the report, each for one
        column of a journal's page or for both (publishers' guides for artwork: 85 to 90 mm and
        174 to 180 mm, type of 7 to 8 points).
    formats : tuple of str
        Of `FORMATS`.
    dpi : int
        Of png and tiff, and of what is drawn as an image within the others.

    Raises
    ------
    ValueError
        If one is given twice, not known or out of range, or there is no format.
    """

    widths_mm: tuple[float, ...] = ()
    formats: tuple[str, ...] = ("pdf", "svg")
    dpi: int = 300

    def __post_init__(self) -> None:
        for width in self.widths_mm:
            if not NARROWEST_MM <= width <= WIDEST_MM:
                raise ValueError(
                    f"`figure_width_mm`: {width:g} is not between {NARROWEST_MM:g} and "
                    f"{WIDEST_MM:g}; type of 7 points needs the first, a page ends at the second."
                )
        for name in self.formats:
            if name not in FORMATS:
                raise ValueError(f"`figure_formats`: {name!r} is not one of {', '.join(FORMATS)}.")
        if not LEAST_DPI <= self.dpi <= MOST_DPI:
            raise ValueError(f"`dpi`: {self.dpi} is not between {LEAST_DPI} and {MOST_DPI}.")
        if not self.formats:
            raise ValueError("`figure_formats`: must hold at least one.")
        for key, values in (("figure_width_mm", self.widths_mm), ("figure_formats", self.formats)):
            if len(set(values)) != len(values):
                raise ValueError(f"`{key}`: must hold each once.")


def artwork_of(parameters: Mapping[str, Any]) -> Artwork:
    """Return what a run's parameters say; what they leave open is as by default."""
    section = parameters.get("report")
    said = section if isinstance(section, Mapping) else {}
    default = Artwork()
    return Artwork(
        tuple(said.get("figure_width_mm") or default.widths_mm),
        tuple(said.get("figure_formats") or default.formats),
        int(said.get("dpi") or default.dpi),
    )


def changed(
    artwork: Artwork,
    *,
    widths: Sequence[float] | None,
    formats: Sequence[str] | None,
    dpi: int | None,
) -> Artwork:
    """Return it with what is given in the place of what it says."""
    return replace(
        artwork,
        widths_mm=tuple(widths) if widths else artwork.widths_mm,
        formats=tuple(formats) if formats else artwork.formats,
        dpi=dpi or artwork.dpi,
    )
