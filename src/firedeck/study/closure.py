"""A gasket's closure laws, read from its file and the tables beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from firedeck.contact.closure import closure_gaps, closure_laws, named_laws, relaxations
from firedeck.contact.law import ClosureLaw
from firedeck.definition.closure import LawOfTable, Relaxation
from firedeck.definition.closure_checks import check_laws
from firedeck.definition.deck import DeckPlan, Seal
from firedeck.definition.gasket import Gasket, plan_with_gasket
from firedeck.errors import DefinitionError, Fault, FiredeckError
from firedeck.files.definition_file import read_definition

__all__ = ["GasketLaws", "law_faults", "load_gasket_laws", "load_laws", "read_tables"]

#: Largest table that is read [bytes].
_LARGEST_TABLE = 4_000_000


@dataclass(frozen=True)
class GasketLaws:
    """What a gasket file says about closure.

    Attributes
    ----------
    gasket : Gasket
        The gasket.
    laws : mapping of str to ClosureLaw
        Every law by its own name.
    of_seals : mapping of str to ClosureLaw
        Law of every seal that has one.
    gaps : mapping of str to float
        Closure of the joint at which each of those seals touches [mm].
    relaxations : mapping of str to Relaxation
        What is left of a seal's load in time, where its law states it.
    tables : tuple of str
        Names of the tables read.
    """

    gasket: Gasket
    laws: Mapping[str, ClosureLaw]
    of_seals: Mapping[str, ClosureLaw]
    gaps: Mapping[str, float]
    relaxations: Mapping[str, Relaxation]
    tables: tuple[str, ...]


def load_laws(file: Path, seals: Sequence[Seal] | None = None) -> GasketLaws:
    """Read a gasket file with the tables that its laws name, relative to its folder.

    Parameters
    ----------
    file : Path
        Gasket file.
    seals : sequence of Seal, optional
        The seals that count, those of the deck plan with the gasket on it; the gasket's own
        unless given.

    Raises
    ------
    DefinitionError
        With every fault of the file, of a table, or of the laws together.
    """
    gasket = read_definition(file, Gasket)
    faults = [fault for severity, fault in law_faults(file, gasket, seals) if severity == "fault"]
    if faults:
        raise DefinitionError(faults)
    tables, _ = read_tables(file, gasket)
    return GasketLaws(
        gasket,
        named_laws(gasket, tables),
        closure_laws(gasket, tables, seals),
        closure_gaps(gasket, seals),
        relaxations(gasket, seals),
        tuple(tables),
    )


def load_gasket_laws(file: Path, deck: Path | None = None) -> GasketLaws:
    """Read a gasket's laws for the seals that lie on a deck plan with it.

    Parameters
    ----------
    file : Path
        Gasket file.
    deck : Path, optional
        Deck plan file; its seals count where the gasket brings none.

    Raises
    ------
    DefinitionError
        As `load_laws`.
    FiredeckError
        If the gasket states no law.
    """
    gasket = read_definition(file, Gasket)
    if not gasket.laws:
        raise FiredeckError(
            "the gasket states no closure law", where=str(file), remedy="add [[law]] entries to it"
        )
    plan = read_definition(deck, DeckPlan) if deck is not None else None
    return load_laws(file, plan_with_gasket(plan, gasket).seals if plan is not None else None)


def law_faults(file: Path, gasket: Gasket, seals: Sequence[Seal] | None = None) -> list[tuple[str, Fault]]:
    """Return what is wrong or doubtful with the laws of a gasket: severity and fault.

    Parameters
    ----------
    file : Path
        Gasket file, for messages and as the tables' folder.
    gasket : Gasket
        What it holds.
    seals : sequence of Seal, optional
        The seals that count; without them the seals that the laws name are looked for only where
        the gasket brings its own.
    """
    known = seals if seals is not None else gasket.seals or None
    found: list[tuple[str, Fault]] = [
        (one.severity, Fault(str(file), one.key, "", one.message, one.remedy))
        for one in check_laws(gasket.laws, known)
    ]
    tables, missing = read_tables(file, gasket)
    found += [("fault", fault) for fault in missing]
    if not any(severity == "fault" for severity, _ in found):
        found += _unmade(file, gasket, tables)
    return found


def _unmade(file: Path, gasket: Gasket, tables: Mapping[str, str]) -> list[tuple[str, Fault]]:
    try:
        named_laws(gasket, tables)
    except FiredeckError as error:
        return [("fault", Fault(str(file), error.where or "law", "", error.message, error.remedy))]
    return []


def read_tables(file: Path, gasket: Gasket) -> tuple[dict[str, str], list[Fault]]:
    """Return the text of every table that a gasket's laws name, and a fault for every one without.

    Parameters
    ----------
    file : Path
        Gasket file; the tables' names are relative to its folder.
    gasket : Gasket
        What it holds.
    """
    tables: dict[str, str] = {}
    faults = []
    for place, law in enumerate(gasket.laws, start=1):
        if not isinstance(law, LawOfTable):
            continue
        text, message, remedy = _table_text(file.parent / law.table)
        if message:
            faults.append(Fault(str(file), f"law[{place}].table", f'"{law.table}"', message, remedy))
        else:
            tables[law.table] = text
    return tables, faults


def _table_text(path: Path) -> tuple[str, str, str]:
    """Return a table's text, or in its stead what keeps it from being read and what would mend that."""
    try:
        if path.stat().st_size > _LARGEST_TABLE:
            return (
                "",
                "the table is too big to be one of load over closure",
                "check that it is the right file",
            )
        return path.read_text(encoding="utf-8-sig"), "", ""
    except FileNotFoundError:
        folder = path.parent.resolve().name or "the folder of the gasket file"
        return "", "there is no such file", f"names are relative to {folder}/"
    except UnicodeDecodeError:
        return "", "the table is not text in UTF-8", "save it as CSV text with the encoding UTF-8"
    except OSError as fault:
        reason = (fault.strerror or type(fault).__name__).lower()
        return "", f"the table cannot be read ({reason})", "check that it is a file and your rights to it"
