"""Shares of points in the plane among the nodes of a grid that has gaps."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from firedeck.contact.lattice import lattice
from firedeck.pressure_map import Grid

__all__ = ["node_weights"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def node_weights(places: Floats, face: tuple[Grid, Ints]) -> tuple[Ints, Floats]:
    """Return nodes and weights of every point, shape (points, 16).

    Bilinear where all four corners of its cell are kept; otherwise the smallest change of that,
    over the nodes around, that keeps force and moment.

    Parameters
    ----------
    places : ndarray, shape (points, 2)
        Where the points lie in plan [mm].
    face : tuple of (Grid, ndarray of int)
        Cells in plan, and the number of every usable node, -1 elsewhere, shape (nx + 1, ny + 1).
    """
    grid, kept = lattice(face[0]), face[1]
    at = grid.indices(places)
    base = np.clip(np.floor(at).astype(np.int64), 0, np.array([grid.cols, grid.rows]) - 1)
    part = at - base
    offsets = np.array([(i, j) for j in range(-1, 3) for i in range(-1, 3)])
    nodes = base[:, None, :] + offsets
    inside = np.all((nodes >= 0) & (nodes <= [grid.cols, grid.rows]), axis=2)
    safe = np.clip(nodes, 0, [grid.cols, grid.rows])
    numbers = np.where(inside, kept[safe[..., 0], safe[..., 1]], -1)
    toward = 1.0 - np.abs(part[:, None, :] - offsets)
    weights = np.where(np.all(toward > 0.0, axis=2), toward.prod(axis=2), 0.0)
    broken = np.any((weights > 0.0) & (numbers < 0), axis=1)
    if broken.any():
        arms = (grid.nodes(safe[broken]) - places[broken, None, :]) / grid.pitch
        weights[broken] = _mended(weights[broken], numbers[broken] >= 0, arms)
    return numbers, weights


def _mended(weights: Floats, usable: npt.NDArray[np.bool_], arms: Floats) -> Floats:
    start = np.where(usable, weights, 0.0)
    trust = np.where(usable, np.exp(-(arms**2).sum(axis=2)), 0.0)
    rows = np.concatenate([np.ones((*arms.shape[:2], 1)), arms], axis=2)
    lacking = np.array([1.0, 0.0, 0.0]) - np.einsum("pn,pna->pa", start, rows)
    normal = np.einsum("pna,pn,pnb->pab", rows, trust, rows)
    factors = np.einsum("pab,pb->pa", np.linalg.pinv(normal, rcond=1e-6, hermitian=True), lacking)
    return np.asarray(start + trust * np.einsum("pna,pa->pn", rows, factors))
