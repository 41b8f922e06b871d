"""Figures that a `plot_…` function makes itself, and that show themselves in a notebook."""

from __future__ import annotations

import io
from typing import Any

from matplotlib.axes import Axes
from matplotlib.backend_bases import RendererBase
from matplotlib.figure import Figure

from twinangle.plotting.looks import drawing_style

OWN_DPI = 200
SHOWN_DPI = 110  # in a notebook, where a screen's own pixels are finer


class OwnFigure(Figure):
    """A figure in the report's style, whatever the settings are where it is drawn or saved."""

    def draw(self, renderer: RendererBase) -> None:
        """Draw under the report's style."""
        with drawing_style():
            super().draw(renderer)

    def savefig(self, fname: Any, **how: Any) -> None:
        """Save under the report's style: editable text, embedded TrueType."""
        with drawing_style():
            super().savefig(fname, **how)

    def _repr_png_(self) -> tuple[bytes, dict[str, int]]:
        """Return the picture that a notebook shows, and its width there."""
        buffer = io.BytesIO()
        self.savefig(buffer, format="png", dpi=OWN_DPI)
        return buffer.getvalue(), {"width": round(self.get_figwidth() * SHOWN_DPI)}


class OwnAxes(Axes):
    """Axes that show their figure at the end of a cell."""

    def _repr_png_(self) -> tuple[bytes, dict[str, int]]:
        figure = self.get_figure(root=True)
        assert isinstance(figure, OwnFigure)
        return figure._repr_png_()
