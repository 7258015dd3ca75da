"""Sets of nodes that part a graph, made lighter node by node.

A node of the separator goes over to one side, and its neighbours on the other side take its place.
Moves that gain most come first, some that lose are tried, and the best state on the way counts (Fiduccia
and Mattheyses, 19th Design Automation Conf. (1982) 175, for separators of nodes as in Karypis and Kumar, SIAM
J. Sci. Comput. 20 (1998) 359; both from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["BETWEEN", "Graph", "Separating", "lightened", "separating"]

Ints = npt.NDArray[np.int64]
Small = npt.NDArray[np.int32]

#: Mark of the separator; 0 and 1 are the sides it parts, -1 is what lies outside of the set.
BETWEEN = 2

#: Moves one after the other that gain nothing, after which a separator is as good as it becomes.
_LOST_MOVES = 2


class Graph(NamedTuple):
    """Nodes, what they weigh and what they are coupled to.

    Attributes
    ----------
    weights : ndarray of int, shape (n,)
        Weight of every node [1].
    starts : ndarray of int, shape (n + 1,)
        Where the neighbours of every node begin.
    links : ndarray of int32
        The neighbours: every coupling stands at both its ends.
    """

    weights: Ints
    starts: Ints
    links: Small


class Separating(NamedTuple):
    """Memory of one separator after another.

    Attributes
    ----------
    marks : ndarray of int, shape (n,)
        Side of every node [1].
    gains : ndarray of int, shape (n, 2)
        By how much the separator becomes lighter when a node of it goes to either side.
    moved : ndarray of bool, shape (n,)
        Nodes that have gone over.
    between : ndarray of int, shape (n,)
        Nodes of the separator.
    trail, before : ndarray of int
        Nodes whose mark has changed, in turn, and what it was.
    """

    marks: Ints
    gains: Ints
    moved: npt.NDArray[np.bool_]
    between: Ints
    trail: Ints
    before: Ints


def separating(nodes: int) -> Separating:
    """Return memory for the separators of a graph with so many nodes, all of them outside."""
    marks = np.full(nodes, -1, dtype=np.int64)
    moved, between = np.zeros(nodes, dtype=bool), np.empty(nodes, dtype=np.int64)
    # A node is drawn in, goes over and is drawn in again at most.
    trail, before = np.empty(3 * nodes, dtype=np.int64), np.empty(3 * nodes, dtype=np.int64)
    return Separating(marks, np.empty((nodes, 2), dtype=np.int64), moved, between, trail, before)


@njit(cache=True, nogil=True)
def lightened(count: int, graph: Graph, work: Separating, weights: Ints, largest: float) -> None:
    """Make a separator lighter by other marks for some nodes.

    Parameters
    ----------
    count : int
        How many nodes of `work.between` are the separator.
    graph : Graph
        The whole graph.
    work : Separating
        Memory, with the marks of a set; these are changed in place.
    weights : ndarray of int, shape (3,)
        Weights of both sides and of the separator, changed in place.
    largest : float
        Weight that no side may grow beyond.
    """
    for node in work.between[:count]:
        _set_gains(node, graph, work)
    best, uneven = weights[BETWEEN], abs(weights[0] - weights[1])
    steps, kept, lost = 0, 0, 0
    while lost <= _LOST_MOVES:
        place, side = _next(count, graph, work, weights, largest)
        if place < 0:
            break
        count, steps = _move(place, side, count, steps, graph, work, weights)
        now = abs(weights[0] - weights[1])
        lost += 1
        if weights[BETWEEN] < best or (weights[BETWEEN] == best and now < uneven):
            best, uneven, kept, lost = weights[BETWEEN], now, steps, 0
    for step in range(steps - 1, -1, -1):
        node = work.trail[step]
        work.moved[node] = False
        if step >= kept:
            weights[work.marks[node]] -= graph.weights[node]
            work.marks[node] = work.before[step]
            weights[work.marks[node]] += graph.weights[node]


@njit(cache=True, nogil=True)
def _set_gains(node: int, graph: Graph, work: Separating) -> None:
    """Reckon how much lighter the separator becomes when a node of it goes to either side."""
    links, marks, weights, gains = graph.links, work.marks, graph.weights, work.gains
    to_first = to_second = weights[node]
    for at in range(graph.starts[node], graph.starts[node + 1]):
        other = links[at]
        if marks[other] == 0:
            to_second -= weights[other]
        elif marks[other] == 1:
            to_first -= weights[other]
    gains[node, 0], gains[node, 1] = to_first, to_second


@njit(cache=True, nogil=True)
def _next(count: int, graph: Graph, work: Separating, weights: Ints, largest: float) -> tuple[int, int]:
    """Return place and side of the move that gains most, of equal ones to the lighter side; -1 for none."""
    between, moved, gains, own = work.between, work.moved, work.gains, graph.weights
    place, side_of, most, room = -1, 0, 0, 0
    for at in range(count):
        node = between[at]
        if moved[node]:
            continue
        for side in range(2):
            gain, lighter = gains[node, side], weights[1 - side] - weights[side]
            if weights[side] + own[node] > largest:
                continue
            if place < 0 or gain > most or (gain == most and lighter > room):
                place, side_of, most, room = at, side, gain, lighter
    return place, side_of


@njit(cache=True, nogil=True)
def _move(
    place: int, side: int, count: int, steps: int, graph: Graph, work: Separating, weights: Ints
) -> tuple[int, int]:
    """Let a node of the separator go to a side; return how many are left there, and steps on the trail."""
    node, beyond = work.between[place], 1 - side
    count -= 1
    work.between[place] = work.between[count]
    work.moved[node] = True
    steps = _marked(node, side, steps, graph, work, weights)
    starts, links, marks, gains = graph.starts, graph.links, work.marks, work.gains
    for other in links[starts[node] : starts[node + 1]]:
        if marks[other] == BETWEEN:
            gains[other, beyond] -= graph.weights[node]
        elif marks[other] == beyond:
            steps = _marked(other, BETWEEN, steps, graph, work, weights)
            work.between[count] = other
            count += 1
            _set_gains(other, graph, work)
            for near in links[starts[other] : starts[other + 1]]:
                if marks[near] == BETWEEN:
                    gains[near, side] += graph.weights[other]
    return count, steps


@njit(cache=True, nogil=True)
def _marked(node: int, mark: int, steps: int, graph: Graph, work: Separating, weights: Ints) -> int:
    """Give a node another mark, keep the trail, and return its length."""
    work.trail[steps], work.before[steps] = node, work.marks[node]
    weights[work.marks[node]] -= graph.weights[node]
    work.marks[node] = mark
    weights[mark] += graph.weights[node]
    return steps + 1
