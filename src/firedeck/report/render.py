"""From a document to one self-contained page."""

from __future__ import annotations

import base64
import re
from importlib import resources

import jinja2
from markupsafe import Markup

from firedeck import __version__
from firedeck.report.document import Document

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
    places = resources.files("firedeck.report")
    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(lambda name: places.joinpath(name).read_text(encoding="utf-8")),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["embedded"] = _embedded
    environment.filters["kind"] = lambda block: type(block).__name__
    environment.filters["slug"] = lambda text: re.sub(r"[^a-z]+", "-", text.lower()).strip("-")
    environment.filters["sign"] = lambda state: _STATES.get(state, "")
    style = Markup(places.joinpath("page.css").read_text(encoding="utf-8"))
    page = environment.get_template("page.html.j2")
    return page.render(document=document, style=style, version=__version__)


def _embedded(png: bytes) -> str:
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")
