"""Leak paths through a map of contact pressure: heights, deciding cells and routes.

A fluid finds its way between two media along the path on which the highest contact
pressure it meets is lowest. That height is the pair's *saddle*, a minimax path; all
pairs of media come from one pass over the map (`saddle_matrix`), the path itself is
traced when asked for (`trace_path`).

A path steps to any of a cell's eight neighbours. A gap across a corner therefore counts
as open, which can only lower a saddle: the answer errs towards telling of a leak. A wall
of sealing pressure must be joined edge to edge, so a seal drawn narrower than two cells
is read too low; the grid must be finer than that.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firedeck.errors import FiredeckError
from firedeck.kernel.breach_bands import Band, reduce_band
from firedeck.kernel.breach_join import first_connections
from firedeck.kernel.breach_route import CLOSED, ENTERED, LEFT, OPEN, route_from
from firedeck.kernel.breach_sets import Floats, Ints

__all__ = ["Saddles", "saddle_matrix", "trace_path"]

#: Cells to a band: large enough that its edge is a small part of it, small enough for the cache.
BAND_CELLS = 1 << 18
#: Media on one map, so that the table of pairs stays small.
MOST_MEDIA = 1000


@dataclass(frozen=True, eq=False)
class Saddles:
    """The saddle of every pair of media.

    Row and column k - 1 of each array belong to medium k. Pairs that nothing connects
    have an infinite height and the cell (-1, -1); so has the diagonal's cell, its height
    is 0. Media that touch each other have height 0 and a cell of one of them.

    Attributes
    ----------
    heights : (K, K) float64 array
        Lowest height at which the two media are connected, on a path that may run
        through other media [MPa].
    cells : (K, K, 2) int32 array
        Row and column of the cell that decides it; one of them where several are equal.
    direct_heights : (K, K) float64 array
        The same for paths that enter no third medium [MPa].
    direct_cells : (K, K, 2) int32 array
        Row and column of the cell that decides the direct path.
    """

    heights: Floats
    cells: NDArray[np.int32]
    direct_heights: Floats
    direct_cells: NDArray[np.int32]

    def chain(self, a: int, b: int) -> tuple[int, ...]:
        """Media that the path from one medium to another runs through.

        Parameters
        ----------
        a, b : int
            The two media, 1..K.

        Returns
        -------
        tuple of int
            Media from `a` to `b`, both included, with the fewest legs among the chains
            whose every direct leg stays at or below the pair's height; empty when nothing
            connects them.
        """
        height = self.heights[a - 1, b - 1]
        if np.isinf(height):
            return ()
        came_from, queue = {a: 0}, [a]
        for medium in queue:
            legs = np.flatnonzero(self.direct_heights[medium - 1] <= height) + 1
            onward = [int(other) for other in legs if other not in came_from]
            came_from.update(dict.fromkeys(onward, medium))
            queue.extend(onward)
        chain = [b]
        while chain[-1] != a:
            chain.append(came_from[chain[-1]])
        return tuple(reversed(chain))


@dataclass(frozen=True)
class _Sheet:
    """A checked map: pressure [MPa], media 0..K, and the cells no path may enter."""

    pressure: NDArray[Any]
    media: NDArray[Any]
    blocked: NDArray[np.bool_] | None

    def cut(self, top: int, bottom: int) -> tuple[Floats, Ints]:
        """Pressure and media of some rows with a margin of one cell; infinite where closed."""
        rows, cols = self.pressure.shape
        low, high = max(top - 1, 0), min(bottom + 1, rows)
        inside = slice(low - top + 1, high - top + 1), slice(1, cols + 1)
        field = np.full((bottom - top + 2, cols + 2), np.inf)
        media = np.zeros(field.shape, np.int32)
        field[inside], media[inside] = self.pressure[low:high], self.media[low:high]
        np.copyto(field, np.inf, where=media > 0)
        if self.blocked is not None:
            np.copyto(field[inside], np.inf, where=self.blocked[low:high])
        _check_pressure(field, top)
        return field, media

    def entry(self, height: float, a: int, b: int) -> Ints:
        """Tell what each cell is to a path from `a` to `b` that meets no more than a height [MPa]."""
        state = np.full((self.media.shape[0] + 2, self.media.shape[1] + 2), CLOSED, np.uint8)
        inside = state[1:-1, 1:-1]
        np.copyto(inside, OPEN, where=self.pressure <= height)
        if self.blocked is not None:
            np.copyto(inside, CLOSED, where=self.blocked)
        np.copyto(inside, CLOSED, where=self.media > 0)
        np.copyto(inside, LEFT, where=self.media == a)
        np.copyto(inside, ENTERED, where=self.media == b)
        return state


def saddle_matrix(
    pressure: ArrayLike,
    media: ArrayLike,
    *,
    blocked: ArrayLike | None = None,
    count: int | None = None,
    band_rows: int | None = None,
) -> Saddles:
    """Saddles of all pairs of media on a map of contact pressure.

    Exact: every height is a value of the map, none is rounded. Time grows with the number
    of cells; the map is taken in bands of rows, several at a time, so that the memory
    needed beside it hardly grows.

    Parameters
    ----------
    pressure : (rows, cols) array of float or int
        Contact pressure [MPa], not negative; infinite means that no path enters. Cells that
        are blocked or belong to a medium are not looked at and may hold anything.
    media : (rows, cols) array of int
        Medium of each cell, 1..K (bores, ports, the outside); 0 where there is none. The
        cells of one medium need not hang together: it is at one pressure throughout.
    blocked : (rows, cols) array of bool, optional
        True where no path may enter. A cell that belongs to a medium belongs to it all the same.
    count : int, optional
        Number of media K; the highest in the map if not given.
    band_rows : int, optional
        Rows taken at a time; suited to the processor's cache if not given. Changes time and
        memory, never the result.

    Returns
    -------
    Saddles
        Heights and deciding cells, through other media and direct.

    Raises
    ------
    FiredeckError
        When the arrays do not fit together, or an open cell's pressure is negative or NaN.

    Notes
    -----
    Each band is reduced to a small tree (see `firedeck.kernel.breach_bands`), the trees are
    joined, and their merges taken by rising height; a merge of two parts of the map connects
    each medium one part touches with each the other touches, for the first time if at all.
    Media are no part of those trees, so these connections are direct; paths through other
    media are chains of them.
    """
    sheet = _check(pressure, media, blocked)
    direct, decides = first_connections(_bands(sheet, band_rows), _count_media(sheet, count))
    heights, cells = _through(direct, decides)
    cols = sheet.media.shape[1]
    return Saddles(heights, _row_and_col(cells, cols), direct, _row_and_col(decides, cols))


def trace_path(
    pressure: ArrayLike,
    media: ArrayLike,
    a: int,
    b: int,
    cell: Sequence[int] | NDArray[np.int32],
    *,
    blocked: ArrayLike | None = None,
) -> NDArray[np.int32]:
    """Leak path between two media through the cell that decides it.

    Of the direct paths that meet no more than the pair's saddle and run through its cell
    this is the shortest, steps across a corner counted as 17/12 cells.

    Parameters
    ----------
    pressure, media, blocked
        The map, as for `saddle_matrix`.
    a, b : int
        The two media, 1..K.
    cell : (2,) sequence of int
        Row and column of the deciding cell: `Saddles.direct_cells` of the pair. For a path
        through other media trace each leg of `Saddles.chain`.

    Returns
    -------
    (n, 2) int32 array
        Row and column of each cell, the first in `a`, the last in `b`, every one between
        them in no medium and at or below the pressure of `cell`.

    Raises
    ------
    FiredeckError
        When the arrays do not fit together or the cell does not connect the two media.
    """
    sheet = _check(pressure, media, blocked)
    row, col = int(cell[0]), int(cell[1])
    if not (0 <= row < sheet.media.shape[0] and 0 <= col < sheet.media.shape[1]):
        raise FiredeckError(f"Cell ({row}, {col}) lies outside the map.", remedy=_CELL_REMEDY)
    in_medium = sheet.media[row, col] > 0
    state = sheet.entry(0.0 if in_medium else float(sheet.pressure[row, col]), a, b)
    route = None if state[row + 1, col + 1] == CLOSED else route_from((row + 1, col + 1), state)
    if route is None:
        raise FiredeckError(
            f"No path from medium {a} to medium {b} runs through cell ({row}, {col}) at its pressure.",
            remedy=_CELL_REMEDY,
        )
    return _row_and_col(route, state.shape[1]) - 1


_CELL_REMEDY = "Give the cell that the saddles of the same map name for this pair."


def _check(pressure: ArrayLike, media: ArrayLike, blocked: ArrayLike | None) -> _Sheet:
    pressure, media = np.asarray(pressure), np.asarray(media)
    shut = None if blocked is None else np.asarray(blocked)
    if pressure.ndim != 2 or pressure.size == 0 or not np.can_cast(pressure.dtype, np.float64):
        raise FiredeckError(
            f"A map of pressure has rows and columns of real numbers, not shape {pressure.shape} "
            f"of {pressure.dtype}."
        )
    for name, other, kinds in (("media", media, "iu"), ("blocked", shut, "b")):
        if other is not None and (other.shape != pressure.shape or other.dtype.kind not in kinds):
            raise FiredeckError(
                f"The array of {name} has shape {other.shape} of {other.dtype}; the map has shape "
                f"{pressure.shape} and needs {'integers' if kinds == 'iu' else 'true or false'}."
            )
    if media.min() < 0:
        raise FiredeckError("Media are numbered from 1, with 0 for none; the map holds a negative number.")
    return _Sheet(pressure, media, shut)


def _count_media(sheet: _Sheet, announced: int | None) -> int:
    highest = int(sheet.media.max())
    count = highest if announced is None else announced
    if not highest <= count <= MOST_MEDIA:
        raise FiredeckError(
            f"The map holds medium {highest}, {count} media were announced, {MOST_MEDIA} are possible.",
            remedy="Number the media from 1 without gaps.",
        )
    return count


def _check_pressure(field: Floats, top: int) -> None:
    fit = field >= 0.0
    if not fit.all():
        row, col = np.argwhere(~fit)[0]
        raise FiredeckError(
            f"The pressure of cell ({top + row - 1}, {col - 1}) is {field[row, col]:g} MPa, "
            "which is no contact pressure.",
            remedy="Block the cells without a reading, and set small negative readings to zero.",
        )


def _bands(sheet: _Sheet, band_rows: int | None) -> list[Band]:
    """Reduce all bands of a map, as many at a time as there are processors."""
    rows, cols = sheet.media.shape
    deep = band_rows or max(16, BAND_CELLS // cols)

    def reduce(top: int) -> Band:
        return reduce_band(*sheet.cut(top, min(top + deep, rows)), top)

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(reduce, range(0, rows, deep)))


def _through(direct: Floats, decides: Ints) -> tuple[Floats, Ints]:
    """Heights and deciding cells of the lowest chains of direct connections."""
    heights, cells = direct.copy(), decides.copy()
    group = {k: [k] for k in range(len(direct))}
    pairs = np.argwhere(np.triu(np.isfinite(direct), 1))
    for a, b in pairs[np.argsort(direct[tuple(pairs.T)], kind="stable")]:
        if group[a] is group[b]:
            continue
        for one, other in ((group[a], group[b]), (group[b], group[a])):
            lower = np.ix_(one, other)
            cells[lower] = np.where(direct[lower] > direct[a, b], decides[a, b], cells[lower])
            heights[lower] = direct[a, b]
        joined = group[a] + group[b]
        group.update(dict.fromkeys(joined, joined))
    return heights, cells


def _row_and_col(cells: Ints, cols: int) -> NDArray[np.int32]:
    """Row and column of flat indices, (-1, -1) of -1."""
    pairs = np.stack([cells // cols, cells % cols], axis=-1)
    pairs[cells < 0] = -1
    return pairs.astype(np.int32)
