"""Fitting a nearly rigid pose to points and to lines, with its covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

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
    blocks = _nuisance_blocks(seen, strength, nuisance_sd)
    for _ in range(_STEPS):
        slopes = _slopes(seen, local, angle, strain, sign)
        miss = _miss(seen, local, _linear(angle, strain, sign), shift)
        normal = slopes.T @ (strength[:, None] * slopes) + np.diag(prior)
        pull = slopes.T @ (strength * miss) + prior * np.concatenate([[0.0], strain, [0.0, 0.0]])
        for block in blocks:
            cross = slopes[block.members].T @ block.weighted
            gain = cross @ block.inverse
            normal -= gain @ cross.T
            pull -= gain @ (block.weighted.T @ miss[block.members])
        step = -np.linalg.solve(normal, pull)
        angle, strain, shift = angle + step[0], strain + step[1:4], shift + step[4:]
        if np.max(np.abs(step[:4])) < _CLOSE_ANGLE and np.max(np.abs(step[4:])) < _CLOSE_MM:
            break
    linear = _linear(angle, strain, sign)
    miss = _miss(seen, local, linear, shift)
    residuals, nuisance = _after_nuisance(miss, blocks)
    matrix = np.column_stack([linear, shift - linear @ centre])
    turn = _element_slopes(_matrix_slopes(angle, strain, sign), centre)
    return PoseFit(matrix, turn @ np.linalg.inv(normal) @ turn.T, strain, residuals, nuisance)


def _slopes(seen: Sightings, local: FloatArray, angle: float, strain: FloatArray, sign: float) -> FloatArray:
    by_shape = _matrix_slopes(angle, strain, sign)
    turned = [np.sum((local @ slope.T) * seen.directions, axis=1) for slope in by_shape]
    return np.column_stack([*turned, seen.directions])


def _miss(seen: Sightings, local: FloatArray, linear: FloatArray, shift: FloatArray) -> FloatArray:
    return np.asarray(np.sum(seen.directions * (local @ linear.T + shift - seen.targets), axis=1))


@dataclass(frozen=True)
class _Block:
    """One group's nuisance: its sightings, derivative rows, the same weighted, inverse normal matrix."""

    members: IntArray
    rows: FloatArray
    weighted: FloatArray
    inverse: FloatArray


def _nuisance_blocks(seen: Sightings, strength: FloatArray, nuisance_sd: tuple[float, float]) -> list[_Block]:
    offset, shift = nuisance_sd
    blocks = []
    for group in range(int(seen.group.max(initial=-1)) + 1):
        members = np.flatnonzero(seen.group == group)
        rows = np.column_stack([np.ones(len(members)), seen.directions[members]])
        weighted = strength[members, None] * rows
        own = rows.T @ weighted + np.diag([offset**-2, shift**-2, shift**-2])
        blocks.append(_Block(members, rows, weighted, np.asarray(np.linalg.inv(own))))
    return blocks


def _after_nuisance(miss: FloatArray, blocks: list[_Block]) -> tuple[FloatArray, FloatArray]:
    residuals = miss.copy()
    nuisance = np.zeros((len(blocks), 3))
    for group, block in enumerate(blocks):
        nuisance[group] = block.inverse @ (block.weighted.T @ miss[block.members])
        residuals[block.members] -= block.rows @ nuisance[group]
    return residuals, nuisance


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
