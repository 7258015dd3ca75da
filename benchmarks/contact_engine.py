"""The joint of the contact benches: the invented engine's plan on generic sections, invented laws."""

from __future__ import annotations

import numpy as np

from firedeck.contact import (
    BlockSizes,
    BodySection,
    ClosureLaw,
    FastenerSeat,
    GasketModel,
    HeadSizes,
    Joint,
    PressedSeal,
    generic_block,
    generic_head,
)
from firedeck.definition.deck import DeckPlan, Seal
from firedeck.scenario.engine import engine_plan

__all__ = ["PRELOAD", "build", "engine_gasket", "engine_seats", "engine_sections"]

#: Preload of every fastener [N].
PRELOAD = 60e3

#: Load at the height of each kind of seal [N/mm], the height [mm] and the pressed width [mm].
_LAWS = {"full-bead": (350.0, 0.14, 1.3), "half-bead": (35.0, 0.12, 1.0)}


def _law(kind: str) -> ClosureLaw:
    peak, height, width = _LAWS[kind]
    closure = np.linspace(0.0, height, 12)
    load = peak * (0.35 * closure / height + 0.65 * (closure / height) ** 3)
    way = [(height, peak), (0.85 * height, 0.3 * peak), (0.7 * height, 0.0)]
    return ClosureLaw.from_table(kind, np.column_stack([closure, load]).tolist(), [way], width=width)


def engine_gasket(plan: DeckPlan) -> GasketModel:
    """Return full beads round the bores and half beads round the rest, a little lower."""
    laws = {kind: _law(kind) for kind in _LAWS}

    def pressed(seal: Seal) -> PressedSeal:
        return PressedSeal(seal, laws[seal.kind], 0.0 if seal.kind == "full-bead" else 0.01)

    return GasketModel(tuple(pressed(seal) for seal in plan.seals))


def engine_sections(
    plan: DeckPlan, head: HeadSizes | None = None, block: BlockSizes | None = None, *, element: float = 10.0
) -> tuple[BodySection, BodySection]:
    """Return the generic head and block."""
    return generic_head(plan, head, element=element), generic_block(plan, block, element=element)


def engine_seats(plan: DeckPlan, head: BodySection) -> list[FastenerSeat]:
    """Return M11 studs on the head's upper deck."""
    bears = head.height_above("upper deck")
    return [
        FastenerSeat(hole.name, hole.centre, 22.0, hole.diameter, bears, 12.0, 12.0, 22.0, 150e3)
        for hole in plan.fastener_holes
    ]


def build(
    *,
    pitch: float = 6.0,
    head: HeadSizes | None = None,
    block: BlockSizes | None = None,
    element: float = 10.0,
) -> Joint:
    """Return the engine's joint at a pitch of the grid [mm]."""
    plan = engine_plan()
    sections = engine_sections(plan, head, block, element=element)
    seats = engine_seats(plan, sections[0])
    return Joint.build(plan, sections, engine_gasket(plan), seats, pitch=pitch)
