"""Fitting a nearly rigid pose to points and to lines, with its covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = [
    "PoseFit",
    "Sightings",
    "apply_homography",
    "apply_pose",
    "fit_homography",
    "fit_pose",
    "pose_parts",
]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

_STEPS = 12

#: Steps smaller than these end the search: angle and strain [radian, 1], shift [mm].
_CLOSE_ANGLE, _CLOSE_MM = 1e-8, 1e-6


@dataclass(frozen=True)
class Sightings:
    """Scalar observations of a pose: a picture point should lie on a line through a target.

    A point that is seen in full gives two of them, along x and along y.

    Attributes
    ----------
    points : ndarray, shape (n, 2)
        Picture points [mm], y down.
    targets : ndarray, shape (n, 2)
        Deck points [mm] on the lines.
    directions : ndarray, shape (n, 2)
        Unit vectors normal to the lines, in the deck frame.
    sigma : ndarray, shape (n,)
        Standard uncertainty of each [mm].
    group : ndarray of int, shape (n,)
        Which nuisance group each belongs to, -1 for none.
    """

    points: FloatArray
    targets: FloatArray
    directions: FloatArray
    sigma: FloatArray
    group: IntArray

    def __add__(self, other: Sightings) -> Sightings:
        return Sightings(
            np.vstack([self.points, other.points]),
            np.vstack([self.targets, other.targets]),
            np.vstack([self.directions, other.directions]),
            np.concatenate([self.sigma, other.sigma]),
            np.concatenate([self.group, other.group]),
        )


@dataclass(frozen=True)
class PoseFit:
    """A fitted pose.

    Attributes
    ----------
    matrix : ndarray, shape (2, 3)
        From picture x, y [mm] (y down) to deck x, y [mm].
    covariance : ndarray, shape (6, 6)
        Covariance of the matrix's elements, row by row.
    strain : ndarray, shape (3,)
        Stretch in deck x, in deck y, and shear [1].
    residuals : ndarray, shape (n,)
        What is left of each sighting after nuisance [mm].
    nuisance : ndarray, shape (groups, 3)
        Offset along the normal, and shift in x and y, of each group [mm].
    """

    matrix: FloatArray
    covariance: FloatArray
    strain: FloatArray
    residuals: FloatArray
    nuisance: FloatArray


def apply_pose(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Map points, shape (n, 2), by a matrix of shape (2, 3)."""
    return np.asarray(points @ matrix[:, :2].T + matrix[:, 2])


def pose_parts(linear: FloatArray) -> tuple[float, FloatArray, float]:
    """Split a 2 x 2 matrix into rotation angle [radian], stretch (xx, yy, xy) [1] and sign.

    The matrix equals (I + E) R F with E symmetric, R a rotation and F = diag(1, sign).
    """
    sign = 1.0 if np.linalg.det(linear) > 0 else -1.0
    proper = linear @ np.diag([1.0, sign])
    u, stretch, vt = np.linalg.svd(proper)
    rotation = u @ vt
    strain = u @ np.diag(stretch) @ u.T - np.eye(2)
    angle = float(np.arctan2(rotation[1, 0], rotation[0, 0]))
    return angle, np.array([strain[0, 0], strain[1, 1], strain[0, 1]]), sign


def _linear(angle: float, strain: FloatArray, sign: float) -> FloatArray:
    c, s = np.cos(angle), np.sin(angle)
    stretch = np.array([[1 + strain[0], strain[2]], [strain[2], 1 + strain[1]]])
    return np.asarray(stretch @ np.array([[c, -s], [s, c]]) @ np.diag([1.0, sign]))


def _matrix_slopes(angle: float, strain: FloatArray, sign: float) -> FloatArray:
    """Return derivatives of the 2 x 2 matrix by angle and the three strains, shape (4, 2, 2)."""
    c, s = np.cos(angle), np.sin(angle)
    flip = np.diag([1.0, sign])
    turn = np.array([[c, -s], [s, c]]) @ flip
    stretch = np.array([[1 + strain[0], strain[2]], [strain[2], 1 + strain[1]]])
    by_angle = stretch @ np.array([[-s, -c], [c, -s]]) @ flip
    units = np.array([[[1.0, 0], [0, 0]], [[0, 0], [0, 1.0]], [[0, 1.0], [1.0, 0]]])
    return np.concatenate([by_angle[None], units @ turn])


def fit_pose(
    seen: Sightings,
    start: FloatArray,
    weights: FloatArray,
    strain_sd: FloatArray,
    nuisance_sd: tuple[float, float] = (0.0, 0.0),
) -> PoseFit:
    """Fit a pose whose stretch is expected to be small.

    Minimises the weighted sum of squared residuals, plus the squares of strain and nuisance over
    their expected standard deviations, by Gauss-Newton steps.

    Parameters
    ----------
    seen : Sightings
        What was seen.
    start : ndarray, shape (2, 3)
        First guess of the matrix; its mirroring is kept.
    weights : ndarray, shape (n,)
        Weight of each sighting [1], from robust reweighting.
    strain_sd : ndarray, shape (3,)
        Expected standard deviation of stretch in x, in y and of shear [1].
    nuisance_sd : tuple of float
        Expected standard deviation of a group's normal offset and of its shift per axis [mm].

    Returns
    -------
    PoseFit
        Pose, covariance from the stated uncertainties, residuals and nuisance.
    """
    centre = seen.points.mean(axis=0)
    local = seen.points - centre
    angle, strain, sign = pose_parts(start[:, :2])
    shift = start[:, :2] @ centre + start[:, 2]
    strength = weights / seen.sigma**2
    prior = np.concatenate([[0.0], 1 / strain_sd**2, [0.0, 0.0]])
    for _ in range(_STEPS):
        pose = _linear(angle, strain, sign), shift, _matrix_slopes(angle, strain, sign)
        normal, pull, _ = _normal_equations(seen, local, strength, nuisance_sd, pose)
        normal += np.diag(prior)
        pull += prior * np.concatenate([[0.0], strain, [0.0, 0.0]])
        step = -np.linalg.solve(normal, pull)
        angle, strain, shift = angle + step[0], strain + step[1:4], shift + step[4:]
        if np.max(np.abs(step[:4])) < _CLOSE_ANGLE and np.max(np.abs(step[4:])) < _CLOSE_MM:
            break
    linear, by_shape = _linear(angle, strain, sign), _matrix_slopes(angle, strain, sign)
    nuisance = _normal_equations(seen, local, strength, nuisance_sd, (linear, shift, by_shape))[2]
    residuals = np.sum(seen.directions * (local @ linear.T + shift - seen.targets), axis=1)
    grouped = seen.group >= 0
    own = nuisance[seen.group[grouped]]
    residuals[grouped] -= own[:, 0] + np.sum(own[:, 1:] * seen.directions[grouped], axis=1)
    matrix = np.column_stack([linear, shift - linear @ centre])
    turn = _element_slopes(by_shape, centre)
    return PoseFit(matrix, turn @ np.linalg.inv(normal) @ turn.T, strain, residuals, nuisance)


def _normal_equations(
    seen: Sightings,
    local: FloatArray,
    strength: FloatArray,
    nuisance_sd: tuple[float, float],
    pose: tuple[FloatArray, FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return normal matrix and gradient with nuisance taken out, and what each group's nuisance is then."""
    offset, shift = nuisance_sd
    groups = int(seen.group.max(initial=-1)) + 1
    expected = np.diag([offset**-2, shift**-2, shift**-2]) if groups else np.zeros((3, 3))
    sums = _sums(local, seen.targets, seen.directions, strength, seen.group, groups, *pose)
    normal, pull, cross, off, own = sums
    inverse = np.linalg.inv(own + expected)
    gain = cross @ inverse
    normal -= np.tensordot(gain, cross, axes=((0, 2), (0, 2)))
    pull -= np.tensordot(gain, off, axes=((0, 2), (0, 1)))
    return normal, pull, (inverse @ off[:, :, None])[:, :, 0]


@njit(cache=True, nogil=True, error_model="numpy")
def _sums(
    local: FloatArray,
    targets: FloatArray,
    directions: FloatArray,
    strength: FloatArray,
    group: IntArray,
    groups: int,
    linear: FloatArray,
    shift: FloatArray,
    by_shape: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Add up the sightings' products of derivatives: by the pose, by both, and by each group's nuisance.

    Returns
    -------
    normal : ndarray, shape (6, 6)
        Pose with pose: angle, three strains, shift.
    pull : ndarray, shape (6,)
        Pose with what the sightings miss.
    cross : ndarray, shape (groups, 6, 3)
        Pose with nuisance: offset and shift.
    off : ndarray, shape (groups, 3)
        Nuisance with what the sightings miss.
    own : ndarray, shape (groups, 3, 3)
        Nuisance with nuisance.
    """
    normal, pull = np.zeros((6, 6)), np.zeros(6)
    cross, off, own = np.zeros((groups, 6, 3)), np.zeros((groups, 3)), np.zeros((groups, 3, 3))
    slopes, rows = np.empty(6), np.ones(3)
    for k in range(local.shape[0]):
        x, y, to_x, to_y = local[k, 0], local[k, 1], directions[k, 0], directions[k, 1]
        for s in range(4):
            turned_x = by_shape[s, 0, 0] * x + by_shape[s, 0, 1] * y
            slopes[s] = to_x * turned_x + to_y * (by_shape[s, 1, 0] * x + by_shape[s, 1, 1] * y)
        slopes[4], slopes[5] = to_x, to_y
        rows[1], rows[2] = to_x, to_y
        miss_x = linear[0, 0] * x + linear[0, 1] * y + shift[0] - targets[k, 0]
        miss_y = linear[1, 0] * x + linear[1, 1] * y + shift[1] - targets[k, 1]
        miss, g = to_x * miss_x + to_y * miss_y, group[k]
        for a in range(6):
            weighted = strength[k] * slopes[a]
            pull[a] += weighted * miss
            for b in range(6):
                normal[a, b] += weighted * slopes[b]
            if g >= 0:
                for c in range(3):
                    cross[g, a, c] += weighted * rows[c]
        if g >= 0:
            for a in range(3):
                weighted = strength[k] * rows[a]
                off[g, a] += weighted * miss
                for b in range(3):
                    own[g, a, b] += weighted * rows[b]
    return normal, pull, cross, off, own


def _element_slopes(by_shape: FloatArray, centre: FloatArray) -> FloatArray:
    """Return derivatives of the six matrix elements by angle, strains and shift of the centre."""
    slopes = np.zeros((2, 3, 6))
    slopes[:, :2, :4] = np.moveaxis(by_shape, 0, -1)
    slopes[:, 2, :4] = -np.einsum("kde,e->dk", by_shape, centre)
    slopes[0, 2, 4] = slopes[1, 2, 5] = 1.0
    return slopes.reshape(6, 6)


def fit_homography(points: FloatArray, targets: FloatArray) -> FloatArray:
    """Fit a perspective map to at least four pairs of points by the direct linear transform.

    Both sets are centred and scaled first (Hartley, *In defense of the eight-point algorithm*,
    IEEE Trans. PAMI 19(6), 1997, gives the reason).

    Parameters
    ----------
    points, targets : ndarray, shape (n, 2)
        Points and where they lie [mm].

    Returns
    -------
    ndarray, shape (3, 3)
        The map, its last element 1.
    """
    inner, outer = _conditioner(points), _conditioner(targets)
    p = np.column_stack([points, np.ones(len(points))]) @ inner.T
    q = np.column_stack([targets, np.ones(len(targets))]) @ outer.T
    zero = np.zeros_like(p)
    rows = np.vstack([np.hstack([p, zero, -q[:, :1] * p]), np.hstack([zero, p, -q[:, 1:2] * p])])
    conditioned = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    found = np.linalg.inv(outer) @ conditioned @ inner
    return np.asarray(found / found[2, 2])


def _conditioner(points: FloatArray) -> FloatArray:
    centre = points.mean(axis=0)
    scale = np.sqrt(2.0) / np.sqrt(np.mean(np.sum((points - centre) ** 2, axis=1)))
    return np.array([[scale, 0, -scale * centre[0]], [0, scale, -scale * centre[1]], [0, 0, 1.0]])


def apply_homography(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Map points, shape (n, 2), by a perspective map of shape (3, 3)."""
    mapped = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:])
