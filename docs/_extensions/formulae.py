"""Formulae as MathML, which browsers draw themselves: no script from elsewhere is needed."""

from __future__ import annotations

from typing import Any

from docutils import nodes
from docutils.utils.math.latex2mathml import tex2mathml
from sphinx.application import Sphinx


def visit_inline(translator: Any, node: nodes.math) -> None:
    """Write a formula within a line."""
    translator.body.append(tex2mathml(node.astext()))
    raise nodes.SkipNode


def visit_block(translator: Any, node: nodes.math_block) -> None:
    """Write a formula on its own line."""
    formula = tex2mathml(node.astext(), as_block=True)
    translator.body.append(f'<div class="math">{formula}</div>\n')
    raise nodes.SkipNode


def setup(app: Sphinx) -> dict[str, bool]:
    """Register the renderer under the name ``mathml``."""
    app.add_html_math_renderer("mathml", (visit_inline, None), (visit_block, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
