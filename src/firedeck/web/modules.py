"""Scripts of the pages: a module is asked for together with all that it imports, not one after another."""

from __future__ import annotations

import functools
import posixpath
import re
from collections.abc import Iterable
from importlib import resources

from markupsafe import Markup

__all__ = ["imported_by", "module_links"]

_IMPORT = re.compile(r"^import\s[^'\"]*['\"](\.{1,2}/[^'\"]+)['\"]", re.MULTILINE)

_LINK = '<link rel="modulepreload" href="/static/{}">'
_SCRIPT = '<script type="module" src="/static/{}"></script>'


@functools.cache
def imported_by(script: str) -> tuple[str, ...]:
    """Return what a script and its imports import at their beginning, the nearest first.

    Parameters
    ----------
    script : str
        Name of a script among the pages' own.

    Returns
    -------
    tuple of str
        Names below ``/static/``, the script's own not among them.
    """
    found: list[str] = [script]
    for name in found:  # grows while it is gone through
        text = resources.files("firedeck.web").joinpath("static", name).read_text(encoding="utf-8")
        here = posixpath.dirname(name)
        wanted = (posixpath.normpath(posixpath.join(here, path)) for path in _IMPORT.findall(text))
        found += [path for path in dict.fromkeys(wanted) if path not in found]
    return tuple(found[1:])


def module_links(*scripts: str) -> Markup:
    """Return the tags that begin scripts, after those that fetch what they import.

    Parameters
    ----------
    *scripts : str
        Names of scripts among the pages' own, in the order in which they run.
    """
    wanted = dict.fromkeys(name for script in scripts for name in imported_by(script))
    return _tags(_LINK, (name for name in wanted if name not in scripts)) + _tags(_SCRIPT, scripts)


def _tags(tag: str, names: Iterable[str]) -> Markup:
    return Markup("").join(Markup(tag).format(name) for name in names)
