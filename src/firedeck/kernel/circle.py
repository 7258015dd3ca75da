"""A circle through the points of an edge, some of which do not belong to it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["fit_circle"]

FloatArray = npt.NDArray[np.float64]

#: Scale of a normal distribution per median of its absolute deviations [1].
_SCALE_PER_MEDIAN = 1.4826

#: Least scale of the misfit [mm].
_LEAST_SCALE = 0.02


@njit(cache=True, nogil=True, error_model="numpy")
def fit_circle(edge: FloatArray, start: tuple[float, float, float], steps: int) -> tuple[float, float, float]:
    """Fit a circle to an edge by distance, giving nicks and tears little weight.

    Parameters
    ----------
    edge : ndarray, shape (n, 2)
        Points of the edge [mm].
    start : tuple of float
        First guess of the centre's x and y and the radius [mm].
    steps : int
        Gauss-Newton steps, after each of which the points are weighed anew.

    Returns
    -------
    x, y : float
        Centre [mm].
    residual : float
        Root mean square distance of the points from the circle before the last step [mm].
    """
    count = len(edge)
    x, y, radius = start
    weights, misfit = np.ones(count), np.zeros(count)
    for _ in range(steps):
        normal, right = np.zeros((3, 3)), np.zeros(3)
        for k in range(count):
            dx, dy = edge[k, 0] - x, edge[k, 1] - y
            distance = max(np.sqrt(dx * dx + dy * dy), 1e-9)
            misfit[k] = distance - radius
            slopes = (-dx / distance, -dy / distance, -1.0)
            for a in range(3):
                right[a] += weights[k] * slopes[a] * misfit[k]
                for b in range(3):
                    normal[a, b] += weights[k] * slopes[a] * slopes[b]
        step = np.linalg.solve(normal, right)
        x, y, radius = x - step[0], y - step[1], radius - step[2]
        scale = max(_SCALE_PER_MEDIAN * np.median(np.abs(misfit)), _LEAST_SCALE)
        weights = 1.0 / (1.0 + (misfit / (2.0 * scale)) ** 2)
    return x, y, np.sqrt(np.mean(misfit**2))
