"""Bricks of a layered section: which piece of material fills each, and which nodes they share.

Two bricks share the nodes of their common face if the pieces of material in them meet there, and
only then; a place of the grid has several nodes where a slot passes it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from firedeck.contact.lattice import Lattice
from firedeck.contact.pieces import FULL_PART, Pieces, meetings, plan_pieces
from firedeck.contact.section import BodySection
from firedeck.kernel.hexahedron import brick_matrices
from firedeck.kernel.joined import joined

__all__ = ["Bricks", "bricks_of", "element_matrices"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Bricks that are filled less than this are left out [1].
_LEAST_FILL = 0.005

#: Corners of a brick, x fastest, in the face toward greater x, y or z, and their like on the other side.
_FAR = ((1, 3, 5, 7), (2, 3, 6, 7), (4, 5, 6, 7))
_NEAR = ((0, 2, 4, 6), (0, 1, 4, 5), (0, 1, 2, 3))


@dataclass(frozen=True)
class Bricks:
    """Bricks and the nodes they share.

    Attributes
    ----------
    cells : ndarray of int, shape (m, 3)
        Cell of every brick along x, y and z.
    filled : ndarray of uint8, shape (m, PARTS ** 2)
        How much of every part of a brick is filled, in counts up to `FULL_PART` [1].
    volumes : ndarray, shape (m,)
        Material in every brick [mm^3].
    corners : ndarray of int32, shape (m, 8)
        Nodes of every brick, x fastest, then y, then z.
    places : ndarray of int, shape (nodes, 3)
        Grid indices of the nodes, rising.
    left_out : float
        Material of bricks that are hardly filled or hang on nothing, share of the volume [1].
    layers : tuple of (Pieces, ndarray of int)
        By layer of cells: pieces in plan, and the brick of every label, -1 where there is none.
    """

    cells: Ints
    filled: npt.NDArray[np.uint8]
    volumes: Floats
    corners: npt.NDArray[np.int32]
    places: Ints
    left_out: float
    layers: tuple[tuple[Pieces, Ints], ...]

    @cached_property
    def _fullest(self) -> Ints:
        """Brick with most material of every cell, -1 where there is none."""
        nx, ny = self.layers[0][0].labels.shape[:2]
        out = np.full((nx, ny, len(self.layers)), -1, dtype=np.int64)
        order = np.argsort(self.volumes, kind="stable")
        out[tuple(self.cells[order].T)] = order
        return out

    def at(self, cells: Ints, squares: Ints) -> Ints:
        """Return the brick that fills each place, else the cell's fullest, -1 where a cell has none.

        Parameters
        ----------
        cells : ndarray of int, shape (n, 3)
            Cells.
        squares : ndarray of int, shape (n, 2)
            Squares of the cells in plan.
        """
        out = self._fullest[tuple(cells.T)]
        for layer in np.unique(cells[:, 2]):
            own = np.flatnonzero(cells[:, 2] == layer)
            pieces, bricks = self.layers[layer]
            there = bricks[pieces.labels[(*cells[own, :2].T, *squares[own].T)]]
            out[own] = np.where(there >= 0, there, out[own])
        return np.asarray(out)


def bricks_of(section: BodySection, grid: Lattice) -> Bricks:
    """Return the bricks of a section on a grid; none if no material is on it.

    Parameters
    ----------
    section : BodySection
        The body.
    grid : Lattice
        Cells in plan.
    """
    pieces = _stacked(section, grid)
    counts = np.array([len(one.cells) for one in pieces])
    firsts = np.concatenate([[0], np.cumsum(counts)])
    layer = np.repeat(np.arange(len(pieces)), counts)
    cells = np.column_stack([np.concatenate([one.cells for one in pieces]), layer])
    filled = np.concatenate([one.filled for one in pieces])
    share = filled.mean(axis=1) / FULL_PART
    volumes = share * _sides(cells, section, grid).prod(axis=1)
    pairs = list(_meeting(pieces, firsts))
    face = 0 if section.side == "head" else len(pieces)
    nodes, places = _shared_nodes(cells, pairs, face)
    kept = _largest_piece(len(cells), pairs, share >= _LEAST_FILL, volumes)
    numbers = np.full(len(cells) + 1, -1, dtype=np.int64)
    numbers[1 + kept] = np.arange(len(kept))
    met = np.zeros(len(places), dtype=bool)
    met[nodes[kept]] = True
    corners = (np.cumsum(met) - 1)[nodes[kept]]
    return Bricks(
        cells[kept],
        filled[kept],
        volumes[kept],
        corners.astype(np.int32),
        places[met],
        1.0 - float(volumes[kept].sum() / max(volumes.sum(), 1e-300)),
        tuple(
            (one, np.concatenate([[-1], numbers[1 + first : 1 + past]]))
            for one, first, past in zip(pieces, firsts[:-1], firsts[1:], strict=True)
        ),
    )


def _sides(cells: Ints, section: BodySection, grid: Lattice) -> Floats:
    """Return the sides of cells, shape (m, 3) [mm]."""
    # Rounded, because the same width comes as a difference of other lines each time.
    widths = [np.round(np.diff(lines), 9) for lines in (*grid.lines, np.asarray(section.planes))]
    return np.column_stack([width[cells[:, axis]] for axis, width in enumerate(widths)])


def _stacked(section: BodySection, grid: Lattice) -> list[Pieces]:
    """Return the pieces of every layer of cells, from below."""
    known = {id(layer.plan): layer.plan for layer in section.layers}
    found = {key: plan_pieces(plan, grid) for key, plan in known.items()}
    pieces = [found[id(layer.plan)] for layer in section.layers for _ in range(layer.elements)]
    return pieces[::-1] if section.side == "block" else pieces


def _meeting(pieces: list[Pieces], firsts: Ints) -> Iterator[tuple[int, Ints]]:
    """Yield axis and pairs of bricks that meet across their common face."""
    within: dict[int, tuple[Ints, Ints]] = {}
    for number, one in enumerate(pieces):
        if id(one) not in within:
            labels = one.labels
            along = meetings(labels[:-1, :, -1, :], labels[1:, :, 0, :])
            across = meetings(labels[:, :-1, :, -1], labels[:, 1:, :, 0])
            within[id(one)] = (along, across)
        for axis, pairs in enumerate(within[id(one)]):
            yield axis, pairs - 1 + firsts[number]
        if number + 1 < len(pieces):
            above = pieces[number + 1]
            same = np.arange(1, len(one.cells) + 1)
            pairs = np.column_stack([same, same]) if above is one else meetings(one.labels, above.labels)
            yield 2, pairs - 1 + firsts[number : number + 2]


def _shared_nodes(cells: Ints, pairs: list[tuple[int, Ints]], face: int) -> tuple[Ints, Ints]:
    """Return the nodes of every brick, shape (m, 8), and their places, rising.

    In the sealing plane a place has one node: gasket and gas are laid on it.
    """
    steps = np.array([(k & 1, (k >> 1) & 1, k >> 2) for k in range(8)])
    at = (cells[:, None, :] + steps).reshape(-1, 3)
    ends = [
        (8 * met[:, :1] + np.array(_FAR[axis]), 8 * met[:, 1:] + np.array(_NEAR[axis])) for axis, met in pairs
    ]
    place = np.ravel_multi_index(tuple(at.T), tuple(at.max(axis=0, initial=0) + 1))
    flat = np.flatnonzero(at[:, 2] == face)
    flat = flat[np.argsort(place[flat], kind="stable")]
    same = place[flat[1:]] == place[flat[:-1]]
    ends.append((flat[:-1][same], flat[1:][same]))
    rows, columns = (np.concatenate([end[side].ravel() for end in ends]) for side in (0, 1))
    leader = joined(len(at), rows, columns)
    own = np.flatnonzero(leader == np.arange(len(at)))
    own = own[np.argsort(place[own], kind="stable")]
    rank = np.empty(len(at), dtype=np.int64)
    rank[own] = np.arange(len(own))
    return rank[leader].reshape(-1, 8), at[own]


def _largest_piece(
    count: int, pairs: list[tuple[int, Ints]], filled: npt.NDArray[np.bool_], volumes: Floats
) -> Ints:
    """Return the bricks that are filled and hang together by faces, rising."""
    met = np.concatenate([np.zeros((0, 2), dtype=np.int64), *(own for _, own in pairs)])
    met = met[filled[met].all(axis=1)]
    piece = joined(count, met[:, 0], met[:, 1])
    sizes = np.bincount(piece[filled], volumes[filled], minlength=1)
    if not sizes.any():
        return np.zeros(0, dtype=np.int64)
    return np.flatnonzero(filled & (piece == np.argmax(sizes)))


def element_matrices(
    bricks: Bricks, section: BodySection, grid: Lattice
) -> tuple[npt.NDArray[np.int32], Floats, Floats]:
    """Return the matrix of every brick, and stiffness and thermal loads of the matrices [N/mm, N].

    Parameters
    ----------
    bricks : Bricks
        The bricks.
    section : BodySection
        Their material and heights.
    grid : Lattice
        Cells in plan.
    """
    sides = _sides(bricks.cells, section, grid)
    # Compared byte by byte, as short as can be: sorting rows by their numbers takes many times as long.
    each = np.concatenate([sides.view(np.uint8).reshape(len(sides), -1), bricks.filled], axis=1)
    _, first, kinds = np.unique(
        each.view(np.dtype((np.void, each.shape[1]))).ravel(), return_index=True, return_inverse=True
    )
    shares = bricks.filled[first] / FULL_PART
    stiffness, swelling = brick_matrices(shares, sides[first], section.material.poisson)
    return kinds.astype(np.int32), section.modulus * stiffness, section.modulus * swelling
