"""A volume mesh as a body of the joint: loads on its elements, its face tied to the joint's grid."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import shapely
from scipy.sparse import csr_array

from firedeck.contact.fingerprint import fingerprint
from firedeck.contact.lattice import lattice
from firedeck.contact.volume import VolumeSection
from firedeck.contact.weights import node_weights
from firedeck.errors import FiredeckError
from firedeck.kernel.block_sums import BlockSums
from firedeck.kernel.condense import Condensed
from firedeck.kernel.solid import SolidSums, local_places, shape_values, solid_sums
from firedeck.kernel.sparse_condense import condense_sparse
from firedeck.pressure_map import Grid

__all__ = ["VolumeBody", "condense_volume", "face_tie", "held_of_volume", "volume_key"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Changes whenever the same mesh would give another answer.
_RULES = "volume mesh, face tied to the grid; 1"

#: Largest share that some node of the face must have in a node of the grid [1].
_LEAST_SHARE = 0.3
#: Least stiffness of the tie against any pattern of the grid's nodes; one for a mesh that is the grid [1].
_LEAST_TIE = 0.01
#: How far above the sealing plane a roof may be that takes the gas on a face that is open there [mm].
_ROOF = 40.0
#: How far outside an element a point may be, in the element's own coordinates [1].
_OUTSIDE = 0.05
#: Share of a load that must find material [1].
_LEAST_FOUND = 0.5
_BATCH = 4096


@dataclass(frozen=True)
class VolumeBody:
    """A volume mesh on the joint's grid.

    Attributes
    ----------
    section : VolumeSection
        The mesh and its material.
    grid : Grid
        Cells in plan that both bodies of the joint share.
    """

    section: VolumeSection
    grid: Grid

    #: Nothing of a mesh is left out.
    left_out = 0.0

    @cached_property
    def heights(self) -> Floats:
        """Heights that free strains are given at, rising [mm]."""
        return np.asarray(self.section.planes)

    @property
    def coordinates(self) -> Floats:
        """Places of the nodes, shape (nodes, 3) [mm]."""
        return self.section.mesh.points

    @property
    def freedoms(self) -> int:
        """Number of freedoms [1]."""
        return 3 * len(self.coordinates)

    @cached_property
    def face_numbers(self) -> Ints:
        """Number of every node of the grid that the face is tied to, -1 elsewhere, shape (nx + 1, ny + 1).

        Raises
        ------
        FiredeckError
            If the mesh is too coarse for the grid.
        """
        numbers = self._within_share()
        self._refuse_coarse(numbers)
        return numbers

    def _within_share(self) -> Ints:
        every = np.arange((self.grid.cols + 1) * (self.grid.rows + 1)).reshape(self.grid.cols + 1, -1)
        mesh = self.section.mesh
        nodes, weights = node_weights(mesh.points[mesh.deck_nodes, :2], (self.grid, every))
        largest = np.zeros(every.size)
        used = (nodes >= 0) & (weights > 0.0)
        np.maximum.at(largest, nodes[used], weights[used])
        usable = largest >= _LEAST_SHARE
        return np.where(usable, np.cumsum(usable) - 1, -1).reshape(every.shape).astype(np.int64)

    def _refuse_coarse(self, numbers: Ints) -> None:
        at = np.argwhere(numbers < 0)
        places = lattice(self.grid).nodes(at)
        mesh = self.section.mesh
        inside = mesh.deck_area.buffer(-0.05 * self.grid.pitch)
        bare = places[shapely.contains_xy(inside, places[:, 0], places[:, 1])]
        if not len(bare):
            tie = _tie(self, numbers)
            values, shapes = np.linalg.eigh((tie.T @ tie).toarray())
            if values[0] >= _LEAST_TIE:
                return
            order = np.argwhere(numbers >= 0)
            place = order[np.argmax(np.abs(shapes[:, 0]))]
            bare = lattice(self.grid).nodes(place[None])
        raise FiredeckError(
            f"the {self.section.side}'s mesh is too coarse in the sealing plane for a grid of "
            f"{self.grid.pitch:.3g} mm: hardly a node lies near ({bare[0, 0]:.4g}, {bare[0, 1]:.4g}) mm",
            where=f"{mesh.name}: {self.section.side}.mesh",
            remedy="mesh the face finer, or use a larger element in the prediction; "
            "half its size is a good mesh",
        )

    @cached_property
    def sums(self) -> list[tuple[slice, SolidSums]]:
        """Stiffness and swelling of the elements for a modulus of one, batch by batch."""
        cells, points = self.section.mesh.cells, self.section.mesh.points
        poisson = self.section.material.poisson
        parts = [slice(start, start + _BATCH) for start in range(0, len(cells), _BATCH)]
        return [(part, solid_sums(points[cells[part]], poisson)) for part in parts]

    def thermal_load(self, plane: int) -> Floats:
        """Return node loads for unit free strain at one height, falling to its neighbours [N]."""
        hat = np.zeros(len(self.heights))
        hat[plane] = 1.0
        out = np.zeros((len(self.coordinates), 3))
        for part, sums in self.sums:
            strain = np.interp(sums.heights, self.heights, hat)
            loads = self.section.modulus * np.matmul(strain[:, None], sums.swelling).reshape(-1, 3)
            nodes = self.section.mesh.cells[part].ravel()
            for axis in range(3):
                out[:, axis] += np.bincount(nodes, loads[:, axis], minlength=len(out))
        return out

    def plane_volumes(self) -> Floats:
        """Return the material that goes with every height, by straight lines between heights [mm^3].

        Nodes that move by their own places swell every element alike, so the work that the loads of
        free strain do on them is the material's volume times its bulk modulus.
        """
        bulk = self.section.modulus / (1.0 - 2.0 * self.section.material.poisson)
        work = [
            float((self.thermal_load(plane) * self.coordinates).sum()) for plane in range(len(self.heights))
        ]
        return np.array(work) / (3.0 * bulk)

    def face_shares(self, places: Floats) -> tuple[Ints, Floats]:
        """Return nodes and weights of places in the sealing plane or on the roof over them.

        Where the mesh has no material, weights are nothing.

        Parameters
        ----------
        places : ndarray, shape (n, 2)
            The places [mm].
        """
        owners, local = self._located(np.column_stack([places, np.zeros(len(places))]))
        cells = self.section.mesh.cells[np.maximum(owners, 0)]
        shares, _ = shape_values(cells.shape[1], local)
        return cells, np.where(owners[:, None] >= 0, shares, 0.0)

    def spread(self, points: Floats, forces: Floats, what: str = "a load") -> Floats:
        """Share point loads among the nodes of the elements they lie in, shape (nodes, 3) [N].

        A load on the sealing plane where the face is open goes straight up or down to the nearest
        material within 40 mm: gas in a chamber presses on its roof. Other points outside hand their
        load to those inside, so that the sum is kept.

        Parameters
        ----------
        points : ndarray, shape (n, 3)
            Where the loads act [mm].
        forces : ndarray, shape (n, 3)
            The loads [N].
        what : str
            What they are, for errors [text].

        Raises
        ------
        FiredeckError
            If most of the load lies outside the mesh.
        """
        owners, local = self._located(points)
        found = owners >= 0
        if found.mean() < _LEAST_FOUND:
            at = points.mean(axis=0)
            raise FiredeckError(
                f"{what} about ({at[0]:.4g}, {at[1]:.4g}, {at[2]:.4g}) mm lies outside the "
                f"{self.section.side}'s mesh: {found.mean():.0%} of it meets an element",
                where=f"{self.section.mesh.name}: {self.section.side}.mesh",
                remedy="check the places of fasteners and bores, the heights that the fastening clamps, "
                "thread_start and deck_at against the mesh",
            )
        cells = self.section.mesh.cells[owners[found]]
        shares, _ = shape_values(cells.shape[1], local[found])
        out = np.zeros((len(self.coordinates), 3))
        np.add.at(out, cells, shares[:, :, None] * forces[found, None, :])
        lost, got = forces[~found].sum(axis=0), np.abs(forces[found]).sum(axis=0)
        kept = forces[found].sum(axis=0)
        scale = 1.0 + np.where(np.abs(kept) > 1e-6 * got, lost / np.where(kept == 0.0, 1.0, kept), 0.0)
        return np.asarray(out * scale)

    def _located(self, points: Floats) -> tuple[Ints, Floats]:
        """Return the elements that take loads at some places; what was last asked for is asked for again."""
        asked = points.tobytes()
        if asked not in self._last:
            self._last.clear()
            self._last[asked] = self._on_roofs(points, *self._owners(points))
        return self._last[asked]

    @cached_property
    def _last(self) -> dict[bytes, tuple[Ints, Floats]]:
        return {}

    @cached_property
    def _plan_tree(self) -> tuple[shapely.STRtree, Floats]:
        corners = self.coordinates[self.section.mesh.cells]
        low, high = corners.min(axis=1), corners.max(axis=1)
        rim = 0.05 * (high - low).max(axis=1, keepdims=True)
        low, high = low - rim, high + rim
        boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
        return shapely.STRtree(boxes), np.column_stack([low[:, 2], high[:, 2]])

    def _owners(self, points: Floats) -> tuple[Ints, Floats]:
        """Return the element that every point lies in, -1 for none, and its place in there."""
        owners, local = np.full(len(points), -1, dtype=np.int64), np.zeros((len(points), 3))
        tree, heights = self._plan_tree
        point, cell = tree.query(shapely.points(points[:, :2]))
        level = points[point, 2]
        near = (heights[cell, 0] <= level) & (level <= heights[cell, 1])
        point, cell = point[near], cell[near]
        if len(point) and self.section.mesh.cells.shape[1] == 10:
            # By the corners alone most are seen to be elsewhere, at a tenth of the work.
            straight = local_places(self.coordinates[self.section.mesh.cells[cell, :4]], points[point])
            close = _outside(straight, 4) <= 0.3
            point, cell = point[close], cell[close]
        if len(point):
            inside = local_places(self.coordinates[self.section.mesh.cells[cell]], points[point])
            out = _outside(inside, self.section.mesh.cells.shape[1])
            order = np.lexsort((cell, np.round(out, 9), point))
            first = order[np.unique(point[order], return_index=True)[1]]
            first = first[out[first] <= _OUTSIDE]
            owners[point[first]], local[point[first]] = cell[first], inside[first]
        return owners, local

    def _on_roofs(self, points: Floats, owners: Ints, local: Floats) -> tuple[Ints, Floats]:
        """Move points in the sealing plane that meet nothing to the nearest material away from it."""
        away = 1.0 if self.section.side == "head" else -1.0
        for height in np.arange(0.5, _ROOF + 0.25, 0.5):
            open_ = np.flatnonzero((owners < 0) & (points[:, 2] == 0.0))
            if not len(open_):
                break
            raised = points[open_] + [0.0, 0.0, away * height]
            owners[open_], local[open_] = self._owners(raised)
        return owners, local


def _outside(local: Floats, nodes: int) -> Floats:
    """Return how far outside its element each local place is, nothing inside [1]."""
    if nodes == 8:
        return np.asarray(np.maximum(np.abs(local).max(axis=1) - 1.0, 0.0))
    shares = np.column_stack([1.0 - local.sum(axis=1), local])
    return np.asarray(np.maximum(-shares.min(axis=1), 0.0))


def face_tie(body: VolumeBody) -> csr_array:
    """Return the upright displacement of the face's nodes from that of the grid's, shape (face, grid) [1].

    Parameters
    ----------
    body : VolumeBody
        The body.

    Raises
    ------
    FiredeckError
        If its face is too coarse for the grid.
    """
    return _tie(body, body.face_numbers)


def _tie(body: VolumeBody, numbers: Ints) -> csr_array:
    mesh = body.section.mesh
    nodes, weights = node_weights(mesh.points[mesh.deck_nodes, :2], (body.grid, numbers))
    used = weights != 0.0
    rows = np.broadcast_to(np.arange(len(nodes))[:, None], nodes.shape)[used]
    return csr_array((weights[used], (rows, nodes[used])), (len(nodes), int(numbers.max()) + 1))


def held_of_volume(body: VolumeBody) -> npt.NDArray[np.bool_]:
    """Return which freedoms are held: a block's lowest plane upright, three in plan, shape (nodes, 3).

    Parameters
    ----------
    body : VolumeBody
        The body.

    Raises
    ------
    FiredeckError
        If a block's lowest plane does not hold it.
    """
    at = body.coordinates
    held = np.zeros(at.shape, dtype=bool)
    if body.section.side == "block":
        held[_lowest(body), 2] = True
    along = at[:, :2] @ np.array([1.0, 0.01])
    meetings = np.bincount(body.section.mesh.cells.ravel(), minlength=len(at))
    inner = np.flatnonzero(meetings >= np.median(meetings))
    first, second = inner[np.argmin(along[inner])], inner[np.argmax(along[inner])]
    held[first, :2] = True
    apart = np.abs(at[second, :2] - at[first, :2])
    held[second, 1 if apart[0] >= apart[1] else 0] = True
    return held


def _lowest(body: VolumeBody) -> Ints:
    at, mesh = body.coordinates, body.section.mesh
    nodes = np.flatnonzero(at[:, 2] <= at[:, 2].min() + mesh.tolerance)
    plan = at[nodes, :2] - at[nodes, :2].mean(axis=0)
    breadth = np.linalg.svd(plan, compute_uv=False)[-1] if len(nodes) >= 3 else 0.0
    if breadth < body.grid.pitch:
        raise FiredeckError(
            f"the block's lowest plane, {at[:, 2].min():.4g} mm, has {len(nodes)} nodes in one line or less: "
            "it would roll over them",
            where=f"{mesh.name}: block.mesh",
            remedy="end the mesh in a plane at the bottom: the block is held upright there",
        )
    return nodes


def volume_key(body: VolumeBody, columns: tuple[Floats, ...], names: tuple[str, ...], kept: Ints) -> str:
    """Return the hash of all that a condensed volume mesh depends on.

    Parameters
    ----------
    body : VolumeBody
        The body.
    columns : tuple of ndarray
        Loads of the patterns, each of shape (nodes, 3) [N].
    names : tuple of str
        Their names [text].
    kept : ndarray of int
        Numbers of the grid's nodes that are kept.
    """
    section, grid = body.section, body.grid
    words = [_RULES, section.side, section.modulus, section.material.poisson, names, section.mesh.tolerance]
    words += [*lattice(grid).x_lines, "y", *lattice(grid).y_lines]
    return fingerprint(words, (section.mesh.points, section.mesh.cells, kept, *columns))


def condense_volume(body: VolumeBody, kept: Ints, columns: tuple[Floats, ...]) -> Condensed:
    """Condense a volume mesh to upright freedoms of the grid's nodes that its face is tied to.

    Parameters
    ----------
    body : VolumeBody
        The body.
    kept : ndarray of int, shape (n,)
        Numbers of the grid's nodes that are kept, as in `VolumeBody.face_numbers`.
    columns : tuple of ndarray
        Loads of the patterns, each of shape (nodes, 3) [N].

    Raises
    ------
    ArithmeticError
        If a part of the body can move without resistance.
    """
    turn, places = _freedoms(body)
    whole = turn.T @ (_assembled(body) @ turn)
    loads = turn.T @ csr_array(np.column_stack([column.ravel() for column in columns]))
    grid_freedoms = len(places) - (int(body.face_numbers.max()) + 1)
    return condense_sparse(whole.tocsr(), loads.tocsr(), places, grid_freedoms + kept)


def _freedoms(body: VolumeBody) -> tuple[csr_array, Floats]:
    """Return nodes' freedoms from free ones and the grid's, which come last, and where these lie [mm]."""
    deck, at = body.section.mesh.deck_nodes, body.coordinates
    tie = face_tie(body)
    free = ~held_of_volume(body)
    free[deck, 2] = False
    own = np.flatnonzero(free.ravel())
    count = len(own) + tie.shape[1]
    tied = tie.tocoo()
    rows = np.concatenate([own, 3 * deck[tied.row] + 2])
    columns = np.concatenate([np.arange(len(own)), len(own) + tied.col])
    values = np.concatenate([np.ones(len(own)), tied.data])
    plan = lattice(body.grid).nodes(np.argwhere(body.face_numbers >= 0))
    places = np.concatenate([at[own // 3], np.column_stack([plan, np.zeros(len(plan))])])
    return csr_array((values, (rows, columns)), (3 * len(at), count)), places


def _assembled(body: VolumeBody) -> csr_array:
    """Return the stiffness of all nodes' freedoms [N/mm]."""
    cells = body.section.mesh.cells
    total = BlockSums(cells, len(body.coordinates))
    for part, sums in body.sums:
        total.add(cells[part], body.section.modulus * sums.stiffness)
    return total.matrix()
