"""One entry of a definition file as a person reads and edits it, and what of it can be edited."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from firedeck.errors import FiredeckError
from firedeck.units import parse_quantity

__all__ = ["Edited", "Entry", "Field", "also_in_mm", "entry_by_key", "pair_of", "shown"]

#: A changed text, what was done, and the key of the entry it was done to.
Edited = tuple[str, str, str]


@dataclass(frozen=True)
class Field:
    """One thing of an entry that can be edited.

    Attributes
    ----------
    key : str
        Its key in the entry; ``x`` and ``y`` for the two numbers of ``centre``.
    label : str
        What it is called.
    value : str
        What stands there, as text.
    ask : {"text", "choice", "lines"}
        How it is asked.
    choices : tuple of str
        Words to choose from.
    also : str
        The same length in mm where it is written in another unit.
    """

    key: str
    label: str
    value: str
    ask: Literal["text", "choice", "lines"] = "text"
    choices: tuple[str, ...] = ()
    also: str = ""


@dataclass(frozen=True)
class Entry:
    """One entry of a definition file.

    Attributes
    ----------
    key : str
        Such as ``bore[2]``, counted from 1.
    group : str
        The list or table it stands in.
    path : tuple
        The same for the text's places.
    name, what : str
        Its name and what it is.
    data : mapping
        What the text says of it.
    """

    key: str
    group: str
    path: tuple[str | int, ...]
    name: str
    what: str
    data: Mapping[str, Any]


def shown(value: object) -> str:
    """Return a value of a text as it is shown in a field; empty for none, and for what is no single value."""
    if isinstance(value, bool) or value is None:
        return "" if value is None else str(value).lower()
    if isinstance(value, (int, float)):
        return f"{value:.12g}"
    return value if isinstance(value, str) else ""


def pair_of(point: object) -> tuple[str, str]:
    """Return the two parts of a point as they are shown, empty where it is none."""
    if isinstance(point, list) and len(point) == 2:
        return shown(point[0]), shown(point[1])
    return "", ""


def also_in_mm(text: str) -> str:
    """Return a length in mm, empty where it is written in mm already or is none."""
    if re.search(r"\d\s*mm$", text):
        return ""
    try:
        return f"{parse_quantity(text, 'length'):.3f} mm"
    except FiredeckError:
        return ""


def entry_by_key(entries: Iterable[Entry], key: str) -> Entry:
    """Return one of a file's entries by its key.

    Raises
    ------
    FiredeckError
        If there is none.
    """
    for entry in entries:
        if entry.key == key:
            return entry
    raise FiredeckError("the file has no such entry any more", where=key[:40], remedy="choose another")
