"""Balance of a condensed joint: dense elastic system, gasket points without tension, fasteners.

Unknown are closures at some places and the approach of each fastener's seats. Each load step is
the minimum of a convex energy, found by Newton steps on the piecewise smooth residual with a line
search that can only go down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg.lapack import dposv
from scipy.sparse import csr_array

from firedeck.kernel.closure import LawTables, curvature_rows, point_loads

__all__ = ["Balance", "Fasteners", "Points", "solve_balance"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Greatest number of Newton steps.
_MOST_STEPS = 60

#: Residual, against the largest force at work, at which a balance is accepted [1].
_ACCEPTED = 1e-9

#: Stiffness that keeps the Newton matrix regular where everything is open, against its diagonal [1].
_GROUND = 1e-9


@dataclass(frozen=True)
class Points:
    """Gasket points on the closures of the elastic system.

    Attributes
    ----------
    weights : csr_array, shape (points, n)
        Closure of a point from the unknowns [1].
    gap : ndarray, shape (points,)
        Closure at which a point first touches [mm].
    law : ndarray of int, shape (points,)
        Row of the law tables [1].
    size : ndarray, shape (points,)
        Length [mm] or area [mm^2] that a point stands for.
    tables : tuple of ndarray
        See `firedeck.kernel.closure.LawTables`.
    """

    weights: csr_array
    gap: Floats
    law: Ints
    size: Floats
    tables: LawTables


@dataclass(frozen=True)
class Fasteners:
    """Fasteners at one load step; the last unknowns of the system are their seats' approach.

    Attributes
    ----------
    stiffness : ndarray, shape (m,)
        Stiffness of each [N/mm].
    advance : ndarray, shape (m,)
        Approach of the seats at which each would be slack [mm]; -inf for one not fitted.
    fixed : ndarray, shape (m,)
        Tension that each is brought to [N]; NaN where the fastener follows its advance.
    """

    stiffness: Floats
    advance: Floats
    fixed: Floats

    def tension(self, approach: Floats) -> Floats:
        """Return the tension of each fastener [N]."""
        stretch = np.maximum(self.advance - approach, 0.0)
        return np.where(np.isnan(self.fixed), self.stiffness * stretch, self.fixed)

    def slope(self, approach: Floats) -> Floats:
        """Return how fast each tension falls as the seats approach [N/mm]."""
        pulling = np.isnan(self.fixed) & (self.advance > approach)
        return np.where(pulling, self.stiffness, 0.0)


@dataclass(frozen=True)
class Balance:
    """A joint in balance.

    Attributes
    ----------
    unknowns : ndarray, shape (n,)
        Closures and approaches [mm].
    closure : ndarray, shape (points,)
        Closure of every point from first touch [mm].
    load : ndarray, shape (points,)
        Load of every point [N].
    tension : ndarray, shape (m,)
        Tension of every fastener [N].
    residual : float
        Largest unbalanced force against the largest force at work [1].
    steps : int
        Newton steps taken [1].
    """

    unknowns: Floats
    closure: Floats
    load: Floats
    tension: Floats
    residual: float
    steps: int


class _Step:
    """One load step: residual and matrix at a trial."""

    def __init__(
        self,
        stiffness: Floats,
        forces: Floats,
        points: Points,
        fasteners: Fasteners,
        memory: tuple[Floats, Floats],
    ) -> None:
        self.stiffness, self.forces = stiffness, forces
        self.points, self.fasteners = points, fasteners
        self.largest, scale = memory
        self.scale = points.size * scale
        self.count = len(fasteners.stiffness)
        self.load, self.slope = np.zeros(len(points.gap)), np.zeros(len(points.gap))
        self.turned = points.weights.T.tocsr()

    def residual(self, unknowns: Floats) -> Floats:
        """Unbalanced force on every unknown [N]; keeps loads and slopes."""
        self.closure = self.points.weights @ unknowns - self.points.gap
        points = self.points
        point_loads(self.closure, self.largest, points.law, self.scale, points.tables, self.load, self.slope)
        out: Floats = self.stiffness @ unknowns - self.forces + self.turned @ self.load
        out[len(out) - self.count :] -= self.fasteners.tension(unknowns[len(out) - self.count :])
        return out

    def matrix(self, unknowns: Floats) -> Floats:
        """Slope of the residual, lower triangle [N/mm]."""
        # Symmetric, so the copy's transpose is the same matrix with its columns in memory one by one.
        matrix = self.stiffness.copy(order="C").T
        weights = self.points.weights
        curvature_rows(matrix, weights.indptr, weights.indices, weights.data, self.slope)
        diagonal = np.einsum("ii->i", matrix)
        diagonal[len(diagonal) - self.count :] += self.fasteners.slope(unknowns[-self.count :])
        diagonal += _GROUND * diagonal.max()
        return matrix

    @property
    def scale_of_force(self) -> float:
        """Largest force at work [N]."""
        fixed = np.nan_to_num(self.fasteners.fixed)
        return max(float(np.abs(self.load).max(initial=0.0)), float(np.abs(fixed).max(initial=0.0)), 1.0)


def solve_balance(
    stiffness: Floats,
    forces: Floats,
    points: Points,
    fasteners: Fasteners,
    memory: tuple[Floats, Floats],
    start: Floats,
) -> Balance:
    """Bring a joint into balance.

    Parameters
    ----------
    stiffness : ndarray, shape (n, n)
        Elastic system; it may let the head move as a rigid body.
    forces : ndarray, shape (n,)
        Forces on the unknowns from gas and temperature [N].
    points : Points
        Gasket points.
    fasteners : Fasteners
        Fasteners; the last unknowns are theirs.
    memory : tuple of ndarray
        Largest closure of every point so far [mm], and share of load left by relaxation [1].
    start : ndarray, shape (n,)
        Trial to start from [mm].

    Returns
    -------
    Balance
        The balance found; see its residual.
    """
    step = _Step(stiffness, forces, points, fasteners, memory)
    unknowns = start.copy()
    residual = step.residual(unknowns)
    count = 0
    while count < _MOST_STEPS:
        count += 1
        _, change, fault = dposv(step.matrix(unknowns), -residual, lower=1, overwrite_a=1)
        if fault:
            break
        unknowns, residual = _line_search(step, unknowns, change, residual)
        if np.abs(residual).max() <= _ACCEPTED * step.scale_of_force:
            break
    tail = unknowns[len(unknowns) - step.count :]
    tension = fasteners.tension(tail)
    # Where nearly all is open the fasteners hold the head alone, and their force sets what rounding leaves.
    scale = max(step.scale_of_force, float(tension.max(initial=0.0)))
    error = float(np.abs(residual).max()) / scale
    return Balance(unknowns, step.closure, step.load.copy(), tension, error, count)


def _line_search(step: _Step, unknowns: Floats, change: Floats, residual: Floats) -> tuple[Floats, Floats]:
    """Take the whole step, or go back to where the energy no longer rises steeply."""
    start = float(residual @ change)
    low, low_slope, share = 0.0, start, 1.0
    trial = unknowns + change
    found = step.residual(trial)
    for _ in range(12):
        slope = float(found @ change)
        if slope <= 0.5 * abs(start):
            break
        high = share
        share = low + (high - low) * min(max(-low_slope / (slope - low_slope), 0.1), 0.9)
        trial = unknowns + share * change
        found = step.residual(trial)
    return trial, found
