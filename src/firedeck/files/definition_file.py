"""Definition files: TOML in, a checked model out, every fault of a file at once; and back again."""

from __future__ import annotations

import contextlib
import os
import re
import tomllib
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from firedeck.definition.quantities import Definition
from firedeck.errors import DefinitionError, Fault, FiredeckError
from firedeck.files.definition_faults import WHOLE_FILE, translate_faults
from firedeck.files.definition_kinds import KINDS, kind_of
from firedeck.files.definition_text import new_text, updated_text
from firedeck.files.toml_text import read_toml

__all__ = [
    "LARGEST_FILE",
    "check_definition",
    "parse_text",
    "read_any",
    "read_definition",
    "replace_file",
    "write_definition",
]

#: Largest definition file that is read [bytes]; a plan with 100 000 points stays below it.
LARGEST_FILE = 8_000_000

Model = TypeVar("Model", bound=Definition)

#: Pattern in the faulty line or the reader's complaint, message, remedy.
_SYNTAX_SLIPS = (
    (
        r"\n.*(overwrite|twice)",
        "the same key or table stands here a second time",
        "remove one; entries that may repeat have two brackets, such as [[seal]]",
    ),
    (
        r"\n.*(Unescaped|hex value)",
        "a backslash cannot stand in double-quoted text",
        "use forward slashes, or put the text in single quotes",
    ),
    (r"^[\w-]+\s*=\s*[-+]?\d+,\d", "a comma cannot be a decimal sign", "write a point"),
    (
        r"^[\w-]+\s*=\s*[-+]?[\d.]+\s*[^\s\d.#,\]]",
        "a quantity must stand in quotes",
        "for example {quoted}",
    ),
    ("[“”„’]", "typographic quotes are not quotes in TOML", 'use plain double quotes "'),
    (r"^[\w-]+\s*:", "a key and its value are parted by an equals sign", "write = instead of the colon"),
)


def read_definition(path: str | Path, model: type[Model]) -> Model:
    """Read one definition file of a known kind.

    Parameters
    ----------
    path : str or Path
        The TOML file.
    model : type
        What the file must define.

    Returns
    -------
    Definition
        The checked definition.

    Raises
    ------
    DefinitionError
        With every fault of the file: where it is, what stands there, what would mend it.
    """
    return check_definition(str(path), parse_text(str(path), _file_text(path)), model)


def read_any(path: str | Path) -> Definition:
    """Read a definition file of whatever kind it says it is.

    Raises
    ------
    DefinitionError
        As `read_definition`, and if the file does not say its kind.
    """
    data = parse_text(str(path), _file_text(path))
    kind = data.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        message = "the file does not say what it defines" if kind is None else "firedeck knows no such kind"
        found = "" if kind is None else f'"{kind}"'
        remedy = f"write kind as one of: {', '.join(KINDS)}"
        raise DefinitionError([Fault(str(path), "kind", found, message, remedy)])
    return check_definition(str(path), data, KINDS[kind])


def write_definition(path: str | Path, definition: Definition) -> None:
    """Write a definition as TOML; an existing file of the same kind is updated in place.

    Keys that did not change keep their text, order and comments. The file is replaced in one
    step, so that it is never left half written.

    Parameters
    ----------
    path : str or Path
        File to write.
    definition : Definition
        What to write.

    Raises
    ------
    FiredeckError
        If the file cannot be written, or holds something else or faulty that would be lost.
    """
    target = Path(path).resolve()
    text = _updated(target, str(path), definition) if target.exists() else new_text(definition)
    replace_file(target, str(path), text)


def _updated(target: Path, name: str, definition: Definition) -> str:
    try:
        before = read_definition(target, type(definition))
    except DefinitionError as fault:
        raise FiredeckError(
            "the file already exists and does not hold a sound definition of the same kind",
            where=name,
            remedy="mend it or move it away, or write to another file",
        ) from fault
    text = _file_text(target)
    return updated_text(text, before, definition)


def replace_file(target: Path, name: str, text: str) -> None:
    """Write a file in one step, so that it is never left half written.

    Parameters
    ----------
    target : Path
        The file.
    name : str
        Name of the file, for the fault.
    text : str
        What it is to hold, line endings as they stand.

    Raises
    ------
    FiredeckError
        If it cannot be written.
    """
    draft = target.with_name(f".{target.name}.{os.getpid()}.draft")
    try:
        draft.write_bytes(text.encode())
        if target.exists():
            draft.chmod(target.stat().st_mode & 0o777)
        draft.replace(target)
    except OSError as fault:
        raise FiredeckError(
            f"the file cannot be written ({_reason(fault)})",
            where=name,
            remedy="check that the folder exists and that you may write there",
        ) from fault
    finally:
        with contextlib.suppress(OSError):
            draft.unlink()


def _reason(fault: OSError) -> str:
    return (fault.strerror or type(fault).__name__).lower()


def _file_text(path: str | Path) -> str:
    """Return the file's text, or say in one fault why there is none."""
    place = Path(path)
    try:
        if place.is_dir():
            raise _unreadable(path, "this is a folder, not a file", "name the .toml file in it")
        if place.stat().st_size > LARGEST_FILE:
            size = f"{place.stat().st_size / 1e6:.0f} MB"
            raise _unreadable(
                path, f"{size} is too big for a definition", "check that this is the right file"
            )
        text = place.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as fault:
        raise _unreadable(path, "there is no such file", "check the name and the folder") from fault
    except UnicodeDecodeError as fault:
        remedy = "save it as text with the encoding UTF-8; a scan or picture does not belong here"
        raise _unreadable(path, "the file is not text in UTF-8", remedy) from fault
    except OSError as fault:
        raise _unreadable(path, f"it cannot be read ({_reason(fault)})", "check your rights to it") from fault
    if not text.strip():
        raise _unreadable(path, "the file is empty", "write the definition into it")
    return text


def _unreadable(path: str | Path, message: str, remedy: str) -> DefinitionError:
    return DefinitionError([Fault(str(path), WHOLE_FILE, "", message, remedy)])


def parse_text(name: str, text: str) -> dict[str, Any]:
    """Return what a TOML text says.

    Parameters
    ----------
    name : str
        Name of the file, for the fault.
    text : str
        The text.

    Returns
    -------
    dict
        What it says; not to be changed, as others are given the same.

    Raises
    ------
    DefinitionError
        If it is no TOML, with the line and what would mend it.
    """
    try:
        return read_toml(text)
    except tomllib.TOMLDecodeError as fault:
        raise DefinitionError([_syntax_fault(name, text, str(fault))]) from fault


def _syntax_fault(name: str, text: str, complaint: str) -> Fault:
    lines = text.splitlines()
    place = re.search(r"\(at line (\d+), column (\d+)\)", complaint)
    line, column = (int(place[1]), int(place[2])) if place else (len(lines), len(lines[-1]) + 1)
    culprit = lines[min(line, len(lines)) - 1].strip()
    message, remedy = _syntax_words(complaint, culprit)
    return Fault(name, f"line {line}, column {column}", culprit[:80], message, remedy)


def _syntax_words(complaint: str, culprit: str) -> tuple[str, str]:
    """Say in plain words what keeps a line from being read as TOML."""
    for pattern, message, remedy in _SYNTAX_SLIPS:
        if re.search(pattern, f"{culprit}\n{complaint}"):
            return message, remedy.format(quoted=_quoted_quantity(culprit))
    words = re.sub(r" \(at .*\)$", "", complaint)
    return f"this is not valid TOML: {words[:1].lower()}{words[1:]}", "correct the line or the one before it"


def _quoted_quantity(line: str) -> str:
    key, _, value = line.partition("=")
    return f'{key.strip()} = "{value.partition("#")[0].strip()}"'


def check_definition(name: str, data: dict[str, Any], model: type[Model]) -> Model:
    """Check what a definition file holds, or is to hold.

    Parameters
    ----------
    name : str
        Name of the file, for the faults.
    data : dict
        What stands in it.
    model : type
        What it must define.

    Returns
    -------
    Definition
        The checked definition.

    Raises
    ------
    DefinitionError
        With every fault.
    """
    wanted, kind = kind_of(model), data.get("kind")
    if wanted and isinstance(kind, str) and kind != wanted:
        message = f'a file of kind "{wanted}" is needed here'
        remedy = "name the right file" if kind in KINDS else f'write kind = "{wanted}"'
        raise DefinitionError([Fault(name, "kind", f'"{kind}"', message, remedy)])
    try:
        return model.model_validate(data)
    except ValidationError as faults:
        raise DefinitionError(
            translate_faults(name, data, model, faults.errors(include_url=False))
        ) from faults
