"""Voting for the pose that lays a constellation of discs onto another."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["nearest_index", "vote_poses"]

FloatArray = npt.NDArray[np.float64]


@njit(cache=True, nogil=True)
def nearest_index(
    points: FloatArray, x0: float, y0: float, cell: float, shape: tuple[int, int], reach: float
) -> npt.NDArray[np.int32]:
    """Index of the nearest point on a grid of places, -1 where none lies within reach.

    Parameters
    ----------
    points : ndarray, shape (m, >= 2)
        x and y of the points [mm].
    x0, y0 : float
        Centre of cell (0, 0) [mm].
    cell : float
        Side of a cell [mm].
    shape : tuple of int
        Rows (y) and columns (x).
    reach : float
        Largest distance [mm].

    Returns
    -------
    ndarray of int32, shape `shape`
        Index into `points`, or -1.
    """
    index = np.full(shape, -1, np.int32)
    best = np.full(shape, reach * reach)
    steps = int(np.ceil(reach / cell)) + 1
    for k in range(points.shape[0]):
        row = round((points[k, 1] - y0) / cell)
        col = round((points[k, 0] - x0) / cell)
        for i in range(max(0, row - steps), min(shape[0], row + steps + 1)):
            for j in range(max(0, col - steps), min(shape[1], col + steps + 1)):
                dx = x0 + j * cell - points[k, 0]
                dy = y0 + i * cell - points[k, 1]
                distance = dx * dx + dy * dy
                if distance < best[i, j]:
                    best[i, j] = distance
                    index[i, j] = k
    return index


@njit(cache=True, nogil=True)
def _score(
    holes: FloatArray,
    plan: FloatArray,
    index: npt.NDArray[np.int32],
    frame: tuple[float, float, float],
    pose: tuple[float, float, float, float, float],
    oversize: tuple[float, float],
    reach: float,
) -> float:
    """Sum over the holes of 1 - (miss / reach)^2 wherever a plan disc of fitting size lies."""
    x0, y0, cell = frame
    c, s, tx, ty, sign = pose
    total = 0.0
    for h in range(holes.shape[0]):
        u, v = holes[h, 0], sign * holes[h, 1]
        x, y = c * u - s * v + tx, s * u + c * v + ty
        i, j = round((y - y0) / cell), round((x - x0) / cell)
        if i < 0 or j < 0 or i >= index.shape[0] or j >= index.shape[1]:
            continue
        k = index[i, j]
        if k < 0:
            continue
        excess = holes[h, 2] - plan[k, 2]
        if excess < oversize[0] or excess > oversize[1]:
            continue
        miss = (x - plan[k, 0]) ** 2 + (y - plan[k, 1]) ** 2
        if miss < reach * reach:
            total += 1.0 - miss / (reach * reach)
    return total


@njit(cache=True, nogil=True)
def vote_poses(
    holes: FloatArray,
    plan: FloatArray,
    plan_pairs: npt.NDArray[np.int64],
    index: npt.NDArray[np.int32],
    frame: tuple[float, float, float],
    slack: tuple[float, float],
    oversize: tuple[float, float],
    reach: float,
    keep: int,
) -> FloatArray:
    """Poses that two pairs of discs suggest, with the number of other discs that agree.

    Every pair of plan discs is laid onto every pair of holes of the same length and sizes, both as
    seen from the plan's side (sign -1: y is turned up) and mirrored (sign +1).

    Parameters
    ----------
    holes : ndarray, shape (n, 3)
        x, y and radius [mm] of the holes found, y down.
    plan : ndarray, shape (m, 3)
        x, y and radius [mm] of the plan's openings, y up.
    plan_pairs : ndarray of int, shape (p, 2)
        Pairs of plan openings to lay down.
    index : ndarray of int32
        From `nearest_index` of the plan.
    frame : tuple of float
        x0, y0 and cell [mm] of `index`.
    slack : tuple of float
        Relative [1] and absolute [mm] difference allowed between the lengths of two pairs.
    oversize : tuple of float
        Smallest and largest excess of a hole's radius over the plan's [mm].
    reach : float
        Largest miss of a hole that agrees [mm].
    keep : int
        Most poses to return.

    Returns
    -------
    ndarray, shape (k, 6)
        c, s, tx, ty, sign and score of each pose kept: x = c u - s v + tx, y = s u + c v + ty with
        u = picture x, v = sign times picture y.
    """
    kept = np.empty((keep, 6))
    count = 0
    top = 0.0
    n = holes.shape[0]
    for p in range(plan_pairs.shape[0]):
        i, j = plan_pairs[p, 0], plan_pairs[p, 1]
        px, py = plan[j, 0] - plan[i, 0], plan[j, 1] - plan[i, 1]
        length = np.hypot(px, py)
        room = slack[0] * length + slack[1]
        for a in range(n):
            excess = holes[a, 2] - plan[i, 2]
            if excess < oversize[0] or excess > oversize[1]:
                continue
            for b in range(n):
                excess = holes[b, 2] - plan[j, 2]
                if a == b or excess < oversize[0] or excess > oversize[1]:
                    continue
                hx, hy = holes[b, 0] - holes[a, 0], holes[b, 1] - holes[a, 1]
                found = np.hypot(hx, hy)
                if abs(found - length) > room:
                    continue
                for sign in (-1.0, 1.0):
                    v = sign * hy
                    c = (px * hx + py * v) / (found * found)
                    s = (py * hx - px * v) / (found * found)
                    u0 = 0.5 * (holes[a, 0] + holes[b, 0])
                    v0 = 0.5 * sign * (holes[a, 1] + holes[b, 1])
                    tx = 0.5 * (plan[i, 0] + plan[j, 0]) - (c * u0 - s * v0)
                    ty = 0.5 * (plan[i, 1] + plan[j, 1]) - (s * u0 + c * v0)
                    pose = (c, s, tx, ty, sign)
                    score = _score(holes, plan, index, frame, pose, oversize, reach)
                    if score < 0.5 * top or score < 1.5 or count >= keep:
                        continue
                    top = max(top, score)
                    kept[count] = (c, s, tx, ty, sign, score)
                    count += 1
    return kept[:count]
