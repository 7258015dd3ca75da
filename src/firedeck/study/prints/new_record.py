"""A new record of a film test or a calibration from entries as a person types them: text with units."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from firedeck.definition.calibration import FilmCalibration
from firedeck.definition.film_test import FilmTest
from firedeck.definition.quantities import Definition
from firedeck.errors import DefinitionError, Fault
from firedeck.files.definition_file import check_definition, write_definition
from firedeck.study.bench import Bench

__all__ = ["CALIBRATION", "FILM_TEST", "Entry", "Form", "entries_of", "write_record"]


@dataclass(frozen=True)
class Entry:
    """One entry of the form.

    Attributes
    ----------
    key : str
        Path of the key in the record.
    label : str
        What is asked.
    ask : str
        How: ``text``, ``date``, ``number``, ``tick``, ``choice``, ``lines`` for a list, or the kind of
        file to choose.
    hint : str
        An example, or what it is for.
    choices : tuple of str
        Words to choose from.
    needed : bool
        Whether it must be given.
    """

    key: str
    label: str
    ask: Literal[
        "text", "date", "number", "tick", "choice", "lines", "deck-plan", "gasket", "film-batch", "criteria"
    ]
    hint: str = ""
    choices: tuple[str, ...] = ()
    needed: bool = True


#: Air and load that the film saw.
_CONDITIONS = (
    Entry("climate.temperature", "Temperature", "text", "22 degC"),
    Entry("climate.humidity", "Relative humidity", "text", "48 %"),
    Entry("load-profile.rise", "Time to full load", "text", "3 min"),
    Entry("load-profile.hold", "Time held", "text", "10 min"),
    Entry("load-profile.scan_delay", "From release to scan", "text", "30 min"),
)

#: What the scan was made with.
_SCANNER = (
    Entry("scanner.name", "Scanner", "text", "the unit, as in the calibration"),
    Entry("scanner.settings", "Its settings", "text", "600 dpi, 16 bit, corrections off", needed=False),
    Entry(
        "scanner.transfer.encoding",
        "How code values stand for light",
        "choice",
        choices=("srgb", "linear", "gamma", "embedded", "wedge"),
    ),
    Entry("scanner.transfer.gamma", "Exponent, for gamma", "text", "2.2", needed=False),
)

#: Entries of a film test, by part.
_FILM_TEST_PARTS: Mapping[str, tuple[Entry, ...]] = {
    "The test": (
        Entry("name", "Name of the test", "text", "gasket, attempt"),
        Entry("date", "Date of the assembly", "date"),
        Entry("operator", "Who did it", "text", needed=False),
        Entry("note", "Note", "text", needed=False),
        Entry("deck", "Deck plan", "deck-plan"),
        Entry("gasket", "Gasket", "gasket"),
        Entry("film", "Film batch", "film-batch"),
        Entry("criteria", "Criteria", "criteria", "none: trade practice, which has no source", needed=False),
    ),
    "The film in the joint": (
        Entry("film_face", "Face of the gasket it lay on", "choice", choices=("head", "block")),
        Entry("gasket_use", "This gasket is now clamped for the … time", "number", "1 for a new one"),
        Entry("gasket_fired", "The gasket has run in an engine", "tick", needed=False),
        *_CONDITIONS,
    ),
    "Clamp": (
        Entry("clamp.total", "Preload of all fasteners together", "text", "361 kN", needed=False),
        Entry("clamp.uncertainty", "Its relative standard uncertainty", "text", "6 %", needed=False),
        Entry("clamp.basis", "How it is known", "text", "torque test with this lubricant", needed=False),
    ),
    "The scanner": _SCANNER,
}

#: Entries of a calibration, by part.
_CALIBRATION_PARTS: Mapping[str, tuple[Entry, ...]] = {
    "The calibration": (
        Entry("film", "Film batch that it is for", "film-batch"),
        Entry("date", "Date", "date"),
        Entry("operator", "Who did it", "text", needed=False),
        Entry("note", "Note", "text", needed=False),
    ),
    "The pieces": (
        Entry(
            "piece",
            "Pressure of every piece, one to a line, as they lie on the scan: left to right, then down",
            "lines",
            "0 MPa, then 8 MPa, then 14 MPa, …",
        ),
        Entry("disc", "Diameter of the stain that the press leaves", "text", "10 mm"),
        Entry(
            "pressure_uncertainty",
            "Relative standard uncertainty of the pressures",
            "text",
            "1 % where none is stated: common practice, no source",
            needed=False,
        ),
    ),
    "The film in the press": _CONDITIONS,
    "The scanner": _SCANNER,
}


@dataclass(frozen=True)
class Form:
    """A form for one kind of record.

    Attributes
    ----------
    kind : str
        Word under ``kind``.
    model : type
        What the record must define.
    parts : mapping
        Entries by the heading that they stand under.
    own : tuple of str
        Keys that belong to one record and are never taken over from another.
    scans : callable
        Turns the names of the scans into what the record says.
    check_inside : callable
        Makes sure that all the record names lies within the bench.
    """

    kind: str
    model: type[Definition]
    parts: Mapping[str, tuple[Entry, ...]]
    own: tuple[str, ...]
    scans: Callable[[Sequence[str]], object]
    check_inside: Callable[[Bench, str], object]

    @property
    def entries(self) -> tuple[Entry, ...]:
        """All entries, in order."""
        return tuple(entry for part in self.parts.values() for entry in part)


FILM_TEST = Form(
    "film-test",
    FilmTest,
    _FILM_TEST_PARTS,
    own=("scan", "landmark", "mask"),
    scans=lambda names: [{"file": name} for name in names],
    check_inside=Bench.check_inside,
)

CALIBRATION = Form(
    "film-calibration",
    FilmCalibration,
    _CALIBRATION_PARTS,
    own=("scan", "table"),
    scans=lambda names: names[0],
    check_inside=Bench.check_calibration_inside,
)


def entries_of(bench: Bench, form: Form, like: str) -> tuple[dict[str, str], dict[str, Any]]:
    """Return another record as entries, and as it stands.

    Parameters
    ----------
    bench : Bench
        The bench.
    form : Form
        What is to be filled in.
    like : str
        Name of the record to begin from; empty for none.

    Returns
    -------
    entries : dict
        Key to text.
    data : dict
        The record without what belongs to it alone.
    """
    if not like:
        return {}, {}
    data = tomllib.loads(bench.existing(like).read_text(encoding="utf-8"))
    kept = {key: value for key, value in data.items() if key not in form.own}
    return {one.key: _text(_found(kept, one.key)) for one in form.entries}, kept


def _found(data: Mapping[str, Any], key: str) -> object:
    value: Any = data
    for step in key.split("."):
        value = value.get(step, "") if isinstance(value, Mapping) else ""
    return value


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, list):
        return "\n".join(str(one.get("pressure", "")) for one in value)
    return str(value)


def write_record(
    bench: Bench,
    form: Form,
    file: str,
    entries: Mapping[str, str],
    scans: Sequence[str],
    *,
    like: str = "",
) -> str:
    """Write a new record.

    Parameters
    ----------
    bench : Bench
        Where to.
    form : Form
        What kind of record.
    file : str
        Name of the new file, with or without its ending.
    entries : mapping
        Key to text, as typed.
    scans : sequence of str
        Names of the scans.
    like : str
        Record whose further tables, such as the steps of tightening, are taken over.

    Returns
    -------
    str
        Name of the file.

    Raises
    ------
    FiredeckError
        With every fault of the entries; nothing is written then.
    """
    name = f"{file.removesuffix('.toml')}.toml"
    path = bench.new_file(name)
    data = {**copy.deepcopy(entries_of(bench, form, like)[1]), "kind": form.kind}
    faults = [fault for one in form.entries if (fault := _enter(data, one, entries, name))]
    if scans:
        data["scan"] = form.scans([bench.existing(scan).name for scan in scans])
    else:
        faults.append(Fault(name, "scan", "", "no scan is named", "choose what was scanned"))
    if faults:
        raise DefinitionError(faults)
    write_definition(path, check_definition(name, data, form.model))
    try:
        form.check_inside(bench, name)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return name


def _enter(data: dict[str, Any], entry: Entry, entries: Mapping[str, str], file: str) -> Fault | None:
    """Put one entry into the record; return what is wrong with it."""
    text = entries.get(entry.key, "").strip()
    *tables, key = entry.key.split(".")
    if not text and entry.ask != "tick":
        _drop(data, tables, key)
        return Fault(file, entry.key, "", "this must be given", entry.hint) if entry.needed else None
    place = data
    for table in tables:
        place = place.setdefault(table, {})
    place[key] = bool(text) if entry.ask == "tick" else _typed(entry, text)
    return None


def _drop(data: dict[str, Any], tables: list[str], key: str) -> None:
    place: Any = data
    for table in tables:
        place = place.get(table, {})
    place.pop(key, None)
    if tables and not place:
        data.pop(tables[0], None)


def _typed(entry: Entry, text: str) -> object:
    """Return numbers as numbers; everything else stays text, for the record's own check to judge."""
    if entry.ask == "lines":
        lines = (line.strip() for line in re.split(r"[\n;]", text))
        return [{"pressure": line} for line in lines if line]
    if entry.ask == "number" or entry.key.endswith(".gamma"):
        try:
            return int(text) if entry.ask == "number" else float(text)
        except ValueError:
            return text
    return text
