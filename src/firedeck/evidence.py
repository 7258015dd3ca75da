"""Where numbers come from, how sure they are, and why they are to be doubted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

__all__ = ["FLAGS", "Basis", "Estimate", "Flag", "Source", "decode_flags", "flag_bit"]


class Basis(StrEnum):
    """What kind of backing a number has."""

    PUBLISHED = "published"
    MEASURED = "measured"
    DERIVED = "derived"
    COMMON_PRACTICE = "common practice, no source"
    MEMORY = "from memory, not checked"
    INVENTED = "invented for the example"


@dataclass(frozen=True)
class Source:
    """Backing of a number: its basis and, where there is one, the document and place in it."""

    basis: Basis
    document: str = ""
    place: str = ""

    def __str__(self) -> str:
        cited = ", ".join(part for part in (self.document, self.place) if part)
        return f"{cited} ({self.basis})" if cited else str(self.basis)


@dataclass(frozen=True)
class Estimate:
    """A value with the interval that holds the truth in about 95 of 100 cases, and flags.

    Attributes
    ----------
    value : float
        Best estimate, in the unit of the quantity it stands for.
    low, high : float
        Ends of the 95 % interval. An infinite `high` means "at least `low`".
    flags : tuple of str
        Names from `FLAGS`.
    """

    value: float
    low: float
    high: float
    flags: tuple[str, ...] = ()

    @classmethod
    def from_standard(cls, value: float, standard: float, flags: tuple[str, ...] = ()) -> Estimate:
        """Build from a standard uncertainty, taking a normal spread."""
        half = 1.96 * standard
        return cls(value, value - half, value + half, flags)

    @property
    def standard(self) -> float:
        """Standard uncertainty that the interval's width stands for."""
        return (self.high - self.low) / 3.92

    @property
    def bounded_above(self) -> bool:
        """Whether the interval has an upper end."""
        return math.isfinite(self.high)


@dataclass(frozen=True)
class Flag:
    """A named reason to doubt a number; `bit` is its place in a flags array."""

    bit: int
    name: str
    short: str
    meaning: str


FLAGS: dict[str, Flag] = {
    flag.name: flag
    for flag in (
        Flag(
            0,
            "below-range",
            "below range",
            "The film answered less than the lowest calibration piece that still answers; "
            "the pressure lies between zero and that piece's.",
        ),
        Flag(
            1,
            "under-stated-range",
            "under stated range",
            "Above the lowest answering calibration piece but under the film's stated range; "
            "the curve is used with its growing uncertainty.",
        ),
        Flag(
            2,
            "saturated",
            "saturated",
            "The film is fully coloured or above its stated range; the pressure is at least the value shown.",
        ),
        Flag(3, "outside-sheet", "no film", "No film lay here, or it was cut away."),
        Flag(4, "hole", "hole", "A hole of the gasket or the deck: nothing presses here."),
        Flag(5, "crease", "crease", "A crease or crimp line of the film, masked."),
        Flag(6, "cut-rim", "cut rim", "The dark rim that cutting leaves along an edge or a hole, masked."),
        Flag(7, "dust", "dust", "Dust or lint on the glass or in the stack, masked."),
        Flag(8, "pen", "pen mark", "Writing or tape on the sheet, masked."),
        Flag(9, "rub", "rub streak", "A streak left by sliding, masked."),
        Flag(10, "masked", "masked by hand", "Masked by the user."),
        Flag(
            11,
            "inferred",
            "inferred",
            "Filled in from the seal's own profile because the print does not show it.",
        ),
        Flag(
            12,
            "unbalanced",
            "unbalanced",
            "The force on the print does not fit the preload stated for the test.",
        ),
    )
}


def flag_bit(name: str) -> int:
    """Return the flag's mask, ``1 << bit``, for use with a flags array.

    Raises
    ------
    KeyError
        If no flag has that name.
    """
    return 1 << FLAGS[name].bit


def decode_flags(bits: int) -> tuple[str, ...]:
    """Return the names of the flags set in `bits`, in order of their bit."""
    return tuple(flag.name for flag in FLAGS.values() if int(bits) & (1 << flag.bit))


#: Type of a flags array.
FLAG_DTYPE = np.uint16
