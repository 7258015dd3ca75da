"""Duty files: read, checked against what their source covers, and accounted for."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from firedeck import __version__
from firedeck.definition.duty import DutyDefinition
from firedeck.duty.validity import out_of_range
from firedeck.errors import DefinitionError, Fault
from firedeck.files.definition_file import read_definition
from firedeck.files.scan_file import file_hash

__all__ = ["duty_provenance", "load_duty", "range_faults"]


def range_faults(path: Path, definition: DutyDefinition) -> list[Fault]:
    """Return a fault for every value of a duty that its source does not cover."""
    return [Fault(str(path), one.key, "", one.message, one.remedy) for one in out_of_range(definition)]


def load_duty(path: Path) -> DutyDefinition:
    """Read a duty and refuse all that its source does not cover, at once.

    Raises
    ------
    DefinitionError
        With every fault.
    """
    definition = read_definition(path, DutyDefinition)
    faults = range_faults(path, definition)
    if faults:
        raise DefinitionError(faults)
    return definition


def duty_provenance(paths: Iterable[Path]) -> dict[str, str]:
    """Return version and hashes of the files that a duty rests on."""
    return {"firedeck": __version__, **{f"sha256 {path.name}": file_hash(path) for path in paths}}
