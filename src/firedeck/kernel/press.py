"""Balance of a condensed joint: dense elastic system, gasket points without tension, fasteners.

Unknown are closures at some places and the approach of each fastener's seats. Each load step is
the minimum of a convex energy, found by Newton steps on the piecewise smooth residual with a line
search that can only go down.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array

from firedeck.kernel.chord import Gasket, Pull, Reference, bring_to_rest, unbalanced
from firedeck.kernel.closure import LawTables, curvature_rows
from firedeck.kernel.dense import factor_lower

__all__ = ["Balance", "Chord", "Chords", "Fasteners", "Points", "solve_balance"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Greatest number of Newton steps.
_MOST_STEPS = 60

#: Residual, against the largest force at work, at which a balance is accepted: so small that an answer
#: does not show from where it was sought [1].
_ACCEPTED = 1e-10

#: Stiffness that keeps the Newton matrix regular where everything is open, against its diagonal [1].
_GROUND = 1e-9

#: Passes over a factor that an answer may take without asking for another [1].
_FEW_PASSES = 12

#: Room for the factors of one system [numbers].
_ROOM = 10_000_000

#: Passes that cost as much as a new factor [1].
_DUE = 60


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
    advance : ndarray, shape (m,), or (rows, m) of many assemblies
        Approach of the seats at which each would be slack [mm]; -inf for one not fitted.
    fixed : ndarray, same shape
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


class Chord:
    """The last factored matrix of a system in one situation, and the last way from start to answer.

    A new factor is made where the old has become dear: once the passes that it has cost would have
    paid for another, and if the last answer still took many of them.
    """

    def __init__(self, reference: Reference | None = None) -> None:
        self.reference = reference
        self.way: Floats | None = None
        self._passes = 0

    def keep(self, reference: Reference | None) -> None:
        """Put a new factor in the place of the old one."""
        self.reference, self._passes = reference, 0

    def worn(self, passes: int) -> bool:
        """Count the passes of an answer, and return whether a new factor is due."""
        self._passes += passes
        return passes > _FEW_PASSES and self._passes > _DUE


class Chords:
    """Chords of one system by situation: which fasteners are fitted and held, what else is at work.

    The ones used longest ago are let go beyond a room for their factors.
    """

    def __init__(self) -> None:
        self._known: OrderedDict[Hashable, Chord] = OrderedDict()

    def at(self, fasteners: Fasteners, situation: Hashable, size: int) -> Chord:
        """Return the chord of a situation; a new one begins with the factor used last.

        Parameters
        ----------
        fasteners : Fasteners
            The fasteners.
        situation : hashable
            What else tells one kind of load step from another.
        size : int
            Number of unknowns [1].
        """
        key = (np.isnan(fasteners.fixed).tobytes(), np.isfinite(fasteners.advance).tobytes(), situation)
        found = self._known.pop(key, None)
        if found is None:
            last = next(reversed(self._known.values()), None)
            found = Chord(None if last is None else last.reference)
        self._known[key] = found
        while len(self._known) > max(_ROOM // size**2, 2):
            self._known.popitem(last=False)
        return found


class _Step:
    """One load step of a joint."""

    def __init__(
        self, stiffness: Floats, points: Points, fasteners: Fasteners, memory: tuple[Floats, Floats]
    ) -> None:
        self.stiffness = stiffness
        weights = points.weights
        self.gasket: Gasket = (
            weights.indptr, weights.indices, weights.data,
            points.gap, points.law, points.size * memory[1], memory[0], points.tables,
        )  # fmt: skip
        self.pull: Pull = (fasteners.stiffness, fasteners.advance, fasteners.fixed)
        count = len(points.gap)
        self.met = (np.zeros(count), np.zeros(count), np.zeros(count), np.zeros(len(fasteners.stiffness)))

    def look(self, unknowns: Floats) -> None:
        """Find closures, loads and slopes at a trial."""
        nothing = np.zeros(len(unknowns))
        unbalanced(nothing, unknowns, self.gasket, self.pull, self.met, nothing.copy())

    def better(self, forces: Floats, start: Floats, way: Floats | None) -> Floats:
        """Return the start, or that with an earlier way gone on from it, whichever is nearer to rest."""
        if way is None:
            return start.copy()
        trials = (start.copy(), start + way)
        sizes = []
        for at in trials:
            residual = self.stiffness @ at - forces
            unbalanced(residual, at, self.gasket, self.pull, self.met, residual)
            sizes.append(np.abs(residual).max())
        return trials[0] if sizes[0] <= sizes[1] else trials[1]

    def factored(self) -> Reference | None:
        """Return the factor of the matrix at the slopes last met; nothing where it is not definite."""
        # Symmetric, so the copy's transpose is the same matrix with its columns in memory one by one.
        matrix = self.stiffness.copy(order="C").T
        starts, columns, weights = self.gasket[:3]
        slope, pull = self.met[2].copy(), self.met[3].copy()
        curvature_rows(matrix, starts, columns, weights, slope)
        diagonal = np.einsum("ii->i", matrix)
        diagonal[len(diagonal) - len(pull) :] += pull
        ground = _GROUND * float(diagonal.max())
        diagonal += ground
        return (matrix.T, slope, pull, ground) if factor_lower(matrix) else None


def solve_balance(
    stiffness: Floats,
    forces: Floats,
    points: Points,
    fasteners: Fasteners,
    memory: tuple[Floats, Floats],
    start: Floats,
    chord: Chord | None = None,
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
    chord : Chord, optional
        Where the last factor of this system with these points lies, and the next one goes.

    Returns
    -------
    Balance
        The balance found; see its residual.
    """
    step = _Step(stiffness, points, fasteners, memory)
    chord = chord or Chord()
    unknowns = step.better(forces, start, chord.way)
    steps, passes, left, rest = 0, 0, np.inf, False
    reference, known = chord.reference, chord.reference is not None
    while steps < _MOST_STEPS and not rest:
        if reference is None:
            step.look(unknowns)
            reference = step.factored()
            chord.keep(reference)
        if reference is None:
            break
        left, taken, passed, rest = bring_to_rest(
            stiffness, forces, step.gasket, step.pull, reference, unknowns, step.met, _ACCEPTED, known
        )
        steps, passes = steps + taken, passes + passed
        reference, known = (reference if rest else None), False
    if chord.worn(passes):
        chord.keep(step.factored())
    chord.way = unknowns - start
    closure, load = step.met[:2]
    tension = fasteners.tension(unknowns[len(unknowns) - len(fasteners.stiffness) :])
    # Where nearly all is open the fasteners hold the head alone, and their force sets what rounding leaves.
    scale = max(1.0, float(load.max(initial=0.0)), float(tension.max(initial=0.0)))
    return Balance(unknowns, closure, load, tension, left / scale, steps)
