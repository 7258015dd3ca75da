"""How the documentation is built. Nothing in it may ask another machine for anything."""

from __future__ import annotations

import sys
from pathlib import Path

import firedeck

sys.path.insert(0, str(Path(__file__).parent / "_extensions"))

project = "firedeck"
author = "the firedeck authors"
copyright = author  # noqa: A001  (the name that Sphinx reads)
version = release = firedeck.__version__

extensions = ["myst_parser", "formulae", "offline"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["examples/*"]
nitpicky = True

myst_enable_extensions = ["amsmath", "deflist", "dollarmath", "fieldlist"]
myst_heading_anchors = 4

html_theme = "alabaster"
html_math_renderer = "mathml"
html_theme_options = {
    "description": "Prints of head gaskets, read and judged",
    "fixed_sidebar": True,
    "page_width": "1100px",
    "sidebar_width": "240px",
}
html_show_sourcelink = False
html_copy_source = False
