"""The figures over all participants, drawn anew for each width of a printed page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from twinangle.artwork import Artwork
from twinangle.parallel import Workers
from twinangle.plotting.fonts import font_families
from twinangle.report.figures import OF_A_STUDY, Written, with_names, write_pooled
from twinangle.results import StudyResults

Drawn = Mapping[float, Iterator[list[Written]]]


def begin_figures(results: StudyResults, folder: Path, workers: Workers, artwork: Artwork) -> Drawn:
    """Begin to draw every figure at every width; :func:`finish_figures` waits for them."""
    font_families()  # written once, before other processes ask for it
    light = replace(results, trials=tuple(replace(t, paired=None) for t in results.trials))
    return {
        width: workers.in_order(
            partial(write_pooled, light, folder, artwork.formats, width_mm=width, dpi=artwork.dpi),
            range(len(OF_A_STUDY)),
        )
        for width in artwork.widths_mm
    }


def finish_figures(drawn: Drawn, folder: Path) -> None:
    """Give the figures their names, and write their captions beside them."""
    captions: dict[str, str] = {}
    for width, several in drawn.items():
        found = with_names([each for some in several for each in some], folder, _ending(width))
        captions |= {each.name: each.caption for each in found}
    (folder / "captions.md").write_text(
        _captions(captions, list(drawn)), encoding="utf-8", newline="\n"
    )


def _ending(width_mm: float) -> str:
    return f"_{width_mm:g}mm".replace(".", "p")


def _captions(captions: Mapping[str, str], widths: Sequence[float]) -> str:
    """Return the captions, which are those of the report."""
    files = " and ".join(f"`NAME{_ending(width)}`" for width in widths)
    lead = (
        f"# Captions\n\nEach figure is drawn as {files}, for print at that width, not to be scaled."
    )
    return "\n\n".join([lead, *(f"**{name}** {said}" for name, said in captions.items())]) + "\n"
