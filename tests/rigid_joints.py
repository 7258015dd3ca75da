"""Joints of stiff bodies on a bed, for checks against statics; all sizes are those of the checks."""

from __future__ import annotations

import shapely

from firedeck.contact import BodySection, BoreGas, FastenerSeat, GasketModel, Joint, PressedLand, SectionLayer
from firedeck.contact.law import ClosureLaw
from firedeck.definition.deck import DeckPlan
from firedeck.definition.material import Material
from tests.contact_bodies import material

#: So stiff that its own give is far below any bed's here, yet not so that rounding drowns the bed.
RIGID = material(2e9, 0.3)


def bar_plan(length: float, width: float, studs: dict[str, tuple[float, float]]) -> DeckPlan:
    """Plan of a bar with studs; its bore is there because a plan has one."""
    return DeckPlan.model_validate(
        {
            "kind": "deck-plan",
            "name": "bar on a bed",
            "outline": [(0.0, 0.0), (length, 0.0), (length, width), (0.0, width)],
            "bore": [{"name": "bore", "centre": (0.5 * length, 0.5 * width), "diameter": "2 mm"}],
            "fastener-hole": [{"name": name, "centre": at, "diameter": "2 mm"} for name, at in studs.items()],
        }
    )


def bar_on_bed(
    sizes: tuple[float, float, float],
    pitch: float,
    studs: dict[str, tuple[float, float]],
    law: ClosureLaw,
    *,
    stiffness: float | dict[str, float] = 150e3,
    head: Material = RIGID,
    gas: tuple[BoreGas, ...] = (),
) -> Joint:
    """A bar (length, width, height) on a bed that covers its face, over a block that does not give."""
    length, width, height = sizes
    full = shapely.box(0.0, 0.0, length, width)
    sections = (
        BodySection("head", (SectionLayer("bar", height, full),), head),
        BodySection("block", (SectionLayer("ground", 20.0, full),), RIGID),
    )
    each = stiffness if isinstance(stiffness, dict) else dict.fromkeys(studs, stiffness)
    seats = [
        FastenerSeat(name, at, 6.0, 2.0, height, 2.0, 5.0, 10.0, each[name]) for name, at in studs.items()
    ]
    gasket = GasketModel((), (PressedLand("bed", full, law),))
    plan = bar_plan(length, width, studs)
    return Joint.build(plan, sections, gasket, seats, bores=gas, pitch=pitch, depths=())
