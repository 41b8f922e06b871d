"""Draw the small figures of docs/background from the numbers their pages state.

    python docs/extensions/background_pictures.py

writes PNG files into docs/images.
"""

from __future__ import annotations

import csv
from pathlib import Path

import matplotlib as mpl
import numpy as np
import numpy.typing as npt

mpl.use("agg")
import matplotlib.pyplot as plt

DOCS = Path(__file__).resolve().parents[1]
BLUE, ORANGE, GREY = "#0072b2", "#d55e00", "#777777"


def knee(share: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the stylised knee angle in degrees: the formula of simulation.md."""
    stance = np.exp(-((share - 0.14) ** 2) / (2 * 0.06**2))
    swing = np.exp(-((share - 0.72) ** 2) / (2 * 0.09**2))
    return 3 + 14 * stance + 59 * swing


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of docs/background/data."""
    with (DOCS / "background/data" / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def stylised_knee(axes: plt.Axes) -> None:
    """Draw one cycle of the stylised knee."""
    share = np.linspace(0, 1, 201)
    axes.plot(100 * share, knee(share), color=BLUE)
    axes.set(xlabel="gait cycle, %", ylabel="knee flexion, °", ylim=(0, 70))


def late_by_20_ms(axes: plt.Axes) -> None:
    """Draw the knee twice, one curve 20 ms late in a stride of 1.1 s, and their difference."""
    time = np.linspace(0, 1.1, 221)
    on_time, late = knee(time / 1.1), knee((time - 0.02) / 1.1 % 1)
    axes.plot(time, on_time, color=BLUE, label="reference")
    axes.plot(time, late, color=ORANGE, label="wearable, 20 ms late")
    axes.plot(time, late - on_time, color=GREY, linestyle="--", label="difference")
    axes.set(xlabel="time in the stride, s", ylabel="knee flexion, °")
    axes.legend(frameon=False, fontsize=8, loc="upper left")


def heading_over_iron(axes: plt.Axes) -> None:
    """Draw the shank's heading error over iron, each sensor alone and both together."""
    table = rows("heading-over-iron.csv")
    floor = [float(row["floor_ut"]) for row in table]
    for column, label, style in (
        ("vqf_offline_shank_deg", "vqf_offline", (GREY, ":")),
        ("kalman_shank_deg", "kalman", (BLUE, "-")),
        ("bound_shank_deg", "least possible for one sensor", (BLUE, "--")),
        ("two_sensors_shank_deg", "kalman-two-sensors", (ORANGE, "-")),
    ):
        values = [float(row[column]) for row in table]
        axes.plot(floor, values, color=style[0], linestyle=style[1], label=label)
    axes.set(xlabel="iron in the floor, µT RMS at floor level", ylabel="heading error, shank, °")
    axes.legend(frameon=False, fontsize=8)


def axis_off(axes: plt.Axes) -> None:
    """Draw what a turn of 60° reads about an axis that is misplaced."""
    off, half = np.radians(np.linspace(0, 30, 61)), np.radians(30)
    read = np.degrees(2 * np.arctan2(np.sin(half) * np.cos(off), np.cos(half)))
    axes.plot(np.degrees(off), read, color=BLUE)
    axes.set(xlabel="flexion axis misplaced by, °", ylabel="a turn of 60° reads, °", ylim=(50, 61))


def mistakes_caught(axes: plt.Axes) -> None:
    """Draw the shares of the mistakes put in that were refused, warned of and passed, by group."""
    table = rows("mistakes-in-sensors.csv")
    groups = (
        ("signs, exchanges", ("sign", "exchanged", "left-handed", "no gravity", "late")),
        ("accelerometer's scale", ("accelerometer: scale",)),
        ("gyroscope's scale", ("gyroscope: scale",)),
    )
    left = np.zeros(len(groups))
    for column, colour in (("refused", BLUE), ("warned of", ORANGE), ("passed", "#cccccc")):
        share = []
        for _, words in groups:
            chosen = [row for row in table if any(word in row["mistake"] for word in words)]
            tried = sum(int(row["tried"]) for row in chosen)
            share.append(100 * sum(int(row[column]) for row in chosen) / tried)
        axes.barh([name for name, _ in groups], share, left=left, color=colour, label=column)
        left += share
    axes.invert_yaxis()
    axes.set(xlabel="share of the mistakes put in, %")
    axes.legend(frameon=False, fontsize=8, ncols=3, bbox_to_anchor=(0, 1), loc="lower left")


FIGURES = {
    "stylised-knee": stylised_knee,
    "late-by-20-ms": late_by_20_ms,
    "heading-over-iron": heading_over_iron,
    "axis-off": axis_off,
    "mistakes-caught": mistakes_caught,
}


def main() -> None:
    """Write every figure."""
    mpl.rcParams.update({"font.size": 9})
    for name, draw in FIGURES.items():
        figure, axes = plt.subplots(figsize=(5.2, 2.5), layout="constrained")
        draw(axes)
        axes.spines[["top", "right"]].set_visible(False)
        figure.savefig(DOCS / f"images/{name}.png", dpi=140)
        plt.close(figure)


if __name__ == "__main__":
    main()
