"""A head or block as somebody's own volume mesh: nodes, elements, and whether they can be believed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from firedeck.definition.material import Material
from firedeck.errors import FiredeckError
from firedeck.kernel.solid import smallest_bulk

__all__ = ["SolidMesh", "VolumeSection", "check_solid", "widest_gap"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Corners of the faces of an element, by the number of its nodes.
_FACES = {
    8: ((0, 1, 2, 3), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)),
    4: ((0, 1, 2), (0, 1, 3), (1, 2, 3), (0, 2, 3)),
    10: ((0, 1, 2), (0, 1, 3), (1, 2, 3), (0, 2, 3)),
}
#: Nodes between the corners of a tetrahedron's faces.
_BETWEEN = {0: (4, 5, 6), 1: (4, 8, 7), 2: (5, 9, 8), 3: (6, 9, 7)}

#: Planes of nodes above which a mesh counts as unstructured; free strains then get even planes.
_MOST_PLANES = 40
#: Height between even planes of free strain [mm].
_PLANE_STEP = 10.0
#: How far beyond the face's edge a seal may still lie, for edges made of facets [mm].
_BESIDE = 0.5
#: How near to a face a node lies on it, over the face's size [1].
_ON_FACE = 1e-4
#: Length of a seal that may lie beside the face [mm].
_LEAST_BARE = 2.0


@dataclass(frozen=True, eq=False)
class SolidMesh:
    """Nodes and elements of one kind, in deck coordinates with the sealing plane at height zero.

    Attributes
    ----------
    name : str
        File that it is from [text].
    points : ndarray, shape (nodes, 3)
        Places of the nodes [mm].
    cells : ndarray of int, shape (m, 8, 4 or 10)
        Nodes of every brick, linear or quadratic tetrahedron.
    tolerance : float
        How far a node may lie from the sealing plane and still be in it [mm].
    unused : int
        Nodes of the file that belong to no element and were left out [1].
    """

    name: str
    points: Floats
    cells: Ints
    tolerance: float = 0.05
    unused: int = 0

    @cached_property
    def faces(self) -> Ints:
        """Corners of all elements' faces, face by face of all elements, shape (faces, 3 or 4)."""
        return np.concatenate([self.cells[:, corners] for corners in _FACES[self.cells.shape[1]]])

    @cached_property
    def deck_faces(self) -> Ints:
        """Corners of the elements' faces in the sealing plane, shape (faces, 3 or 4)."""
        flat = np.abs(self.points[:, 2]) <= self.tolerance
        return np.asarray(self.faces[flat[self.faces].all(axis=1)], dtype=np.int64)

    @cached_property
    def deck_nodes(self) -> Ints:
        """Nodes of those faces, rising."""
        found = [self.deck_faces.ravel()]
        if self.cells.shape[1] == 10:
            flat = np.abs(self.points[:, 2]) <= self.tolerance
            for face, between in _BETWEEN.items():
                own = flat[self.cells[:, _FACES[10][face]]].all(axis=1)
                found.append(self.cells[own][:, between].ravel())
        return np.unique(np.concatenate(found))

    @cached_property
    def deck_area(self) -> BaseGeometry:
        """Material in the sealing plane [mm]."""
        corners = self.points[self.deck_faces, :2]
        return shapely.union_all(np.asarray(shapely.polygons(corners)))


@dataclass(frozen=True)
class VolumeSection:
    """A body as a volume mesh, with its material.

    Attributes
    ----------
    side : str
        ``head`` goes up from the sealing plane, ``block`` down [text].
    mesh : SolidMesh
        The mesh.
    material : Material
        One material for the whole body.
    temperature : float
        Temperature at which its modulus is taken [degC].
    assumptions : tuple of str
        What was taken for granted, in words [text].
    """

    side: Literal["head", "block"]
    mesh: SolidMesh
    material: Material
    temperature: float = 20.0
    assumptions: tuple[str, ...] = field(default=())

    @property
    def modulus(self) -> float:
        """Young's modulus [MPa]."""
        return self.material.modulus.at(self.temperature)

    @cached_property
    def planes(self) -> tuple[float, ...]:
        """Heights that free strains are given at, rising: the nodes' own where these are few [mm]."""
        heights = np.sort(self.mesh.points[:, 2])
        low, high = min(float(heights[0]), 0.0), max(float(heights[-1]), 0.0)
        levels = heights[np.concatenate([[True], np.diff(heights) > 1e-6 * (high - low)])]
        if len(levels) > _MOST_PLANES:
            return tuple(np.linspace(low, high, 1 + round(max(1.0, (high - low) / _PLANE_STEP))).tolist())
        return tuple(levels.tolist())


def check_solid(
    mesh: SolidMesh,
    side: Literal["head", "block"],
    outline: BaseGeometry,
    seals: Mapping[str, Floats] | None = None,
) -> None:
    """Refuse a mesh that cannot be the head or block over an outline.

    Parameters
    ----------
    mesh : SolidMesh
        The mesh.
    side : str
        ``head`` or ``block``.
    outline : shapely geometry
        Outline of the deck [mm].
    seals : mapping of str to ndarray, optional
        Places along every seal, evenly, each of shape (n, 2) [mm].

    Raises
    ------
    FiredeckError
        For sizes of another unit, another place, the wrong side of the deck, inverted or doubled
        elements, loose parts, hinges, seams, nodes that hang on a neighbour's face, no face in the
        sealing plane, or a seal beside it.
    """
    _check_sizes(mesh, side, outline)
    _check_elements(mesh, side)
    _check_whole(mesh, side)
    _check_fitting(mesh, side)
    _check_hinges(mesh, side)
    _check_side(mesh, side)
    _check_face(mesh, side, outline)
    face = mesh.deck_area.buffer(_BESIDE)
    shapely.prepare(face)
    for name, line in (seals or {}).items():
        _check_under(mesh, side, (name, line), face)


def widest_gap(mesh: SolidMesh, seals: Mapping[str, Floats]) -> tuple[str, Floats, float, float]:
    """Return the seal that comes furthest from the face's nodes, where, how far, and how far usually [mm].

    Parameters
    ----------
    mesh : SolidMesh
        The mesh.
    seals : mapping of str to ndarray
        Places along every seal, each of shape (n, 2); at least one [mm].
    """
    tree = cKDTree(mesh.points[mesh.deck_nodes, :2])
    found = {name: tree.query(line)[0] for name, line in seals.items()}
    name = max(found, key=lambda seal: float(found[seal].max()))
    worst = int(found[name].argmax())
    usual = float(np.median(np.concatenate(list(found.values()))))
    return name, seals[name][worst], float(found[name][worst]), usual


def _check_sizes(mesh: SolidMesh, side: str, outline: BaseGeometry) -> None:
    low, high = mesh.points[:, :2].min(axis=0), mesh.points[:, :2].max(axis=0)
    deck = np.array(outline.bounds).reshape(2, 2)
    ratio = float((high - low).max() / (deck[1] - deck[0]).max())
    if not 0.4 < ratio < 2.5:
        raise FiredeckError(
            f"the mesh is {(high - low).max():.4g} mm long and the deck {(deck[1] - deck[0]).max():.4g} mm, "
            f"{ratio:.3g} times as long",
            where=f"{mesh.name}: {side}.mesh_unit",
            remedy="state the unit that the mesh was written in: mm, cm, m or in",
        )
    apart = np.abs(0.5 * (low + high) - deck.mean(axis=0))
    if (apart > 0.25 * (deck[1] - deck[0])).any():
        raise FiredeckError(
            f"the middle of the mesh lies {apart[0]:.4g} mm and {apart[1]:.4g} mm in x and y from the deck's",
            where=f"{mesh.name}: {side}.mesh",
            remedy="move the mesh so that its x and y are those of the deck plan, and z is upright",
        )


def _check_elements(mesh: SolidMesh, side: str) -> None:
    size = smallest_bulk(mesh.points[mesh.cells])
    wrong = np.flatnonzero(size <= 1e-9 * np.median(np.abs(size)))
    if len(wrong):
        at = mesh.points[mesh.cells[wrong[0]]].mean(axis=0)
        raise FiredeckError(
            f"{len(wrong)} of {len(size)} elements are inverted or have no volume, the first near "
            f"({at[0]:.4g}, {at[1]:.4g}, {at[2]:.4g}) mm",
            where=f"{mesh.name}: {side}.mesh",
            remedy="mesh the part again or mend these elements; a mirrored part turns all of them inside out",
        )


def _check_whole(mesh: SolidMesh, side: str) -> None:
    seam = _seam(mesh)
    if seam:
        raise FiredeckError(
            f"{seam} pairs of nodes lie on one another without being one, as along a seam or a crack",
            where=f"{mesh.name}: {side}.mesh",
            remedy="merge coincident nodes in the meshing program, so that neighbours share them",
        )
    count, size = _pieces(mesh)
    if count > 1:
        raise FiredeckError(
            f"the mesh is {count} pieces that do not hang together; the largest has {size:.1%} of the nodes",
            where=f"{mesh.name}: {side}.mesh",
            remedy="leave loose parts out, and join parts by shared nodes",
        )


def _check_hinges(mesh: SolidMesh, side: str) -> None:
    """Refuse elements that lie on one another, and parts that meet in nodes or edges without a face."""
    faces = np.sort(mesh.faces, axis=1)
    _, which, counts = np.unique(faces, axis=0, return_inverse=True, return_counts=True)
    if counts.max() > 2:
        raise FiredeckError(
            f"{np.count_nonzero(counts > 2)} faces belong to more than two elements: elements lie on one "
            "another",
            where=f"{mesh.name}: {side}.mesh",
            remedy="remove doubled elements in the meshing program and export again",
        )
    owner = np.tile(np.arange(len(mesh.cells)), len(faces) // len(mesh.cells))
    order = np.argsort(which.ravel(), kind="stable")
    paired = np.flatnonzero(np.diff(which.ravel()[order]) == 0)
    links = (owner[order[paired]], owner[order[paired + 1]])
    size = len(mesh.cells)
    parts, part = connected_components(coo_array((np.ones(len(paired)), links), (size, size)), directed=False)
    if parts > 1:
        loose = np.flatnonzero(part != np.argmax(np.bincount(part)))
        at = mesh.points[mesh.cells[loose[0]]].mean(axis=0)
        raise FiredeckError(
            f"{len(loose)} elements hang on the others by a node or an edge, the first near "
            f"({at[0]:.4g}, {at[1]:.4g}, {at[2]:.4g}) mm: they would turn as on a hinge",
            where=f"{mesh.name}: {side}.mesh",
            remedy="join them by whole faces, or leave them out of the mesh",
        )


def _check_fitting(mesh: SolidMesh, side: str) -> None:
    """Refuse nodes that lie on an element's face without being its own: nothing ties them to it."""
    hanging = _hanging(mesh)
    if len(hanging):
        at = mesh.points[hanging[0]]
        raise FiredeckError(
            f"{len(hanging)} nodes lie on the face or edge of an element that does not have them, the first "
            f"at ({at[0]:.4g}, {at[1]:.4g}, {at[2]:.4g}) mm: coarse and fine elements do not fit there",
            where=f"{mesh.name}: {side}.mesh",
            remedy="mesh the part so that neighbours share whole faces, with no hanging nodes",
        )


def _hanging(mesh: SolidMesh) -> Ints:
    """Return corners of outer faces that lie on another outer face whose element does not have them."""
    faces, own = _outer_faces(mesh)
    corners = mesh.points[faces]
    middle = corners.mean(axis=1)
    reach = np.linalg.norm(corners - middle[:, None], axis=2).max(axis=1)
    nodes = np.unique(faces)
    near = cKDTree(mesh.points[nodes]).query_ball_point(middle, reach)
    count = np.array([len(found) for found in near])
    face, node = np.repeat(np.arange(len(faces)), count), nodes[np.concatenate([*near, []]).astype(np.int64)]
    other = (mesh.cells[own[face]] != node[:, None]).all(axis=1)
    face, node = face[other], node[other]
    return np.unique(node[_lies_on(mesh.points[node], corners[face], middle[face], reach[face])])


def _outer_faces(mesh: SolidMesh) -> tuple[Ints, Ints]:
    """Return the faces that belong to one element alone, and the elements."""
    _, first, counts = np.unique(np.sort(mesh.faces, axis=1), axis=0, return_index=True, return_counts=True)
    outer = first[counts == 1]
    return np.asarray(mesh.faces[outer]), outer % len(mesh.cells)


def _lies_on(points: Floats, corners: Floats, middle: Floats, size: Floats) -> npt.NDArray[np.bool_]:
    """Return which points lie on flat faces, one for each, edges included."""
    after = np.roll(corners, -1, axis=1)
    edges, toward = after - corners, points[:, None] - corners
    normal = np.cross(corners - middle[:, None], after - middle[:, None]).sum(axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    off = np.abs(np.einsum("ij,ij->i", points - middle, normal))
    inward = np.einsum("ijk,ik->ij", np.cross(edges, toward), normal) / np.linalg.norm(edges, axis=2)
    return np.asarray((off < _ON_FACE * size) & (inward > -_ON_FACE * size[:, None]).all(axis=1))


def _pieces(mesh: SolidMesh) -> tuple[int, float]:
    first = np.repeat(mesh.cells[:, :1], mesh.cells.shape[1], axis=1).ravel()
    count = len(mesh.points)
    links = coo_array((np.ones(len(first)), (first, mesh.cells.ravel())), (count, count))
    pieces, which = connected_components(links, directed=False)
    return int(pieces), float(np.bincount(which).max() / count)


def _seam(mesh: SolidMesh) -> int:
    sides = np.linalg.norm(mesh.points[mesh.cells[:, 0]] - mesh.points[mesh.cells[:, 1]], axis=1)
    near = cKDTree(mesh.points).query_pairs(1e-4 * float(np.median(sides)), output_type="ndarray")
    return len(near)


def _check_side(mesh: SolidMesh, side: str) -> None:
    beyond = -mesh.points[:, 2].min() if side == "head" else mesh.points[:, 2].max()
    if beyond > mesh.tolerance:
        where = "below" if side == "head" else "above"
        raise FiredeckError(
            f"the {side}'s mesh reaches {beyond:.4g} mm {where} the sealing plane, where the gasket is",
            where=f"{mesh.name}: {side}.deck_at",
            remedy="check the height of the deck plane in the mesh; a head lies above it and a block below",
        )


def _check_face(mesh: SolidMesh, side: str, outline: BaseGeometry) -> None:
    share = mesh.deck_area.area / outline.area if len(mesh.deck_faces) else 0.0
    if share < 0.05:
        heights = np.abs(mesh.points[:, 2])
        raise FiredeckError(
            f"only {share:.1%} of the deck's outline is covered by elements' faces in the sealing plane; the "
            f"nearest node lies {heights.min():.4g} mm from it",
            where=f"{mesh.name}: {side}.deck_at",
            remedy="state the height of the deck plane in the mesh, or widen deck_tolerance",
        )


def _check_under(mesh: SolidMesh, side: str, seal: tuple[str, Floats], face: BaseGeometry) -> None:
    """Refuse a seal that lies over a hole of the face, or where it is not flat."""
    name, line = seal
    bare = line[~shapely.contains_xy(face, line[:, 0], line[:, 1])]
    step = float(np.median(np.linalg.norm(np.diff(line, axis=0), axis=1)))
    if len(bare) * step <= _LEAST_BARE:
        return
    _, near = cKDTree(mesh.points).query([*bare[0], 0.0])
    raise FiredeckError(
        f"the seal {name!r} lies for {len(bare) * step:.3g} mm where the {side}'s mesh has no face in the "
        f"sealing plane, first near ({bare[0, 0]:.4g}, {bare[0, 1]:.4g}) mm; the nearest node is "
        f"{abs(mesh.points[near, 2]):.3g} mm off the plane",
        where=f"{mesh.name}: {side}.mesh",
        remedy="close the hole or flatten the face in the meshing program, check the seal's place, or widen "
        "deck_tolerance; a real deck's unevenness is stated as [[face]]",
    )
