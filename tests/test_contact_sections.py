"""Generic head and block: what stands in them, what they say of themselves, how far they bow."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
import shapely

from benchmarks.contact_engine import PRELOAD, build
from firedeck.contact import BlockSizes, HeadSizes, SectionLayer, bows, generic_block, generic_head, tighten
from firedeck.contact.body import held_freedoms
from firedeck.contact.mesh import body_mesh
from firedeck.errors import FiredeckError
from firedeck.pressure_map import Grid
from firedeck.scenario.engine import engine_plan
from tests.contact_joints import square_sections


@pytest.fixture(scope="module")
def plan():
    return engine_plan()


def layer(section, name):
    return next(one for one in section.layers if one.name == name)


def test_head_is_stacked_from_the_sealing_plane_up(plan):
    head = generic_head(plan)
    assert [one.name for one in head.layers] == [
        "fire deck", "jacket", "middle deck", "ports", "upper deck", "rail"
    ]  # fmt: skip
    size = HeadSizes()
    assert head.height_above("fire deck") == size.fire_deck
    assert head.height_above("rail") == pytest.approx(head.planes[-1])
    assert max(np.diff(head.planes[:-2])) <= 10.0
    with pytest.raises(FiredeckError, match="no layer called 'sump'"):
        head.height_above("sump")


def test_block_goes_down_and_an_open_deck_has_no_top_deck(plan):
    closed, opened = generic_block(plan), generic_block(plan, BlockSizes(top_deck=0.0))
    assert closed.planes[-1] == 0.0
    assert closed.planes[0] == -(11.0 + 75.0 + 12.0 + 60.0)
    assert [one.name for one in opened.layers] == ["jacket", "lower deck", "skirt"]
    assert not layer(closed, "jacket").plan.intersects(shapely.Point(plan.bores[0].centre))


@pytest.mark.parametrize("body", [generic_head, generic_block])
def test_columns_of_the_fasteners_are_tied_by_walls(plan, body):
    jacket = layer(body(plan), "jacket").plan
    places = np.array([hole.centre for hole in plan.fastener_holes])
    for row in (places[places[:, 1] < 97.0], places[places[:, 1] > 97.0]):
        for a, b in itertools.pairwise(row):
            assert jacket.contains(shapely.Point(0.5 * (a + b)))


def test_head_has_walls_across_at_its_ends_too(plan):
    jacket = layer(generic_head(plan), "jacket").plan
    for x in (74.0 - 43.0 - 6.0, 122.0, 218.0, 314.0, 362.0 + 43.0 + 6.0):
        assert jacket.intersects(shapely.Point(x, 70.0))


@pytest.mark.parametrize("body", [generic_head, generic_block])
def test_sections_state_sizes_and_spread_as_assumptions(plan, body):
    section = body(plan)
    told = " ".join(section.assumptions)
    assert "common practice, no source" in told
    assert f"within {section.stiffness_spread:.0%}".replace("%", " %") in told
    assert "along the row" in told


def test_impossible_sizes_are_refused(plan):
    with pytest.raises(FiredeckError, match="'jacket' has a thickness of 0 mm"):
        generic_head(plan, HeadSizes(jacket=0.0))
    with pytest.raises(FiredeckError, match="no material"):
        SectionLayer("deck", 5.0, shapely.Polygon())


def test_generic_head_bows_as_cast_heads_do():
    # 10 to 30 um between fasteners of an iron block and an aluminium head at about 60 kN each: common
    # practice, no source. The grid is coarse, which is worth a few micrometres.
    joint = build(pitch=9.0)
    state = tighten(joint, {seat.name: PRELOAD for seat in joint.seats})[-1]
    found = [1e3 * bow.head for bow in bows(state)]
    assert len(found) == 13
    assert 10.0 <= np.median(found) <= 30.0
    assert min(found) >= 5.0
    assert max(found) <= 35.0


def held_upright(support):
    """Places of the nodes that the square block is held up by on a support."""
    _, block = square_sections()
    mesh = body_mesh(replace(block, support=support), Grid(0.0, 0.0, 12.0, 8, 10))
    return mesh.coordinates[held_freedoms(mesh)[:, 2]]


def test_block_is_held_where_its_support_is_and_nowhere_else():
    at = held_upright(shapely.box(-1.0, -1.0, 121.0, 15.0))
    assert len(at) == 22
    assert at[:, 1].max() == 12.0
    assert np.unique(at[:, 2]).tolist() == [-52.0]


@pytest.mark.parametrize(
    "support",
    [
        shapely.box(-1.0, -1.0, 121.0, 3.0),
        shapely.box(-1.0, -1.0, 3.0, 97.0),
        shapely.box(-1.0, 95.0, 40.0, 97.0),
    ],
)
def test_support_over_which_the_block_would_roll_is_refused(support):
    with pytest.raises(FiredeckError, match="single line of nodes"):
        held_upright(support)


def test_support_at_two_points_or_beside_the_block_is_refused():
    for support in (shapely.box(-1.0, -1.0, 13.0, 3.0), shapely.box(200.0, 0.0, 300.0, 90.0)):
        with pytest.raises(FiredeckError, match="fewer than three nodes"):
            held_upright(support)
