"""A figure as SVG with its text as text: the same bytes for the same figure."""

from __future__ import annotations

import io

import matplotlib as mpl
from matplotlib.figure import Figure


def svg_of(figure: Figure, title: str = "") -> str:
    """Return a figure as an SVG document.

    Text stays text, in the figure's typefaces, which the reader's program must know or replace;
    ids follow from what is drawn and are unique within one document only.

    Parameters
    ----------
    figure : Figure
        Drawn under :class:`twinangle.plotting.style.drawing_style`.
    title : str
        Written into the document for those who cannot see it.
    """
    buffer = io.StringIO()
    metadata = {"Date": None, "Creator": "twinangle", **({"Title": title} if title else {})}
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "twinangle"}):
        figure.savefig(buffer, format="svg", metadata=metadata)
    return buffer.getvalue()
