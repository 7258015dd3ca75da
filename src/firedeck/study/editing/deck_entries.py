"""The entries of a deck plan's text as a person reads and edits them, sound or not."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from firedeck.definition.deck import PortKind, SealKind
from firedeck.errors import FiredeckError
from firedeck.units import parse_quantity

__all__ = [
    "GROUPS",
    "PLAN_KEY",
    "Entry",
    "Field",
    "entries_of",
    "entry_of",
    "fields_of",
    "group_of",
    "names_of",
]

#: Key of the entry that stands for the plan's own keys.
PLAN_KEY = "plan"
_OUTLINE_KEY = "outline"

#: List of the file -> what one of its entries is called, in the order of the page.
GROUPS = {
    "bore": "bore",
    "fastener-hole": "fastener hole",
    "dowel": "dowel",
    "port": "port",
    "seal": "seal",
}

Data = Mapping[str, Any]


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
    """One entry of the plan.

    Attributes
    ----------
    key : str
        Such as ``bore[2]``, counted from 1.
    group : str
        The list it stands in; `PLAN_KEY` or ``outline`` for those.
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
    data: Data


def entries_of(data: Data) -> Iterator[Entry]:
    """Return every entry that the text has, whether sound or not.

    Parameters
    ----------
    data : mapping
        What the text says.

    Yields
    ------
    Entry
        The plan itself, its outline, and every entry of its lists.
    """
    yield Entry(PLAN_KEY, PLAN_KEY, (), _shown(data.get("name")), "the plan itself", data)
    yield Entry(_OUTLINE_KEY, _OUTLINE_KEY, (), "outline", "outline", data)
    for group, what in GROUPS.items():
        found = data.get(group)
        for place, one in enumerate(found if isinstance(found, list) else []):
            entry = one if isinstance(one, Mapping) else {}
            kind = f"{_shown(entry.get('kind'))} {what}".strip() if group in ("port", "seal") else what
            yield Entry(
                f"{group}[{place + 1}]", group, (group, place), _shown(entry.get("name")), kind, entry
            )


def entry_of(data: Data, key: str) -> Entry:
    """Return one entry by its key.

    Raises
    ------
    FiredeckError
        If the plan has none.
    """
    for entry in entries_of(data):
        if entry.key == key:
            return entry
    raise FiredeckError("the plan has no such entry any more", where=key[:40], remedy="choose another")


def group_of(key: str) -> str:
    """Return the entry that a fault's key belongs to, such as ``port[2]`` for ``port[2].path``."""
    found = re.match(r"[\w-]+\[\d+\]", key)
    if found and found[0].partition("[")[0] in GROUPS:
        return found[0]
    return _OUTLINE_KEY if re.match(r"outline\b", key) else PLAN_KEY


def fields_of(entry: Entry, data: Data) -> tuple[Field, ...]:
    """Return what of an entry can be edited.

    Parameters
    ----------
    entry : Entry
        The entry.
    data : mapping
        What the text says as a whole.

    Returns
    -------
    tuple of Field
        The fields, in the order of the form.
    """
    if entry.group == PLAN_KEY:
        keys = {"name": "Name", "origin": "Point 0, 0 is", "note": "Note"}
        return tuple(Field(key, label, _shown(data.get(key))) for key, label in keys.items())
    unit = unit_of(data)
    if entry.group == _OUTLINE_KEY:
        return (_points("outline", data.get("outline"), unit),)
    return tuple(_entry_fields(entry, data, unit))


def unit_of(data: Data) -> str:
    """Return the unit of the plan's bare coordinates, ``mm`` or ``in``."""
    return "in" if data.get("coordinates") == "in" else "mm"


def _entry_fields(entry: Entry, data: Data, unit: str) -> Iterator[Field]:
    own = entry.data
    yield Field("name", "Name", entry.name)
    if entry.group in ("port", "seal"):
        kinds = tuple(str(one) for one in (PortKind if entry.group == "port" else SealKind))
        yield Field("kind", "Kind", _shown(own.get("kind")), "choice", kinds)
    if entry.group == "seal":
        yield from _seal_fields(own, data, unit)
    elif "path" in own:
        yield _points("path", own["path"], unit)
    else:
        x, y = _pair(own.get("centre"))
        yield Field("x", "x", f"{x} {unit}".strip() if x else "", also=_also(f"{x} {unit}"))
        yield Field("y", "y", f"{y} {unit}".strip() if y else "", also=_also(f"{y} {unit}"))
        yield _length("diameter", "Diameter", own)


def _seal_fields(own: Data, data: Data, unit: str) -> Iterator[Field]:
    if "path" in own:
        yield _points("path", own["path"], unit)
    else:
        around = _shown(own.get("around"))
        choices = tuple(dict.fromkeys((around, *names_of(data, openings=True), "outline")))
        yield Field("around", "Lies around", around, "choice", choices)
        yield _length("offset", "Offset from its edge", own)
    yield _length("band", "Width of the band", own)
    for key, label in (("inside", "Encloses, one name a line"), ("outside", "Beyond it, one name a line")):
        names = own.get(key)
        lines = [_shown(one) for one in names] if isinstance(names, list) else []
        yield Field(key, label, "\n".join(lines), "lines")


def names_of(data: Data, *, openings: bool = False) -> list[str]:
    """Return the names that a plan's entries have, or those of its openings only."""
    return [
        entry.name
        for entry in entries_of(data)
        if entry.group in GROUPS and entry.name and not (openings and entry.group == "seal")
    ]


def _length(key: str, label: str, own: Data) -> Field:
    value = _shown(own.get(key))
    return Field(key, label, value, also=_also(value))


def _also(text: str) -> str:
    """Return a length in mm, empty where it is written in mm already or is none."""
    if re.search(r"\d\s*mm$", text):
        return ""
    try:
        return f"{parse_quantity(text, 'length'):.3f} mm"
    except FiredeckError:
        return ""


def _points(key: str, points: object, unit: str) -> Field:
    rows = [_pair(point) for point in points] if isinstance(points, list) else []
    lines = "\n".join(f"{x}, {y}" for x, y in rows)
    return Field(key, f"Points x, y [{unit}], one a line", lines, "lines")


def _pair(point: object) -> tuple[str, str]:
    if isinstance(point, list) and len(point) == 2:
        return _shown(point[0]), _shown(point[1])
    return "", ""


def _shown(value: object) -> str:
    if isinstance(value, bool) or value is None:
        return "" if value is None else str(value).lower()
    if isinstance(value, (int, float)):
        return f"{value:.12g}"
    return value if isinstance(value, str) else ""
