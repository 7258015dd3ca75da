"""The entries of a deck plan's text as a person reads and edits them, sound or not."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from firedeck.definition.deck import PortKind, SealKind
from firedeck.study.editing.entry import Entry, Field, also_in_mm, entry_by_key, pair_of, shown

__all__ = [
    "GROUPS",
    "PLAN_KEY",
    "entries_of",
    "entry_of",
    "fields_of",
    "group_of",
    "names_of",
    "unit_of",
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
    yield Entry(PLAN_KEY, PLAN_KEY, (), shown(data.get("name")), "the plan itself", data)
    yield Entry(_OUTLINE_KEY, _OUTLINE_KEY, (), "outline", "outline", data)
    for group, what in GROUPS.items():
        found = data.get(group)
        for place, one in enumerate(found if isinstance(found, list) else []):
            entry = one if isinstance(one, Mapping) else {}
            kind = f"{shown(entry.get('kind'))} {what}".strip() if group in ("port", "seal") else what
            yield Entry(f"{group}[{place + 1}]", group, (group, place), shown(entry.get("name")), kind, entry)


def entry_of(data: Data, key: str) -> Entry:
    """Return one entry by its key.

    Raises
    ------
    FiredeckError
        If the plan has none.
    """
    return entry_by_key(entries_of(data), key)


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
        return tuple(Field(key, label, shown(data.get(key))) for key, label in keys.items())
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
        yield Field("kind", "Kind", shown(own.get("kind")), "choice", kinds)
    if entry.group == "seal":
        yield from _seal_fields(own, data, unit)
    elif "path" in own:
        yield _points("path", own["path"], unit)
    else:
        x, y = pair_of(own.get("centre"))
        yield Field("x", "x", f"{x} {unit}".strip() if x else "", also=also_in_mm(f"{x} {unit}"))
        yield Field("y", "y", f"{y} {unit}".strip() if y else "", also=also_in_mm(f"{y} {unit}"))
        yield _length("diameter", "Diameter", own)


def _seal_fields(own: Data, data: Data, unit: str) -> Iterator[Field]:
    if "path" in own:
        yield _points("path", own["path"], unit)
    else:
        around = shown(own.get("around"))
        choices = tuple(dict.fromkeys((around, *names_of(data, openings=True), "outline")))
        yield Field("around", "Lies around", around, "choice", choices)
        yield _length("offset", "Offset from its edge", own)
    yield _length("band", "Width of the band", own)
    for key, label in (("inside", "Encloses, one name a line"), ("outside", "Beyond it, one name a line")):
        names = own.get(key)
        lines = [shown(one) for one in names] if isinstance(names, list) else []
        yield Field(key, label, "\n".join(lines), "lines")


def names_of(data: Data, *, openings: bool = False) -> list[str]:
    """Return the names that a plan's entries have, or those of its openings only."""
    return [
        entry.name
        for entry in entries_of(data)
        if entry.group in GROUPS and entry.name and not (openings and entry.group == "seal")
    ]


def _length(key: str, label: str, own: Data) -> Field:
    value = shown(own.get(key))
    return Field(key, label, value, also=also_in_mm(value))


def _points(key: str, points: object, unit: str) -> Field:
    rows = [pair_of(point) for point in points] if isinstance(points, list) else []
    lines = "\n".join(f"{x}, {y}" for x, y in rows)
    return Field(key, f"Points x, y [{unit}], one a line", lines, "lines")
