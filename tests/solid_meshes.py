"""Volume meshes made from bodies on the grid, for tests of what is done with somebody's own mesh."""

from __future__ import annotations

import itertools
from pathlib import Path

import meshio
import numpy as np
import shapely
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import Delaunay, cKDTree
from shapely.geometry.base import BaseGeometry

from firedeck.contact import BodySection, BoreGas, Joint, SectionLayer, SolidMesh, VolumeSection
from firedeck.contact.mesh import BodyMesh
from firedeck.definition.material import builtin_material
from firedeck.files.mesh_file import read_solid
from tests.contact_joints import square_gasket, square_plan, square_seats

#: Corners of a grid cell, x fastest, in the order of a brick in open mesh formats.
_BRICK = (0, 1, 3, 2, 4, 5, 7, 6)
#: What meshio calls elements, by the number of their nodes.
KINDS = {8: "hexahedron", 4: "tetra", 10: "tetra10"}
_EDGES = ((0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3))


def whole_cells(mesh: BodyMesh) -> tuple[np.ndarray, np.ndarray]:
    """Return places of the grid's nodes, and the nodes of every cell with material, x fastest, shape (m, 8).

    A cell that a slot passes is whole here, and the slot closed.
    """
    _, first, node = np.unique(mesh.body.places, axis=0, return_index=True, return_inverse=True)
    _, cells = np.unique(mesh.bricks.cells, axis=0, return_index=True)
    return mesh.coordinates[first], node.ravel()[mesh.body.elements[cells]]


def bricks(mesh: BodyMesh) -> SolidMesh:
    """Return a body's cells as whole bricks."""
    points, corners = whole_cells(mesh)
    return SolidMesh("bricks.vtu", points, corners[:, _BRICK])


def tetrahedra(mesh: BodyMesh, nodes: int = 10) -> SolidMesh:
    """Return a body's cells cut into six tetrahedra each, along the same diagonal in all."""
    points, corners = whole_cells(mesh)
    parts = []
    for order in itertools.permutations((1, 2, 4)):
        steps = [0, order[0], order[0] + order[1], 7]
        if order in ((1, 4, 2), (2, 1, 4), (4, 2, 1)):
            steps[1], steps[2] = steps[2], steps[1]
        parts.append(corners[:, steps])
    linear = np.concatenate(parts)
    if nodes == 4:
        return SolidMesh("tetrahedra.vtu", points, linear)
    return with_middles(SolidMesh("tetrahedra.vtu", points, linear))


def with_middles(mesh: SolidMesh) -> SolidMesh:
    """Return linear tetrahedra with a node in the middle of every edge."""
    ends = np.sort(np.concatenate([mesh.cells[:, pair] for pair in _EDGES]), axis=1)
    pairs, which = np.unique(ends, axis=0, return_inverse=True)
    middle = mesh.points[pairs].mean(axis=1)
    between = which.reshape(len(_EDGES), -1).T + len(mesh.points)
    points = np.concatenate([mesh.points, middle])
    return SolidMesh(mesh.name, points, np.concatenate([mesh.cells, between], axis=1))


def irregular(section: BodySection, size: float, *, nodes: int = 10, seed: int = 1) -> SolidMesh:
    """Return a section as tetrahedra of no grid: edges in facets, triangles of many sizes, uneven layers.

    The triangles are about `size` [mm] long at the edges of walls and half as long again between them;
    planes of nodes between the layers' ends go up and down.
    """
    rng = np.random.default_rng(seed)
    heights = np.array(section.planes)
    plans = [layer.plan.simplify(0.1 * size) for layer in section.layers for _ in range(layer.elements)]
    plans = plans if section.side == "head" else plans[::-1]
    places, triangles = _triangles(plans, size, rng)
    flat = set(np.cumsum([0.0, *(layer.thickness for layer in section.layers)]).round(6))
    count = len(places)
    up = np.repeat(heights[:, None], count, axis=1)
    for k in range(1, len(heights) - 1):
        if round(abs(heights[k]), 6) not in flat:
            room = 0.2 * min(heights[k] - heights[k - 1], heights[k + 1] - heights[k])
            up[k] += rng.uniform(-room, room, count)
    points = np.column_stack([np.tile(places, (len(heights), 1)), up.ravel()])
    middles = places[triangles].mean(axis=1)
    cells = []
    for k, plan in enumerate(plans):
        low = np.sort(triangles[shapely.contains_xy(plan, middles[:, 0], middles[:, 1])], axis=1) + k * count
        high = low + count
        a, b, c = low.T
        d, e, f = high.T
        cells += [np.column_stack(one) for one in ((a, b, c, f), (a, b, e, f), (a, d, e, f))]
    tetra = np.concatenate(cells)
    corners = points[tetra]
    turned = np.linalg.det(corners[:, 1:] - corners[:, :1]) < 0.0
    tetra[turned] = tetra[turned][:, [0, 2, 1, 3]]
    tetra = tetra[_largest_part(tetra)]
    used, numbers = np.unique(tetra, return_inverse=True)
    mesh = SolidMesh("irregular.vtu", points[used], numbers.reshape(tetra.shape).astype(np.int64))
    return mesh if nodes == 4 else with_middles(mesh)


def _largest_part(tetra: np.ndarray) -> np.ndarray:
    """Which tetrahedra hang together by whole faces with most of the others."""
    faces = np.sort(tetra[:, [[0, 1, 2], [0, 1, 3], [0, 2, 3], [1, 2, 3]]].reshape(-1, 3), axis=1)
    _, face = np.unique(faces, axis=0, return_inverse=True)
    owner = np.repeat(np.arange(len(tetra)), 4)
    meeting = csr_array((np.ones(len(face), dtype=np.int32), (owner, face.ravel())))
    _, part = connected_components(meeting @ meeting.T, directed=False)
    return np.asarray(part == np.argmax(np.bincount(part)))


def _triangles(
    plans: list[BaseGeometry], size: float, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Triangles of the plane whose edges follow all walls of some plans."""
    whole = shapely.union_all(plans)
    walls = shapely.union_all([plan.boundary for plan in plans])
    rings = [shapely.segmentize(part, size) for part in shapely.get_parts(shapely.line_merge(walls))]
    edge = np.unique(np.concatenate([shapely.get_coordinates(ring) for ring in rings]).round(9), axis=0)
    low_x, low_y, high_x, high_y = whole.bounds
    step = 1.5 * size
    x, y = np.meshgrid(np.arange(low_x, high_x, step), np.arange(low_y, high_y, step))
    free = np.column_stack([x.ravel(), y.ravel()]) + rng.uniform(-0.25 * step, 0.25 * step, (x.size, 2))
    far = cKDTree(edge).query(free)[0] > 0.8 * size
    free = free[far & shapely.contains_xy(whole, free[:, 0], free[:, 1])]
    places = np.concatenate([edge, free])
    found = Delaunay(places).simplices
    corners = places[found]
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    wide = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) > 0.01 * size**2
    middle = corners.mean(axis=1)
    kept = found[wide & shapely.contains_xy(whole, middle[:, 0], middle[:, 1])]
    return places, kept.astype(np.int64)


def through_file(mesh: SolidMesh, folder: Path, unit: str = "mm") -> SolidMesh:
    """Write a mesh to a file and return what is read from there."""
    return read_solid(
        written(mesh, folder, unit), unit, deck_at=0.0, tolerance=mesh.tolerance, key="head.mesh"
    )


def read_section(section: BodySection, mesh: SolidMesh, folder: Path) -> VolumeSection:
    """Return a body as what is read of its mesh from a file."""
    return VolumeSection(section.side, through_file(mesh, folder), section.material)


def written(mesh: SolidMesh, folder: Path, unit: str = "mm") -> Path:
    """Write a mesh to a file and return it."""
    file = folder / mesh.name
    points = mesh.points / {"mm": 1.0, "m": 1000.0}[unit]
    meshio.Mesh(points, [(KINDS[mesh.cells.shape[1]], mesh.cells)]).write(file)
    return file


def round_sections() -> tuple[BodySection, BodySection]:
    """Head and block of the square deck round a bore, which no grid follows."""
    full = shapely.box(0, 0, 120, 96)
    bore = shapely.Point(58.0, 49.0).buffer(18.0, quad_segs=4)
    water = shapely.box(22, 22, 98, 74).difference(shapely.Point(58.0, 49.0).buffer(24.0, quad_segs=4))
    head = BodySection(
        "head",
        (
            SectionLayer("deck", 10.0, full),
            SectionLayer("jacket", 30.0, full.difference(water), 2),
            SectionLayer("upper deck", 10.0, full),
        ),
        builtin_material("A356-T6"),
    )
    block = BodySection(
        "block",
        (
            SectionLayer("deck", 12.0, full.difference(bore)),
            SectionLayer("jacket", 40.0, full.difference(bore).difference(water), 2),
        ),
        builtin_material("grey iron GJL-250"),
    )
    return head, block


def joint_of(
    sections: tuple[BodySection | VolumeSection, BodySection | VolumeSection], *, outer_gap: float = 0.015
) -> Joint:
    """Return the square deck's joint on a grid of 12 mm; the bore's wall lies in material here."""
    plan = square_plan()
    bores = [BoreGas("bore", (58.0, 49.0), 38.0, 44.0, 10.0)]
    gasket, seats = square_gasket(plan, outer_gap=outer_gap), square_seats(plan)
    return Joint.build(plan, sections, gasket, seats, bores=bores, pitch=12.0, reach=20.0, depths=(10.0,))
