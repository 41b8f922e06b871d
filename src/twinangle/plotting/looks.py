"""How every figure looks: sizes, type, colours, and a file with the same bytes each time."""

from __future__ import annotations

import io
import warnings
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from twinangle.plotting.fonts import font_families

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MM = 1 / 25.4  # inches
SINGLE_MM = 88.0  # one column of a journal page
DOUBLE_MM = 178.0  # both columns
NARROW_MM = 120.0  # below it, panels stand below each other
FONT_PT = 7.0
_EM_SPACE = "\u2003"
# A colour has one meaning everywhere. Dark blue against a lighter orange: apart in grey (relative
# luminance 0.09 against 0.30) and for every common colour vision deficiency; the reference is
# dashed as well. What is neither instrument is drawn in ink and greys, procedures in colours of
# their own with a mark and a dash each, participants by their mark and their name.
WEARABLE = "#17508f"
REFERENCE = "#dd8316"
EXCLUDED = "#c8c8c8"
MARGIN = "#a3123f"
INK = "#222222"
FAINT = "#6b6b6b"
POINT = "#7d8894"
BAND = "#d3d6da"
SEGMENTS = ("#0f7f6c", "#8d5fa8")  # the sensor nearer the trunk, and the other
COLOURS = ("#222222", "#12957d", "#8d5fa8", "#8a7d00", "#7d8894")
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "h", "p")
Dash = tuple[float, tuple[float, ...]]
DASHES: tuple[tuple[float, tuple[float, ...]], ...] = (
    (0, ()),
    (0, (4, 1.5)),
    (0, (1, 1.2)),
    (0, (5, 1.2, 1, 1.2)),
    (0, (7, 2)),
)
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
    "hatch.linewidth": 0.6,
    "legend.fontsize": FONT_PT,
    "legend.frameon": False,
    "legend.borderaxespad": 0,
    "legend.handlelength": 2.2,
    "legend.columnspacing": 1.4,
    "path.simplify": True,
    "path.simplify_threshold": 0.2,
    "pdf.fonttype": 42,  # TrueType, as publishers ask
    "pdf.compression": 6,
    "svg.hashsalt": "twinangle",  # of figures that users save themselves
    "svg.fonttype": "none",
}


def styled() -> Any:
    """Return the settings that drawing and saving run under (for ``matplotlib.rc_context``)."""
    import matplotlib as mpl

    # Whether figures show themselves is no matter of looks: a notebook's cell would stay empty.
    own = ("backend", "interactive")
    defaults = {
        name: value for name, value in mpl.rcParamsDefault.items() if not name.startswith(own)
    }
    return dict(defaults) | dict(STYLE) | {"font.family": list(font_families())}


class drawing_style:  # noqa: N801 - a context manager, used as a function
    """Draw under the report's style, whatever the user's own settings are."""

    def __enter__(self) -> None:
        import matplotlib as mpl

        # Only what differs: each setting is validated as it is set, and there are 300 of them.
        wanted = styled()
        self._style = mpl.rc_context(
            {name: value for name, value in wanted.items() if mpl.rcParams[name] != value}
        )
        self._style.__enter__()
        self._quiet = warnings.catch_warnings()
        self._quiet.__enter__()
        # A name in a script the typeface lacks is drawn as a box; the code stays in the tables.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")

    def __exit__(self, *details: Any) -> None:
        import matplotlib as mpl

        self._quiet.__exit__(*details)
        showing = mpl.is_interactive()  # a notebook's first figure turns it on, perhaps in here
        self._style.__exit__(*details)
        mpl.interactive(showing)


def style() -> drawing_style:
    """Return a context in which figures look as in the report; settings are as before after it.

    Make, draw and save within it: Matplotlib reads some settings only when it draws.

    Returns
    -------
    context manager
        For ``with``.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from twinangle import plotting
    >>> with plotting.style():
    ...     figure, ax = plt.subplots()
    ...     plotting.plot_limits(results.limits[0], ax)
    ...     figure.savefig("limits.pdf")
    """
    return drawing_style()


def new_figure(width_mm: float, height_mm: float) -> Figure:
    """Return an empty figure of that size, outside any interactive machinery."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_mm * MM, height_mm * MM))
    FigureCanvasAgg(figure)
    return figure


def load_drawing() -> None:
    """Load what figures are drawn with, so that processes forked from here hold it."""
    with drawing_style():
        add_panel(new_figure(SINGLE_MM, SINGLE_MM), 10, 10, 50, 50)


def add_panel(
    figure: Figure, left_mm: float, bottom_mm: float, width_mm: float, height_mm: float
) -> Axes:
    """Add axes at a place given in millimetres from the lower left corner."""
    from twinangle.plotting.panel import Panel

    width, height = figure.get_size_inches() / MM
    axes = figure.add_axes(
        (left_mm / width, bottom_mm / height, width_mm / width, height_mm / height),
        axes_class=Panel,
    )
    axes.patch.set_visible(False)  # the page is white already
    return axes


def is_narrow(width_mm: float) -> bool:
    """Return whether a figure is too narrow for panels side by side."""
    return width_mm < NARROW_MM


def panel_row(
    width_mm: float, n: int, height_mm: float, *, head_mm: float
) -> tuple[Figure, list[Axes]]:
    """Return a figure of `n` like panels, side by side or, in a narrow one, below each other.

    Parameters
    ----------
    width_mm : float
        Of the figure.
    n : int
        Panels, three at most.
    height_mm : float
        Of each panel.
    head_mm : float
        Room above the panels, for a key and the title of the first.
    """
    if is_narrow(width_mm):
        tall = height_mm + 7.0
        figure = new_figure(width_mm, 9 + n * tall - 7.0 + head_mm)
        bottoms = [9 + (n - 1 - k) * tall for k in range(n)]
        return figure, [add_panel(figure, 13, b, width_mm - 17, height_mm) for b in bottoms]
    most = (width_mm - 17 - 7 * (n - 1)) / n
    width = min(most, 90.0 * width_mm / DOUBLE_MM)
    figure = new_figure(width_mm, 9 + height_mm + head_mm)
    return figure, [add_panel(figure, 13 + (width + 7) * k, 9, width, height_mm) for k in range(n)]


def share_axes(panels: Sequence[Axes], *, width_mm: float) -> None:
    """Label each scale that like panels share once: at the left, or below the lowest."""
    if is_narrow(width_mm):
        for axes in panels[:-1]:
            axes.tick_params(labelbottom=False)
            axes.set_xlabel("")
    else:
        for axes in panels[1:]:
            axes.tick_params(labelleft=False)
            axes.set_ylabel("")


def type_scale() -> float:
    """Return how much larger type is now than in the report, whose letters sizes in mm are for."""
    import matplotlib as mpl

    return float(mpl.rcParams["font.size"]) / FONT_PT


def few_ticks(axes: Axes, *, x: int | None = 5, y: int | None = 5) -> None:
    """Ask for about that many ticks; None leaves an axis alone."""
    from matplotlib.ticker import MaxNLocator

    if x is not None:
        axes.xaxis.set_major_locator(MaxNLocator(x, steps=[1, 2, 2.5, 5, 10]))
    if y is not None:
        axes.yaxis.set_major_locator(MaxNLocator(y, steps=[1, 2, 2.5, 5, 10]))


def letter(axes: Axes, text: str) -> None:
    """Title a panel, letter first, an em space after it: a browser joins plain spaces of an SVG."""
    head, _, rest = text.partition(" ")
    axes.set_title(f"{head}{_EM_SPACE}{rest}" if rest else head)


def participant_marker(code: str, everyone: Sequence[str]) -> str:
    """Return a participant's mark, the same in every figure; the name stands beside it."""
    return MARKERS[everyone.index(code) % len(MARKERS)]


def procedure_style(k: int) -> tuple[str, str, Dash]:
    """Return colour, mark and dash of the k-th procedure of a study, the same in every figure."""
    return COLOURS[k % len(COLOURS)], MARKERS[k % len(MARKERS)], DASHES[k % len(DASHES)]


def spread_out(places: Sequence[float], gap: float) -> list[float]:
    """Return places moved apart as little as needed, so that neighbours are `gap` apart.

    Labels beside lines or points are put there; their order stays.
    """
    order = sorted(range(len(places)), key=lambda k: places[k])
    groups: list[tuple[float, int]] = []  # middle and number of what touches
    for k in order:
        groups.append((places[k], 1))
        while len(groups) > 1 and _touch(groups[-2], groups[-1], gap):
            (a, n), (b, m) = groups[-2:]
            groups[-2:] = [((a * n + b * m) / (n + m), n + m)]
    found = [0.0] * len(places)
    left = iter(order)
    for middle, n in groups:
        for i in range(n):
            found[next(left)] = middle + (i - (n - 1) / 2) * gap
    return found


def _touch(below: tuple[float, int], above: tuple[float, int], gap: float) -> bool:
    return above[0] - below[0] < gap * (below[1] + above[1]) / 2 - 1e-12


def rendered(figure: Figure, suffix: str, *, dpi: int = 300, title: str = "") -> bytes:
    """Return a figure as a file's bytes, the same each time.

    Parameters
    ----------
    figure : Figure
        What to write.
    suffix : str
        "svg", "png" or "tiff"; a PDF is made of the SVG.
    dpi : int
        Of the latter two, and of what is drawn as an image in the first.
    title : str
        Put into an SVG, for those who cannot see it.

    Raises
    ------
    ValueError
        If a format is not known.
    """
    if suffix == "svg":
        from twinangle.plotting.svg import svg_of

        return svg_of(figure, title=title, dpi=dpi)
    buffer = io.BytesIO()
    figure.savefig(buffer, format=suffix, dpi=dpi, **_metadata(suffix))
    return buffer.getvalue()


def _metadata(suffix: str) -> dict[str, Any]:
    """Return what keeps the bytes of a file free of dates and machine names."""
    if suffix == "png":
        return {"metadata": {"Software": None}}
    if suffix == "tiff":
        return {"pil_kwargs": {"compression": "tiff_lzw"}}
    raise ValueError(f"`suffix`: expected svg, png or tiff, got {suffix!r}.")
