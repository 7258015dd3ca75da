"""Stiffness of partly filled brick elements with incompatible modes, one matrix to each way of filling.

A cell of the grid is cut in plan into 4 x 4 parts, part ``x + 4 y`` filled to a share of its area.
Stiffness is summed over the parts where they lie, each by its share, and the incompatible modes are
condensed afterwards. Their mean strain over the full parts is
taken off first: a mode that carried a mean strain would unload a half-filled cell in plain tension
(the correction of Taylor, Beresford and Wilson, Int. J. Numer. Methods Eng. 10 (1976) 1211, from
memory, here with the mean over what is filled).
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["EMPTY_PART", "PARTS", "brick_matrices", "corner_signs", "elasticity"]

Floats = npt.NDArray[np.float64]

#: Parts of a cell along x and along y.
PARTS = 4

#: Share of the modulus that an empty part keeps, so that no corner of a cut cell is loose [1].
EMPTY_PART = 1e-4

#: Bricks whose matrices are made at a time.
_BATCH = 2048

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


def _points_of_part(part: int) -> Floats:
    """Gauss points of one part in the cell's local coordinates, shape (8, 3) [1]."""
    half = 1.0 / PARTS
    middle = np.array([2.0 * (part % PARTS) + 1.0, 2.0 * (part // PARTS) + 1.0]) / PARTS - 1.0
    offsets = corner_signs() * _GAUSS
    return np.column_stack(
        [middle[0] + half * offsets[:, 0], middle[1] + half * offsets[:, 1], offsets[:, 2]]
    )


def _gradients(points: Floats) -> Floats:
    """Local gradients of the eight corners and the three modes, shape (points, 11, 3) [1]."""
    signs = corner_signs()
    factors = 1.0 + points[:, None, :] * signs[None]
    out = np.zeros((len(points), 11, 3))
    for axis in range(3):
        others = [k for k in range(3) if k != axis]
        out[:, :8, axis] = signs[:, axis] * factors[..., others].prod(axis=-1) / 8.0
        out[:, 8 + axis, axis] = -2.0 * points[:, axis]
    return out


@dataclass(frozen=True)
class _Sums:
    """Integrals over the parts of a cell of side two, by axes of the gradients, the last axis the part's.

    Stiffness with modes by pairs of axes, and what stress, strain and unit swelling add up to by axis.
    """

    full: Floats
    stress: Floats
    strain: Floats
    load: Floats
    height: Floats


#: Pairs of axes; either order of two different ones counts.
_PAIRS = ((0, 0), (1, 1), (2, 2), (0, 1), (1, 2), (2, 0))


@functools.lru_cache(maxsize=8)
def _part_sums(poisson: float) -> _Sums:
    stiffness = elasticity(poisson)
    full, stress, strain, load, height = [], [], [], [], []
    for part in range(PARTS**2):
        points = _points_of_part(part)
        gradient = _gradients(points)
        rows = np.stack([_strain_rows(gradient * np.eye(3)[axis]) for axis in range(3)])
        stressed = np.einsum("xpia,ij->xpja", rows, stiffness)
        both = np.einsum("xpja,ypjb->xyab", stressed, rows)
        full.append([both[x, y] + (both[y, x] if x != y else 0.0) for x, y in _PAIRS])
        stress.append(stressed.sum(axis=1))
        strain.append(rows.sum(axis=1))
        heights = 0.5 * np.column_stack([1.0 - points[:, 2], 1.0 + points[:, 2]])
        load.append(np.einsum("xpa,ph->xah", stressed[:, :, :3].sum(axis=2), heights))
        height.append(heights.sum(axis=0))
    share = 1.0 / (8.0 * PARTS**2)
    return _Sums(*(share * np.array(sums) for sums in (full, stress, strain, load, height)))


def _over_parts(weights: Floats, factors: Floats, sums: Floats) -> Floats:
    """Add up parts and axes: weights (n, parts), factors (n, axes), sums (parts, axes, ...)."""
    both = (weights[:, :, None] * factors[:, None, :]).reshape(len(weights), -1)
    return (both @ sums.reshape(both.shape[1], -1)).reshape(len(weights), *sums.shape[2:])


def brick_matrices(shares: Floats, sizes: Floats, poisson: float) -> tuple[Floats, Floats]:
    """Return stiffness and thermal load of bricks by size and way of filling, for a modulus of one.

    Parameters
    ----------
    shares : ndarray, shape (n, 16)
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
    for start in range(0, len(shares), _BATCH):
        part = slice(start, start + _BATCH)
        stiffness[part], thermal[part] = _bricks(shares[part], sides[part], poisson)
    return stiffness, thermal


def _bricks(shares: Floats, sides: Floats, poisson: float) -> tuple[Floats, Floats]:
    stiffness, sums = elasticity(poisson), _part_sums(poisson)
    bulk = sides.prod(axis=1, keepdims=True)
    weights = bulk * (shares + EMPTY_PART * (1.0 - shares))
    slopes = 2.0 / sides
    full = _over_parts(weights, np.stack([slopes[:, x] * slopes[:, y] for x, y in _PAIRS], axis=1), sums.full)
    stress = _over_parts(weights, slopes, sums.stress)
    strain = _over_parts(weights, slopes, sums.strain)
    load = _over_parts(weights, slopes, sums.load)
    height = weights @ sums.height
    volume = weights.mean(axis=1)
    # Modes less their mean strain: every integral linear in a mode changes by mean times its own sum.
    mean = strain[:, :, 24:] / volume[:, None, None]
    drawn = np.einsum("nia,nib->nab", stress[:, :, :24], mean)
    coupling = full[:, :24, 24:] - drawn
    turned = np.einsum("ij,njb->nib", stiffness, mean)
    own = full[:, 24:, 24:] - volume[:, None, None] * (mean.transpose(0, 2, 1) @ turned)
    swollen = np.einsum("nia,i->na", mean, stiffness[:, :3].sum(axis=1))
    mode_load = load[:, 24:] - swollen[:, :, None] * height[:, None, :]
    solved = np.linalg.solve(own, np.concatenate([coupling.transpose(0, 2, 1), mode_load], axis=2))
    matrices = full[:, :24, :24] - coupling @ solved[:, :, :24]
    thermal = load[:, :24] - coupling @ solved[:, :, 24:]
    return 0.5 * (matrices + matrices.transpose(0, 2, 1)), thermal
