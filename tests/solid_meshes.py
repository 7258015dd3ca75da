"""Volume meshes made from bodies on the grid, for tests of what is done with somebody's own mesh."""

from __future__ import annotations

import itertools

import numpy as np

from firedeck.contact import SolidMesh
from firedeck.contact.mesh import BodyMesh

#: Corners of a grid cell, x fastest, in the order of a brick in open mesh formats.
_BRICK = (0, 1, 3, 2, 4, 5, 7, 6)
_EDGES = ((0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3))


def whole_cells(mesh: BodyMesh) -> tuple[np.ndarray, np.ndarray]:
    """Return places of the grid's nodes, and the nodes of every cell with material, x fastest, shape (m, 8).

    A cell that a slot passes is whole here, and the slot closed.
    """
    _, first, node = np.unique(mesh.body.places, axis=0, return_index=True, return_inverse=True)
    _, cells = np.unique(mesh.bricks.cells, axis=0, return_index=True)
    return mesh.coordinates[first], node.ravel()[mesh.body.elements[cells]]


def bricks(mesh: BodyMesh) -> SolidMesh:
    """Return a body's cells as whole bricks."""
    points, corners = whole_cells(mesh)
    return SolidMesh("bricks.vtu", points, corners[:, _BRICK])


def tetrahedra(mesh: BodyMesh, nodes: int = 10) -> SolidMesh:
    """Return a body's cells cut into six tetrahedra each, along the same diagonal in all."""
    points, corners = whole_cells(mesh)
    parts = []
    for order in itertools.permutations((1, 2, 4)):
        steps = [0, order[0], order[0] + order[1], 7]
        if order in ((1, 4, 2), (2, 1, 4), (4, 2, 1)):
            steps[1], steps[2] = steps[2], steps[1]
        parts.append(corners[:, steps])
    linear = np.concatenate(parts)
    if nodes == 4:
        return SolidMesh("tetrahedra.vtu", points, linear)
    ends = np.sort(np.concatenate([linear[:, pair] for pair in _EDGES]), axis=1)
    pairs, which = np.unique(ends, axis=0, return_inverse=True)
    middle = points[pairs].mean(axis=1)
    between = which.reshape(len(_EDGES), -1).T + len(points)
    every = np.concatenate([points, middle])
    return SolidMesh("tetrahedra.vtu", every, np.concatenate([linear, between], axis=1))
