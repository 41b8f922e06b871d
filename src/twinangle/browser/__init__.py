"""What pages in a browser share: the plotting script, bundled so that they work offline.

``uPlot.iife.min.js`` and ``uPlot.min.css`` are uPlot 1.6.32 as published, under the MIT licence
beside them; nothing in them was changed.
"""

from .bundled import uplot_licence, uplot_script, uplot_style

__all__ = ["uplot_licence", "uplot_script", "uplot_style"]
