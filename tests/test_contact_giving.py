"""When seals give, against a joint whose answer can be written down."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from firedeck.contact import (
    BodySection,
    BoreGas,
    ClosureLaw,
    FastenerSeat,
    GasketModel,
    Joint,
    PressedSeal,
    SealLimits,
    SectionLayer,
    give_way,
    profile,
    tighten,
)
from firedeck.errors import FiredeckError
from tests.contact_joints import square_plan
from tests.rigid_joints import RIGID

STUD, BEAD, OUTER, GAP, PRELOAD = 100e3, 4000.0, 500.0, 0.01, 15e3


@pytest.fixture(scope="module")
def joint():
    """Stiff bodies, four even studs, two concentric rings of linear law: nothing tilts."""
    plan = square_plan(True)
    full = shapely.box(0.0, 0.0, 120.0, 96.0)
    sections = (
        BodySection("head", (SectionLayer("head", 60.0, full),), RIGID),
        BodySection("block", (SectionLayer("block", 60.0, full),), RIGID),
    )
    laws = ClosureLaw.linear("bead", BEAD, width=1.5), ClosureLaw.linear("outer", OUTER)
    gaps = (0.0, GAP)
    gasket = GasketModel(tuple(PressedSeal(*parts) for parts in zip(plan.seals, laws, gaps, strict=True)))
    seats = [
        FastenerSeat(h.name, h.centre, 18.0, 8.0, 60.0, 8.0, 6.0, 16.0, STUD) for h in plan.fastener_holes
    ]
    gas = (BoreGas("bore", (60.0, 48.0), 36.0, 44.0, 15.0),)
    return Joint.build(plan, sections, gasket, seats, bores=gas, pitch=12.0, reach=20.0, depths=())


@pytest.fixture(scope="module")
def state(joint):
    wanted = {seat.name: PRELOAD for seat in joint.seats}
    return tighten(joint, wanted, shares=(*np.linspace(0.04, 1.0, 25), 1.0, 1.0), level="check")[-1]


def lengths(joint):
    sizes = joint.laid.points.size
    return [sizes[joint.laid.part(name)].sum() for name in ("bead", "outer")]


def closed_form(joint):
    """Closure without gas and how fast gas takes it away [mm, mm/MPa]."""
    bead, outer = (k * length for k, length in zip((BEAD, OUTER), lengths(joint), strict=True))
    closure = (4.0 * PRELOAD + outer * GAP) / (bead + outer)
    area = 0.25 * np.pi * 44.0**2
    return closure, area / (bead + outer + 4.0 * STUD)


def test_line_load_limits_by_hand(joint, state):
    closure, rate = closed_form(joint)
    limits = SealLimits({"full-bead": 250.0, "half-bead": 20.0}, multiple=0.0, opening=1.0)
    told = give_way(state, limits)
    bead, outer = profile(state, "bead"), profile(state, "outer")
    assert bead.closure.mean() == pytest.approx(closure, rel=4e-3)
    assert outer.closure.mean() == pytest.approx(closure - GAP, rel=4e-3)
    # Tightening one stud after the other leaves the head a little askew: the lowest point gives first.
    by_hand = {
        "bead": (bead.lowest - 250.0) / BEAD / rate,
        "outer": (outer.lowest - 20.0) / OUTER / rate,
    }
    assert {one.seal: one.pressure for one in told} == pytest.approx(by_hand, rel=5e-3)
    assert [one.seal for one in told] == sorted(by_hand, key=by_hand.get)
    assert {one.reason for one in told} == {"line load below its minimum"}
    assert {one.bore for one in told} == {"bore"}


def test_contact_against_gas_by_hand(joint, state):
    # k (c - r p) / w = m p: only the bore's own seal meets the gas. Here both enclose the bore alone, but the
    # outer one states no width and so no pressure.
    closure, rate = closed_form(joint)
    told = give_way(state, SealLimits({}, multiple=1.5, opening=1.0), highest=150.0)
    by_hand = BEAD * closure / 1.5 / (1.5 + BEAD * rate / 1.5)
    first = next(one for one in told if one.seal == "bead")
    assert first.pressure == pytest.approx(by_hand, rel=5e-3)
    assert first.reason == "contact pressure below gas pressure"


def test_opening_by_hand(joint, state):
    rate = closed_form(joint)[1]
    told = give_way(state, SealLimits({}, multiple=0.0, opening=0.012), highest=60.0)
    assert [one.pressure for one in told] == pytest.approx([0.012 / rate] * 2, rel=5e-3)
    assert {one.reason for one in told} == {"opens beyond its recovery"}


def test_what_gives_without_gas_and_what_holds_to_the_end(state):
    told = give_way(state, SealLimits({"half-bead": 1e4}, multiple=0.0, opening=1.0), highest=4.0)
    assert [(one.seal, one.pressure) for one in told] == [("outer", 0.0), ("bead", float("inf"))]
    assert told[1].reason == "holds to the end of the search"
    assert np.isnan(told[1].angle)


def test_search_without_pressure_is_refused(state):
    with pytest.raises(FiredeckError, match="pressure above zero"):
        give_way(state, highest=0.0)
