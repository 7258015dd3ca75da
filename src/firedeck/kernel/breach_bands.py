"""Reduce a band of rows of a map to the few merges that can matter beyond it.

A cell matters to leak paths only where it joins what was apart. Cells are taken in
order of pressure, equal ones in order of place. Of a cell's eight neighbours those
below it form one or more groups that touch one another; with no group the cell is the
bottom of a basin, with one it merely drains, with more it is a *pass* between the
basins the groups drain to. Passes, sorted, grow a tree over basins; a basin that
touches no medium and no edge of the band is absorbed at its lowest pass, because no
path between media is ever decided inside it. What stays is a small tree.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from firedeck.kernel.breach_sets import Floats, Ints, find, join, order_of

__all__ = ["Band", "reduce_band"]

# The ring of neighbours, clockwise from the upper left; bit k of a mask is neighbour k.
_RING_ROWS = (-1, -1, -1, 0, 1, 1, 1, 0)
_RING_COLS = (-1, 0, 1, 1, 1, 0, -1, -1)
# Groups are named by the neighbour that comes first here: one that already has its basin if there
# is one, and one of the same row before one that may lie outside the band.
_PREFERENCE = (7, 1, 0, 2, 3, 6, 5, 4)
_BACKWARD = (0, 1, 2, 7)


class Band(NamedTuple):
    """What a band of rows leaves for the whole.

    Attributes
    ----------
    medium : (n,) int32 array
        Medium 1..K that each remaining node touches, 0 for none.
    rims : (4, cols) int32 array
        Node of each cell of the band's first and last row, and of the foreign row
        above and below it; -1 where there is none.
    heights : (m,) float64 array
        Height of each remaining merge [MPa].
    cells : (m,) int64 array
        Flat index in the map of the cell that makes each merge.
    ends : (m, 2) int32 array
        The two nodes that each merge joins.
    touches : (t, 3) int64 array
        Flat index of a cell, its medium, and another medium it touches.
    """

    medium: Ints
    rims: Ints
    heights: Floats
    cells: Ints
    ends: Ints
    touches: Ints


def _groups_below() -> tuple[Ints, Ints]:
    """For each mask of lower neighbours: number of groups, and one neighbour of each."""
    counts = np.zeros(256, np.uint8)
    first = np.full((256, 4), -1, np.int8)
    for mask in range(256):
        left = {k for k in range(8) if mask >> k & 1}
        while left:
            seed = next(k for k in _PREFERENCE if k in left)
            group, grown = set(), {seed}
            while grown:
                group |= grown
                grown = {k for k in left - group if any(_touch(k, other) for other in group)}
            first[mask, counts[mask]] = seed
            counts[mask] += 1
            left -= group
    return counts, first


def _touch(one: int, other: int) -> bool:
    rows = abs(_RING_ROWS[one] - _RING_ROWS[other])
    return max(rows, abs(_RING_COLS[one] - _RING_COLS[other])) == 1


_GROUPS, _FIRST = _groups_below()


def reduce_band(field: Floats, media: Ints, top: int) -> Band:
    """Reduce one band of rows.

    Parameters
    ----------
    field : (rows + 2, cols + 2) float64 array
        Contact pressure of the band with one more row and column on every side [MPa];
        infinite where no path can run: outside the map, blocked, or in a medium.
    media : (rows + 2, cols + 2) int32 array
        Medium 1..K of each cell, 0 for none.
    top : int
        Row of the map in which the band begins.

    Returns
    -------
    Band
        The merges that can matter beyond the band.
    """
    return Band(*_reduce(field, media, top, _GROUPS, _FIRST))


@njit(cache=True, nogil=True)
def _reduce(
    field: Floats, media: Ints, top: int, groups: Ints, first: Ints
) -> tuple[Ints, Ints, Floats, Ints, Ints, Ints]:
    flat, cols = field.ravel(), field.shape[1] - 2
    steps = _steps(cols + 2)
    below = _lower_neighbours(field).ravel()
    basin, parent, passes = _drain(flat, below, groups, first, steps, cols)
    contacts, touches = _contacts(flat, media.ravel(), _beside_medium(media).ravel(), steps)
    cells, ends = _list_merges(below, basin, parent, passes, groups, first, steps)
    cells, ends = _add_contacts(cells, ends, basin, parent, contacts)
    heights = flat[cells]
    medium = np.zeros(len(parent) + len(contacts), np.int32)
    medium[len(parent) :] = contacts[:, 1]
    rims = _rim_nodes(field, basin, parent)
    owner, kept = _absorb(heights, ends, medium, rims)
    ends = ends[kept]
    medium = _renumber(owner, ends, medium, rims)
    touches[:, 0] = _places(touches[:, 0], top, cols)
    return medium, rims, heights[kept], _places(cells[kept], top, cols), ends, touches


@njit(cache=True, nogil=True)
def _steps(stride: int) -> Ints:
    steps = np.empty(8, np.int32)
    for k in range(8):
        steps[k] = _RING_ROWS[k] * stride + _RING_COLS[k]
    return steps


@njit(cache=True, nogil=True)
def _lower_neighbours(field: Floats) -> Ints:
    """Mask, per cell, of the neighbours that come before it in order of pressure and place."""
    below = np.zeros(field.shape, np.uint8)
    for row in range(1, field.shape[0] - 1):
        up, level, down, out = field[row - 1], field[row], field[row + 1], below[row]
        for j in range(1, field.shape[1] - 1):
            own = level[j]
            out[j] = (
                ((up[j - 1] <= own) * np.uint8(1))
                | ((up[j] <= own) * np.uint8(2))
                | ((up[j + 1] <= own) * np.uint8(4))
                | ((level[j + 1] < own) * np.uint8(8))
                | ((down[j + 1] < own) * np.uint8(16))
                | ((down[j] < own) * np.uint8(32))
                | ((down[j - 1] < own) * np.uint8(64))
                | ((level[j - 1] <= own) * np.uint8(128))
            )
    return below


@njit(cache=True, nogil=True)
def _drain(
    flat: Floats, below: Ints, groups: Ints, first: Ints, steps: Ints, cols: int
) -> tuple[Ints, Ints, Ints]:
    """Give every cell its basin node; also the nodes' sets and the cells that are passes.

    A cell that drains to a later one opens a node of its own, joined once the later cell has its
    node. The cells of the foreign rows above and below are nodes 0 .. 2 cols - 1.
    """
    basin = np.full(len(flat), -1, np.int32)
    basin[1 : cols + 1] = np.arange(cols)
    basin[len(flat) - cols - 1 : len(flat) - 1] = np.arange(cols, 2 * cols)
    waiting = np.empty(len(flat), np.int32)
    passes = np.empty(len(flat), np.int32)
    node, pass_count = 2 * cols, 0
    for cell in range(cols + 3, len(flat) - cols - 3):
        if flat[cell] == np.inf:
            continue
        mask = below[cell]
        toward = first[mask, 0]
        if toward == 7 or 0 <= toward <= 2:
            basin[cell] = basin[cell + steps[toward]]
        else:
            basin[cell] = node
            waiting[node - 2 * cols] = cell
            node += 1
        if groups[mask] > 1:
            passes[pass_count] = cell
            pass_count += 1
    parent = np.arange(node).astype(np.int32)
    for opened in range(2 * cols, node):
        cell = waiting[opened - 2 * cols]
        toward = first[below[cell], 0]
        if toward >= 0:
            join(parent, find(parent, opened), find(parent, basin[cell + steps[toward]]))
    return basin, parent, passes[:pass_count]


@njit(cache=True, nogil=True)
def _list_merges(
    below: Ints, basin: Ints, parent: Ints, passes: Ints, groups: Ints, first: Ints, steps: Ints
) -> tuple[Ints, Ints]:
    """List the merges that the passes make: the cell, and the two basins it joins."""
    room = 0
    for cell in passes:
        room += groups[below[cell]] - 1
    cells, ends = np.empty(room, np.int32), np.empty((room, 2), np.int32)
    count = 0
    for cell in passes:
        mask = below[cell]
        one = find(parent, basin[cell])
        for group in range(1, groups[mask]):
            other = find(parent, basin[cell + steps[first[mask, group]]])
            if one != other:
                cells[count] = cell
                ends[count, 0], ends[count, 1] = one, other
                count += 1
    return cells[:count], ends[:count]


@njit(cache=True, nogil=True)
def _beside_medium(media: Ints) -> Ints:
    """Whether a neighbour of each cell belongs to a medium that the cell does not."""
    beside = np.zeros(media.shape, np.uint8)
    for row in range(1, media.shape[0] - 1):
        up, level, down, out = media[row - 1], media[row], media[row + 1], beside[row]
        for j in range(1, media.shape[1] - 1):
            own = level[j]
            out[j] = (
                ((up[j - 1] != own) & (up[j - 1] > 0))
                | ((up[j] != own) & (up[j] > 0))
                | ((up[j + 1] != own) & (up[j + 1] > 0))
                | ((level[j - 1] != own) & (level[j - 1] > 0))
                | ((level[j + 1] != own) & (level[j + 1] > 0))
                | ((down[j - 1] != own) & (down[j - 1] > 0))
                | ((down[j] != own) & (down[j] > 0))
                | ((down[j + 1] != own) & (down[j + 1] > 0))
            )
    return beside


@njit(cache=True, nogil=True)
def _contacts(flat: Floats, media: Ints, beside: Ints, steps: Ints) -> tuple[Ints, Ints]:
    """List the open cells that touch a medium, and the media cells that touch another medium."""
    found = np.flatnonzero(beside)
    beside_open = np.empty((8 * len(found), 2), np.int32)
    beside_other = np.empty((8 * len(found), 3), np.int64)
    opens = others = 0
    for cell in found:
        own, seen = media[cell], 0
        for step in steps:
            other = media[cell + step]
            if other != 0 and other != own and other != seen:
                seen = other
                if own > 0:
                    beside_other[others, 0], beside_other[others, 1] = cell, own
                    beside_other[others, 2] = other
                    others += 1
                elif flat[cell] < np.inf:
                    beside_open[opens, 0], beside_open[opens, 1] = cell, other
                    opens += 1
    return beside_open[:opens], beside_other[:others]


@njit(cache=True, nogil=True)
def _add_contacts(cells: Ints, ends: Ints, basin: Ints, parent: Ints, contacts: Ints) -> tuple[Ints, Ints]:
    """Add a merge of each touching cell's basin with a node that stands for the medium there."""
    passes = len(cells)
    all_cells = np.empty(passes + len(contacts), np.int32)
    all_ends = np.empty((len(all_cells), 2), np.int32)
    all_cells[:passes], all_ends[:passes] = cells, ends
    all_cells[passes:] = contacts[:, 0]
    for i in range(len(contacts)):
        all_ends[passes + i, 0] = find(parent, basin[contacts[i, 0]])
        all_ends[passes + i, 1] = len(parent) + i
    return all_cells, all_ends


@njit(cache=True, nogil=True)
def _rim_nodes(field: Floats, basin: Ints, parent: Ints) -> Ints:
    """Node of each cell of the band's first and last row, and of the foreign rows beyond them."""
    stride = field.shape[1]
    rims = np.full((4, stride - 2), -1, np.int32)
    for side, own, foreign in ((0, 1, 0), (1, field.shape[0] - 2, field.shape[0] - 1)):
        if np.isinf(field[foreign]).all():
            continue
        for j in range(1, stride - 1):
            if field[own, j] < np.inf:
                rims[side, j - 1] = find(parent, basin[own * stride + j])
            if field[foreign, j] < np.inf:
                rims[side + 2, j - 1] = find(parent, basin[foreign * stride + j])
    return rims


@njit(cache=True, nogil=True)
def _absorb(heights: Floats, ends: Ints, medium: Ints, rims: Ints) -> tuple[Ints, Ints]:
    """Grow the tree of merges, absorbing what nothing beyond the band can ask for.

    A set may be absorbed at its lowest merge when no merge of it was kept before, it does not
    reach the edge of the band, and it touches no medium that the other does not touch as well.
    """
    count = len(medium)
    owner, tree = np.arange(count).astype(np.int32), np.arange(count).astype(np.int32)
    anchored = np.zeros(count, np.bool_)
    for node in rims.ravel():
        if node >= 0:
            anchored[node] = True
    kept = np.empty(len(heights), np.int32)
    kept_count = 0
    for merge in order_of(heights):
        one, other = find(owner, ends[merge, 0]), find(owner, ends[merge, 1])
        if one == other:
            continue
        trunk, branch = find(tree, one), find(tree, other)
        if trunk == branch:
            continue
        join(tree, trunk, branch)
        if _idle(one, other, anchored, medium) or _idle(other, one, anchored, medium):
            root = join(owner, one, other)
            anchored[root] = anchored[one] or anchored[other]
            medium[root] = max(medium[one], medium[other])
        else:
            anchored[one] = anchored[other] = True
            kept[kept_count] = merge
            kept_count += 1
    return owner, kept[:kept_count]


@njit(cache=True, nogil=True)
def _idle(one: int, other: int, anchored: Ints, medium: Ints) -> bool:
    return not anchored[one] and (medium[one] == 0 or medium[one] == medium[other])


@njit(cache=True, nogil=True)
def _renumber(owner: Ints, ends: Ints, medium: Ints, rims: Ints) -> Ints:
    """Give the sets that stay numbers, in `ends` and `rims`; return the medium of each."""
    number = np.full(len(owner), -1, np.int32)
    count = 0
    own_rims = rims[:2].ravel()
    for node in np.concatenate((ends.ravel(), own_rims)):
        if node >= 0 and number[find(owner, node)] < 0:
            number[find(owner, node)] = count
            count += 1
    left = np.empty(count, np.int32)
    for node in range(len(owner)):
        if number[node] >= 0:
            left[number[node]] = medium[node]
    _apply(number, owner, ends)
    _apply(number, owner, rims)
    return left


@njit(cache=True, nogil=True)
def _apply(number: Ints, owner: Ints, nodes: Ints) -> None:
    for row in range(nodes.shape[0]):
        for j in range(nodes.shape[1]):
            if nodes[row, j] >= 0:
                nodes[row, j] = number[find(owner, nodes[row, j])]


@njit(cache=True, nogil=True)
def _places(cells: Ints, top: int, cols: int) -> Ints:
    """Flat index in the map of cells given by their flat index in the padded band."""
    places = np.empty(len(cells), np.int64)
    for i, cell in enumerate(cells):
        places[i] = (top + cell // (cols + 2) - 1) * cols + cell % (cols + 2) - 1
    return places
