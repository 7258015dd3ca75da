"""Small joints for tests of the contact core; laws and sizes are invented."""

from __future__ import annotations

import functools

import numpy as np
import shapely

from firedeck.contact import (
    BodySection,
    ClosureLaw,
    FastenerSeat,
    GasketModel,
    Joint,
    PressedSeal,
    SectionLayer,
)
from firedeck.definition.deck import DeckPlan
from firedeck.definition.material import builtin_material
from firedeck.pressure_map import Grid

#: The square deck's cells of 12 mm, with lines on all its walls.
OWN_GRID = Grid(0.0, 0.0, 12.0, 8, 10)


def bead_law(name: str, peak: float, height: float, width: float) -> ClosureLaw:
    """Stiffening to `peak` at `height`, with a way back that keeps three quarters of the closure."""
    closure = np.linspace(0.0, height, 12)
    load = peak * (0.4 * closure / height + 0.6 * (closure / height) ** 3)
    way = [(height, peak), (0.875 * height, 0.35 * peak), (0.75 * height, 0.0)]
    return ClosureLaw.from_table(name, np.column_stack([closure, load]).tolist(), [way], width=width)


@functools.cache
def square_plan(symmetric: bool = False) -> DeckPlan:
    """One bore, four fasteners, two seals on 120 x 96 mm."""
    centre = (60.0, 48.0) if symmetric else (58.0, 49.0)
    corners = [(12.0, 12.0), (108.0, 12.0), (12.0, 84.0), (108.0, 84.0)]
    return DeckPlan.model_validate(
        {
            "kind": "deck-plan",
            "name": "square test deck",
            "outline": [(0.0, 0.0), (120.0, 0.0), (120.0, 96.0), (0.0, 96.0)],
            "bore": [{"name": "bore", "centre": centre, "diameter": "36 mm"}],
            "fastener-hole": [
                {"name": f"fastener {k}", "centre": at, "diameter": "8 mm"}
                for k, at in enumerate(corners, start=1)
            ],
            "seal": [
                {"name": "bead", "kind": "full-bead", "around": "bore", "offset": "4 mm", "band": "4 mm"},
                {
                    "name": "outer",
                    "kind": "half-bead",
                    "around": "outline",
                    "offset": "6 mm",
                    "band": "4 mm",
                    "inside": ["bore"],
                },
            ],
        }
    )


def square_sections() -> tuple[BodySection, BodySection]:
    """Head and block whose walls follow a grid of 12 mm, so that no cell is cut."""
    full = shapely.box(0, 0, 120, 96)
    walls = full.difference(shapely.box(24, 24, 96, 72)).union(shapely.box(48, 36, 72, 60))
    head = BodySection(
        "head",
        (
            SectionLayer("deck", 10.0, full),
            SectionLayer("jacket", 30.0, walls, 2),
            SectionLayer("upper deck", 10.0, full),
        ),
        builtin_material("A356-T6"),
    )
    block = BodySection(
        "block",
        (
            SectionLayer("deck", 12.0, full.difference(shapely.box(48, 36, 72, 60))),
            SectionLayer("skirt", 40.0, full.difference(shapely.box(36, 24, 84, 72)), 2),
        ),
        builtin_material("grey iron GJL-250"),
    )
    return head, block


def square_seats(plan: DeckPlan) -> list[FastenerSeat]:
    """Four studs of 100 kN/mm."""
    return [
        FastenerSeat(hole.name, hole.centre, 18.0, 8.0, 50.0, 8.0, 6.0, 16.0, 100e3)
        for hole in plan.fastener_holes
    ]


def square_gasket(plan: DeckPlan, *, outer_gap: float = 0.015) -> GasketModel:
    """Full bead round the bore, half bead round the deck."""
    laws = bead_law("full bead", 300.0, 0.12, 1.2), bead_law("half bead", 40.0, 0.10, 1.0)
    gaps = (0.0, outer_gap)
    return GasketModel(tuple(PressedSeal(*parts) for parts in zip(plan.seals, laws, gaps, strict=True)))


@functools.cache
def square_joint(*, symmetric: bool = False, outer_gap: float = 0.015) -> Joint:
    """The square deck's joint on its own grid."""
    plan = square_plan(symmetric)
    return Joint.build(
        plan,
        square_sections(),
        square_gasket(plan, outer_gap=outer_gap),
        square_seats(plan),
        reach=20.0,
        grid=OWN_GRID,
    )
