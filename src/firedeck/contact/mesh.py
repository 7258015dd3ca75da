"""A layered section on a grid: which parts of each cell are filled, nodes, loads on points."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from firedeck.contact.section import BodySection
from firedeck.errors import FiredeckError
from firedeck.kernel.condense import GridBody, Loads
from firedeck.kernel.hexahedron import PARTS, brick_matrices
from firedeck.pressure_map import Grid

__all__ = ["BodyMesh", "body_mesh", "deck_grid"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Cells with fewer full parts than this, of 16, are left out.
_LEAST_PARTS = 2


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
    grid : Grid
        Cells in plan.
    masks : ndarray of uint16, shape (nx, ny, nz)
        Full parts of every cell, 0 where it is left out [1].
    body : GridBody
        Nodes, cells and element matrices.
    thermal : ndarray, shape (m, 24, 2)
        Thermal loads of the element matrices per unit free strain of bottom and top face [N].
    left_out : float
        Material lost with cells that are hardly filled or hang on nothing, share of the volume [1].
    """

    section: BodySection
    grid: Grid
    masks: npt.NDArray[np.uint16]
    body: GridBody
    thermal: Floats
    left_out: float

    @cached_property
    def heights(self) -> Floats:
        """Heights of the planes of nodes, rising [mm]."""
        return np.asarray(self.section.planes)

    @cached_property
    def coordinates(self) -> Floats:
        """Places of the nodes, shape (nodes, 3) [mm]."""
        at = self.body.places - 1
        x = self.grid.x0 + self.grid.pitch * at[:, 0]
        y = self.grid.y0 + self.grid.pitch * at[:, 1]
        return np.column_stack([x, y, self.heights[at[:, 2]]])

    @property
    def freedoms(self) -> int:
        """Number of freedoms [1]."""
        return 3 * len(self.body.places)

    @property
    def face(self) -> int:
        """Index of the plane of nodes in the sealing plane [1]."""
        return 0 if self.section.side == "head" else len(self.heights) - 1

    @cached_property
    def face_numbers(self) -> npt.NDArray[np.int32]:
        """Node numbers in the sealing plane, -1 where there is none, shape (nx + 1, ny + 1)."""
        return self.body.numbers[1:-1, 1:-1, 1 + self.face]

    def spread(self, points: Floats, forces: Floats, what: str = "a load") -> Floats:
        """Share point loads among the nodes of the cells they lie in, shape (nodes, 3) [N].

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
        numbers, weights = self._corner_shares(points)
        shares = weights / np.maximum(weights.sum(axis=1, keepdims=True), 1e-12)
        reached = weights.sum(axis=1) > 1e-3
        if not reached.any():
            raise FiredeckError(
                f"{what} lies where the {self.section.side} has no material",
                remedy="check fastener and bore positions against the section",
            )
        out = np.zeros((len(self.body.places), 3))
        for corner in range(8):
            valid = reached & (numbers[:, corner] >= 0)
            np.add.at(out, numbers[valid, corner], shares[valid, corner, None] * forces[valid])
        return _rescaled(out, forces)

    def _corner_shares(self, points: Floats) -> tuple[Ints, Floats]:
        x = (points[:, 0] - self.grid.x0) / self.grid.pitch
        y = (points[:, 1] - self.grid.y0) / self.grid.pitch
        z = np.interp(points[:, 2], self.heights, np.arange(len(self.heights)))
        along = np.column_stack([x, y, z])
        limit = np.array([self.grid.cols, self.grid.rows, len(self.heights) - 1]) - 1
        base = np.clip(np.floor(along).astype(np.int64), 0, limit)
        part = np.clip(along - base, 0.0, 1.0)
        numbers = np.empty((len(points), 8), dtype=np.int64)
        weights = np.empty((len(points), 8))
        for corner in range(8):
            step = np.array([corner & 1, (corner >> 1) & 1, corner >> 2])
            at = base + step + 1
            numbers[:, corner] = self.body.numbers[at[:, 0], at[:, 1], at[:, 2]]
            weights[:, corner] = np.prod(np.where(step == 1, part, 1.0 - part), axis=1)
        return numbers, np.where(numbers >= 0, weights, 0.0)

    def plane_volumes(self) -> Floats:
        """Return the material that goes with every height, half of each layer to its planes [mm^3]."""
        parts = np.bitwise_count(self.masks).sum(axis=(0, 1), dtype=np.float64)
        layers = parts / 16.0 * self.grid.pitch**2 * np.diff(self.heights)
        return np.asarray(0.5 * (np.append(layers, 0.0) + np.append(0.0, layers)))

    def thermal_load(self, plane: int) -> Floats:
        """Return node loads for unit free strain in one plane of nodes, falling to its neighbours [N]."""
        out = np.zeros((len(self.body.places), 3))
        for layer, end in ((plane - 1, 1), (plane, 0)):
            if not 0 <= layer < len(self.heights) - 1:
                continue
            i, j = np.nonzero(self.body.cells[:, :, 1 + layer] >= 0)
            loads = self.thermal[self.body.cells[i, j, 1 + layer], :, end].reshape(-1, 8, 3)
            for corner in range(8):
                at = i + (corner & 1), j + ((corner >> 1) & 1), 1 + layer + (corner >> 2)
                np.add.at(out, self.body.numbers[at], loads[:, corner])
        return out


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
        loaded = np.flatnonzero(np.any(column != 0.0, axis=1))
        number.append(loaded)
        pattern.append(np.full(len(loaded), count - 1))
        value.append(column[loaded])
    all_numbers = np.concatenate(number)
    order = np.argsort(all_numbers, kind="stable")
    starts = np.searchsorted(all_numbers[order], np.arange(nodes + 1))
    return Loads(starts, np.concatenate(pattern)[order], np.concatenate(value)[order], count)


def filled_parts(plan: BaseGeometry, grid: Grid) -> npt.NDArray[np.uint16]:
    """Return the pattern of full parts of every cell in plan, shape (nx, ny)."""
    fine = grid.pitch / PARTS
    x = grid.x0 + fine * (np.arange(grid.cols * PARTS) + 0.5)
    y = grid.y0 + fine * (np.arange(grid.rows * PARTS) + 0.5)
    shapely.prepare(plan)
    full = shapely.contains_xy(plan, *np.meshgrid(x, y, indexing="ij"))
    parts = full.reshape(grid.cols, PARTS, grid.rows, PARTS).transpose(0, 2, 3, 1)
    bits = parts.reshape(grid.cols, grid.rows, PARTS**2).astype(np.uint32) << np.arange(PARTS**2)
    return np.asarray(bits.sum(axis=-1), dtype=np.uint16)


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
    masks, sizes = _stacked(section, grid)
    counts = np.bitwise_count(masks)
    solid = _largest_piece(counts >= _LEAST_PARTS)
    if not solid.any():
        raise FiredeckError(
            f"nothing is left of the {section.side} on a grid of {grid.pitch:.3g} mm",
            remedy="use a finer grid",
        )
    volume = counts * sizes
    left_out = 1.0 - float(volume[:, :, :][solid].sum() / volume.sum())
    kept = np.where(solid, masks, np.uint16(0)).astype(np.uint16)
    cells, matrices, thermal = _element_matrices(kept, sizes, grid.pitch, section)
    return BodyMesh(section, grid, kept, _numbered(cells, matrices), thermal, left_out)


def _stacked(section: BodySection, grid: Grid) -> tuple[npt.NDArray[np.uint16], Floats]:
    plans = [(filled_parts(layer.plan, grid), layer) for layer in section.layers]
    masks = [mask for mask, layer in plans for _ in range(layer.elements)]
    sizes = [layer.thickness / layer.elements for _, layer in plans for _ in range(layer.elements)]
    if section.side == "block":
        masks.reverse()
        sizes.reverse()
    return np.stack(masks, axis=2), np.asarray(sizes)


def _largest_piece(solid: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    pieces, _ = ndimage.label(solid)
    sizes = np.bincount(pieces.ravel())
    sizes[0] = 0
    return np.asarray((pieces == np.argmax(sizes)) & solid)


def _element_matrices(
    masks: npt.NDArray[np.uint16], sizes: Floats, pitch: float, section: BodySection
) -> tuple[npt.NDArray[np.int32], Floats, Floats]:
    cells = np.full([n + 2 for n in masks.shape], -1, dtype=np.int32)
    matrices, thermal = [np.zeros((0, 24, 24))], [np.zeros((0, 24, 2))]
    count = 0
    for size in np.unique(sizes):
        layers = np.flatnonzero(sizes == size)
        part = masks[:, :, layers]
        patterns, which = np.unique(part, return_inverse=True)
        stiffness, swelling = brick_matrices(
            patterns, np.array([pitch, pitch, size]), section.material.poisson
        )
        cells[1:-1, 1:-1, 1 + layers] = np.where(part > 0, which.reshape(part.shape) + count, -1)
        matrices.append(section.modulus * stiffness)
        thermal.append(section.modulus * swelling)
        count += len(patterns)
    return cells, np.concatenate(matrices), np.concatenate(thermal)


def _numbered(cells: npt.NDArray[np.int32], matrices: Floats) -> GridBody:
    shape = [n + 1 for n in cells.shape]
    present = np.zeros(shape, dtype=bool)
    nx, ny, nz = cells.shape
    for corner in range(8):
        a, b, c = corner & 1, (corner >> 1) & 1, corner >> 2
        present[a : a + nx, b : b + ny, c : c + nz] |= cells >= 0
    places = np.argwhere(present).astype(np.int64)
    numbers = np.full(shape, -1, dtype=np.int32)
    numbers[present] = np.arange(len(places))
    return GridBody(places, numbers, cells, matrices)
