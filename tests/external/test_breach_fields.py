"""Leak paths against general graph libraries on small maps with ties, plateaus and blocked cells.

The references are independent implementations of textbook facts: the minimax path between two
nodes lies in a minimum spanning tree, and its height is the altitude of their lowest common
ancestor in the binary partition tree by altitude. They know nothing of bands, basins or passes.
"""

from __future__ import annotations

from itertools import pairwise

import higra
import networkx
import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import depth_first_order, minimum_spanning_tree

from firedeck.kernel.breach import saddle_matrix, trace_path
from tests.leak_maps import pair_heights, scattered_map, traced

COUNT = 4
CASES = [(seed, levels) for levels in (None, 2, 4) for seed in range(25)]


def weighted_pairs(pressure, media, blocked):
    """Edges between neighbouring cells: node, node, greater pressure; a medium is one node, -k."""
    rows, cols = pressure.shape
    cost = np.where(media > 0, 0.0, np.where(blocked, np.inf, pressure))
    name = np.where(media > 0, -media, np.arange(rows * cols).reshape(rows, cols))
    for row in range(rows):
        for col in range(cols):
            for other in ((row, col + 1), (row + 1, col - 1), (row + 1, col), (row + 1, col + 1)):
                if other[0] < rows and 0 <= other[1] < cols:
                    weight = max(cost[row, col], cost[other])
                    if np.isfinite(weight):
                        yield int(name[row, col]), int(name[other]), float(weight)


def graph_of(pressure, media, blocked):
    graph = networkx.Graph()
    graph.add_nodes_from(range(-COUNT, 0))
    for one, other, weight in weighted_pairs(pressure, media, blocked):
        if not graph.has_edge(one, other) or graph[one][other]["weight"] > weight:
            graph.add_edge(one, other, weight=weight)
    return graph


def height_in_tree(graph, a, b):
    """Greatest weight on the path between two nodes of a minimum spanning forest."""
    if not networkx.has_path(graph, a, b):
        return np.inf
    path = networkx.shortest_path(networkx.minimum_spanning_tree(graph), a, b)
    return max(graph[one][other]["weight"] for one, other in pairwise(path))


@pytest.mark.parametrize(("seed", "levels"), CASES)
def test_direct_heights_against_networkx(seed, levels):
    pressure, media, blocked = scattered_map(seed, levels=levels)
    graph = graph_of(pressure, media, blocked)

    def direct(a, b):
        third = [-k for k in range(1, COUNT + 1) if k not in (a, b)]
        return height_in_tree(networkx.restricted_view(graph, third, []), -a, -b)

    saddles = saddle_matrix(pressure, media, blocked=blocked, count=COUNT, band_rows=1 + seed % 4)
    assert np.array_equal(saddles.direct_heights, pair_heights(COUNT, direct))
    for a, b in np.argwhere(np.triu(np.isfinite(saddles.direct_heights), 1)) + 1:
        if not media[tuple(saddles.direct_cells[a - 1, b - 1])]:
            traced(pressure, media, a, b, saddles, blocked=blocked)


@pytest.mark.parametrize(("seed", "levels"), CASES)
def test_heights_against_scipy(seed, levels):
    pressure, media, blocked = scattered_map(seed, levels=levels)
    graph = graph_of(pressure, media, blocked)
    one, other, weight = zip(*graph.edges(data="weight"), strict=True) if graph.edges else ((), (), ())
    size = media.size + COUNT
    # a stored zero would be no edge: weights are moved up by one for the tree, exactly undone below
    order = np.unique(weight, return_inverse=True)
    matrix = coo_array(
        (order[1] + 1.0, (np.array(one, int) % size, np.array(other, int) % size)), (size,) * 2
    )
    tree = minimum_spanning_tree(matrix.tocsr())
    dense = np.maximum(tree.toarray(), tree.toarray().T)

    def through(a, b):
        visited, before = depth_first_order(dense, (-a) % size, directed=False)
        node, rank = (-b) % size, 0
        if node not in visited:
            return np.inf
        while node != (-a) % size:
            rank, node = max(rank, int(dense[node, before[node]])), before[node]
        return order[0][rank - 1]

    saddles = saddle_matrix(pressure, media, blocked=blocked, count=COUNT, band_rows=1 + seed % 5)
    assert np.array_equal(saddles.heights, pair_heights(COUNT, through))


@pytest.mark.parametrize(("seed", "levels"), CASES)
def test_heights_against_higra(seed, levels):
    pressure, media, blocked = scattered_map(seed, side=30, levels=levels)
    cost = np.where(media > 0, 0.0, np.where(blocked, np.inf, pressure))
    graph = higra.get_8_adjacency_graph(cost.shape)
    weights = higra.weight_graph(graph, cost.ravel(), higra.WeightFunction.max)
    flat, ties = media.ravel(), 0
    for k in range(1, COUNT + 1):
        parts = np.flatnonzero(flat == k)
        graph.add_edges(parts[:-1], parts[1:])
        ties += max(len(parts) - 1, 0)
    tree, altitudes = higra.bpt_canonical(graph, np.concatenate([weights, np.full(ties, -1.0)]))

    def through(a, b):
        if not (flat == a).any() or not (flat == b).any():
            return np.inf
        ends = np.flatnonzero(flat == a)[:1], np.flatnonzero(flat == b)[:1]
        return max(altitudes[tree.lowest_common_ancestor(*ends)[0]], 0.0)

    saddles = saddle_matrix(pressure, media, blocked=blocked, count=COUNT, band_rows=1 + seed % 7)
    assert np.array_equal(saddles.heights, pair_heights(COUNT, through))


def steps_from(enter, media, row, col):
    """Steps from a cell to those a path may come to next: the cell, and 12 or 17 for the length."""
    for down, right in np.ndindex(3, 3):
        other = (row + down - 1, col + right - 1)
        inside = 0 <= other[0] < media.shape[0] and 0 <= other[1] < media.shape[1]
        if inside and other != (row, col) and (enter[other] or media[other]):
            yield other, 12 if down == 1 or right == 1 else 17


@pytest.mark.parametrize("seed", range(12))
def test_length_of_the_path_against_networkx(seed):
    rng = np.random.default_rng(seed)
    pressure = 3.0 + np.sin(np.arange(60) / 5.0) + np.cos(np.arange(40) / 4.0)[:, None]
    pressure += 0.4 * rng.random(pressure.shape)
    media = np.zeros(pressure.shape, np.int32)
    for k, row in enumerate(rng.integers(0, 35, 2), start=1):
        col = rng.integers(30 * k - 30, 30 * k - 10)
        media[row : row + 4, col : col + 4] = k
    saddles = saddle_matrix(pressure, media)
    cell, height = tuple(map(int, saddles.direct_cells[0, 1])), saddles.direct_heights[0, 1]
    enter = (media == 0) & (pressure <= height)
    graph = networkx.DiGraph()
    for row, col in np.argwhere(enter).tolist():
        for other, length in steps_from(enter, media, row, col):
            graph.add_edge((row, col), other, weight=length)
    lengths = networkx.single_source_dijkstra_path_length(graph, cell)
    shortest = sum(min(lengths[place] for place in lengths if media[place] == k) for k in (1, 2))
    path = trace_path(pressure, media, 1, 2, cell)
    assert np.where(np.abs(np.diff(path, axis=0)).sum(axis=1) == 2, 17, 12).sum() == shortest
