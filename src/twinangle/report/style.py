"""How every figure looks: sizes, type, colours, and a file with the same bytes each time."""

from __future__ import annotations

import io
import os
import tempfile
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib import font_manager
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from twinangle.report.panel import Panel
from twinangle.signals.recording import Array

Rows = NDArray[np.intp]
MM = 1 / 25.4  # inches
SINGLE_MM = 88.0  # one column of a journal page
DOUBLE_MM = 178.0  # both columns
FONT_PT = 7.0

# Dark blue against a lighter orange: apart in grey (relative luminance 0.09 against 0.30) and for
# every common colour vision deficiency; the reference is dashed as well.
WEARABLE = "#17508f"
REFERENCE = "#dd8316"
EXCLUDED = "#a6a6a6"
MARGIN = "#7b2d6b"
INK = "#222222"
FAINT = "#6b6b6b"
COLOURS = (
    WEARABLE,
    "#c2571a",
    "#1b8a7a",
    "#7b2d6b",
    "#c79a10",
    "#5a6b7b",
    "#4f9bd9",
    "#8c3b3b",
    "#6d8f2b",
    "#b06fb0",
)
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "h", "p")
DASHES: tuple[tuple[float, tuple[float, ...]], ...] = (
    (0, ()),
    (0, (4, 1.5)),
    (0, (1, 1.2)),
    (0, (5, 1.2, 1, 1.2)),
    (0, (7, 2)),
)
Dash = tuple[float, tuple[float, ...]]
REFERENCE_DASH: Dash = (0.0, (3.2, 1.3))
LIMIT_DASH: Dash = (0, (4, 1.5))
MARGIN_DASH: Dash = (0, (5, 1.5, 1, 1.5))

STYLE: Mapping[str, Any] = {
    "font.size": FONT_PT,
    "axes.titlesize": FONT_PT + 0.5,
    "axes.titlelocation": "left",
    "axes.titlepad": 4,
    "axes.titley": 1.0,  # a fixed place: finding one means laying out every axis twice
    "axes.labelsize": FONT_PT,
    "axes.labelpad": 2,
    "axes.linewidth": 0.5,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "text.parse_math": False,  # a name with dollar signs is a name
    "axes.formatter.useoffset": False,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": FONT_PT,
    "ytick.labelsize": FONT_PT,
    "xtick.major.width": 0.5,
    "ytick.major.width": 0.5,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "xtick.major.pad": 2,
    "ytick.major.pad": 2,
    "lines.linewidth": 1.0,
    "lines.markersize": 3,
    "patch.linewidth": 0.5,
    "legend.fontsize": FONT_PT,
    "legend.frameon": False,
    "legend.borderaxespad": 0,
    "legend.handlelength": 2.2,
    "legend.columnspacing": 1.4,
    "path.simplify": True,
    "path.simplify_threshold": 0.2,
    "pdf.fonttype": 42,  # TrueType, as publishers ask
    "pdf.compression": 6,
    "svg.hashsalt": "twinangle",
}

# Blocks of DejaVu Sans that most figures need: Latin with its western European letters,
# punctuation, and the minus sign. A name with others is drawn from the whole typeface.
_BLOCKS = ((0x20, 0x7F), (0xA0, 0x100), (0x2010, 0x2027), (0x2212, 0x2213))
_SLIM_FAMILY = "Twinangle Sans"


def font_folder() -> Path:
    """Return the folder of the typefaces that come with the plotting library."""
    return Path(mpl.get_data_path()) / "fonts" / "ttf"


def _write_slim_font(target: Path) -> None:
    """Write the part of DejaVu Sans that figures need, without its layout tables."""
    from fontTools import subset
    from fontTools.ttLib import TTFont

    font = TTFont(font_folder() / "DejaVuSans.ttf", recalcTimestamp=False)
    options = subset.Options(layout_features=[], hinting=False, name_IDs=["*"])
    options.drop_tables += ["GSUB", "GPOS", "GDEF", "kern", "FFTM", "MATH"]
    chosen = subset.Subsetter(options)
    chosen.populate(unicodes=[code for first, last in _BLOCKS for code in range(first, last)])
    chosen.subset(font)
    for record in font["name"].names:
        if record.nameID in (1, 4, 6, 16):
            name = _SLIM_FAMILY.replace(" ", "") if record.nameID == 6 else _SLIM_FAMILY
            record.string = name
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=target.parent, suffix=".ttf")
    os.close(handle)
    font.save(temporary)
    os.replace(temporary, target)  # another process may be writing the same file


@lru_cache(maxsize=1)
def font_families() -> tuple[str, ...]:
    """Return the typefaces of the figures, first choice first.

    Embedding a typeface means cutting it down to the characters used, for every figure anew;
    starting from one that is cut down already (once, kept in the plotting library's cache
    folder) takes a third of a figure's time off. Characters outside it come from the whole one.
    """
    source = font_folder() / "DejaVuSans.ttf"
    name = f"twinangle-sans-2-{mpl.__version__}-{source.stat().st_size}.ttf"
    target = Path(mpl.get_cachedir()) / name
    if not target.exists():
        _write_slim_font(target)
    font_manager.fontManager.addfont(target)
    return (_SLIM_FAMILY, "DejaVu Sans")


def styled() -> Any:
    """Return the settings that drawing and saving run under (for ``matplotlib.rc_context``)."""
    defaults = {
        name: value for name, value in mpl.rcParamsDefault.items() if not name.startswith("backend")
    }
    return dict(defaults) | dict(STYLE) | {"font.family": list(font_families())}


def new_figure(width_mm: float, height_mm: float) -> Figure:
    """Return an empty figure of that size, outside any interactive machinery."""
    figure = Figure(figsize=(width_mm * MM, height_mm * MM))
    FigureCanvasAgg(figure)
    return figure


def add_panel(
    figure: Figure, left_mm: float, bottom_mm: float, width_mm: float, height_mm: float
) -> Axes:
    """Add axes at a place given in millimetres from the lower left corner."""
    width, height = figure.get_size_inches() / MM
    return figure.add_axes(
        (left_mm / width, bottom_mm / height, width_mm / width, height_mm / height),
        axes_class=Panel,
    )


def few_ticks(axes: Axes, *, x: int | None = 5, y: int | None = 5) -> None:
    """Ask for about that many ticks; None leaves an axis alone."""
    from matplotlib.ticker import MaxNLocator

    if x is not None:
        axes.xaxis.set_major_locator(MaxNLocator(x, steps=[1, 2, 2.5, 5, 10]))
    if y is not None:
        axes.yaxis.set_major_locator(MaxNLocator(y, steps=[1, 2, 2.5, 5, 10]))


def letter(axes: Axes, text: str) -> None:
    """Title a panel, letter first: `a  Wearable`."""
    head, _, rest = text.partition(" ")
    axes.set_title(f"{head}   {rest}" if rest else head)


def save_figure(figure: Figure, stem: Path, formats: Sequence[str]) -> tuple[Path, ...]:
    """Write a figure as PDF, and in any further formats at 300 dpi.

    Parameters
    ----------
    figure : Figure
        What to write.
    stem : Path
        The file without its suffix.
    formats : sequence of str
        "png" and "tiff" are known.

    Returns
    -------
    tuple of Path
        The files written.

    Raises
    ------
    ValueError
        If a format is not known.
    """
    written = []
    for suffix in ("pdf", *formats):
        path = stem.with_name(f"{stem.name}.{suffix}")
        buffer = io.BytesIO()
        figure.savefig(buffer, format=suffix, dpi=300, **_metadata(suffix))
        path.write_bytes(buffer.getvalue())
        written.append(path)
    return tuple(written)


def _metadata(suffix: str) -> dict[str, Any]:
    """Return what keeps the bytes of a file free of dates and machine names."""
    if suffix == "pdf":
        return {"metadata": {"Creator": "twinangle", "Producer": None, "CreationDate": None}}
    if suffix == "png":
        return {"metadata": {"Software": None}}
    if suffix == "tiff":
        return {"pil_kwargs": {"compression": "tiff_lzw"}}
    raise ValueError(f"`image_formats`: expected png or tiff, got {suffix!r}.")


def envelope(time_s: Array, values: Array, bins: int = 1200) -> tuple[Array, Array]:
    """Thin a long trace for drawing: smallest and largest value of each bin, in order of time.

    Parameters
    ----------
    time_s, values : ndarray of float, shape (n,)
        The trace; NaN is a gap and stays one.
    bins : int
        Bins over the whole trace; at most two points each are returned.

    Returns
    -------
    tuple of ndarray
        Times and values, each of at most 2 · `bins` points; the trace itself when it is shorter.
    """
    n = values.size
    if n <= 2 * bins:
        return time_s, values
    edges = np.linspace(0, n, bins + 1).astype(int)
    low = np.fmin.reduceat(values, edges[:-1])  # fmin and fmax pass over NaN
    high = np.fmax.reduceat(values, edges[:-1])
    starts, ends = time_s[edges[:-1]], time_s[edges[1:] - 1]
    times = np.column_stack([starts + (ends - starts) / 4, ends - (ends - starts) / 4]).ravel()
    return times, np.column_stack([low, high]).ravel()


def joined(curves: Array) -> tuple[Array, Array]:
    """Return many curves (m, p) as one broken line over 0 to 100 %: a single, small path."""
    m, p = curves.shape
    percent = np.append(np.linspace(0, 100, p), np.nan)
    padded = np.column_stack([curves, np.full(m, np.nan)])
    return np.tile(percent, m), padded.ravel()


def thinned(rows: Rows, limit: int) -> Rows:
    """Return at most `limit` row numbers, evenly spread over `rows`."""
    if rows.size <= limit:
        return rows
    chosen = np.unique(np.linspace(0, rows.size - 1, limit).round().astype(np.intp))
    return np.asarray(rows[chosen])
