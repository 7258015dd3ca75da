"""Volume meshes made from bodies on the grid, for tests of what is done with somebody's own mesh."""

from __future__ import annotations

import itertools

import numpy as np

from firedeck.contact import SolidMesh
from firedeck.contact.mesh import BodyMesh

#: Corners of a grid cell, x fastest, in the order of a brick in open mesh formats.
_BRICK = (0, 1, 3, 2, 4, 5, 7, 6)
_EDGES = ((0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3))


def corners_of(mesh: BodyMesh) -> np.ndarray:
    """Return the nodes of every cell, x fastest, shape (m, 8)."""
    cells = np.argwhere(mesh.body.cells >= 0)
    steps = np.array([(k & 1, (k >> 1) & 1, k >> 2) for k in range(8)])
    at = cells[:, None, :] + steps
    return mesh.body.numbers[at[..., 0], at[..., 1], at[..., 2]].astype(np.int64)


def bricks(mesh: BodyMesh) -> SolidMesh:
    """Return a body's cells as whole bricks."""
    return SolidMesh("bricks.vtu", mesh.coordinates, corners_of(mesh)[:, _BRICK])


def tetrahedra(mesh: BodyMesh, nodes: int = 10) -> SolidMesh:
    """Return a body's cells cut into six tetrahedra each, along the same diagonal in all."""
    corners = corners_of(mesh)
    parts = []
    for order in itertools.permutations((1, 2, 4)):
        steps = [0, order[0], order[0] + order[1], 7]
        if order in ((1, 4, 2), (2, 1, 4), (4, 2, 1)):
            steps[1], steps[2] = steps[2], steps[1]
        parts.append(corners[:, steps])
    linear = np.concatenate(parts)
    if nodes == 4:
        return SolidMesh("tetrahedra.vtu", mesh.coordinates, linear)
    ends = np.sort(np.concatenate([linear[:, pair] for pair in _EDGES]), axis=1)
    pairs, which = np.unique(ends, axis=0, return_inverse=True)
    middle = mesh.coordinates[pairs].mean(axis=1)
    between = which.reshape(len(_EDGES), -1).T + len(mesh.coordinates)
    points = np.concatenate([mesh.coordinates, middle])
    return SolidMesh("tetrahedra.vtu", points, np.concatenate([linear, between], axis=1))
