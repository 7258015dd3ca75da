"""What squares of a plan's cells are filled: pieces that hang together, and how much of each part."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

from firedeck.kernel.joined import top

__all__ = ["parts_covered", "tallied", "told_apart"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Small = npt.NDArray[np.int32]

#: Covered share beyond which a square counts as filled [1].
_FILLED = 0.5


@njit(cache=True, nogil=True)
def told_apart(cover: Floats) -> tuple[Small, int]:
    """Label the pieces of every cell whose filled squares hang together by their edges.

    Parameters
    ----------
    cover : ndarray, shape (cells, side, side)
        Covered share of every square [1].

    Returns
    -------
    labels : ndarray of int32, shape (cells, side, side)
        Piece of every square, counted from one, cell by cell; 0 where it is not filled.
    count : int
        How many pieces there are.
    """
    labels, above = np.zeros(cover.shape, dtype=np.int32), np.empty(cover[0].size, dtype=np.int64)
    count = 0
    for cell in range(len(cover)):
        filled = _filled_squares(cover[cell])
        if filled == cover[cell].size:
            count += 1
            labels[cell] = count
        elif filled:
            _join_squares(cover[cell], above)
            count = _label_squares(cover[cell], above, labels[cell], count)
    return labels, count


@njit(cache=True, nogil=True)
def _filled_squares(cover: Floats) -> int:
    filled = 0
    for share in cover.flat:
        filled += int(share > _FILLED)
    return filled


@njit(cache=True, nogil=True)
def _join_squares(cover: Floats, above: Ints) -> None:
    """Hang every filled square of a cell on an earlier one of its piece, the first on itself."""
    side = len(cover)
    for i in range(side):
        for j in range(side):
            square = i * side + j
            above[square] = square
            if cover[i, j] <= _FILLED:
                continue
            if j and cover[i, j - 1] > _FILLED:
                above[square] = top(above, square - 1)
            if i and cover[i - 1, j] > _FILLED:
                one, other = top(above, square - side), above[square]
                above[max(one, other)] = above[square] = min(one, other)


@njit(cache=True, nogil=True)
def _label_squares(cover: Floats, above: Ints, labels: Small, count: int) -> int:
    """Label the squares of a cell by what they hang on; return how many pieces there are by now."""
    side = len(cover)
    for i in range(side):
        for j in range(side):
            if cover[i, j] <= _FILLED:
                continue
            first = top(above, i * side + j)
            if first == i * side + j:
                count += 1
                labels[i, j] = count
            else:
                labels[i, j] = labels[first // side, first % side]
    return count


@njit(cache=True, nogil=True)
def parts_covered(cover: Floats, fine: int) -> Floats:
    """Return the covered share of every part of every cell, shape (cells, parts), x fastest [1].

    Parameters
    ----------
    cover : ndarray, shape (cells, side, side)
        Covered share of every square [1].
    fine : int
        Squares to a part, each way.
    """
    side = cover.shape[1]
    across = side // fine
    shares = np.zeros((len(cover), across**2))
    for cell in range(len(cover)):
        for y in range(across):
            for x in range(across):
                share = 0.0
                for i in range(fine):
                    for j in range(fine):
                        share += cover[cell, x * fine + i, y * fine + j]
                shares[cell, x + across * y] = share / fine**2
    return shares


@njit(cache=True, nogil=True)
def tallied(labels: Small, count: int, fine: int) -> tuple[Ints, Ints]:
    """Return the cell of every label, and how many squares of every part of it the label has.

    Parameters
    ----------
    labels : ndarray of int32, shape (cells, side, side)
        Label of every square of every cell, counted from one; 0 for none.
    count : int
        How many labels there are.
    fine : int
        Squares to a part, each way.

    Returns
    -------
    cell : ndarray of int, shape (count,)
        Cells.
    squares : ndarray of int, shape (count, parts)
        Squares of every part, the first index of a square fastest.
    """
    side = labels.shape[1]
    across = side // fine
    cell, squares = np.zeros(count, dtype=np.int64), np.zeros((count, across**2), dtype=np.int64)
    for place in range(len(labels)):
        for x in range(side):
            part = x // fine
            for y in range(side):
                label = labels[place, x, y] - 1
                if label >= 0:
                    cell[label] = place
                    squares[label, part] += 1
                if (y + 1) % fine == 0:
                    part += across
    return cell, squares
