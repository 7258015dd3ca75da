"""The templates that lie beside this file, and the style sheets that go with them."""

from __future__ import annotations

from importlib import resources

import jinja2
from markupsafe import Markup

__all__ = ["beside", "environment", "style_of"]


def beside(name: str) -> str:
    """Return the text of a file that lies beside this one."""
    return resources.files("firedeck.report").joinpath(name).read_text(encoding="utf-8")


def environment() -> jinja2.Environment:
    """Return what fills a template in: texts are never markup, and nothing may be missing."""
    return jinja2.Environment(
        loader=jinja2.FunctionLoader(beside),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def style_of(page: str) -> Markup:
    """Return the style sheet of a page by the page's name."""
    return Markup(beside(f"{page}.css"))
