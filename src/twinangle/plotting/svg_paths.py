"""Paths as SVG has them: steps from point to point, in hundredths of a point."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.path import Path
from matplotlib.transforms import Transform

from twinangle.signals.recording import Array

Box = tuple[float, float, float, float]  # left, upper, right, lower, in points
_LETTER_OF: dict[int, str] = {int(Path.LINETO): "l", int(Path.CURVE3): "q", int(Path.CURVE4): "c"}
_VERTICES_OF: dict[int, int] = {int(Path.CURVE3): 2, int(Path.CURVE4): 3}


def hundredths(points: Array, more: Transform) -> Any:
    """Return points as whole hundredths, without those that are none."""
    placed = np.asarray(more.transform(points), dtype=np.float64)
    return np.rint(100 * placed[np.isfinite(placed).all(axis=1)]).astype(np.int64)


def path_data(path: Path) -> tuple[str, Box]:
    """Return a path as SVG has it, and the box it lies in; empty for one without points."""
    (x, y), rest, box = path_steps(path)
    return f"M{x / 100:g} {y / 100:g}{rest}" if rest else "", box


def path_steps(path: Path) -> tuple[Any, str, Box]:
    """Return where a path begins (hundredths), how it goes on from there, and its box."""
    kept = np.asarray(path.codes) != Path.STOP
    codes: Any = np.asarray(path.codes)[kept]
    points: Any = np.rint(100 * np.asarray(path.vertices)[kept]).astype(np.int64)
    if not len(codes):
        return (0, 0), "", (0.0, 0.0, 0.0, 0.0)
    closing = codes == Path.CLOSEPOLY
    placed = points[~closing]
    (left, upper), (right, lower) = placed.min(axis=0) / 100, placed.max(axis=0) / 100
    plain = not closing.any() and codes.max() <= Path.LINETO
    text = _lines(codes, points) if plain else _curves(codes, points)
    return points[0], text, (float(left), float(upper), float(right), float(lower))


def _lines(codes: Any, points: Any) -> str:
    """Return straight lines, each point as a step from the one before."""
    pieces = ["m%g %g" if code == Path.MOVETO else " %g %g" for code in codes[1:].tolist()]
    if pieces and pieces[0][0] == " ":
        pieces[0] = "l%g %g"
    steps = (np.diff(points, axis=0) / 100).ravel().tolist()
    return ("".join(pieces) % tuple(steps)).replace(" -", "-")


def _curves(codes: Any, points: Any) -> str:
    """Return lines and curves, closed or open."""
    parts: list[str] = []
    here = start = points[0]
    last, k = "", 1
    while k < len(codes):
        code = int(codes[k])
        if code == Path.CLOSEPOLY:
            parts.append("z")
            here, last, k = start, "z", k + 1
            continue
        n = _VERTICES_OF.get(code, 1)
        letter = _LETTER_OF.get(code, "m")
        steps = ((points[k : k + n] - here) / 100).ravel().tolist()
        parts.append((" " if letter == last else letter) + " ".join([f"{s:g}" for s in steps]))
        here, last, k = points[k + n - 1], letter, k + n
        if letter == "m":
            start = here
    return "".join(parts).replace(" -", "-")
