"""Bricks of a layered section: filled shares, slots that part nodes, lines on walls, narrow lines of load."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from firedeck.contact import BodySection, SectionLayer
from firedeck.contact.indentation import line_compliance
from firedeck.contact.lattice import fitted_lattice, lattice
from firedeck.contact.mesh import body_mesh, loads_by_node
from firedeck.contact.pieces import FULL_PART, plan_pieces
from firedeck.kernel.condense import condense
from firedeck.pressure_map import Grid
from tests.contact_bodies import material

PLATE = shapely.box(0.0, 0.0, 60.0, 36.0)
METAL = material(72400.0, 0.33)


def test_filled_shares_add_up_to_the_plan_whatever_it_is():
    plan = (
        shapely.Point(31.3, 17.7).buffer(13.0, quad_segs=64).difference(shapely.box(28.0, 10.0, 29.1, 40.0))
    )
    pieces = plan_pieces(plan, lattice(Grid(0.0, 0.0, 6.0, 6, 10)))
    assert pieces.filled.mean(axis=1).sum() * 36.0 / FULL_PART == pytest.approx(plan.area, rel=5e-3)
    # The slot of 1.1 mm parts the cells that it passes through, and no others.
    cells, counts = np.unique(pieces.cells, axis=0, return_counts=True)
    assert cells[counts == 2].tolist() == [[4, 2], [4, 3], [4, 4]]


def two_walls(gap, pitch=6.0):
    """How far one of two upright walls on a plate moves along when its neighbour is pushed [1]."""
    wall = shapely.box(0.0, 0.0, 8.0, 36.0)
    walls = shapely.union_all([wall, shapely.box(8.0 + gap, 0.0, 16.0 + gap, 36.0)])
    layers = (SectionLayer("plate", 10.0, PLATE), SectionLayer("walls", 30.0, walls, 3))
    mesh = body_mesh(BodySection("head", layers, METAL), Grid(0.0, 0.0, pitch, 6, 10))
    at = mesh.coordinates
    held = np.zeros(at.shape, dtype=bool)
    held[at[:, 2] == 0.0] = True
    top = at[:, 2] == at[:, 2].max()
    near, far = np.zeros(at.shape), np.zeros(at.shape)
    near[top & (at[:, 0] == 0.0), 0] = 1.0
    far[top & (at[:, 0] == at[top, 0].max()), 0] = 1.0
    none = np.zeros((0, 2), dtype=np.int64)
    moved = condense(mesh.body, none, held, loads_by_node([near, far], len(at))).flexibility
    return moved[0, 1] / moved[0, 0]


def test_walls_on_either_side_of_a_narrow_slot_move_apart():
    # The slot of 3 mm is narrower than a cell: with nodes in common the second wall went along with the
    # first, and now hardly more than through the plate they stand on.
    assert two_walls(0.0) > 0.6
    assert abs(two_walls(3.0)) < 0.1
    assert abs(two_walls(3.0)) == pytest.approx(abs(two_walls(3.0, 4.0)), abs=0.05)


def wall_give(off, pitch=6.0, thickness=6.0):
    """How far the end of an upright wall gives across, over what a beam of its size gives [1].

    The wall stands off the lines of the grid, is clamped at one end, and is pushed at the other.
    """
    length, height = 60.0, 12.0
    wall = shapely.box(0.0, 12.0 + off, length, 12.0 + off + thickness)
    section = BodySection("head", (SectionLayer("wall", height, wall, 2),), METAL)
    mesh = body_mesh(section, Grid(0.0, 0.0, pitch, 6, round(length / pitch)))
    at = mesh.coordinates
    held = np.repeat((at[:, 0] == 0.0)[:, None], 3, axis=1)
    across, up = np.meshgrid(12.0 + off + thickness * (np.arange(12) + 0.5) / 12, [2.0, 6.0, 10.0])
    points = np.column_stack([np.full(across.size, length), across.ravel(), up.ravel()])
    push = mesh.spread(points, np.tile([0.0, 1.0 / across.size, 0.0], (across.size, 1)))
    none = np.zeros((0, 2), dtype=np.int64)
    moved = condense(mesh.body, none, held, loads_by_node([push], len(at))).flexibility[0, 0]
    modulus, poisson = section.modulus, section.material.poisson
    bending = length**3 / (3.0 * modulus * height * thickness**3 / 12.0)
    shear = length * 2.0 * (1.0 + poisson) * 1.2 / (modulus * height * thickness)
    return moved / (bending + shear)


@pytest.mark.parametrize(("off", "within"), [(0.75, 0.01), (1.5, 0.01), (3.0, 0.01), (0.375, 0.05)])
def test_a_wall_as_thick_as_a_cell_bends_alike_wherever_it_lies_in_the_grid(off, within):
    # Smeared over quarters of a cell it bent up to a fifth too little; over eighths, halfway through one,
    # it still bends by some per cent less.
    on_lines = wall_give(0.0)
    assert on_lines == pytest.approx(1.0, abs=0.03)
    assert wall_give(off) == pytest.approx(on_lines, rel=within)


def test_lines_lie_on_the_faces_of_straight_walls_and_crowd_toward_them():
    walls = shapely.union_all([shapely.box(0.0, 0.0, 8.0, 36.0), shapely.box(13.0, 0.0, 23.0, 36.0)])
    section = BodySection(
        "head", (SectionLayer("deck", 9.0, PLATE), SectionLayer("walls", 30.0, walls)), METAL
    )
    grid = fitted_lattice(PLATE, 6.0, [section])
    assert set(np.round([0.0, 8.0, 13.0, 23.0, 60.0], 9)) <= set(np.round(grid.x_lines, 9))
    assert np.allclose(np.diff(grid.y_lines), 6.0)
    assert np.diff(grid.x_lines).min() >= 0.6 * 6.0
    assert np.diff(grid.x_lines).max() <= 1.5 * 6.0
    beside = np.diff(grid.x_lines)[grid.x_lines.index(23.0) :]
    assert np.all(np.diff(beside) > -1e-9)
    assert beside[0] / beside[-1] == pytest.approx(0.6)
    assert len(beside) == round(37.0 / 6.0)
    places = np.array([[0.0, 0.0], [10.0, 7.5], [60.0, 36.0], [70.0, -6.0]])
    index = grid.indices(places)
    assert index[0].tolist() == [0.0, 0.0]
    assert index[2].tolist() == [grid.cols, grid.rows]
    assert grid.nodes(np.array([[2, 3]])).tolist() == [[grid.x_lines[2], grid.y_lines[3]]]
    even = fitted_lattice(PLATE, 6.0, [])
    assert np.allclose(even.lines[0], np.arange(0.0, 61.0, 6.0))


def sunk(pitch, width):
    """Sinking of a half-space in plane strain under 1 N/mm on a strip, by bricks and the spring [mm]."""
    cells = round(240.0 / pitch)
    plan = shapely.box(0.0, 0.0, 240.0, pitch)
    layers = tuple(
        SectionLayer(f"layer {k}", size, plan)
        for k, size in enumerate([pitch] * round(24.0 / pitch) + [12.0] * 6)
    )
    mesh = body_mesh(BodySection("head", layers, METAL), Grid(0.0, 0.0, pitch, 1, cells))
    at = mesh.coordinates
    held = np.zeros(at.shape, dtype=bool)
    held[:, 1] = True
    held[at[:, 2] == at[:, 2].max()] = True
    rows = []
    for part in (np.arange(16) + 0.5) / 16:
        load = np.zeros(at.shape)
        for node, share in ((cells // 2, 1.0 - part), (cells // 2 + 1, part)):
            load[(mesh.body.places[:, 0] == node) & (at[:, 2] == 0.0), 2] = 0.5 * share
        rows.append(load)
    none = np.zeros((0, 2), dtype=np.int64)
    seen = np.diag(condense(mesh.body, none, held, loads_by_node(rows, len(at))).flexibility)
    return seen.mean() * pitch + line_compliance(width, pitch, [(72400.0, 0.33)])


def test_a_narrow_line_sinks_alike_on_cells_of_any_width():
    fine, coarse = sunk(3.0, 1.3), sunk(6.0, 1.3)
    assert coarse == pytest.approx(fine, rel=0.01)
    # What the cells show by themselves differs by a tenth.
    shown = [sunk(pitch, 0.0) for pitch in (3.0, 6.0)]
    assert shown[1] < 0.9 * shown[0]
    assert line_compliance(8.0, 6.0, [(72400.0, 0.33)]) == 0.0
