"""What a contact state says: profiles, bow, bore shape, swings, clamp against gas, both levels, mirror."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from firedeck.contact import (
    ClosureLaw,
    GasketModel,
    Joint,
    PressedSeal,
    Warmth,
    bore_shapes,
    bows,
    clamp_over_gas,
    compare_levels,
    faces,
    peak_profile,
    profile,
    swings,
    tighten,
)
from firedeck.contact.bowing import bow_looks, clear_face
from firedeck.contact.lattice import lattice
from firedeck.contact.patterns import BoreGas, block_patterns, shape_name
from firedeck.definition.shape import seal_line
from firedeck.errors import FiredeckError
from firedeck.pressure_map import Grid
from firedeck.scenario.engine import engine_plan
from tests.contact_bodies import box, material
from tests.contact_joints import square_gasket, square_joint, square_plan, square_seats, square_sections


def assembled(joint, level="fast", preload=12e3):
    return tighten(joint, {seat.name: preload for seat in joint.seats}, level=level, shares=(0.5, 1.0))[-1]


@pytest.fixture(scope="module")
def fast():
    return assembled(square_joint())


@pytest.fixture(scope="module")
def check():
    return assembled(square_joint(), "check")


def test_profile_adds_up_to_what_the_fasteners_hold(check):
    carried = [profile(check, name) for name in ("bead", "outer")]
    steps = [one.arc[1] - one.arc[0] for one in carried]
    total = sum(one.line_load.sum() * step for one, step in zip(carried, steps, strict=True))
    assert total == pytest.approx(check.tension.sum(), rel=1e-6)
    bead = carried[0]
    assert bead.lowest <= bead.mean <= bead.line_load.max()
    assert bead.line_load[np.argmin(np.abs(bead.angle - bead.weakest_angle))] == bead.lowest
    assert bead.pressure == pytest.approx(bead.line_load / 1.2)
    radius = np.hypot(*(bead.place - [58.0, 49.0]).T)
    assert radius == pytest.approx(18.0 + 4.0, abs=0.05)


def test_profile_of_a_seal_that_is_not_there_names_those_that_are(check):
    with pytest.raises(FiredeckError, match="no seal or land called 'ring'") as refused:
        profile(check, "ring")
    assert "bead, outer" in str(refused.value)


def test_closures_beyond_the_law_are_told(check):
    assert profile(check, "bead").beyond == np.mean(profile(check, "bead").closure > 0.12)
    hard = assembled(square_joint(), "check", 60e3)
    assert profile(hard, "bead").beyond == 1.0


def test_peak_profile_keeps_what_gas_takes_away(check):
    fired = check.fire({"bore": 12.0})
    assert profile(fired, "bead").mean < profile(check, "bead").mean
    now, kept = profile(check, "bead"), peak_profile(fired, "bead")
    assert np.all(kept.line_load >= now.line_load - 1e-9)
    assert kept.mean == pytest.approx(peak_profile(check, "bead").mean, rel=0.02)


def test_levels_agree_as_closely_as_they_say(fast, check):
    told = {one.seal: one for one in compare_levels(fast, check)}
    assert set(told) == {"bead", "outer"}
    quick, full = profile(fast, "bead"), profile(check, "bead")
    assert told["bead"].mean == pytest.approx(quick.mean / full.mean - 1.0)
    assert told["bead"].lowest == pytest.approx(quick.lowest / full.lowest - 1.0)
    assert abs(told["bead"].mean) <= 0.02
    assert abs(told["bead"].lowest) <= 0.04
    assert all(one.mean == one.lowest == 0.0 for one in compare_levels(check, check) if one.seal == "bead")


def test_swings_are_the_largest_loss_of_each_seal(check):
    fired = check.fire({"bore": 10.0})
    told = swings(check, fired)
    assert [one.opening for one in told] == sorted((one.opening for one in told), reverse=True)
    for one in told:
        lost = profile(check, one.seal).closure - profile(fired, one.seal).closure
        assert one.opening == lost.max() > 0.0
        assert profile(check, one.seal).angle[np.argmax(lost)] == one.angle
        fallen = profile(check, one.seal).line_load - profile(fired, one.seal).line_load
        assert one.load == fallen.max()
    assert all(one.opening == one.load == 0.0 for one in swings(check, check))


def test_clamp_over_gas_counts_the_bores_own_seals(check):
    # The outer seal, too, encloses this bore and nothing else; the gas reaches the inner one, 44 mm wide.
    gas = 0.25 * math.pi * 44.0**2 * 10.0
    told = clamp_over_gas(check, {"bore": 10.0})["bore"]
    assert told == pytest.approx(check.tension.sum() / gas, rel=2e-3)
    assert clamp_over_gas(check, {}) == {}


def test_gas_opens_the_bow(check):
    rest, fired = bows(check), bows(check.fire({"bore": 12.0}))
    assert {bow.fasteners for bow in rest} == {bow.fasteners for bow in fired}
    assert len(rest) == 4
    assert all(bow.head > 0.0 for bow in rest)
    assert max(bow.opening for bow in fired) > max(bow.opening for bow in rest)
    assert [bow.opening for bow in rest] == sorted((bow.opening for bow in rest), reverse=True)
    assert bows(check, reach=0.1) == ()


def test_bow_is_read_on_the_face_where_seals_leave_any():
    # Which nodes in a bore are kept is a matter of the block's edge and the grid, not of the head's bow.
    # Between two bores, where all is dented by their beads, the chambers' roofs are all there is.
    plan, grid = engine_plan(), Grid(0.0, 0.0, 6.0, 32, 73)
    every = np.arange(74 * 33).reshape(74, 33)
    lines = [seal_line(plan, seal, step=1.0) for seal in plan.seals]
    fasteners = np.array([hole.centre for hole in plan.fastener_holes])
    looks = bow_looks((lattice(grid), every), fasteners, clear_face(plan, lines))
    assert len(looks.pairs) == 13
    places = lattice(grid).nodes(np.argwhere(every >= 0))
    # The nodes of a cell that the edge crosses still say where the face beside it is.
    reach = 6.0 * math.sqrt(2.0)
    inside = np.any(
        [np.hypot(*(places - bore.centre).T) < 0.5 * bore.diameter - reach for bore in plan.bores], axis=0
    )
    middles = np.array([fasteners[list(pair)].mean(axis=0) for pair in looks.pairs])
    beside = [np.hypot(*(middles - bore.centre).T) < 0.5 * bore.diameter + 10.0 for bore in plan.bores]
    on_a_bridge = np.sum(beside, axis=0) == 2
    assert on_a_bridge.sum() == 3
    roofs = np.abs(looks.weights[:, inside]).sum(axis=1)
    assert np.all(roofs[~on_a_bridge] == 0.0)
    assert np.all(roofs[on_a_bridge] > 0.1)
    np.testing.assert_allclose(looks.weights.sum(axis=1), 0.0, atol=1e-9)


def test_faces_close_as_the_points_say(check):
    both = faces(check)
    assert both.opening == pytest.approx(both.head - both.block)
    laid = check.joint.laid
    closure = laid.points.weights[:, : len(laid.touched)] @ -both.opening[laid.touched] - laid.points.gap
    assert closure == pytest.approx(check.balance.closure, abs=1e-7)
    assert abs(both.head_bow().mean()) <= 1e-12


@pytest.mark.parametrize("order", range(9))
@pytest.mark.parametrize("turn", [0.0, 25.0])
def test_bore_shape_finds_the_order_that_is_imposed(order, turn):
    """Each node is moved outward as a bore of that order would be; nothing else may show."""
    centre, radius = (60.0, 60.0), 30.0
    mesh = box((120.0, 120.0, 20.0), (60, 60, 2), material(100e3, 0.3), "block")
    shown = dict(block_patterns(mesh, (), (BoreGas("bore", centre, 2.0 * radius, 64.0, 10.0),), (8.0,)))
    arms = mesh.coordinates[:, :2] - centre
    angle = np.arctan2(arms[:, 1], arms[:, 0])
    out = 0.01 * np.cos(order * (angle - np.radians(turn)))
    moved = np.column_stack([out * np.cos(angle), out * np.sin(angle), np.zeros(len(angle))])
    seen = np.zeros((9, 2))
    for k in range(9):
        seen[k, 0] = np.sum(shown[shape_name("bore", 8.0, k, "cos")] * moved)
        if k:
            seen[k, 1] = np.sum(shown[shape_name("bore", 8.0, k, "sin")] * moved)
    expected = np.zeros((9, 2))
    expected[order] = 0.01 * np.cos(np.radians(order * turn)), 0.01 * np.sin(np.radians(order * turn))
    assert seen == pytest.approx(expected, abs=3e-4)


def test_even_heat_grows_the_bore_and_leaves_it_round(check):
    warm = check.warm(Warmth([(0.0, 120.0)], [(0.0, 120.0)], 120.0))
    strain = check.joint.block.section.material.free_strain(120.0)
    cold, hot = bore_shapes(check)[0], bore_shapes(warm)[0]
    grown = hot.amplitude[0] - cold.amplitude[0]
    assert grown == pytest.approx(strain * 18.5, rel=0.05)
    assert hot.out_of_round == pytest.approx(cold.out_of_round, abs=0.1 * grown)
    # The block is 52 mm deep: the third of the usual depths lies below it.
    assert [(one.bore, one.depth) for one in bore_shapes(check)] == [("bore", 10.0), ("bore", 40.0)]


def test_four_studs_make_a_bore_two_and_four_fold():
    state = assembled(square_joint(symmetric=True), "check")
    shape = bore_shapes(state)[0]
    odd, even = shape.amplitude[[3, 5, 7]], shape.amplitude[[2, 4]]
    # The order of tightening has left its mark in the gasket, and so a little of the odd orders.
    assert odd.max() <= 0.1 * even.max()
    assert shape.out_of_round == pytest.approx(2.0 * shape.amplitude[2:].sum())


PRELOADS = st.lists(st.floats(4e3, 20e3), min_size=4, max_size=4)
#: Fasteners and places seen in a mirror across the plan's middle in x, and in y.
MIRRORS = {"x": ([1, 0, 3, 2], (-1.0, 1.0)), "y": ([2, 3, 0, 1], (1.0, -1.0))}


@given(PRELOADS, st.sampled_from(sorted(MIRRORS)), st.floats(0.0, 15.0))
@settings(max_examples=6, deadline=None, phases=(Phase.explicit, Phase.generate))
def test_mirrored_preloads_give_mirrored_loads(values, mirror, pressure):
    joint = square_joint(symmetric=True)
    swapped, signs = MIRRORS[mirror]
    names = [seat.name for seat in joint.seats]
    states = []
    for order in (range(4), swapped):
        wanted = {name: values[k] for name, k in zip(names, order, strict=True)}
        sequence = [names[k] for k in order]
        steps = tighten(joint, wanted, sequence=sequence, level="check", shares=(0.5, 1.0))
        states.append(steps[-1].settle(embedding=0.001, relaxation=0.05).fire({"bore": pressure}))
    one, other = states
    assert other.tension == pytest.approx(one.tension[swapped], rel=1e-6)
    middle = np.array([60.0, 48.0])
    for seal in ("bead", "outer"):
        here, there = profile(one, seal), profile(other, seal)
        image = middle + signs * (here.place - middle)
        near = [int(np.argmin(np.hypot(*(there.place - at).T))) for at in image]
        apart = np.hypot(*(there.place[near] - image).T).max()
        # Where the points do not mirror onto each other, the load changes a little from one to the next.
        loose = 1e-5 if apart <= 1e-6 else 0.02
        assert there.line_load[near] == pytest.approx(here.line_load, abs=loose * here.line_load.max())


def test_a_gasket_can_be_exchanged_on_the_same_bodies(check):
    plan = square_plan()
    soft = ClosureLaw.linear("soft", 1500.0, 1.5)
    other = GasketModel(tuple(PressedSeal(seal, soft) for seal in plan.seals))
    exchanged = check.joint.with_gasket(other)
    assert exchanged.pair is check.joint.pair
    state = assembled(exchanged, "check")
    assert state.certificate.sound
    assert profile(state, "bead").mean != pytest.approx(profile(check, "bead").mean, rel=0.01)


def test_two_fasteners_do_not_make_a_joint():
    plan = square_plan()
    with pytest.raises(FiredeckError, match="2 fasteners"):
        Joint.build(plan, square_sections(), square_gasket(plan), square_seats(plan)[:2], pitch=12.0)
