"""The texts of the bundled plotting script."""

from importlib import resources


def _text(name: str) -> str:
    return resources.files(__package__).joinpath(name).read_text(encoding="utf-8")


def uplot_script() -> str:
    """Return the plotting library's script, which defines ``uPlot`` for a page."""
    return _text("uPlot.iife.min.js")


def uplot_style() -> str:
    """Return the style sheet that the plotting library's script needs."""
    return _text("uPlot.min.css")


def uplot_licence() -> str:
    """Return the licence to be shown wherever the script is copied to."""
    return _text("uPlot.LICENSE.txt")
