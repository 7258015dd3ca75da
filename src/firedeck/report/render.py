"""From a document to one self-contained page."""

from __future__ import annotations

import base64
import re

from firedeck import __version__
from firedeck.report.document import Document
from firedeck.report.templates import environment, style_of

__all__ = ["render_html"]

#: Words of a verdict in running text are set apart by their shape as well as their colour.
_STATES = {"holds": "✓", "marginal": "△", "gives": "✕", "not shown": "?"}


def render_html(document: Document) -> str:
    """Return a document as a single HTML page: no script, no request to anywhere, pictures within.

    Parameters
    ----------
    document : Document
        What stands on the page.

    Returns
    -------
    str
        The page.
    """
    filling = environment()
    filling.filters["embedded"] = _embedded
    filling.filters["kind"] = lambda block: type(block).__name__
    filling.filters["slug"] = lambda text: re.sub(r"[^a-z]+", "-", text.lower()).strip("-")
    filling.filters["sign"] = lambda state: _STATES.get(state, "")
    page = filling.get_template("page.html.j2")
    return page.render(document=document, style=style_of("page"), version=__version__)


def _embedded(png: bytes) -> str:
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")
