"""Whether what became of a mistake is what the catalogue says."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from catalogue import Mistake
from scene import Scene, Told, tell


def outcome_of(mistake: Mistake, honest: Path) -> Told:
    """Make the mistake on a copy of the correct study and return what was told of it."""
    with tempfile.TemporaryDirectory() as place:
        scene = Scene(honest, Path(place) / "study", everyone=mistake.everyone)
        mistake.inject(scene)
        return tell(scene.folder, analyse=mistake.run)


def against(mistake: Mistake, told: Told, clean: Told) -> str:
    """Return what is not as the catalogue says; empty where all is."""
    new = Told(
        tuple(text for text in told.faults if text not in clean.faults),
        tuple(text for text in told.warnings if text not in clean.warnings),
        told.results,
    )
    if mistake.outcome == "told":
        return "" if new.says(mistake.words) else f"no message holds {mistake.words}: {new.text}"
    if told.faults:
        return f"refused: {told.faults}"
    if mistake.outcome == "cannot be known":
        return ""
    return _unlike(told, clean)


def _unlike(told: Told, clean: Told) -> str:
    """Return in what the numbers leave the clean run's intervals."""
    one, other = (
        next(each.agreement for each in found.results if each.agreement is not None)
        for found in (told, clean)
    )
    for name in ("offset", "rms_demeaned"):
        value, (low, high) = getattr(one, name), getattr(other, f"{name}_ci")
        reach = 0.1  # °: what cutting other cycles changes
        if not low - reach <= value <= high + reach:
            return f"{name} {value:.3f} outside {low:.3f} to {high:.3f}"
    return ""


def numbers_line(told: Told) -> str:
    """Return offset and RMS for a table."""
    offset, rms = told.numbers()
    return "-" if np.isnan(offset) else f"{offset:+.2f}, {rms:.2f}"
