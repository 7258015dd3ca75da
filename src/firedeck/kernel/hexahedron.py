"""Stiffness of partly filled brick elements with enhanced strains, one matrix to each way of filling.

A cell of the grid is cut in plan into 8 x 8 parts, part ``x + 8 y`` filled to a share of its area. What is
integrated is at most quadratic in x and in y, so nine points in plan carry it exactly, whatever is
filled, with weights fitted to its moments. Material smeared over wider parts makes a wall that is as
thick as a cell up to a fifth too stiff in bending.

A full brick has the strains of three incompatible modes to each displacement. In a cut one these
would bend a slanted wall too stiffly; it has all strains that make every component trilinear, thirty
of them (Andelfinger and Ramm, Int. J. Numer. Methods Eng. 36 (1993) 1311, from memory). Their mean over
what is filled is taken off first: a mode that carried a mean strain would unload a half-filled cell in
plain tension (the correction of Taylor, Beresford and Wilson, Int. J. Numer. Methods Eng. 10 (1976)
1211, from memory). Then they are condensed.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.kernel.threads import for_each, row_bands

__all__ = ["EMPTY_PART", "PARTS", "brick_matrices", "corner_signs", "elasticity"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Parts of a cell along x and along y.
PARTS = 8

#: Share of the modulus that an empty part keeps, so that no corner of a cut cell is loose [1].
EMPTY_PART = 1e-4

#: Bricks whose matrices are made at a time: what they take on the way stays near the processor.
_BATCH = 256

_GAUSS = 1.0 / np.sqrt(3.0)


def corner_signs() -> Floats:
    """Return the corners of a brick in local coordinates, x fastest, then y, then z, shape (8, 3) [1]."""
    corners = [(x, y, z) for z in (-1.0, 1.0) for y in (-1.0, 1.0) for x in (-1.0, 1.0)]
    return np.asarray(corners)


def elasticity(poisson: float) -> Floats:
    """Return the isotropic elasticity for a modulus of one, shape (6, 6) [1].

    Order xx, yy, zz, xy, yz, zx with engineering shear.

    Parameters
    ----------
    poisson : float
        Poisson's ratio [1].
    """
    shear = 0.5 / (1.0 + poisson)
    lame = poisson / ((1.0 + poisson) * (1.0 - 2.0 * poisson))
    matrix = np.zeros((6, 6))
    matrix[:3, :3] = lame
    matrix[range(3), range(3)] += 2.0 * shear
    matrix[range(3, 6), range(3, 6)] = shear
    return matrix


def _strain_rows(gradient: Floats) -> Floats:
    """Turn gradients of scalar functions (points, functions, 3) into strain rows (points, 6, 3 functions)."""
    points, functions, _ = gradient.shape
    rows = np.zeros((points, 6, functions, 3))
    for axis in range(3):
        rows[:, axis, :, axis] = gradient[:, :, axis]
    for row, (a, b) in enumerate(((0, 1), (1, 2), (2, 0)), start=3):
        rows[:, row, :, a] = gradient[:, :, b]
        rows[:, row, :, b] = gradient[:, :, a]
    return rows.reshape(points, 6, 3 * functions)


#: Points in plan along one axis, and what each of the quadratics through them has of 1, x and x^2 [1].
_PLAN = np.sqrt(0.6) * np.array([-1.0, 0.0, 1.0])
_QUADRATICS = np.linalg.inv(np.vander(_PLAN, increasing=True))

#: Enhanced strains: component, and powers of x, y and z. The first nine are those of the incompatible modes.
_MODES = (
    *((axis, power) for axis in range(3) for power in [tuple(int(k == axis) for k in range(3))]),
    *((3 + k, tuple(int(j == axis) for j in range(3))) for k in range(3) for axis in (k, (k + 1) % 3)),
    *((axis, tuple(1 if j == axis else int(j == k) for j in range(3)))
      for axis in range(3) for k in range(3) if k != axis),
    *((3 + k, power) for k in range(3) for power in ((1, 1, 0), (0, 1, 1), (1, 0, 1))),
    *((component, (1, 1, 1)) for component in range(6)),
)  # fmt: skip
#: How many of them a full brick has.
_PLAIN_MODES = 9


def _gradients(points: Floats) -> Floats:
    """Local gradients of the eight corners, shape (points, 8, 3) [1]."""
    signs = corner_signs()
    factors = 1.0 + points[:, None, :] * signs[None]
    out = np.zeros((len(points), 8, 3))
    for axis in range(3):
        others = [k for k in range(3) if k != axis]
        out[:, :, axis] = signs[:, axis] * factors[..., others].prod(axis=-1) / 8.0
    return out


def _enhanced(points: Floats) -> Floats:
    """Return the enhanced strains, shape (points, 6, modes) [1]."""
    out = np.zeros((len(points), 6, len(_MODES)))
    for mode, (component, powers) in enumerate(_MODES):
        out[:, component, mode] = np.prod(points ** np.array(powers), axis=1)
    return out


def _shares_of_points() -> Floats:
    """Return what each part gives each point of its share of the cell, shape (parts, points) [1]."""
    edges = np.linspace(-1.0, 1.0, PARTS + 1)
    powers = np.arange(1, 4)
    means = np.diff(edges[:, None] ** powers / powers, axis=0) / 2.0
    along = means @ _QUADRATICS
    return np.asarray(np.einsum("yj,xi->yxji", along, along).reshape(PARTS**2, len(_PLAN) ** 2))


@dataclass(frozen=True)
class _Sums:
    """Integrands at the points in plan, the mean over the height of a cell of side two, modulus one.

    Attributes
    ----------
    corners : ndarray, shape (points, 6, 24, 24)
        Work of the corners' strains on each other, by pairs of axes of the gradients.
    crossed : ndarray, shape (points, 3, 24, modes)
        Work of the corners' on the modes', by axes of the corners' gradients.
    modes : ndarray, shape (points, modes, modes)
        Work of the modes' on each other.
    strain, mode_strain : ndarray, shape (points, 3, 6, 24) and (points, 6, modes)
        The strains.
    load, mode_load : ndarray, shape (points, 3, 24, 2) and (points, modes, 2)
        Work on unit free strain at the bottom and at the top face.
    height : ndarray, shape (points, 2)
        That free strain.
    """

    corners: Floats
    crossed: Floats
    modes: Floats
    strain: Floats
    mode_strain: Floats
    load: Floats
    mode_load: Floats
    height: Floats


#: Pairs of axes; either order of two different ones counts.
_PAIRS = ((0, 0), (1, 1), (2, 2), (0, 1), (1, 2), (2, 0))


@functools.lru_cache(maxsize=8)
def _point_sums(poisson: float) -> _Sums:
    return _Sums(*(np.array(one) for one in zip(*_by_point(elasticity(poisson)), strict=True)))


def _by_point(stiffness: Floats) -> Iterator[tuple[Floats, ...]]:
    """Yield the sums of every point in plan, x fastest."""
    for y, x in itertools.product(_PLAN, _PLAN):
        points = np.array([[x, y, -_GAUSS], [x, y, _GAUSS]])
        gradient, modes = _gradients(points), _enhanced(points)
        rows = np.stack([_strain_rows(gradient * np.eye(3)[axis]) for axis in range(3)])
        stressed, pushed = np.einsum("xpia,ij->xpja", rows, stiffness), np.matmul(stiffness, modes)
        both = np.einsum("xpja,ypjb->xyab", stressed, rows)
        heights = 0.5 * np.column_stack([1.0 - points[:, 2], 1.0 + points[:, 2]])
        sums = (
            np.array([both[a, b] + (both[b, a] if a != b else 0.0) for a, b in _PAIRS]),
            np.einsum("xpja,pjm->xam", stressed, modes),
            np.einsum("pjm,pjk->mk", pushed, modes),
            rows.sum(axis=1),
            modes.sum(axis=0),
            np.einsum("xpa,ph->xah", stressed[:, :, :3].sum(axis=2), heights),
            np.einsum("pm,ph->mh", pushed[:, :3].sum(axis=1), heights),
            heights.sum(axis=0),
        )
        yield tuple(0.5 * one for one in sums)


def _over_points(weights: Floats, sums: Floats, factors: Floats | None = None) -> Floats:
    """Add up points and, with factors (n, axes), axes: weights (n, points), sums (points, [axes,] ...)."""
    both = (
        weights if factors is None else (weights[:, :, None] * factors[:, None, :]).reshape(len(weights), -1)
    )
    kept = sums.shape[1 if factors is None else 2 :]
    return (both @ sums.reshape(both.shape[1], -1)).reshape(len(weights), *kept)


def brick_matrices(shares: Floats, sizes: Floats, poisson: float) -> tuple[Floats, Floats]:
    """Return stiffness and thermal load of bricks by size and way of filling, for a modulus of one.

    Parameters
    ----------
    shares : ndarray, shape (n, PARTS ** 2)
        Filled share of every part [1].
    sizes : ndarray, shape (n, 3) or (3,)
        Sides of the bricks [mm].
    poisson : float
        Poisson's ratio [1].

    Returns
    -------
    stiffness : ndarray, shape (n, 24, 24)
        Corner by corner, x, y, z of each [mm].
    thermal : ndarray, shape (n, 24, 2)
        Corner forces for unit free strain at the bottom face, and at the top face, each falling
        evenly to nothing at the other [mm^2].
    """
    sides = np.broadcast_to(np.asarray(sizes, dtype=np.float64), (len(shares), 3))
    stiffness, thermal = np.empty((len(shares), 24, 24)), np.empty((len(shares), 24, 2))
    full = np.all(shares == 1.0, axis=1)

    def fill(part: Ints) -> None:
        modes = _PLAIN_MODES if full[part[0]] else len(_MODES)
        stiffness[part], thermal[part] = _bricks(shares[part], sides[part], poisson, modes)

    whole, cut = np.flatnonzero(full), np.flatnonzero(~full)
    for_each(fill, [own[band] for own in (whole, cut) for band in row_bands(len(own), _BATCH)])
    return stiffness, thermal


def _bricks(shares: Floats, sides: Floats, poisson: float, modes: int) -> tuple[Floats, Floats]:
    stiffness, sums = elasticity(poisson), _point_sums(poisson)
    bulk = sides.prod(axis=1, keepdims=True)
    weights = bulk * ((shares + EMPTY_PART * (1.0 - shares)) @ _shares_of_points())
    slopes = 2.0 / sides
    pairs = np.stack([slopes[:, x] * slopes[:, y] for x, y in _PAIRS], axis=1)
    corners = _over_points(weights, sums.corners, pairs)
    load = _over_points(weights, sums.load, slopes)
    height, volume = weights @ sums.height, weights.sum(axis=1)
    # Modes less their mean strain: every integral linear in a mode changes by mean times its own sum.
    mean = _over_points(weights, sums.mode_strain[..., :modes]) / volume[:, None, None]
    pushed = np.matmul(stiffness, mean)
    strain = _over_points(weights, sums.strain, slopes)
    coupling = _over_points(weights, sums.crossed[..., :modes], slopes) - strain.transpose(0, 2, 1) @ pushed
    own = _over_points(weights, sums.modes[:, :modes, :modes])
    own -= volume[:, None, None] * (mean.transpose(0, 2, 1) @ pushed)
    mode_load = _over_points(weights, sums.mode_load[:, :modes])
    mode_load -= pushed[:, :3].sum(axis=1)[:, :, None] * height[:, None, :]
    solved = np.linalg.solve(own, np.concatenate([coupling.transpose(0, 2, 1), mode_load], axis=2))
    matrices = corners - coupling @ solved[:, :, :24]
    thermal = load - coupling @ solved[:, :, 24:]
    return 0.5 * (matrices + matrices.transpose(0, 2, 1)), thermal
