"""One thing found wrong or doubtful in a deck plan, and how its entries are called."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from firedeck.definition.deck import OUTSIDE, Bore, DeckPlan, Dowel, FastenerHole, Port, Seal

__all__ = ["OUTLINE_NAMES", "Opening", "PlanFinding", "keyed_openings", "keyed_seals"]

Opening = Bore | Port | FastenerHole | Dowel

#: What `Seal.around` may name besides an opening.
OUTLINE_NAMES = (OUTSIDE, "outline")


@dataclass(frozen=True)
class PlanFinding:
    """One thing that is wrong, or that may be.

    Attributes
    ----------
    severity : {"fault", "doubt"}
        A fault makes results wrong or impossible; a doubt may be meant.
    key : str
        Path of the key within the plan, for example ``seal[2].around``, entries counted from 1.
    message : str
        What was found.
    remedy : str
        What to do about it.
    at : tuple of float, optional
        Where on the plan [mm], for marking it on a picture.
    """

    severity: Literal["fault", "doubt"]
    key: str
    message: str
    remedy: str
    at: tuple[float, float] | None = None


def keyed_openings(plan: DeckPlan) -> Iterator[tuple[str, Opening]]:
    """Return every opening with its key in the file, such as ``port[2]``."""
    groups: dict[str, tuple[Opening, ...]] = {
        "bore": plan.bores,
        "fastener-hole": plan.fastener_holes,
        "dowel": plan.dowels,
        "port": plan.ports,
    }
    for group, openings in groups.items():
        for place, opening in enumerate(openings, start=1):
            yield f"{group}[{place}]", opening


def keyed_seals(plan: DeckPlan) -> Iterator[tuple[str, Seal]]:
    """Return every seal with its key in the file, such as ``seal[2]``."""
    return ((f"seal[{place}]", seal) for place, seal in enumerate(plan.seals, start=1))
