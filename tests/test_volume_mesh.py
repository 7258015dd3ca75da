"""A volume mesh as head or block: the same body gives the same joint, and what is wrong with it is told."""

from __future__ import annotations

import itertools
import json
from dataclasses import replace

import meshio
import numpy as np
import pytest
import shapely
from scipy.sparse import csr_array
from typer.testing import CliRunner

from firedeck.cli import app
from firedeck.contact import BoreGas, Joint, VolumeSection, bows, check_solid, profile, tighten
from firedeck.contact.mesh import body_mesh, deck_grid
from firedeck.contact.volume_body import VolumeBody
from firedeck.contact.warmth import mean_temperature
from firedeck.definition.shape import outline_polygon, seal_line
from firedeck.errors import FiredeckError
from firedeck.files.mesh_file import read_solid
from firedeck.kernel.dissection import dissect
from firedeck.kernel.hexahedron import elasticity
from firedeck.kernel.separators import Graph
from firedeck.kernel.solid import shape_values, solid_sums
from firedeck.kernel.sparse_condense import condense_sparse
from firedeck.pressure_map import Grid
from firedeck.study.prediction.files import load_prediction
from firedeck.study.prediction.joint import sections
from tests.contact_joints import OWN_GRID, square_gasket, square_plan, square_seats, square_sections
from tests.prediction_bench import write_bench
from tests.solid_meshes import (
    bricks,
    irregular,
    joint_of,
    read_section,
    round_sections,
    tetrahedra,
    through_file,
    written,
)

DECK = shapely.box(0.0, 0.0, 120.0, 96.0)
UP, ASIDE = np.array([0.0, 0.0, 20.0]), np.array([20.0, 0.0, 0.0])


def square_joint_of(sections):
    # The bore's wall lies in material here, so that loads on it are the same in grid and mesh.
    plan = square_plan()
    bores = [BoreGas("bore", (60.0, 48.0), 38.0, 44.0, 10.0)]
    return Joint.build(
        plan,
        sections,
        square_gasket(plan),
        square_seats(plan),
        bores=bores,
        reach=20.0,
        depths=(),
        grid=OWN_GRID,
    )


@pytest.fixture(scope="module")
def on_grid():
    return square_joint_of(square_sections())


def square_head(pitch=12.0, finer=1):
    head, _ = square_sections()
    layers = tuple(replace(layer, elements=finer * layer.elements) for layer in head.layers)
    return body_mesh(
        replace(head, layers=layers), Grid(0.0, 0.0, pitch, round(96 / pitch), round(120 / pitch))
    )


def test_the_same_bricks_through_a_file_give_the_same_bodies(on_grid, tmp_path):
    sections = []
    for mesh in (on_grid.head, on_grid.block):
        read = through_file(bricks(mesh), tmp_path, "m")
        check_solid(read, mesh.section.side, DECK)
        sections.append(VolumeSection(mesh.section.side, read, mesh.section.material))
    meshed = square_joint_of(tuple(sections))
    np.testing.assert_array_equal(meshed.kept, on_grid.kept)
    for own, given in zip(on_grid.condensed, meshed.condensed, strict=True):
        assert own.names == given.names
        for what in ("stiffness", "arriving", "flexibility"):
            wanted, found = getattr(own.condensed, what), getattr(given.condensed, what)
            np.testing.assert_allclose(found, wanted, atol=1e-9 * np.abs(wanted).max())
        np.testing.assert_allclose(given.resultants, own.resultants, atol=1e-4)


@pytest.mark.parametrize("nodes", [4, 8, 10])
def test_the_mean_temperature_of_a_mesh_is_that_of_its_material(nodes):
    mesh = square_head()
    solid = bricks(mesh) if nodes == 8 else tetrahedra(mesh, nodes)
    body = VolumeBody(VolumeSection("head", solid, mesh.section.material), mesh.grid)
    profile = [(0.0, 160.0), (50.0, 80.0)]
    assert mean_temperature(body, profile) == pytest.approx(mean_temperature(mesh, profile), abs=1e-6)
    assert body.plane_volumes().sum() == pytest.approx(mesh.plane_volumes().sum(), rel=1e-9)


def bow_of(section, on_grid):
    joint = square_joint_of((section, on_grid.block.section))
    state = tighten(joint, {seat.name: 20e3 for seat in joint.seats})[-1]
    return np.array([bow.head for bow in bows(state)])[:2]


def test_quadratic_tetrahedra_bow_as_bricks_of_half_their_size(on_grid):
    material = on_grid.head.section.material
    coarse = VolumeSection("head", tetrahedra(square_head()), material)
    fine = VolumeSection("head", bricks(square_head(6.0, 2)), material)
    # 1.5 % apart when measured; on the coarse grid itself, bricks bow 4 to 6 % less than either.
    np.testing.assert_allclose(bow_of(coarse, on_grid), bow_of(fine, on_grid), rtol=0.04)


def test_linear_tetrahedra_are_stiffer_than_quadratic_ones_against_every_pattern(on_grid):
    grid = Grid(0.0, 0.0, 12.0, 8, 10)
    material = on_grid.head.section.material
    gives = []
    for nodes in (4, 10):
        body = VolumeBody(VolumeSection("head", tetrahedra(square_head(), nodes), material), grid)
        assert body.heights[-1] == 50.0
        gives.append(
            np.diag(square_joint_of((body.section, on_grid.block.section)).condensed[0].condensed.flexibility)
        )
    assert (gives[0][:4] < 0.9 * gives[1][:4]).all()


@pytest.mark.parametrize("nodes", [8, 4, 10])
def test_elements_of_any_shape_hold_constant_strain_exactly(nodes):
    """Patch of eight cut cells with a displaced middle: it goes where a linear field says."""
    box = square_sections()[0]
    box = replace(
        box, layers=(replace(box.layers[0], plan=shapely.box(0, 0, 24, 24), thickness=20.0, elements=2),)
    )
    grid = body_mesh(box, Grid(0.0, 0.0, 12.0, 2, 2))
    mesh = bricks(grid) if nodes == 8 else tetrahedra(grid, 4)
    points = mesh.points.copy()
    middle = np.flatnonzero((points == [12.0, 12.0, 10.0]).all(axis=1))[0]
    points[middle] += [1.7, -1.1, 0.9]
    mesh = replace(mesh, points=points)
    if nodes == 10:
        ends = ((0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3))
        between = tetrahedra(grid, 10)
        points = between.points.copy()
        points[: len(mesh.points)] = mesh.points
        for k, (a, b) in enumerate(ends, start=4):
            points[between.cells[:, k]] = 0.5 * (points[between.cells[:, a]] + points[between.cells[:, b]])
        mesh = replace(between, points=points)
    sums = solid_sums(mesh.points[mesh.cells], 0.3)
    freedoms = (3 * mesh.cells[:, :, None] + np.arange(3)).reshape(len(mesh.cells), -1)
    whole = np.zeros((3 * len(mesh.points),) * 2)
    for own, matrix in zip(freedoms, sums.stiffness, strict=True):
        whole[np.ix_(own, own)] += matrix
    slope = np.array([[1.0, 0.3, -0.2], [0.1, -0.6, 0.5], [0.4, -0.3, 0.8]])
    moved = (mesh.points @ slope.T).ravel()
    inside = np.all((mesh.points > 1e-9) & (mesh.points < [24 - 1e-9, 24 - 1e-9, 20 - 1e-9]), axis=1)
    assert inside.sum() > 0
    force = (whole @ moved).reshape(-1, 3)
    assert np.abs(force[inside]).max() < 1e-10 * np.abs(force).max()
    strain = 0.5 * (slope + slope.T)
    row = np.array([*np.diag(strain), 2 * strain[0, 1], 2 * strain[1, 2], 2 * strain[0, 2]])
    assert moved @ whole @ moved == pytest.approx(24 * 24 * 20 * (row @ elasticity(0.3) @ row))


@pytest.mark.parametrize("nodes", [8, 4, 10])
def test_shape_functions_add_up_and_meet_their_own_gradients(nodes):
    at = np.array([[0.2, 0.3, 0.1], [0.05, 0.4, 0.25]])
    values, slopes = shape_values(nodes, at)
    np.testing.assert_allclose(values.sum(axis=1), 1.0)
    for axis in range(3):
        step = 1e-6 * np.eye(3)[axis]
        ahead, behind = shape_values(nodes, at + step)[0], shape_values(nodes, at - step)[0]
        np.testing.assert_allclose(slopes[:, :, axis], (ahead - behind) / 2e-6, atol=1e-8)


def test_condensing_a_sparse_matrix_is_the_dense_schur_complement():
    rng = np.random.default_rng(3)
    side = 9
    at = np.stack(np.meshgrid(*[np.arange(side)] * 3, indexing="ij"), axis=-1).reshape(-1, 3).astype(float)
    apart = np.abs(at[:, None] - at[None]).sum(axis=2)
    full = np.where(apart == 1.0, -1.0, 0.0)
    full += np.diag(0.05 - full.sum(axis=1))
    loads = rng.normal(size=(len(at), 3))
    kept = rng.choice(len(at), 12, replace=False)
    found = condense_sparse(csr_array(full), csr_array(loads), at, kept)
    inner = np.setdiff1d(np.arange(len(at)), kept)
    solved = np.linalg.solve(full[np.ix_(inner, inner)], np.hstack([full[np.ix_(inner, kept)], loads[inner]]))
    across = full[np.ix_(kept, inner)]
    np.testing.assert_allclose(
        found.stiffness, full[np.ix_(kept, kept)] - across @ solved[:, :12], atol=1e-12
    )
    np.testing.assert_allclose(found.arriving, loads[kept] - across @ solved[:, 12:], atol=1e-12)
    np.testing.assert_allclose(found.flexibility, loads[inner].T @ solved[:, 12:], atol=1e-10)


def touching(at):
    return (np.abs(at[:, None] - at[None]).max(axis=2) == 1).astype(int)


def groups_of(at):
    """The order of elimination, once it is shown to part what it cuts."""
    near = touching(at)
    links = csr_array(near)
    weights = np.ones(len(at), dtype=np.int64)
    order = dissect(at, Graph(weights, links.indptr.astype(np.int64), links.indices.astype(np.int32)))
    groups = np.split(order.nodes, order.starts[1:-1])
    assert np.array_equal(np.sort(order.nodes), np.arange(len(at)))
    below = {}
    for number, own in enumerate([*groups, at[:0, 0]]):
        children = np.flatnonzero(order.parents == (number if number < len(groups) else -1))
        below[number] = np.concatenate([own, *(below[child] for child in children)])
        for one, other in itertools.combinations(children, 2):
            assert not near[np.ix_(below[one], below[other])].any()
    return groups


def test_the_order_of_elimination_cuts_a_cube_in_its_planes_and_parts_what_it_cuts():
    side = 10
    at = np.stack(np.meshgrid(*[np.arange(side)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    assert len(groups_of(at)[-1]) == side**2


def test_the_order_of_elimination_parts_what_has_holes_and_loose_parts():
    rng = np.random.default_rng(11)
    at = np.argwhere(rng.random((12, 11, 10)) < 0.4)
    assert max(len(own) for own in groups_of(at)) < len(at) // 4


def test_a_separator_runs_aslant_where_that_takes_fewer_nodes():
    # A sheet with a slanted slot, open in the middle only: every plane meets more than the opening.
    sheet = np.ones((15, 5, 1), dtype=bool)
    for y in (0, 1, 3, 4):
        sheet[5 + y : 7 + y, y] = False
    at = np.argwhere(sheet)
    assert np.bincount(at[:, 0]).min() == 3
    assert len(groups_of(at)[-1]) == 2


def test_what_a_mesh_without_resistance_is_told():
    with pytest.raises(ArithmeticError, match="without resistance"):
        condense_sparse(csr_array((6, 6)), csr_array((6, 1)), np.zeros((6, 3)), np.array([0]))


def without(mesh, cut):
    return replace(mesh, cells=mesh.cells[~cut(mesh.points[mesh.cells].mean(axis=1))])


def used(mesh):
    kept, numbers = np.unique(mesh.cells, return_inverse=True)
    return replace(mesh, points=mesh.points[kept], cells=numbers.reshape(mesh.cells.shape))


def doubled(mesh):
    """Two parts that touch without sharing nodes."""
    left = mesh.points[mesh.cells].mean(axis=1)[:, 0] < 60.0
    shift = np.where(left[:, None], mesh.cells, mesh.cells + len(mesh.points))
    return used(replace(mesh, points=np.tile(mesh.points, (2, 1)), cells=shift))


def with_hinge(mesh):
    """The corner's column hangs on the rest by its inner edge alone."""
    columns = np.array([[18.0, 6.0], [6.0, 18.0]])
    return used(without(mesh, lambda at: (np.abs(at[:, None, :2] - columns).max(axis=2) < 3).any(axis=1)))


def with_hole(mesh):
    """An element of 12 mm is missing under the outer seal, whose edge may be crossed by half a millimetre."""
    return used(without(mesh, lambda at: (np.abs(at - [6.0, 42.0, 5.0]) < 6).all(axis=1)))


def with_finer_end(mesh):
    """Elements beyond the middle are halved each way across the deck, those before it are not."""
    cells = mesh.points[mesh.cells]
    fine = cells.mean(axis=1)[:, 0] > 60.0
    quarters = []
    for i, j in itertools.product((0, 1), (0, 1)):
        share = np.array([0, 1, 1, 0, 0, 1, 1, 0]), np.array([0, 0, 1, 1, 0, 0, 1, 1])
        low, high = cells[fine].min(axis=1)[:, None], cells[fine].max(axis=1)[:, None]
        half = cells[fine].copy()
        for axis, (at, far) in enumerate(zip((i, j), share, strict=True)):
            half[:, :, axis] = (low + (high - low) * 0.5 * (at + far[None, :, None]))[:, :, axis]
        quarters.append(half)
    every = np.concatenate([cells[~fine], *quarters])
    points, numbers = np.unique(np.round(every.reshape(-1, 3), 6), axis=0, return_inverse=True)
    return replace(mesh, points=points, cells=numbers.reshape(-1, 8))


def with_hump(mesh):
    """The face rises by 0.3 mm at one end."""
    points = mesh.points.copy()
    points[(points[:, 2] == 0.0) & (points[:, 0] < 20.0), 2] = 0.3
    return replace(mesh, points=points)


@pytest.mark.parametrize(
    ("change", "message", "remedy"),
    [
        (lambda m: replace(m, points=m.points / 1000.0), "0.001 times as long", "unit that the mesh"),
        (lambda m: replace(m, points=m.points + 4.5 * ASIDE), "lies 90 mm and 0 mm", "move the mesh"),
        (lambda m: replace(m, cells=m.cells[:, [0, 3, 2, 1, 4, 7, 6, 5]]), "inverted", "mirrored"),
        (lambda m: used(without(m, lambda at: np.abs(at[:, 0] - 60) < 20)), "2 pieces", "shared nodes"),
        (doubled, "lie on one another", "merge coincident nodes"),
        (lambda m: replace(m, points=m.points - UP), "20 mm below the sealing plane", "deck plane"),
        (lambda m: replace(m, points=m.points + UP), "0.0% of the deck", "deck_tolerance"),
        (lambda m: replace(m, points=m.points * [1, 1, 0]), "have no volume", "mesh the part again"),
        (lambda m: replace(m, points=m.points * 1000.0), "1e+03 times as long", "mm, cm, m or in"),
        (lambda m: replace(m, cells=np.vstack([m.cells, m.cells[:3]])), "elements lie on one", "doubled"),
        (with_hinge, "by a node or an edge, the first near (6, 6, 5) mm", "whole faces"),
        (with_hole, "'outer' lies for 11 mm where the head's mesh has no face", "close the hole"),
        (with_finer_end, "lie on the face or edge of an element that does not have them", "hanging nodes"),
        (with_hump, "is 0.3 mm off the plane", "flatten the face"),
    ],
)  # fmt: skip
def test_meshes_that_cannot_be_the_head_are_refused_with_what_to_do(change, message, remedy):
    seals = {seal.name: seal_line(square_plan(), seal, step=1.0).points for seal in square_plan().seals}
    check_solid(bricks(square_head()), "head", DECK, seals)
    with pytest.raises(FiredeckError) as caught:
        check_solid(change(bricks(square_head())), "head", DECK, seals)
    assert message in caught.value.message
    assert remedy in caught.value.remedy
    assert "bricks.vtu: head." in caught.value.where


def head_section(mesh):
    return VolumeSection("head", mesh, square_sections()[0].material)


def test_a_face_coarser_than_the_grid_is_refused():
    body = VolumeBody(head_section(bricks(square_head(24.0))), Grid(0.0, 0.0, 12.0, 8, 10))
    with pytest.raises(FiredeckError, match=r"too coarse in the sealing plane for a grid of 12 mm"):
        _ = body.face_numbers


def test_a_load_beside_the_mesh_is_refused_and_one_in_a_chamber_goes_to_its_roof():
    mesh = bricks(square_head())
    body = VolumeBody(head_section(mesh), Grid(0.0, 0.0, 12.0, 8, 10))
    up = np.array([[0.0, 0.0, 1.0]])
    with pytest.raises(FiredeckError, match="lies outside the head's mesh: 0% of it"):
        body.spread(np.array([[300.0, 20.0, 50.0]]), up)
    chamber = used(
        without(mesh, lambda at: (np.abs(at[:, :2] - [60, 48]) < 12).all(axis=1) & (at[:, 2] < 10))
    )
    carried = VolumeBody(head_section(chamber), body.grid).spread(np.array([[58.0, 47.0, 0.0]]), up)
    loaded = np.any(carried != 0.0, axis=1)
    assert carried.sum(axis=0) == pytest.approx([0.0, 0.0, 1.0])
    assert chamber.points[loaded, 2].min() == 10.0


def test_a_fastener_beside_the_head_is_named():
    sections = (head_section(bricks(square_head())), square_sections()[1])
    plan = square_plan()
    seats = square_seats(plan)
    for change, at in (
        ({"place": (-40.0, 12.0)}, "(-40, 12, 50)"),
        ({"place": (36.0, 36.0), "bearing_height": 30.0}, "(36, 36, 30)"),  # in the open jacket
    ):
        wrong = replace(seats[0], **change)
        with pytest.raises(FiredeckError) as caught:
            Joint.build(plan, sections, square_gasket(plan), [wrong, *seats[1:]], pitch=12.0, reach=20.0)
        assert f"the bearing face of 'fastener 1' about {at} mm lies outside" in caught.value.message
        assert caught.value.where == "bricks.vtu: head.mesh"
        assert "places of fasteners" in caught.value.remedy


def test_faces_of_irregular_facets_are_in_balance_and_agree_with_one_another(tmp_path):
    # Triangles from a third to three times the mean, a bore of 16 facets, planes of nodes that wave.
    found = []
    for seed in (1, 2):
        meshes = [irregular(section, 10.0, seed=seed) for section in round_sections()]
        joint = joint_of(
            tuple(read_section(*pair, tmp_path) for pair in zip(round_sections(), meshes, strict=True))
        )
        sides = meshes[1].points[meshes[1].deck_faces]
        area = shapely.area(shapely.polygons(sides[..., :2]))
        assert area.max() > 5.0 * area.min()
        assert meshes[1].deck_area.area == pytest.approx(area.sum(), rel=1e-9)
        cold = tighten(joint, {seat.name: 20e3 for seat in joint.seats}, level="check")[-1]
        for state in (cold, cold.fire({"bore": 10.0})):
            assert state.certificate.residual < 1e-9
            assert state.certificate.force_error < 1e-9
            assert state.certificate.moment_error < 1e-9
        pressed = profile(cold, "bead")
        assert pressed.line_load.sum() * joint.laid.points.size[0] == pytest.approx(
            cold.balance.load[joint.laid.part("bead")].sum()
        )
        found.append(([pressed.mean, pressed.lowest], np.sort([bow.head for bow in bows(cold)])))
    # 0.3 % and 0.4 um of 22 um apart when measured, on meshes as coarse as the grid lets pass.
    np.testing.assert_allclose(found[1][0], found[0][0], rtol=0.01)
    np.testing.assert_allclose(found[1][1], found[0][1], atol=0.03 * found[0][1].max())


def test_a_block_that_ends_in_an_edge_would_roll():
    section = square_sections()[1]
    mesh = bricks(body_mesh(section, Grid(0.0, 0.0, 12.0, 8, 10)))
    points = mesh.points.copy()
    points[:, 2] -= np.where(points[:, 2] < -50.0, 0.05 * points[:, 0], 0.0)
    tilted = VolumeSection("block", replace(mesh, points=points), section.material)
    with pytest.raises(FiredeckError, match="would roll"):
        square_joint_of((square_sections()[0], tilted))


def told_of(tmp_path, cells, name="head.vtu"):
    points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 1], [2, 1, 1.0]])
    meshio.Mesh(points, cells).write(tmp_path / name)
    with pytest.raises(FiredeckError) as caught:
        read_solid(tmp_path / name, "mm", deck_at=0.0, tolerance=0.05, key="head.mesh")
    assert caught.value.where == f"{tmp_path / name}: head.mesh"
    return caught.value


def test_files_without_usable_elements_are_refused(tmp_path):
    surface = told_of(tmp_path, [("triangle", [[0, 1, 2]])])
    assert "no volume elements" in surface.message
    assert "mesh the volume" in surface.remedy
    strange = told_of(tmp_path, [("wedge", [[0, 1, 2, 3, 4, 5]]), ("tetra", [[0, 1, 2, 3]])])
    assert strange.message == "the mesh's elements are 1 of tetra, 1 of wedge"
    torn = told_of(tmp_path, [("tetra", [[0, 1, 2, 3], [0, 1, 2, 9]])])
    assert "nodes that the file does not have" in torn.message
    assert "nodes and elements together" in torn.remedy
    for name, text in (("head.vtu", "no mesh at all"), ("head.step", "solid"), ("head.msh", "")):
        (tmp_path / name).write_text(text, encoding="utf-8")
        with pytest.raises(FiredeckError, match="cannot be read as a mesh"):
            read_solid(tmp_path / name, "mm", deck_at=0.0, tolerance=0.05, key="head.mesh")
    with pytest.raises(FiredeckError, match="not there"):
        read_solid(tmp_path / "absent.msh", "mm", deck_at=0.0, tolerance=0.05, key="head.mesh")


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """The small joint's files, its generic head beside them as a mesh of whole bricks in metres."""
    monkeypatch.setenv("FIREDECK_CACHE", str(tmp_path / "cache"))
    monkeypatch.chdir(write_bench(tmp_path))
    files = load_prediction(tmp_path / "prediction.toml")
    grid = deck_grid(outline_polygon(files.plan), 20.0)
    head = bricks(body_mesh(sections(files).head, grid))
    # Two nodes that no element has, as programs leave them behind.
    spare = np.array([[0.0, 0.0, -500.0], [1.0, 2.0, 3.0]])
    written(replace(head, points=np.vstack([head.points, spare])), tmp_path, "m")
    return tmp_path


def predict(bench, head, *arguments):
    text = (bench / "prediction.toml").read_text(encoding="utf-8")
    (bench / "meshed.toml").write_text(text + "\n[head]\n" + head, encoding="utf-8")
    return CliRunner().invoke(app, [*arguments, "meshed.toml"])


def test_a_prediction_from_a_mesh_is_in_balance_and_says_what_it_is_from(bench):
    head = 'mesh = "bricks.vtu"\nmesh_unit = "m"\nmaterial = "A356-T6"\n'
    result = predict(bench, head, "predict", "joint", "--fast", "--json")
    assert result.exit_code == 0, result.output
    record = json.loads(result.stdout)
    assert all(one["sound"] and one["residual"] < 1e-8 for one in record["certificates"].values())
    told = " ".join(record["assumptions"])
    assert "The head is the volume mesh bricks.vtu" in told
    assert "x 110 mm" in told
    assert "2 nodes of bricks.vtu belong to no element" in told
    assert "sha256 bricks.vtu" in json.dumps(record)
    # The generic head with its cut cells filled up is a little stiffer; the ring carries the same.
    plain = CliRunner().invoke(app, ["predict", "joint", "--fast", "--json", "prediction.toml"])
    loads = [
        next(
            row["mean_N_per_mm"]
            for row in one["seals"]
            if (row["seal"], row["state"]) == ("bore 1 bead", "settled")
        )
        for one in (record, json.loads(plain.stdout))
    ]
    assert loads[0] == pytest.approx(loads[1], rel=0.05)


def test_a_gap_between_the_nodes_of_a_face_is_told(bench):
    files = load_prediction(bench / "prediction.toml")
    head = sections(files).head
    mesh = bricks(body_mesh(head, deck_grid(outline_polygon(files.plan), 10.0)))
    place = seal_line(files.plan, files.plan.seals[0], step=1.0).points[0]
    away = mesh.points[:, :2] - place
    far = np.linalg.norm(away, axis=1, keepdims=True)
    # Nodes near the place are drawn off it, 13 mm from it instead of up to 13.
    gaping = mesh.points.copy()
    gaping[:, :2] += np.where(far < 22.0, away / np.maximum(far, 1e-9) * (22.0 - far) * 13.0 / 22.0, 0.0)
    for points, told in ((mesh.points, []), (gaping, [f"{files.plan.seals[0].name!r} near"])):
        holding = replace(files, meshes={"head": replace(mesh, points=points)})
        notes = [one for one in sections(holding).head.assumptions if "the nearest node of" in one]
        assert len(notes) == len(told)
        for note, words in zip(notes, told, strict=True):
            assert words in note
            assert "mesh the face finer there" in note


def test_a_prediction_from_a_mesh_is_exported_for_another_program(bench):
    head = 'mesh = "bricks.vtu"\nmesh_unit = "m"\nmaterial = "A356-T6"\n'
    result = predict(bench, head, "contact", "export", "--out", "deck", "--json")
    assert result.exit_code == 0, result.output
    deck = (bench / "deck" / "joint.inp").read_text(encoding="ascii")
    assert deck.count("*ELEMENT, TYPE=C3D8I") == 2
    note = (bench / "deck" / "how-to-compare.txt").read_text(encoding="utf-8")
    assert "The head is the volume mesh bricks.vtu, element by element" in note
    assert "The block is the volume mesh" not in note


@pytest.mark.parametrize(
    ("head", "words"),
    [
        ('mesh = "bricks.vtu"\nmesh_unit = "mm"', ("0.0011 times as long", "head.mesh_unit")),
        ('mesh = "bricks.vtu"', ("unit is not stated", "mesh_unit: mm, cm, m or in")),
        ('mesh = "bricks.vtu"\nmesh_unit = "m"\njacket = "30 mm"', ("sizes beside a mesh: jacket",)),
        ('deck_at = "3 mm"', ("deck_at is said of a mesh",)),
        ('mesh = "gone.vtu"\nmesh_unit = "m"', ("gone.vtu", "this mesh is not there")),
        ('mesh = "bricks.vtu"\nmesh_unit = "m"\ndeck_at = "4 mm"', ("4 mm below the sealing plane",)),
    ],
)
def test_the_check_tells_what_is_wrong_with_a_mesh(bench, head, words):
    result = predict(bench, head, "joint", "check")
    assert result.exit_code != 0
    said = " ".join(result.output.split())
    for word in words:
        assert word in said
