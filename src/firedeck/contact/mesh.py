"""A layered section on a grid: which parts of each cell are filled, nodes, loads on points."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from shapely.geometry.base import BaseGeometry

from firedeck.contact.bricks import Bricks, bricks_of, element_matrices
from firedeck.contact.lattice import Lattice, lattice
from firedeck.contact.pieces import SQUARES
from firedeck.contact.section import BodySection
from firedeck.contact.weights import node_weights
from firedeck.errors import FiredeckError
from firedeck.kernel.condense import GridBody, Loads
from firedeck.kernel.fronts import rows_met
from firedeck.kernel.joined import grouped
from firedeck.pressure_map import Grid

__all__ = ["BodyMesh", "body_mesh", "deck_grid"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def deck_grid(outline: BaseGeometry, pitch: float) -> Grid:
    """Return the grid over an outline, its cells as near to `pitch` [mm] as fit the longer side."""
    low_x, low_y, high_x, high_y = outline.bounds
    count = max(1, round((high_x - low_x) / pitch))
    side = (high_x - low_x) / count
    rows = max(1, math.ceil((high_y - low_y) / side - 1e-6))
    return Grid(low_x, 0.5 * (low_y + high_y - rows * side), side, rows, count)


@dataclass(frozen=True)
class BodyMesh:
    """Bricks of one body.

    Attributes
    ----------
    section : BodySection
        What was meshed.
    grid : Lattice
        Cells in plan.
    bricks : Bricks
        Which piece of material fills each brick, and how.
    body : GridBody
        Nodes, bricks and element matrices.
    thermal : ndarray, shape (m, 24, 2)
        Thermal loads of the element matrices per unit free strain of bottom and top face [N].
    """

    section: BodySection
    grid: Lattice
    bricks: Bricks
    body: GridBody
    thermal: Floats

    @cached_property
    def heights(self) -> Floats:
        """Heights of the planes of nodes, rising [mm]."""
        return np.asarray(self.section.planes)

    @cached_property
    def coordinates(self) -> Floats:
        """Places of the nodes, shape (nodes, 3) [mm]."""
        at = self.body.places
        return np.column_stack([self.grid.nodes(at[:, :2]), self.heights[at[:, 2]]])

    @property
    def freedoms(self) -> int:
        """Number of freedoms [1]."""
        return 3 * len(self.body.places)

    @property
    def left_out(self) -> float:
        """Material lost with bricks that are hardly filled or hang on nothing, share of the volume [1]."""
        return self.bricks.left_out

    @property
    def face(self) -> int:
        """Index of the plane of nodes in the sealing plane [1]."""
        return 0 if self.section.side == "head" else len(self.heights) - 1

    @cached_property
    def face_numbers(self) -> npt.NDArray[np.int32]:
        """Node numbers in the sealing plane, -1 where there is none, shape (nx + 1, ny + 1)."""
        return self.numbers[:, :, self.face]

    @cached_property
    def numbers(self) -> npt.NDArray[np.int32]:
        """Node at each place of the grid, -1 where there is none; of several, that with most material."""
        shape = self.grid.cols + 1, self.grid.rows + 1, len(self.heights)
        volume = np.bincount(self.body.elements.ravel(), np.repeat(self.bricks.volumes, 8))
        order = np.argsort(volume, kind="stable")
        out = np.full(shape, -1, dtype=np.int32)
        out[tuple(self.body.places[order].T)] = order
        return out

    def face_shares(self, places: Floats) -> tuple[Ints, Floats]:
        """Return nodes and weights of places in the sealing plane, -1 and nothing where there are none.

        Parameters
        ----------
        places : ndarray, shape (n, 2)
            The places [mm].
        """
        return node_weights(places, (self.grid, self.face_numbers.astype(np.int64)))

    def spread(self, points: Floats, forces: Floats, what: str = "a load") -> Floats:
        """Share point loads among the nodes of the bricks they lie in, shape (nodes, 3) [N].

        Points whose cell has no node hand their load to the others, so that the sum is kept.

        Parameters
        ----------
        points : ndarray, shape (n, 3)
            Where the loads act [mm].
        forces : ndarray, shape (n, 3)
            The loads [N].
        what : str
            What they are, for errors [text].
        """
        nodes, shares, reached = self._shares(points)
        if not reached:
            raise FiredeckError(
                f"{what} lies where the {self.section.side} has no material",
                remedy="check fastener and bore positions against the section",
            )
        out = np.zeros((len(self.body.places), 3))
        out[nodes] = _rescaled(shares @ forces, forces)
        return out

    def _shares(self, points: Floats) -> tuple[Ints, csr_array, bool]:
        """Return nodes, the share of every point's load that each takes, and whether any point reaches one.

        The last answer is kept: the shapes of a bore ask for the same points again and again.
        """
        asked = points.tobytes()
        found = self._last.get(asked)
        if found is None:
            found = self._shared(points)
            self._last.clear()
            self._last[asked] = found
        return found

    @cached_property
    def _last(self) -> dict[bytes, tuple[Ints, csr_array, bool]]:
        return {}

    def _shared(self, points: Floats) -> tuple[Ints, csr_array, bool]:
        numbers, weights = self._corner_shares(points)
        total = weights.sum(axis=1)
        valid = (total > 1e-3)[:, None] & (numbers >= 0)
        point, corner = np.nonzero(valid)
        nodes, row = np.unique(numbers[point, corner], return_inverse=True)
        shares = weights[point, corner] / total[point]
        return nodes, csr_array((shares, (row, point)), (len(nodes), len(points))), bool(len(point))

    def _corner_shares(self, points: Floats) -> tuple[Ints, Floats]:
        z = np.interp(points[:, 2], self.heights, np.arange(len(self.heights)))
        along = np.column_stack([self.grid.indices(points[:, :2]), z])
        limit = np.array([self.grid.cols, self.grid.rows, len(self.heights) - 1]) - 1
        base: Ints = np.clip(np.floor(along).astype(np.int64), 0, limit)
        part: Floats = np.clip(along - base, 0.0, 1.0)
        numbers = self._corners_near(base, part)
        x, y, z = (np.stack([1.0 - part[:, axis], part[:, axis]], axis=1) for axis in range(3))
        # Corners run along x fastest; products in the order of the axes.
        plan = x[:, None, :] * y[:, :, None]
        weights = (plan[:, None] * z[:, :, None, None]).reshape(len(points), 8)
        return numbers, np.where(numbers >= 0, weights, 0.0)

    def _corners_near(self, base: Ints, part: Floats) -> Ints:
        """Return the corners of the brick that fills each place, of the cell's fullest where none does."""
        corners = base[:, None, :] + np.array([(k & 1, (k >> 1) & 1, k >> 2) for k in range(8)])
        numbers = self.numbers[tuple(corners.transpose(2, 0, 1))].astype(np.int64)
        square = np.minimum((part[:, :2] * SQUARES).astype(np.int64), SQUARES - 1)
        brick = self.bricks.at(base, square)
        numbers[brick >= 0] = self.body.elements[brick[brick >= 0]]
        return np.asarray(numbers)

    def plane_volumes(self) -> Floats:
        """Return the material that goes with every height, half of each layer to its planes [mm^3]."""
        layers = np.bincount(self.bricks.cells[:, 2], self.bricks.volumes, minlength=len(self.heights) - 1)
        return np.asarray(0.5 * (np.append(layers, 0.0) + np.append(0.0, layers)))

    def thermal_load(self, plane: int) -> Floats:
        """Return node loads for unit free strain in one plane of nodes, falling to its neighbours [N]."""
        nodes, loads = [], []
        for layer, end in ((plane - 1, 1), (plane, 0)):
            own = np.flatnonzero(self.bricks.cells[:, 2] == layer)
            nodes.append(self.body.elements[own].ravel())
            loads.append(self.thermal[self.body.kinds[own], :, end].reshape(-1, 3))
        at, pushed = np.concatenate(nodes), np.concatenate(loads)
        sums = [np.bincount(at, along, minlength=len(self.body.places)) for along in pushed.T]
        return np.stack(sums, axis=1)


def _rescaled(out: Floats, forces: Floats) -> Floats:
    """Make up, axis by axis, for points that reached no node."""
    wanted, got = forces.sum(axis=0), out.sum(axis=0)
    scale = np.where(np.abs(got) > 1e-6 * np.abs(forces).sum(), wanted / np.where(got == 0.0, 1.0, got), 1.0)
    return np.asarray(out * scale)


def loads_by_node(columns: Iterable[Floats], nodes: int) -> Loads:
    """Turn load patterns, each of shape (nodes, 3), into lists by node."""
    number, pattern, value = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)], [np.zeros((0, 3))]
    count = 0
    for count, column in enumerate(columns, start=1):
        loaded = rows_met(column)
        number.append(loaded)
        pattern.append(np.full(len(loaded), count - 1))
        value.append(column[loaded])
    starts, order = grouped(np.concatenate(number), nodes)
    return Loads(starts, np.concatenate(pattern)[order], np.concatenate(value)[order], count)


def body_mesh(section: BodySection, grid: Grid) -> BodyMesh:
    """Lay a section on a grid.

    Parameters
    ----------
    section : BodySection
        The body.
    grid : Grid
        Cells in plan; both bodies of a joint share it.

    Returns
    -------
    BodyMesh
        Its bricks.

    Raises
    ------
    FiredeckError
        If nothing is left of it.
    """
    lines = lattice(grid)
    bricks = bricks_of(section, lines)
    if not len(bricks.cells):
        raise FiredeckError(
            f"nothing is left of the {section.side} on a grid of {grid.pitch:.3g} mm",
            remedy="use a finer grid",
        )
    kinds, matrices, thermal = element_matrices(bricks, section, lines)
    return BodyMesh(section, lines, bricks, GridBody(bricks.places, bricks.corners, kinds, matrices), thermal)
