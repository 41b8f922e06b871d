"""Pictures of how often intervals hold the truth, drawn from docs/background/data.

python docs/extensions/coverage_pictures.py

Every table there with the columns of COLUMNS becomes docs/images/coverage-NAME.svg: one bar a
row and series from the lowest to the highest cell, a mark at the mean where there is one, and a
dashed line at what was meant. The same table gives the same bytes.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

DOCS = Path(__file__).resolve().parents[1]
COLUMNS = ["panel", "row", "series", "low", "high", "mean", "meant"]
SHADES = ("0", "0.45", "0.25", "0.6", "0.1")  # told apart by their marks where greys are alike
MARKS = ("o", "s", "^", "D", "v")
ROW, STEP, TOP, FOOT = 0.14, 0.12, 0.6, 0.5  # inches: about a row, between series, margins
STYLE: dict[Any, Any] = {"svg.hashsalt": "coverage", "svg.fonttype": "none", "font.size": 8}

Row = dict[str, str]


def tables(folder: Path = DOCS / "background/data") -> dict[str, list[Row]]:
    """Return the rows of every table that is drawn, by its name."""
    found = {}
    for path in sorted(folder.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            reader = csv.DictReader(file)
            if reader.fieldnames == COLUMNS:
                found[path.stem] = list(reader)
    return found


def _unlike(rows: list[Row], key: str) -> list[str]:
    return list(dict.fromkeys(row[key] for row in rows))


def _draw_panel(axes: Axes, rows: list[Row], places: dict[str, float], series: list[str]) -> None:
    """Draw the bars of one panel; the series of a row lie below one another."""
    for row in rows:
        own = _unlike([other for other in rows if other["row"] == row["row"]], "series")
        style = series.index(row["series"])
        shade, mark = SHADES[style % len(SHADES)], MARKS[style % len(MARKS)]
        place = places[row["row"]] + STEP * (own.index(row["series"]) - (len(own) - 1) / 2)
        middle = [float(row["mean"])] if row["mean"] else []
        ends = [float(row[key]) for key in ("low", "high") if row[key]]
        bar = ends + middle
        axes.plot([min(bar), max(bar)], [place, place], color=shade, linewidth=2.2)
        axes.plot(middle or ends, [place] * len(middle or ends), mark, color=shade, markersize=3)
    for meant in _unlike(rows, "meant"):
        if meant:
            axes.axvline(float(meant), color="0", linewidth=0.8, linestyle=(0, (4, 3)))
    axes.set_title(_unlike(rows, "panel")[0], fontsize=8)
    axes.grid(axis="x", color="0.9", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(axis="y", length=0)
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.set_xlabel("%")


def draw(rows: list[Row]) -> Figure:
    """Draw one table: panels side by side, the rows of all in one order."""
    panels, labels = _unlike(rows, "panel"), _unlike(rows, "row")
    series = _unlike(rows, "series")
    most = max(len(_unlike([r for r in rows if r["panel"] == p], "series")) for p in panels)
    pitch = ROW + STEP * most
    places = {label: pitch * number for number, label in enumerate(labels)}
    height = TOP + FOOT + pitch * len(labels)
    left, width = 0.2 + 0.068 * max(map(len, labels)), (4.0, 2.4, 1.9, 1.6)[len(panels) - 1]
    whole = left + len(panels) * (width + 0.2)
    figure = Figure(figsize=(whole, height))
    for number, panel in enumerate(panels):
        box = (left + number * (width + 0.2), FOOT, width, pitch * len(labels))
        axes = figure.add_axes((box[0] / whole, box[1] / height, box[2] / whole, box[3] / height))
        _draw_panel(axes, [row for row in rows if row["panel"] == panel], places, series)
        axes.set_ylim(pitch * (len(labels) - 0.5), -pitch / 2)
        axes.set_yticks(list(places.values()), labels if number == 0 else [""] * len(labels))
    if len(series) > 1:
        keys = [
            Line2D([], [], color=SHADES[n % 5], marker=MARKS[n % 5], markersize=4, label=name)
            for n, name in enumerate(series)
        ]
        figure.legend(handles=keys, loc="upper left", ncols=len(keys), frameon=False)
    return figure


def save(figure: Figure, path: Path) -> None:
    """Write a figure without the date and the drawing library's name."""
    figure.savefig(path, metadata={"Date": None, "Creator": None}, facecolor="1")


def main(folder: Path = DOCS / "images") -> None:
    """Draw all tables into the folder."""
    with mpl.rc_context(STYLE):
        for name, rows in tables().items():
            save(draw(rows), folder / f"coverage-{name}.svg")


if __name__ == "__main__":
    main()
