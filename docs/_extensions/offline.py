"""Fail the build when a page would load anything from another machine."""

from __future__ import annotations

import re
from pathlib import Path

from sphinx.application import Sphinx
from sphinx.errors import SphinxError

_LOADED = re.compile(
    r"""<(?:script|img|iframe|source)\b[^>]*\bsrc=["'](?:https?:)?//"""
    r"""|<link\b(?=[^>]*\brel=["']?(?:stylesheet|icon|preload|preconnect))[^>]*\bhref=["'](?:https?:)?//"""
    r"""|@import\s+(?:url\()?["']?(?:https?:)?//|url\(\s*["']?(?:https?:)?//""",
    re.IGNORECASE,
)


def loads_from_elsewhere(text: str) -> bool:
    """Tell whether a page or style sheet would load something from another machine."""
    return bool(_LOADED.search(text))


def check_pages(app: Sphinx, fault: Exception | None) -> None:
    """Look through all that was written."""
    if fault is not None:
        return
    for path in sorted(Path(app.outdir).rglob("*")):
        if path.suffix in {".html", ".css"} and loads_from_elsewhere(path.read_text(encoding="utf-8")):
            raise SphinxError(f"{path.name} loads something from another machine")


def setup(app: Sphinx) -> dict[str, bool]:
    """Run the check at the end of the build."""
    app.connect("build-finished", check_pages)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
