"""Solids of cut bricks in closed form: constant strain, thick cylinder, half-space and punch."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from firedeck.contact import (
    BodySection,
    ClosureLaw,
    FastenerSeat,
    GasketModel,
    Joint,
    PressedLand,
    SectionLayer,
    faces,
    tighten,
)
from firedeck.contact.mesh import body_mesh, loads_by_node
from firedeck.contact.patterns import BoreGas, block_patterns, shape_name
from firedeck.kernel.condense import condense
from firedeck.kernel.hexahedron import PARTS, brick_matrices, corner_signs, elasticity
from firedeck.pressure_map import Grid
from tests.contact_bodies import box, material
from tests.rigid_joints import RIGID, bar_plan

#: Gradient of displacement of the patch test [1]; its modulus [MPa] and Poisson's ratio.
GRADIENT = 1e-3 * np.array([[0.9, 0.3, -0.2], [0.1, -0.4, 0.5], [0.25, 0.15, 0.7]])
MODULUS, POISSON = 72400.0, 0.33
STRESS = [
    [112.394516, 10.887218, 1.360902],
    [10.887218, 41.627598, 17.691729],
    [1.360902, 17.691729, 101.507298],
]


@pytest.mark.parametrize("size", [(8.0, 8.0, 5.0), (5.0, 5.0, 11.0)])
def test_constant_strain_in_a_full_brick(size):
    # Derived from Hooke's law for u = G x: the corner forces of a brick in constant stress give it back as
    # sum f x / V. The grid's bricks are rectangular, so the patch test has nothing to distort.
    corners = 0.5 * corner_signs() * np.array(size)
    stiffness, _ = brick_matrices(np.ones((1, PARTS**2)), np.array(size), POISSON)
    forces = (MODULUS * stiffness[0] @ (corners @ GRADIENT.T).ravel()).reshape(8, 3)
    assert forces.T @ corners / np.prod(size) == pytest.approx(np.array(STRESS), rel=1e-6)


@pytest.mark.parametrize("mask", [0x00FF, 0x1111, 0x7FFF, 0x0137, 0x8421])
def test_constant_strain_in_a_cut_brick(mask):
    # A cut brick in constant strain holds the energy of what is full of it, and 1e-4 of the rest.
    size = np.array([6.0, 6.0, 9.0])
    moved = (0.5 * corner_signs() * size @ GRADIENT.T).ravel()
    quarters = np.array([(mask >> part) & 1 for part in range(16)], dtype=np.float64).reshape(4, 4)
    shares = np.kron(quarters, np.ones((PARTS // 4, PARTS // 4))).reshape(1, -1)
    stiffness, _ = brick_matrices(shares, size, POISSON)
    full = shares.mean()
    strain = 0.5 * (GRADIENT + GRADIENT.T)
    energy = 0.5 * np.sum(np.array(STRESS) * strain) * np.prod(size) * (full + 1e-4 * (1.0 - full))
    assert 0.5 * MODULUS * moved @ stiffness[0] @ moved == pytest.approx(energy, rel=1e-6)


def test_elasticity_is_that_of_the_patch():
    voigt = np.array([0.9, -0.4, 0.7, 0.4, 0.65, 0.05]) * 1e-3
    stress = MODULUS * elasticity(POISSON) @ voigt
    expected = [STRESS[0][0], STRESS[1][1], STRESS[2][2], STRESS[0][1], STRESS[1][2], STRESS[0][2]]
    assert stress == pytest.approx(expected, rel=1e-6)


INNER, OUTER, IRON, IRON_POISSON, GAS = 43.0, 50.0, 110e3, 0.26, 10.0


def cylinder(cells):
    """Growth of a thick cylinder's inner face and its second to eighth order of shape, by gas [mm]."""
    middle = (OUTER + 4.0, OUTER + 4.0)
    tube = shapely.Point(middle).buffer(OUTER, quad_segs=90).difference(
        shapely.Point(middle).buffer(INNER, quad_segs=90)
    )  # fmt: skip
    side = 2.0 * middle[0]
    height = 40.0
    mesh = box((side, side, height), (cells, cells, 4), material(IRON, IRON_POISSON), "block", tube)
    gas = BoreGas("bore", middle, 2.0 * INNER, 2.0 * INNER, height)
    patterns = dict(block_patterns(mesh, (), (gas,), (20.0,)))
    names = [shape_name("bore", 20.0, 0, "cos")]
    names += [shape_name("bore", 20.0, order, part) for order in range(2, 9) for part in ("cos", "sin")]
    loads = loads_by_node([patterns["wall bore"], *(patterns[name] for name in names)], len(mesh.coordinates))
    at = mesh.body.places
    held = np.zeros((len(at), 3), dtype=bool)
    held[at[:, 2] == 0, 2] = True
    ends = [int(np.argmin(mesh.coordinates[:, 0])), int(np.argmax(mesh.coordinates[:, 0]))]
    held[ends, 1] = True
    held[int(np.argmin(mesh.coordinates[:, 1])), 0] = True
    seen = condense(mesh.body, np.zeros((0, 2), dtype=np.int64), held, loads).flexibility[0, 1:] * GAS
    return seen[0], seen[1:]


def test_thick_cylinder_under_gas():
    # Lame; plane stress, a 43, b 50 mm, p 10 MPa, E 110 GPa, nu 0.26: u(a) = 0.02713101 mm (derived). The
    # shape is looked at 0.5 mm inside the wall. A wall of 7 mm on cells of 6 and 4 mm.
    at = INNER + 0.5
    share = GAS * INNER**2 / (IRON * (OUTER**2 - INNER**2))
    there = share * ((1.0 - IRON_POISSON) * at + (1.0 + IRON_POISSON) * OUTER**2 / at)
    at_wall = share * ((1.0 - IRON_POISSON) * INNER + (1.0 + IRON_POISSON) * OUTER**2 / INNER)
    assert at_wall == pytest.approx(0.02713101, rel=1e-6)
    (coarse, _), (fine, orders) = cylinder(18), cylinder(27)
    assert coarse == pytest.approx(there, rel=0.04)
    assert fine == pytest.approx(there, rel=0.015)
    assert abs(fine - there) < abs(coarse - there)
    assert np.abs(orders).max() <= 0.06 * there


#: The half-space's plane-strain modulus [MPa].
E_STAR = 70e3 / (1.0 - 0.33**2)
SOIL = material(70e3, 0.33)


def block_of(reach):
    """Layers of a block as deep as it reaches to each side of the load's middle, fine at its face [mm]."""
    sizes = [5.0] * 4 + [10.0] * 4 + [20.0] * round((reach - 60.0) / 20.0)
    return sizes, sum(sizes)


def quarter_block(reach):
    """A quarter of a block on rollers, its face at z = 0, pressed about the corner of the quarter."""
    plan = shapely.box(0.0, 0.0, reach, reach)
    layers = tuple(SectionLayer(f"layer {k}", size, plan) for k, size in enumerate(block_of(reach)[0]))
    cells = round(reach / 5.0)
    mesh = body_mesh(BodySection("head", layers, SOIL), Grid(0.0, 0.0, 5.0, cells, cells))
    at = mesh.body.places
    held = np.zeros((len(at), 3), dtype=bool)
    held[at[:, 0] == 0, 0] = held[at[:, 1] == 0, 1] = held[at[:, 2] == at[:, 2].max(), 2] = True
    return mesh, held


def pressed_square(reach):
    """How far centre, corner and mean of a square of 40 mm sink under 1 MPa [mm]."""
    mesh, held = quarter_block(reach)
    at = mesh.body.places
    inside = (at[:, 2] == 0) & (at[:, :2] <= 4).all(axis=1)
    ends = [np.where((at[:, k] == 0) | (at[:, k] == 4), 1.0, 2.0) for k in (0, 1)]
    load = np.zeros((3, len(at), 3))
    load[0, inside, 2] = 0.25 * 25.0 * (ends[0] * ends[1])[inside]
    load[1, (at == [0, 0, 0]).all(axis=1), 2] = 1.0
    load[2, (at == [4, 4, 0]).all(axis=1), 2] = 1.0
    none = np.zeros((0, 2), dtype=np.int64)
    flexible = condense(mesh.body, none, held, loads_by_node(load, len(at))).flexibility[0]
    return np.array([flexible[1], flexible[2], flexible[0] / 400.0])


def test_square_pressed_on_a_half_space():
    # Love 1929; K. L. Johnson, Contact Mechanics, section 3.3 (both from memory): under even pressure a
    # square of side L sinks by p L / E* times 1.1221997 in its centre, 0.5610999 at its corners, 0.9464020
    # on average (derived). What a block lacks falls with one over its size and is extrapolated away.
    near, far = pressed_square(60.0), pressed_square(120.0)
    centre, corner, mean = (2.0 * far - near) / (40.0 / E_STAR)
    assert centre == pytest.approx(1.1221997, rel=0.015)
    assert corner == pytest.approx(0.5610999, rel=0.04)
    assert mean == pytest.approx(0.9464020, rel=0.03)


PUNCH = 20.0


def punched(pitch, reach=60.0):
    """Sinking of a rigid punch of 20 mm radius under 3 kN, and its shares of load by radius [mm, 1]."""
    middle = (reach, reach)
    disc = shapely.Point(middle).buffer(PUNCH, quad_segs=64)
    whole = shapely.box(0.0, 0.0, 2.0 * reach, 2.0 * reach)
    sizes, depth = block_of(reach)
    block = tuple(SectionLayer(f"layer {k}", size, whole) for k, size in enumerate(sizes))
    sections = (
        BodySection("head", (SectionLayer("punch", 20.0, disc),), RIGID),
        BodySection("block", block, SOIL),
    )
    angles = 2.0 * np.pi * np.arange(3) / 3.0
    pulls = {f"pull {k}": (reach + 8.0 * np.cos(a), reach + 8.0 * np.sin(a)) for k, a in enumerate(angles)}
    # The pulls are dead weights, 1 N/mm, held where the block ends and does not give.
    seats = [FastenerSeat(n, at, 6.0, 2.0, 20.0, 2.0, depth - 1.0, 1.0, 1.0) for n, at in pulls.items()]
    gasket = GasketModel((), (PressedLand("face", disc, ClosureLaw.linear("stiff", 1e6, reach=0.01)),))
    plan = bar_plan(2.0 * reach, 2.0 * reach, pulls)
    joint = Joint.build(plan, sections, gasket, seats, bores=(), pitch=pitch, depths=())
    state = tighten(joint, dict.fromkeys(pulls, 1000.0), shares=(0.5, 1.0, 1.0), level="check")[-1]
    face, load = faces(state), state.balance.load
    near = np.hypot(*(face.place - middle).T) < 0.5 * PUNCH
    radius = np.hypot(*(joint.laid.places - middle).T)
    shares = [load[radius < part * PUNCH].sum() / load.sum() for part in (0.5, 0.9)]
    return np.array([-face.block[near].mean(), *shares])


def test_rigid_punch_on_a_half_space():
    # Boussinesq and Sneddon (K. L. Johnson, Contact Mechanics, section 3.8; from memory): a flat round punch
    # sinks by F / (2 a E*); within half its radius lies 0.1339746 of the load, within nine tenths 0.5641101
    # (derived). What a block of finite size lacks is taken from the pressed square: far away, only the force
    # counts. The edge's infinite pressure is smeared over a cell, which makes the punch seem larger: that
    # falls with the size of the cells, a quarter and then a sixth of the radius, and is seen at the edge.
    lack = 2.0 * (pressed_square(120.0) - pressed_square(60.0))[0] * 3000.0 / 1600.0
    whole = 3000.0 / (2.0 * PUNCH * E_STAR)
    errors = []
    for pitch in (5.0, 10.0 / 3.0):
        sunk, half, most = punched(pitch)
        errors.append([(sunk + lack) / whole - 1.0, half / 0.1339746 - 1.0, most / 0.5641101 - 1.0])
    coarse, fine = np.abs(errors)
    assert np.all(fine < 0.7 * coarse)
    assert fine[0] <= 0.05
    assert fine[1] <= 0.07
    assert fine[2] <= 0.25
