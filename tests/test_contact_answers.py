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
from firedeck.contact.bowing import bow_looks, looked_at
from firedeck.contact.lattice import lattice
from firedeck.contact.patterns import BoreGas, block_patterns, shape_name
from firedeck.contact.weights import node_weights
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


def engine_looks(pitch, lacking=lambda places: np.zeros(len(places), dtype=bool), *, gap=False):
    """Where bow is looked at on a grid of the engine's deck that lacks some nodes, and the others."""
    plan = engine_plan()
    low, high = np.array(plan.outline).min(axis=0), np.array(plan.outline).max(axis=0)
    rows, cols = np.ceil((high - low)[::-1] / pitch).astype(int)
    grid = lattice(Grid(*low, pitch, int(rows), int(cols)))
    at = np.argwhere(np.ones((cols + 1, rows + 1)))
    left = ~lacking(grid.nodes(at))
    numbers = np.where(left, np.cumsum(left) - 1, -1).reshape(cols + 1, rows + 1)
    areas = looked_at(plan, [seal_line(plan, seal, step=1.0) for seal in plan.seals])
    fasteners = np.array([hole.centre for hole in plan.fastener_holes])

    def shares(places):
        return node_weights(places, (grid, numbers))

    looks = bow_looks(shares, int(left.sum()), fasteners, areas.gap if gap else areas.head)
    return looks, grid.nodes(at[left])


def in_bores(places, further):
    """Which places lie further inside a bore of the engine than some distance."""
    bores = engine_plan().bores
    inside = [np.hypot(*(places - bore.centre).T) < 0.5 * bore.diameter - further for bore in bores]
    return np.any(inside, axis=0)


def on_a_bridge(looks):
    """Which pairs have their middle between two bores."""
    plan = engine_plan()
    fasteners = np.array([hole.centre for hole in plan.fastener_holes])
    middles = np.array([fasteners[list(pair)].mean(axis=0) for pair in looks.pairs])
    beside = [np.hypot(*(middles - bore.centre).T) < 0.5 * bore.diameter + 10.0 for bore in plan.bores]
    return np.sum(beside, axis=0) == 2


def test_bow_is_read_on_the_face_where_seals_leave_any():
    # Between two bores, where all is dented by their beads, the chambers' roofs are all there is; the gap,
    # which has no roof, is read between the dented faces.
    looks, places = engine_looks(6.0)
    assert len(looks.pairs) == 13
    # The nodes of a cell that the edge crosses still say where the face beside it is.
    inside = in_bores(places, 6.0 * math.sqrt(2.0))
    bridge = on_a_bridge(looks)
    assert bridge.sum() == 3
    roofs = np.abs(looks.weights[:, inside]).sum(axis=1)
    assert np.all(roofs[~bridge] == 0.0)
    assert np.all(roofs[bridge] > 0.1)
    np.testing.assert_allclose(looks.weights.sum(axis=1), 0.0, atol=1e-9)
    gap, _ = engine_looks(6.0, gap=True)
    assert gap.pairs == looks.pairs
    assert np.all(gap.weights[:, inside] == 0.0)


def test_where_a_bow_is_read_is_no_matter_of_the_grid():
    # A dome is told alike on any grid, but for what straight lines between nodes cut off it.
    def dome(places):
        x, y = (places - [60.0, 70.0]).T
        return 2e-2 * np.cos(x / 50.0) * np.cos(y / 40.0) + 1e-6 * x * y

    told = {}
    for pitch in (2.0, 3.5, 6.0, 8.0):
        looks, places = engine_looks(pitch)
        told[pitch] = looks.weights @ dome(places)
    for pitch in (3.5, 6.0, 8.0):
        np.testing.assert_allclose(told[pitch], told[2.0], atol=1e-4 * pitch**2 * np.abs(told[2.0]).max())


def test_bow_of_the_gap_needs_no_nodes_that_come_and_go_with_the_grid():
    # Nodes well inside a bore are kept or not as the block's edge runs through the cells.
    looks, places = engine_looks(6.0, gap=True)
    fewer, left = engine_looks(6.0, lambda at: in_bores(at, 6.0 * math.sqrt(2.0)), gap=True)
    assert fewer.pairs == looks.pairs

    def rise(at):
        return np.sin(at[:, 0] / 30.0) * np.sin(at[:, 1] / 40.0)

    np.testing.assert_allclose(fewer.weights @ rise(left), looks.weights @ rise(places), atol=1e-12)


def test_heads_bow_is_no_matter_of_how_much_of_the_faces_is_kept():
    plan = square_plan()
    parts = plan, square_sections(), square_gasket(plan), square_seats(plan)
    wide, near = (Joint.build(*parts, pitch=8.0, reach=reach) for reach in (60.0, 12.0))
    assert (wide.kept >= 0).sum() > (near.kept >= 0).sum()
    told = [{bow.fasteners: bow.head for bow in bows(assembled(joint))} for joint in (wide, near)]
    assert told[0].keys() == told[1].keys()
    for pair, head_bow in told[0].items():
        assert told[1][pair] == pytest.approx(head_bow, rel=1e-5)


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
