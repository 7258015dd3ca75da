"""Multifrontal elimination on a tree of groups: every front dense, what it leaves waiting for its parent.

What waits lies in one stretch of memory, as two stacks that grow toward each other: groups at an even
depth of the tree leave theirs at the low end, those at an odd depth at the high end. A group's children
then lie on top of one stack while what it leaves itself goes on top of the other, and no front asks the
system for memory (Duff and Reid, ACM Trans. Math. Softw. 9 (1983) 302, from memory, with one stack).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from numba import njit

from firedeck.kernel.dense import mirrored
from firedeck.kernel.joined import grouped

__all__ = [
    "Rows",
    "Space",
    "Tree",
    "appended",
    "gathered",
    "last_front",
    "opened",
    "parted",
    "room",
    "tree_of",
]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class Tree(NamedTuple):
    """Groups of an elimination; children come before their parents.

    Attributes
    ----------
    firsts : ndarray of int, shape (groups + 1,)
        First rank of every group, then the first that is not eliminated [1].
    begins : ndarray of int, shape (groups + 2,)
        Where each group's entries in `children` begin; after the last come groups without a parent [1].
    children : ndarray of int
        Groups whose remains each group takes up [1].
    """

    firsts: Ints
    begins: Ints
    children: Ints


class Rows(NamedTuple):
    """What every group leaves coupled.

    Attributes
    ----------
    starts : ndarray of int, shape (groups + 1,)
        Where each group's entries in `ranks` begin [1].
    ranks : ndarray of int
        Ranks, rising within a group [1].
    """

    starts: Ints
    ranks: Ints


class Space(NamedTuple):
    """Memory of one elimination.

    Attributes
    ----------
    homes : ndarray of int, shape (groups,)
        Where in `waiting` each group leaves its part [1].
    waiting : ndarray
        What groups leave, by columns, lower triangles.
    panel : ndarray
        Room for the first columns of the largest front.
    place_of : ndarray of int, shape (ranks,)
        Place in the present front of every rank that is in it [1].
    """

    homes: Ints
    waiting: Floats
    panel: Floats
    place_of: Ints


def tree_of(firsts: Ints, parents: Ints) -> Tree:
    """Return the tree of groups by their parents, -1 for none.

    Parameters
    ----------
    firsts : ndarray of int, shape (groups + 1,)
        First rank of every group, then the first that is not eliminated [1].
    parents : ndarray of int, shape (groups,)
        Groups that take up what each leaves; -1 for none [1].
    """
    groups = len(parents)
    owners = np.where(parents < 0, groups, parents)
    return Tree(firsts, *grouped(owners, groups + 1))


@njit(cache=True, nogil=True)
def gathered(met: Ints, past: int, stamp: Ints, mark: int, found: Ints, count: int) -> int:
    """Add to what is found the ranks not eliminated before `past`, each once; return how many there are.

    Parameters
    ----------
    met : ndarray of int
        Ranks; those below none are left out with the eliminated ones.
    past : int
        First rank that is left.
    stamp : ndarray of int
        Last mark of every rank, changed in place.
    mark : int
        Mark of this group.
    found : ndarray of int
        Ranks found so far, changed in place.
    count : int
        How many there are.
    """
    for rank in met:
        if rank >= past and stamp[rank] != mark:
            stamp[rank] = mark
            found[count] = rank
            count += 1
    return count


@njit(cache=True, nogil=True)
def appended(ranks: Ints, ends: Ints, group: int, more: Ints) -> Ints:
    """Return ranks with those of one more group, in a longer array where the room is used up.

    Parameters
    ----------
    ranks : ndarray of int
        Ranks of the groups before it, then room for more.
    ends : ndarray of int, shape (groups + 1,)
        Where each group's ranks end, one place on; that of this group is set.
    group : int
        The group.
    more : ndarray of int
        Its ranks.
    """
    end = ends[group] + len(more)
    if end > len(ranks):
        ranks = np.concatenate((ranks, np.empty(end, dtype=np.int64)))
    ranks[ends[group] : end] = more
    ends[group + 1] = end
    return ranks


def room(tree: Tree, rows: Rows, ranks: int) -> Space:
    """Return memory for an elimination.

    Parameters
    ----------
    tree : Tree
        The groups.
    rows : Rows
        What they leave.
    ranks : int
        How many ranks there are.
    """
    homes, most, widest = _homes(tree, np.diff(rows.starts))
    return Space(homes, np.empty(most), np.empty(widest), np.zeros(ranks, dtype=np.int64))


@njit(cache=True, nogil=True)
def _homes(tree: Tree, left: Ints) -> tuple[Ints, int, int]:
    """Return where each group leaves its part, the most memory that waits, and that of the largest panel."""
    groups = len(left)
    depth = np.zeros(groups + 1, dtype=np.int64)
    for group in range(groups, -1, -1):
        for child in tree.children[tree.begins[group] : tree.begins[group + 1]]:
            depth[child] = depth[group] + 1
    tops, homes = np.zeros(2, dtype=np.int64), np.empty(groups, dtype=np.int64)
    most, widest = 0, 0
    for group in range(groups):
        side, size = depth[group] % 2, left[group] ** 2
        homes[group] = tops[side]
        tops[side] += size
        most = max(most, tops[0] + tops[1])
        for child in tree.children[tree.begins[group] : tree.begins[group + 1]]:
            tops[1 - side] -= left[child] ** 2
        own = tree.firsts[group + 1] - tree.firsts[group]
        widest = max(widest, own * (own + left[group]))
    for group in range(groups):
        if depth[group] % 2:
            homes[group] = most - homes[group] - left[group] ** 2
    return homes, most, widest


@njit(cache=True, nogil=True)
def opened(group: int, tree: Tree, rows: Rows, space: Space) -> tuple[Floats, Floats]:
    """Return a group's front with what its children leave there, and give every rank in it its place.

    Parameters
    ----------
    group : int
        The group.
    tree, rows, space
        The elimination.

    Returns
    -------
    panel : ndarray, shape (k, n)
        Columns of the front, one to a row, for the ranks that are eliminated; set from the diagonal on.
    left : ndarray, shape (n - k, n - k)
        Rest of the front, a column to a row, set from the diagonal on.
    """
    first, past = tree.firsts[group], tree.firsts[group + 1]
    ranks = rows.ranks[rows.starts[group] : rows.starts[group + 1]]
    k, m = past - first, len(ranks)
    for place in range(k):
        space.place_of[first + place] = place
    for place in range(m):
        space.place_of[ranks[place]] = k + place
    panel = space.panel[: k * (k + m)].reshape((k, k + m))
    left = space.waiting[space.homes[group] : space.homes[group] + m * m].reshape((m, m))
    begun = 0
    for child in tree.children[tree.begins[group] : tree.begins[group + 1]]:
        begun = _add(child, panel, left, begun, rows, space)
    for column in range(begun, k + m):
        _from_diagonal(panel, left, column)[:] = 0.0
    return panel, left


@njit(cache=True, nogil=True)
def _from_diagonal(panel: Floats, left: Floats, column: int) -> Floats:
    """Return a column of a front from the diagonal on, be it one of the first or of the rest."""
    k = len(panel)
    return panel[column, column:] if column < k else left[column - k, column - k :]


def last_front(tree: Tree, rows: Rows, space: Space) -> Floats:
    """Give every rank that is not eliminated its place, and return what the groups leave of them.

    Parameters
    ----------
    tree, rows, space
        The elimination; the front may lie in its memory.

    Returns
    -------
    ndarray, shape (n, n)
        The front of them all, a column to a row, from the diagonal on.
    """
    groups, inner = len(rows.starts) - 1, int(tree.firsts[-1])
    size = len(space.place_of) - inner
    space.place_of[inner:] = np.arange(size)
    ends, left = tree.children[tree.begins[groups] :], np.diff(rows.starts)
    if len(ends) == 1 and left[ends[0]] == size:
        home = space.homes[ends[0]]
        return space.waiting[home : home + size**2].reshape(size, size)
    last = np.zeros((size, size))
    _add_children(groups, last, tree, rows, space)
    return last


@njit(cache=True, nogil=True)
def _add_children(group: int, front: Floats, tree: Tree, rows: Rows, space: Space) -> None:
    """Add what its children leave to a whole front.

    Parameters
    ----------
    group : int
        The group.
    front : ndarray, shape (n, n)
        The front, a column to a row, from the diagonal on.
    tree, rows, space
        The elimination.
    """
    for child in tree.children[tree.begins[group] : tree.begins[group + 1]]:
        _add(child, front, front, len(front), rows, space)


@njit(cache=True, nogil=True)
def _add(child: int, panel: Floats, left: Floats, begun: int, rows: Rows, space: Space) -> int:
    """Add what a child leaves to its parent's front; return how many columns of the front are set by now.

    Parameters
    ----------
    child : int
        The child.
    panel, left : ndarray
        First columns of the front, and those after them, one to a row.
    begun : int
        How many columns are set: what comes to the others is written, and nothing around it.
    rows, space
        The elimination.
    """
    ranks = rows.ranks[rows.starts[child] : rows.starts[child + 1]]
    m, home = len(ranks), space.homes[child]
    update = space.waiting[home : home + m * m].reshape((m, m))
    place = np.empty(m, dtype=np.int64)
    for row in range(m):
        place[row] = space.place_of[ranks[row]]
    ends = _ends_of_runs(place)
    for row in range(m):
        column = place[row]
        if column < begun:
            _add_column(_from_diagonal(panel, left, column), update[row], place, ends, row)
        else:
            for between in range(begun, column):
                _from_diagonal(panel, left, between)[:] = 0.0
            begun = column + 1
            _set_column(_from_diagonal(panel, left, column), update[row], place, ends, row)
    return begun


@njit(cache=True, nogil=True)
def _add_column(into: Floats, update: Floats, place: Ints, ends: Ints, row: int) -> None:
    """Add a child's column, from `row` on, to one of a front that begins at its diagonal."""
    first = place[row]
    while row < len(place):
        # Numbers without a sign: with one, every index would be looked at for counting from the end.
        to, at, past = np.uint64(place[row] - first), np.uint64(row), np.uint64(ends[row])
        for i in range(past - at):
            into[to + i] += update[at + i]
        row = ends[row]


@njit(cache=True, nogil=True)
def _set_column(into: Floats, update: Floats, place: Ints, ends: Ints, row: int) -> None:
    """Write a child's column as `_add_column` adds it, and nothing around it."""
    first, clear = place[row], 0
    while row < len(place):
        to, at, past = np.uint64(place[row] - first), np.uint64(row), np.uint64(ends[row])
        into[clear:to] = 0.0
        for i in range(past - at):
            into[to + i] = update[at + i]
        clear, row = place[row] - first + ends[row] - row, ends[row]
    into[clear:] = 0.0


@njit(cache=True, nogil=True)
def _ends_of_runs(place: Ints) -> Ints:
    """Return for every row where the run of places one after the other ends that it lies in."""
    ends = np.empty(len(place), dtype=np.int64)
    end = len(place)
    for row in range(len(place) - 1, -1, -1):
        if row + 1 < len(place) and place[row + 1] != place[row] + 1:
            end = row + 1
        ends[row] = end
    return ends


def parted(last: Floats, kept: int) -> tuple[Floats, Floats, Floats]:
    """Return what remains in its parts: stiffness of kept freedoms, loads that arrive there, flexibility.

    Parameters
    ----------
    last : ndarray, shape (n, n)
        Kept freedoms, then loads; from the diagonal on.
    kept : int
        How many freedoms are kept.
    """
    stiffness, flexibility = mirrored(last[:kept, :kept]), mirrored(last[kept:, kept:])
    return stiffness, -last[:kept, kept:], -flexibility
