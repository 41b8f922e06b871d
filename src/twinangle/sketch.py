"""Small pictures of a result as SVG, for a notebook: no axes to read off, no plotting library.

They show the shape of what was found beside its numbers; figures for reading and printing are
those of `twinangle.plotting`.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
WEARABLE, REFERENCE = "#0072b2", "#d55e00"
WIDTH, HEIGHT, EDGE = 360, 120, 6
ROW, LABEL = 22, 150
MOST_ROWS = 8


def sketch_curves(curves: Sequence[tuple[str, Floats, str]], words: str) -> str:
    """Return curves over one cycle, on one scale.

    Parameters
    ----------
    curves : sequence of (name, values, colour)
        Names stand in the picture's corner, in their colour.
    words : str
        What is seen, for those who cannot see it.
    """
    known = [values[np.isfinite(values)] for _, values, _ in curves]
    held = np.concatenate(known) if known else np.zeros(0)
    if held.size < 2:
        return ""
    low, high = float(held.min()), float(held.max())
    scale = (HEIGHT - 2 * EDGE) / (high - low if high > low else 1.0)
    parts = []
    for k, (name, values, colour) in enumerate(curves):
        across = np.linspace(EDGE, WIDTH - EDGE, values.size)
        points = " ".join(
            f"{x:.1f},{HEIGHT - EDGE - (y - low) * scale:.1f}"
            for x, y in zip(across, values, strict=True)
            if np.isfinite(y)
        )
        parts.append(
            f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="2"/>'
        )
        parts.append(_text(EDGE, 14 + 14 * k, name, colour))
    return _svg(WIDTH, HEIGHT, words, parts)


def sketch_limits(rows: Sequence[tuple[str, float, float, float]], words: str) -> str:
    """Return a bias and its limits a row, on one scale with a line at 0.

    Parameters
    ----------
    rows : sequence of (name, lower limit, bias, upper limit)
        Rows with a number that is not finite are left out.
    words : str
        What is seen, for those who cannot see it.
    """
    shown = [row for row in rows if np.all(np.isfinite(row[1:]))][:MOST_ROWS]
    if not shown:
        return ""
    ends = np.array([row[1:] for row in shown])
    low, high = min(0.0, float(ends.min())), max(0.0, float(ends.max()))
    scale = (WIDTH - 2 * EDGE) / (high - low if high > low else 1.0)

    def across(value: float) -> float:
        return LABEL + EDGE + (value - low) * scale

    height = ROW * len(shown) + 2 * EDGE
    zero = f"M{across(0):.1f} {EDGE}V{height - EDGE}"
    parts = [f'<path d="{zero}" stroke="currentColor" stroke-dasharray="3 3" opacity="0.6"/>']
    for k, (name, lower, bias, upper) in enumerate(shown):
        y = EDGE + ROW * (k + 0.5)
        line = f"M{across(lower):.1f} {y}H{across(upper):.1f}"
        parts.append(_text(0, y + 4, name, "currentColor"))
        parts.append(f'<path d="{line}" stroke="{WEARABLE}" stroke-width="3" opacity="0.6"/>')
        parts.append(f'<circle cx="{across(bias):.1f}" cy="{y}" r="4" fill="{WEARABLE}"/>')
    return _svg(LABEL + WIDTH, height, words, parts)


def _text(x: float, y: float, words: str, colour: str) -> str:
    return f'<text x="{x}" y="{y}" font-size="12" fill="{colour}">{escape(words)}</text>'


def _svg(width: int, height: int, words: str, parts: Sequence[str]) -> str:
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}"'
    label = escape(words)
    seen = f'viewBox="0 0 {width} {height}" role="img" aria-label="{label}"'
    return f"{head} {seen}>{''.join(parts)}</svg>"
