"""One family of errors; each says where the fault is and what would mend it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["DefinitionError", "Fault", "FiredeckError", "PrintError", "ScanError"]


class FiredeckError(Exception):
    """Base of every error that firedeck shows to a person.

    Parameters
    ----------
    message : str
        What is wrong, in one plain sentence.
    where : str
        File, and key or place within it, where known.
    remedy : str
        What the reader can do about it.
    """

    def __init__(self, message: str, *, where: str = "", remedy: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.where = where
        self.remedy = remedy

    def __str__(self) -> str:
        head = f"{self.where}: {self.message}" if self.where else self.message
        return f"{head}\n  To mend: {self.remedy}" if self.remedy else head


class ScanError(FiredeckError):
    """A scan that cannot be read, or cannot be read as a measurement."""


class PrintError(FiredeckError):
    """A print that cannot be turned into pressure: wrong deck, blank, no calibration."""


@dataclass(frozen=True)
class Fault:
    """One fault in a definition file.

    Attributes
    ----------
    file : str
        Name of the file as the user gave it.
    key : str
        Path of the key within the file, for example ``seal[3].band``.
    value : str
        What stands there.
    message : str
        What is wrong with it.
    remedy : str
        What to write instead.
    """

    file: str
    key: str
    value: str
    message: str
    remedy: str = ""

    def __str__(self) -> str:
        found = f" (found {self.value})" if self.value else ""
        mend = f"\n    To mend: {self.remedy}" if self.remedy else ""
        return f"{self.file}: {self.key}: {self.message}{found}{mend}"


class DefinitionError(FiredeckError):
    """All faults of one definition at once."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        count = len(self.faults)
        title = "1 fault" if count == 1 else f"{count} faults"
        super().__init__("\n".join([f"{title} in the definition:", *(f"  {fault}" for fault in self.faults)]))
