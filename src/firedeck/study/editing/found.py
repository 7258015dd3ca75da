"""What is wrong or doubtful with a definition's text, and where in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from firedeck.definition.quantities import Definition
from firedeck.errors import DefinitionError
from firedeck.files.definition_file import check_definition, parse_text
from firedeck.files.definition_places import Places, find_places, line_of

__all__ = ["Found", "line_of_key", "read_or_find"]


@dataclass(frozen=True)
class Found:
    """One thing wrong or doubtful, with its place in the text.

    Attributes
    ----------
    severity : str
        ``unreadable`` where the text defines no plan, else ``fault`` or ``doubt`` of the plan's check.
    key : str
        Path of the key, or line and column.
    entry : str
        Key of the entry that it belongs to.
    line : int
        Line of the text, from 1.
    message, remedy : str
        What is wrong, and what would mend it.
    at : tuple of float or None
        Where on the plan [mm].
    """

    severity: str
    key: str
    entry: str
    line: int
    message: str
    remedy: str
    at: tuple[float, float] | None = None

    def plain(self) -> dict[str, object]:
        """Return it as plain values."""
        return {**vars(self), "at": list(self.at) if self.at else None}


def read_or_find(
    name: str, text: str, model: type[Definition], group_of: Callable[[str], str]
) -> Definition | tuple[Found, ...]:
    """Return what a text defines, or everything that keeps it from defining it.

    Parameters
    ----------
    name : str
        Name of the file.
    text : str
        Its text.
    model : type
        What it is to define.
    group_of : callable
        Key of a fault -> key of the entry that it belongs to.

    Returns
    -------
    Definition or tuple of Found
        The definition, or its faults.
    """
    try:
        data = parse_text(name, text)
    except DefinitionError as error:
        fault = error.faults[0]
        line = int(fault.key.split(",")[0].removeprefix("line "))
        return (Found("unreadable", fault.key, "", line, fault.message, fault.remedy),)
    places = find_places(text)
    try:
        return check_definition(name, data, model)
    except DefinitionError as error:
        return tuple(
            Found(
                "unreadable",
                one.key,
                group_of(one.key),
                line_of_key(text, places, one.key),
                one.message,
                one.remedy,
            )
            for one in error.faults
        )


def line_of_key(text: str, places: Places, key: str) -> int:
    """Return the line of a key written as ``seal[3].band``, or of the innermost of what would hold it."""
    path: list[str | int] = []
    for part in key.split("."):
        name, *numbers = part.replace("]", "").split("[")
        path += [name, *(int(number) - 1 for number in numbers if number.isdigit())]
    span = places.nearest(tuple(path))
    return line_of(text, span.start) if span else 1
