"""Formulas as MathML, made while the site is built: no script, no font, no other host.

docutils, which Sphinx rests on, translates LaTeX; browsers draw MathML by themselves.
"""

from __future__ import annotations

from typing import Any

from docutils import nodes
from docutils.utils.math.latex2mathml import tex2mathml
from sphinx.application import Sphinx


def _inline(writer: Any, node: nodes.math) -> None:
    writer.body.append(tex2mathml(node.astext(), as_block=False))
    raise nodes.SkipNode


def _block(writer: Any, node: nodes.math_block) -> None:
    text = node.astext()
    if r"\\" in text and r"\begin" not in text:
        text = rf"\begin{{align}}{text}\end{{align}}"
    writer.body.append(f'<div class="math">{tex2mathml(text, as_block=True)}</div>\n')
    raise nodes.SkipNode


def setup(app: Sphinx) -> dict[str, bool]:
    """Register the renderer under the name "mathml"."""
    app.add_html_math_renderer("mathml", (_inline, None), (_block, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
