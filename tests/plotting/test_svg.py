"""What a figure's SVG holds: everything drawn, in place, in few bytes, read back as a picture."""

import io
import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import typst
from PIL import Image

from twinangle.plotting.fonts import font_folder
from twinangle.plotting.looks import add_panel, drawing_style, new_figure, rendered

SPACE = "{http://www.w3.org/2000/svg}"
PPI = 144


def seen(svg, folder):
    """The picture that a reader of the report sees, as the typesetter reads the file."""
    (folder / "figure.svg").write_bytes(svg)
    wide, tall = re.search(rb'width="([\d.]+)pt" height="([\d.]+)pt"', svg).groups()
    page = f"#set page(width: {wide.decode()}pt, height: {tall.decode()}pt, margin: 0pt)\n"
    (folder / "page.typ").write_text(page + '#image("figure.svg", width: 100%)', encoding="utf-8")
    png = typst.compile(
        str(folder / "page.typ"), format="png", ppi=PPI, font_paths=[str(font_folder())],
        ignore_system_fonts=True,
    )  # fmt: skip
    return np.asarray(Image.open(io.BytesIO(png)).convert("L")).astype(float)


def drawn(figure):
    """The same picture by the plotting library's own renderer of pixels."""
    data = rendered(figure, "png", dpi=PPI)
    return np.asarray(Image.open(io.BytesIO(data)).convert("L")).astype(float)


def curves(axes):
    time = np.linspace(0, 3, 4000)
    axes.plot(time, np.sin(40 * time), linewidth=0.5)
    axes.plot(time, np.where(time % 1 < 0.1, np.nan, time - 1), linestyle=(0, (4, 1.5)))
    axes.set_ylim(-0.8, 1.2)


def no_dashes(axes):
    axes.plot([0, 1, 2], [0, 2, 1], linestyle=(0, ()), color="#222222", linewidth=2)


def marks(axes):
    axes.plot([0, 1, 2, 3], [0, 2, 1, 3], "o", color="#dd8316", alpha=0.7)
    axes.plot([0, 1, 2, 3], [1, 3, 2, 4], "x", color="#17508f")
    axes.plot([3], [0], "s", markerfacecolor="white", color="#222222", clip_on=False)
    axes.scatter([0.5, 1.5], [0.5, 2.5], marker="^", s=20)
    axes.set_xlim(0, 3)


def areas(axes):
    axes.fill_between([0, 1, 2], [0, 1, 0], [1, 2, 3], alpha=0.2, color="#17508f")
    axes.broken_barh([(0.2, 0.4), (1.1, 0.3)], (0, 1), color="#e4e4e4")
    axes.axhline(1.5, linestyle=(0, (5, 1.5, 1, 1.5)))


def hatches(axes):
    for k, hatch in enumerate(("....", "xxxx", "////", "||||", "-", "")):
        axes.barh([k], [3], facecolor="#12957d", edgecolor="white", hatch=hatch)


def words(axes):
    axes.set(xlabel="Time (s)", ylabel="Angle (°)", title="a 5 < 6 & more")
    axes.text(0.5, 0.5, "two\nlines", ha="right", va="top", rotation=30)
    axes.text(0.2, 0.8, "plain", ha="center", fontsize=10, color="#a3123f")


def image(axes):
    time = np.linspace(0, 3, 500)
    axes.plot(time, np.cos(9 * time), ".", rasterized=True)


@pytest.mark.parametrize("draw", [curves, no_dashes, marks, areas, hatches, words, image])
def test_the_file_shows_what_the_plotting_library_draws(draw, tmp_path):
    """Against the library's renderer of pixels, which shares no line with ours."""
    with drawing_style():
        figure = new_figure(80, 50)
        axes = add_panel(figure, 13, 10, 60, 33)
        empty = drawn(figure)
        draw(axes)
        ours, theirs = seen(rendered(figure, "svg"), tmp_path), drawn(figure)
    high, wide = (min(a, b) for a, b in zip(ours.shape, theirs.shape, strict=True))
    ours, theirs, empty = (each[:high, :wide] for each in (ours, theirs, empty))

    def in_tiles(picture):
        rows, columns = high // 8, wide // 8
        tiles = (255 - picture)[: 8 * rows, : 8 * columns].reshape(rows, 8, columns, 8)
        return tiles.mean(axis=(1, 3))

    assert np.abs(in_tiles(theirs) - in_tiles(empty)).max() > 20  # there is something to see
    # Edges, letters and marks differ by part of a pixel; what is lacking differs by far more.
    off = np.abs(in_tiles(ours) - in_tiles(theirs))
    assert off.max() < 60
    assert off.mean() < 2


def test_a_long_trace_keeps_its_peaks():
    values = np.zeros(4001)
    values[[503, 2501]] = 1, -1
    with drawing_style():
        figure = new_figure(80, 50)
        axes = add_panel(figure, 13, 10, 60, 33)
        axes.plot(np.arange(4001), values, color="#123456")
        axes.set_ylim(-2, 2)
        root = ET.fromstring(rendered(figure, "svg"))
        places = [72 / 25.4 * (50 - 10 - 33 * (2 + y) / 4) for y in (1, -1)]
    (trace,) = (
        node.get("d") for node in root.iter(f"{SPACE}path") if "#123456" in node.get("style", "")
    )
    start, steps = re.match(r"M[\d.]+ ([\d.]+)l(.*)", trace).groups()
    numbers = [float(each) for each in re.findall(r"-?[\d.]+(?:e-\d+)?", steps)]
    heights = float(start) + np.cumsum(numbers[1::2])
    assert heights.min() == pytest.approx(places[0], abs=0.01)
    assert heights.max() == pytest.approx(places[1], abs=0.01)


def test_numbers_end_at_a_hundredth_of_a_point_and_steps_do_not_add_up_errors():
    with drawing_style():
        figure = new_figure(80, 50)
        angles = np.linspace(0, 300, 900)
        axes = add_panel(figure, 13, 10, 60, 33)
        axes.plot(angles, np.sin(angles), linewidth=0.5, color="#123456")
        axes.set(xlim=(0, 300), ylim=(-1, 1))
        end = axes.transData.transform((angles[-1], np.sin(angles[-1]))) * 72 / figure.dpi
        svg = rendered(figure, "svg").decode()
    assert not re.search(r"\d\.\d{3,}", svg.partition("<g ")[2])
    (trace,) = re.findall(r'd="([^"]+)" style="[^"]*#123456', svg)
    numbers = np.array([float(each) for each in re.findall(r"-?[\d.]+", trace)]).reshape(-1, 2)
    height = 50 / 25.4 * 72
    assert numbers.sum(axis=0) == pytest.approx([end[0], height - end[1]], abs=0.006)
