"""What a plan fills of the cells of a grid: connected pieces of material, and how much of each part.

A cell may hold several pieces: a wall on either side of a slot. They are kept apart, because a
finite element that spanned the slot would tie the walls together that the slot parts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from firedeck.contact.lattice import Lattice
from firedeck.kernel.coverage import covered
from firedeck.kernel.filling import parts_covered, tallied, told_apart
from firedeck.kernel.hexahedron import PARTS
from firedeck.kernel.joined import met

__all__ = ["FULL_PART", "Pieces", "meetings", "plan_pieces"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Counts = npt.NDArray[np.uint8]

#: Squares to a part of a cell, each way, in which pieces are told apart.
_FINE = 2
#: Squares to a cell, each way.
SQUARES = PARTS * _FINE

#: Counts of a part that is filled whole: shares are kept in steps, so that like cells share their matrix [1].
FULL_PART = 64


@dataclass(frozen=True)
class Pieces:
    """Pieces of material of one plan.

    Attributes
    ----------
    labels : ndarray of int32, shape (nx, ny, SQUARES, SQUARES)
        Piece of every square of every cell, counted from one; 0 where there is no material.
    cells : ndarray of int, shape (pieces, 2)
        Cell of every piece.
    filled : ndarray of uint8, shape (pieces, PARTS ** 2)
        How much of every part of the cell the piece fills, x fastest, in counts up to `FULL_PART` [1].
    """

    labels: npt.NDArray[np.int32]
    cells: Ints
    filled: Counts


def plan_pieces(plan: BaseGeometry, grid: Lattice) -> Pieces:
    """Return the pieces of material in the cells of a grid.

    Parameters
    ----------
    plan : shapely geometry
        Where there is material [mm].
    grid : Lattice
        The cells.
    """
    nx, ny = grid.cols, grid.rows
    by_line = _squares(plan, grid).reshape(nx, SQUARES, ny, SQUARES)
    cover = by_line.transpose(0, 2, 1, 3).reshape(nx * ny, SQUARES, SQUARES)
    labels, count = told_apart(cover)
    cells, filled = _shared_out(labels, count, parts_covered(cover, _FINE))
    return Pieces(labels.reshape(nx, ny, SQUARES, SQUARES), np.column_stack(np.divmod(cells, ny)), filled)


def _squares(plan: BaseGeometry, grid: Lattice) -> Floats:
    """Return the covered share of every square, shape (nx SQUARES, ny SQUARES)."""
    shape = grid.cols * SQUARES, grid.rows * SQUARES
    ends = [(lines[0], lines[-1]) for lines in grid.lines]
    inside = shapely.intersection(plan, shapely.box(ends[0][0], ends[1][0], ends[0][1], ends[1][1]))
    # Short edges, because a slanted one bends where cells of different widths meet.
    inside = shapely.segmentize(inside, 0.25 * grid.pitch)
    polygons = shapely.orient_polygons(
        [one for one in shapely.get_parts(inside) if one.geom_type == "Polygon"]
    )
    rings = [ring for one in polygons for ring in shapely.get_rings(one)]
    counts = [len(ring.coords) for ring in rings]
    starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    points = SQUARES * grid.indices(shapely.get_coordinates(rings))
    return covered(np.clip(points, 0.0, np.array(shape, dtype=np.float64)), starts, shape)


def _shared_out(labels: npt.NDArray[np.int32], count: int, parts: Floats) -> tuple[Ints, Counts]:
    """Return the cell of every piece and how much of every part it fills."""
    place, own = tallied(labels, count, _FINE)
    squares = own.astype(np.float64)
    # What hardly reaches into a part fills no square of it: the piece that has most of the cell takes it.
    order = np.argsort(squares.sum(axis=1), kind="stable")
    largest = np.full(len(labels), -1, dtype=np.int64)
    largest[place[order]] = order
    # Pieces are counted cell by cell.
    starts = np.flatnonzero(np.diff(place, prepend=-1))
    total = np.zeros((len(labels), PARTS**2))
    if count:
        total[place[starts]] = np.add.reduceat(squares, starts)
    heir, at = np.nonzero((total == 0.0) & (parts > 0.0) & (largest >= 0)[:, None])
    squares[largest[heir], at] = total[heir, at] = 1.0
    shares = parts[place] * squares / np.maximum(total[place], 1.0)
    return place, np.round(FULL_PART * shares).astype(np.uint8)


def meetings(first: npt.NDArray[np.int32], second: npt.NDArray[np.int32]) -> Ints:
    """Return which pieces meet, as pairs of labels, shape (pairs, 2).

    Parameters
    ----------
    first, second : ndarray of int32, of one shape
        Labels on either side of the squares' common faces; 0 where there is no material.
    """
    # One number to a pair: many times faster to sort than rows.
    width = int(second.max(initial=0)) + 1
    pairs = np.unique(met(first.ravel(), second.ravel(), width))
    return np.column_stack(np.divmod(pairs, width))
