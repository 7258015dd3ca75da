"""Stiffness of solid elements of any straight or gently bent shape: bricks and tetrahedra.

Bricks of eight nodes carry the three incompatible modes, with their gradients taken at the middle
so that constant strain is met exactly in any shape (Taylor, Beresford and Wilson, Int. J. Numer.
Methods Eng. 10 (1976) 1211, from memory). Nodes are in the order that open mesh formats share:
corners of the bottom counter-clockwise, then those of the top; of ten nodes of a tetrahedron the last
six lie between 0-1, 1-2, 2-0, 0-3, 1-3 and 2-3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.kernel.hexahedron import elasticity

__all__ = ["SolidSums", "bulk", "local_places", "shape_values", "smallest_bulk", "solid_sums"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_CORNERS = np.array(
    [[-1, -1, -1], [1, -1, -1], [1, 1, -1], [-1, 1, -1], [-1, -1, 1], [1, -1, 1], [1, 1, 1], [-1, 1, 1]],
    dtype=np.float64,
)
_EDGES = ((0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3))
#: Gradients of the four corners' shares of a tetrahedron.
_SHARES = np.array([[-1.0, -1.0, -1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])


@dataclass(frozen=True)
class SolidSums:
    """What elements of one kind add up to, for a modulus of one.

    Attributes
    ----------
    stiffness : ndarray, shape (m, 3 n, 3 n)
        Node by node, x, y, z of each [mm].
    heights : ndarray, shape (m, points)
        Heights of the points that integrals are taken at [mm].
    swelling : ndarray, shape (m, points, 3 n)
        Node forces for unit free strain about each point [mm^2].
    """

    stiffness: Floats
    heights: Floats
    swelling: Floats


def shape_values(nodes: int, local: Floats) -> tuple[Floats, Floats]:
    """Return shape functions and their local gradients at local places.

    Parameters
    ----------
    nodes : int
        Nodes of an element: 4 or 10 of a tetrahedron, 8 of a brick [1].
    local : ndarray, shape (points, 3)
        Local places, from -1 to 1 in a brick, from 0 to 1 in a tetrahedron [1].

    Returns
    -------
    values : ndarray, shape (points, nodes)
        Shape functions [1].
    gradients : ndarray, shape (points, nodes, 3)
        Their gradients [1].
    """
    if nodes == 8:
        factors = 1.0 + local[:, None, :] * _CORNERS
        others = [factors[..., [k for k in range(3) if k != axis]].prod(axis=2) for axis in range(3)]
        return factors.prod(axis=2) / 8.0, np.stack(others, axis=2) * _CORNERS / 8.0
    share = np.column_stack([1.0 - local.sum(axis=1), local])
    if nodes == 4:
        return share, np.broadcast_to(_SHARES, (len(local), 4, 3))
    values = [share[:, k] * (2.0 * share[:, k] - 1.0) for k in range(4)]
    values += [4.0 * share[:, a] * share[:, b] for a, b in _EDGES]
    slopes = [(4.0 * share[:, k, None] - 1.0) * _SHARES[k] for k in range(4)]
    slopes += [4.0 * (share[:, a, None] * _SHARES[b] + share[:, b, None] * _SHARES[a]) for a, b in _EDGES]
    return np.stack(values, axis=1), np.stack(slopes, axis=1)


def _points(nodes: int) -> tuple[Floats, Floats]:
    """Return local places and weights of the integration points."""
    if nodes == 8:
        return _CORNERS / np.sqrt(3.0), np.ones(8)
    if nodes == 4:
        return np.full((1, 3), 0.25), np.full(1, 1.0 / 6.0)
    near = (5.0 - np.sqrt(5.0)) / 20.0  # four points, exact to degree two
    far = 1.0 - 3.0 * near
    return np.full((4, 3), near) + (far - near) * np.vstack([np.zeros(3), np.eye(3)]), np.full(4, 1.0 / 24.0)


def bulk(places: Floats, local: Floats) -> Floats:
    """Return the determinant of the map from local to real places, shape (m, points) [mm^3].

    Parameters
    ----------
    places : ndarray, shape (m, nodes, 3)
        Places of the elements' nodes [mm].
    local : ndarray, shape (points, 3)
        Local places [1].
    """
    slopes = shape_values(places.shape[1], local)[1]
    return np.asarray(np.linalg.det(np.einsum("mnx,pnl->mplx", places, slopes)))


def smallest_bulk(places: Floats) -> Floats:
    """Return the least determinant of the map at the corners and integration points, shape (m,) [mm^3]."""
    nodes = places.shape[1]
    corners = _CORNERS if nodes == 8 else np.vstack([np.zeros(3), np.eye(3)])
    return np.asarray(bulk(places, np.vstack([corners, _points(nodes)[0]])).min(axis=1))


def solid_sums(places: Floats, poisson: float) -> SolidSums:
    """Return stiffness and swelling of elements of one kind.

    Parameters
    ----------
    places : ndarray, shape (m, nodes, 3)
        Places of the elements' nodes [mm].
    poisson : float
        Poisson's ratio [1].
    """
    local, weights = _points(places.shape[1])
    values, slopes = shape_values(places.shape[1], local)
    turn = np.matmul(slopes.transpose(0, 2, 1), places[:, None])  # element, point, local axis, axis
    size = np.linalg.det(turn)
    gradient = np.matmul(slopes, np.linalg.inv(turn).transpose(0, 1, 3, 2))
    rows = _strain_rows(gradient)
    if places.shape[1] == 8:
        rows = np.concatenate([rows, _strain_rows(_mode_gradients(places, local, size))], axis=3)
    weight = size * weights
    elastic = elasticity(poisson)
    stressed = weight[:, :, None, None] * np.matmul(elastic, rows)
    # Points and strains side by side: one product of small matrices to an element.
    flat = (len(places), -1, rows.shape[3])
    full = np.matmul(stressed.reshape(flat).transpose(0, 2, 1), rows.reshape(flat))
    load = stressed[:, :, :3].sum(axis=2)
    heights = np.einsum("pn,mn->mp", values, places[:, :, 2])
    return _without_modes(full, load, heights, 3 * places.shape[1])


def _mode_gradients(places: Floats, local: Floats, size: Floats) -> Floats:
    """Gradients of the incompatible modes, shape (m, points, 3, 3), scaled so that their sums are nothing."""
    slopes = shape_values(8, np.zeros((1, 3)))[1][0]
    turn = np.einsum("mnx,nl->mlx", places, slopes)
    inverse, middle = np.linalg.inv(turn), np.linalg.det(turn)
    steps = -2.0 * local[:, :, None] * np.eye(3)  # point, mode, local axis
    return np.asarray(np.einsum("mxl,pkl,mp->mpkx", inverse, steps, middle[:, None] / size))


def _without_modes(full: Floats, load: Floats, heights: Floats, corners: int) -> SolidSums:
    own = full[:, corners:, corners:]
    stiffness, swelling = full[:, :corners, :corners], load[:, :, :corners]
    if own.shape[1]:
        solved = np.linalg.solve(own, full[:, corners:, :corners])
        stiffness = stiffness - full[:, :corners, corners:] @ solved
        swelling = swelling - load[:, :, corners:] @ solved
    return SolidSums(0.5 * (stiffness + stiffness.transpose(0, 2, 1)), heights, swelling)


def _strain_rows(gradient: Floats) -> Floats:
    """Turn gradients (m, points, functions, 3) into strain rows (m, points, 6, 3 functions)."""
    m, points, functions, _ = gradient.shape
    rows = np.zeros((m, points, 6, functions, 3))
    for axis in range(3):
        rows[:, :, axis, :, axis] = gradient[..., axis]
    for row, (a, b) in enumerate(((0, 1), (1, 2), (2, 0)), start=3):
        rows[:, :, row, :, a] = gradient[..., b]
        rows[:, :, row, :, b] = gradient[..., a]
    return rows.reshape(m, points, 6, 3 * functions)


def local_places(nodes: Floats, points: Floats) -> Floats:
    """Return the local place of one point in each element, by Newton steps, shape (m, 3) [1].

    Parameters
    ----------
    nodes : ndarray, shape (m, n, 3)
        Places of the elements' nodes [mm].
    points : ndarray, shape (m, 3)
        One point to each [mm].
    """
    count = nodes.shape[1]
    local = np.full((len(points), 3), 0.0 if count == 8 else 0.25)
    for _ in range(1 if count == 4 else 6):
        values, slopes = shape_values(count, local)
        miss = points - np.einsum("mn,mnx->mx", values, nodes)
        turn = np.einsum("mnx,mnl->mxl", nodes, slopes)
        local = np.clip(local + np.linalg.solve(turn, miss[..., None])[..., 0], -4.0, 4.0)
    return local
