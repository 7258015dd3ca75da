"""Stiffness of partly filled brick elements with incompatible modes, one matrix to each pattern of filling.

A cell of the grid is cut in plan into 4 x 4 parts that are either full or empty; a pattern is a
16-bit mask of the full ones, bit ``x + 4 y``. Stiffness is summed over the full parts where they
lie, and the incompatible modes are condensed afterwards. Their mean strain over the full parts is
taken off first: a mode that carried a mean strain would unload a half-filled cell in plain tension
(the correction of Taylor, Beresford and Wilson, Int. J. Numer. Methods Eng. 10 (1976) 1211, from
memory, here with the mean over what is filled).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["EMPTY_PART", "PARTS", "brick_matrices", "corner_signs", "elasticity"]

Floats = npt.NDArray[np.float64]

#: Parts of a cell along x and along y.
PARTS = 4

#: Share of the modulus that an empty part keeps, so that no corner of a cut cell is loose [1].
EMPTY_PART = 1e-4

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


def _corner_strains(points: Floats, size: Floats) -> Floats:
    signs = corner_signs()
    factors = 1.0 + points[:, None, :] * signs[None]
    gradient = np.empty((len(points), 8, 3))
    for axis in range(3):
        others = [k for k in range(3) if k != axis]
        gradient[:, :, axis] = signs[:, axis] * factors[..., others].prod(axis=-1) / 8.0
    return _strain_rows(gradient * 2.0 / size)


def _mode_strains(points: Floats, size: Floats) -> Floats:
    gradient = np.zeros((len(points), 3, 3))
    for axis in range(3):
        gradient[:, axis, axis] = -2.0 * points[:, axis]
    return _strain_rows(gradient * 2.0 / size)


def _part_sums(part: int, size: Floats, stiffness: Floats) -> tuple[Floats, ...]:
    """Integrals over one part: stiffness with modes, and what the mean's correction needs."""
    points = _points_of_part(part)
    weight = float(np.prod(size)) / (8.0 * PARTS**2)
    corners, modes = _corner_strains(points, size), _mode_strains(points, size)
    rows = np.concatenate([corners, modes], axis=2)
    heights = 0.5 * np.column_stack([1.0 - points[:, 2], 1.0 + points[:, 2]])
    stressed = np.einsum("pia,ij->pja", rows, stiffness)
    swelling = stressed[:, :3].sum(axis=1)
    return (
        weight * np.einsum("pja,pjb->ab", stressed, rows),
        weight * stressed.sum(axis=0),
        weight * rows.sum(axis=0),
        weight * np.einsum("pa,ph->ah", swelling, heights),
        weight * heights.sum(axis=0),
        np.array(8.0 * weight),
    )


def brick_matrices(masks: npt.NDArray[np.uint16], size: Floats, poisson: float) -> tuple[Floats, Floats]:
    """Return stiffness and thermal load of a brick for every pattern of filling, for a modulus of one.

    Parameters
    ----------
    masks : ndarray of uint16, shape (n,)
        Patterns, one bit for each full part.
    size : ndarray, shape (3,)
        Sides of the brick [mm].
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
    stiffness = elasticity(poisson)
    parts = [_part_sums(part, size, stiffness) for part in range(PARTS**2)]
    bits = (masks[:, None] >> np.arange(PARTS**2)) & 1
    weights = np.where(bits == 1, 1.0, EMPTY_PART)
    full, stress, strain, load, height, volume = (
        np.tensordot(weights, np.stack(sums), axes=1) for sums in zip(*parts, strict=True)
    )
    # Modes less their mean strain: every integral linear in a mode changes by mean times its own sum.
    mean = strain[:, :, 24:] / volume[:, None, None]
    drawn = np.einsum("nia,nib->nab", stress[:, :, :24], mean)
    coupling = full[:, :24, 24:] - drawn
    own = full[:, 24:, 24:] - volume[:, None, None] * np.einsum("nia,ij,njb->nab", mean, stiffness, mean)
    swollen = np.einsum("nia,i->na", mean, stiffness[:, :3].sum(axis=1))
    mode_load = load[:, 24:] - swollen[:, :, None] * height[:, None, :]
    solved = np.linalg.solve(own, np.concatenate([coupling.transpose(0, 2, 1), mode_load], axis=2))
    matrices = full[:, :24, :24] - coupling @ solved[:, :, :24]
    thermal = load[:, :24] - coupling @ solved[:, :, 24:]
    return 0.5 * (matrices + matrices.transpose(0, 2, 1)), thermal
