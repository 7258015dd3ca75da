"""Preloads of fasteners that share one joint; arrays in N and mm.

A fastener in play has been turned down by `advance` [mm]. It carries ``F = k (advance - u)``
where ``u = A F`` is how far the joint has given under all fasteners, but never less than zero.
With ``M = A + diag(1/k)`` that is: F >= 0, M F - advance >= 0, and one of the two zero for each
fastener. M is positive definite, so there is exactly one answer; it is found as the
non-negative least-squares solution of the triangular system that M factorises into.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular
from scipy.optimize import nnls

__all__ = ["advance_for", "balance", "pull_to", "rigid_bed_compliance"]

Floats = NDArray[np.float64]


def balance(joint: Floats, fastener: Floats, advance: Floats, in_play: NDArray[np.bool_]) -> Floats:
    """Return the preloads that the turned-down fasteners settle to [N], none below zero.

    Parameters
    ----------
    joint : array, shape (n, n)
        Joint compliance: give at fastener i per newton at fastener j [mm/N]; symmetric.
    fastener : array, shape (n,)
        Compliance of each fastener [mm/N].
    advance : array, shape (n,)
        How far each has been turned down from just touching the unloaded joint [mm].
    in_play : array of bool, shape (n,)
        Which fasteners have been tightened at all.
    """
    preload = np.zeros(len(fastener))
    chosen = np.flatnonzero(in_play)
    if chosen.size:
        matrix = joint[np.ix_(chosen, chosen)] + np.diag(fastener[chosen])
        preload[chosen] = _complementary(matrix, advance[chosen])
    return preload


def _complementary(matrix: Floats, advance: Floats) -> Floats:
    """Solve F >= 0, matrix F >= advance, one of them tight per row."""
    direct = np.asarray(np.linalg.solve(matrix, advance), dtype=np.float64)
    if direct.min() >= 0.0:
        return direct
    lower = cholesky(matrix, lower=True)
    answer, _ = nnls(lower.T, solve_triangular(lower, advance, lower=True))
    return np.asarray(answer, dtype=np.float64)


def pull_to(
    joint: Floats, fastener: Floats, advance: Floats, in_play: NDArray[np.bool_], index: int, target: float
) -> Floats:
    """Return all preloads once fastener `index` has been brought to `target` [N].

    The others keep their advance and give up, or gain, what the joint's movement costs them.

    Parameters
    ----------
    joint, fastener, advance, in_play
        As for `balance`.
    index : int
        Fastener that is tightened.
    target : float
        Preload it is brought to [N].
    """
    others = in_play.copy()
    others[index] = False
    preload = balance(joint, fastener, advance - joint[:, index] * target, others)
    preload[index] = target
    return preload


def advance_for(joint: Floats, fastener: Floats, preload: Floats) -> Floats:
    """Return the advance of each fastener that goes with a set of preloads [mm].

    Parameters
    ----------
    joint, fastener
        As for `balance`.
    preload : array, shape (n,)
        Preload of each fastener [N].
    """
    advance: Floats = joint @ preload + fastener * preload
    return advance


def rigid_bed_compliance(positions: Floats, stiffness: float, centre: Floats, moments: Floats) -> Floats:
    """Return the joint compliance of a rigid head on a bed of springs [mm/N].

    ``a_ij = 1/K + r_i . J^+ r_j``, r measured from the bed's centre of stiffness. J^+ is the
    pseudo-inverse: a bed on one line resists no tilt across it.

    Parameters
    ----------
    positions : array, shape (n, 2)
        Fasteners in plan [mm].
    stiffness : float
        Stiffness of the whole bed [N/mm].
    centre : array, shape (2,)
        Centre of stiffness in plan [mm].
    moments : array, shape (2, 2)
        Second moments of the bed's stiffness about its centre [N*mm].
    """
    arms = positions - centre
    compliance: Floats = 1.0 / stiffness + arms @ np.linalg.pinv(moments, rcond=1e-12) @ arms.T
    return compliance
