"""Balances of one condensed joint under many different loads at once, side by side as rows of matrices.

The same Newton steps as for a single balance, each brought to rest by conjugate gradients with the
inverse of an earlier matrix; but a pass over the inverse serves all rows, so that it is arithmetic
and no longer memory that takes the time. Every row goes its own way: it is left out once it is at rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg.lapack import dpotrf, dpotri

from firedeck.kernel.closure import LawTables, point_loads
from firedeck.kernel.press import Fasteners

__all__ = ["Guide", "ManyBalances", "Patches", "guide_at", "solve_many"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

#: Residual, against the largest force at work, at which a balance is accepted [1].
_ACCEPTED = 1e-10

#: Stiffness that keeps the matrix regular where everything is open, against its diagonal [1].
_GROUND = 1e-9

#: Greatest number of Newton steps, of passes over the inverse in one, and of trials along one.
_MOST_STEPS, _MOST_PASSES, _MOST_TRIALS = 60, 40, 13

#: Share of the rows that are still on their way below which the others are let go of [1].
_CROWDED = 0.85


@dataclass(frozen=True)
class Patches:
    """Gasket points whose closures are unknowns themselves, the first ones of the system.

    Attributes
    ----------
    gap : ndarray, shape (p,)
        Closure at which each first touches [mm].
    law : ndarray of int, shape (p,)
        Row of the law tables [1].
    size : ndarray, shape (p,)
        Length [mm] or area [mm^2] that each stands for.
    tables : tuple of ndarray
        See `firedeck.kernel.closure.LawTables`.
    """

    gap: Floats
    law: Ints
    size: Floats
    tables: LawTables


def _rows_of(fasteners: Fasteners, chosen: Bools | slice) -> Fasteners:
    return Fasteners(fasteners.stiffness, fasteners.advance[chosen], fasteners.fixed[chosen])


@dataclass(frozen=True)
class ManyBalances:
    """Joints in balance.

    Attributes
    ----------
    unknowns : ndarray, shape (rows, n)
        Closures and approaches [mm].
    closure, load : ndarray, shape (rows, p)
        Closure from first touch [mm] and load [N] of every patch.
    tension : ndarray, shape (rows, m)
        Tension of every fastener [N].
    residual : ndarray, shape (rows,)
        Largest unbalanced force against the largest force at work [1].
    steps : ndarray of int, shape (rows,)
        Newton steps taken [1].
    """

    unknowns: Floats
    closure: Floats
    load: Floats
    tension: Floats
    residual: Floats
    steps: Ints

    def rows(self, chosen: Bools) -> ManyBalances:
        """Return some of the rows."""
        return ManyBalances(*(array[chosen] for array in vars(self).values()))

    def with_rows(self, chosen: Bools, others: ManyBalances) -> ManyBalances:
        """Return a copy with others in the place of some rows."""
        arrays = {name: array.copy() for name, array in vars(self).items()}
        for name, array in arrays.items():
            array[chosen] = getattr(others, name)
        return ManyBalances(**arrays)


@dataclass(frozen=True)
class Guide:
    """The inverse of one matrix of the system, near enough to those of other loads.

    Attributes
    ----------
    inverse : ndarray, shape (n, n)
        The inverse [mm/N].
    slope : ndarray, shape (n,)
        Slopes of patches and fasteners in the matrix [N/mm].
    ground : float
        What stands on its diagonal beside them [N/mm].
    """

    inverse: Floats
    slope: Floats
    ground: float


def guide_at(
    stiffness: Floats, patches: Patches, fasteners: Fasteners, memory: tuple[Floats, Floats], at: Floats
) -> Guide | None:
    """Return the guide of the slopes at a place; nothing where the matrix there is not definite.

    Parameters
    ----------
    stiffness : ndarray, shape (n, n)
        Elastic system [N/mm].
    patches : Patches
        Gasket patches.
    fasteners : Fasteners
        Fasteners, in one row.
    memory : tuple of ndarray, shape (1, p)
        Largest closure of every patch so far [mm], and share of load left by relaxation [1].
    at : ndarray, shape (1, n)
        The place [mm].
    """
    slope = _Rows(patches, fasteners, memory, at, np.zeros_like(at)).slope[0]
    matrix = np.array(stiffness, order="F")
    diagonal = np.einsum("ii->i", matrix)
    diagonal += slope
    ground = _GROUND * float(diagonal.max())
    diagonal += ground
    factor, fault = dpotrf(matrix, lower=1, overwrite_a=1)
    if fault:
        return None
    lower = np.tril(dpotri(factor, lower=1, overwrite_c=1)[0])
    return Guide(np.ascontiguousarray(lower + np.tril(lower, -1).T), slope, ground)


def solve_many(
    stiffness: Floats,
    forces: Floats,
    patches: Patches,
    fasteners: Fasteners,
    memory: tuple[Floats, Floats],
    start: Floats,
    guide: Guide,
) -> ManyBalances:
    """Bring a joint into balance under many loads.

    Parameters
    ----------
    stiffness : ndarray, shape (n, n)
        Elastic system; it may let the head move as a rigid body [N/mm].
    forces : ndarray, shape (rows, n)
        Forces on the unknowns from gas and temperature [N].
    patches : Patches
        Gasket patches, whose closures are the first unknowns.
    fasteners : Fasteners
        Fasteners; the last unknowns are theirs.
    memory : tuple of ndarray, shape (rows, p)
        Largest closure of every patch so far [mm], and share of load left by relaxation [1].
    start : ndarray, shape (rows, n)
        Trials to start from [mm].
    guide : Guide
        The inverse of a matrix near those of the answers.

    Returns
    -------
    ManyBalances
        The balances found; see their residuals.
    """
    rows = _Rows(patches, fasteners, memory, start.copy(), start @ stiffness - forces)
    numbers, exact = np.arange(len(start)), np.ones(len(start), dtype=bool)
    found = _Found.empty(start, patches)
    for step in range(_MOST_STEPS + 1):
        # What was added up on the way is done once more from the start before it counts.
        check = rows.at_rest() & ~exact
        if check.any():
            rows.restart(check, rows.unknowns[check] @ stiffness - forces[numbers[check]])
            exact = exact | check
        done = rows.at_rest() & exact
        if step == _MOST_STEPS:
            done[:] = True
        if done.any():
            found.take(numbers[done], rows.kept(done), step)
            rows, numbers = rows.kept(~done), numbers[~done]
        if not len(numbers):
            break
        rows.step(guide, first=step == 0)
        exact = np.zeros(len(numbers), dtype=bool)
    return found.balances(fasteners)


def _dots(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.einsum("ij,ij->i", a, b))


class _Rows:
    """Balances that are still sought: trials, and what stands against rest there; one row for each."""

    def __init__(
        self,
        patches: Patches,
        fasteners: Fasteners,
        memory: tuple[Floats, Floats],
        unknowns: Floats,
        held: Floats,
    ) -> None:
        self.patches, self.fasteners, self.memory = patches, fasteners, memory
        self.unknowns, self.held = unknowns, held
        self.load, self.slope, self.residual = self._met(fasteners, memory, unknowns, held)
        self.enough = np.full(len(unknowns), 0.05)

    def _met(
        self, fasteners: Fasteners, memory: tuple[Floats, Floats], unknowns: Floats, held: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Return the patches' loads, all slopes and the unbalanced forces at some trials."""
        p = len(self.patches.gap)
        closure = unknowns[:, :p] - self.patches.gap
        load, steep = np.empty_like(closure), np.empty_like(closure)
        law, scale = np.tile(self.patches.law, len(closure)), memory[1] * self.patches.size
        point_loads(
            closure.ravel(), memory[0].ravel(), law, scale.ravel(), self.patches.tables,
            load.ravel(), steep.ravel(),
        )  # fmt: skip
        slope, residual = np.empty_like(unknowns), held.copy()
        slope[:, :p], slope[:, p:] = steep, fasteners.slope(unknowns[:, p:])
        residual[:, :p] += load
        residual[:, p:] -= fasteners.tension(unknowns[:, p:])
        return load, slope, residual

    def kept(self, chosen: Bools) -> _Rows:
        """Return some of the rows."""
        out = object.__new__(_Rows)
        out.patches = self.patches
        out.fasteners = _rows_of(self.fasteners, chosen)
        out.memory = (self.memory[0][chosen], self.memory[1][chosen])
        for name in ("unknowns", "held", "load", "slope", "residual", "enough"):
            setattr(out, name, getattr(self, name)[chosen])
        return out

    def restart(self, chosen: Bools, held: Floats) -> None:
        """Set the elastic forces of some rows anew."""
        self.held[chosen] = held
        self._look(chosen, self.unknowns[chosen], held)

    def _look(self, chosen: Bools | slice, unknowns: Floats, held: Floats) -> None:
        memory = (self.memory[0][chosen], self.memory[1][chosen])
        met = self._met(_rows_of(self.fasteners, chosen), memory, unknowns, held)
        self.load[chosen], self.slope[chosen], self.residual[chosen] = met

    def _top(self) -> Floats:
        """Return the force scale of every row [N]."""
        fixed = np.nan_to_num(self.fasteners.fixed, nan=0.0).max(axis=1, initial=1.0)
        return np.asarray(np.maximum(self.load.max(axis=1, initial=1.0), fixed))

    def at_rest(self) -> Bools:
        """Return which rows are in balance as far as was counted."""
        return np.asarray(np.abs(self.residual).max(axis=1, initial=0.0) <= _ACCEPTED * self._top())

    def step(self, guide: Guide, *, first: bool) -> None:
        """Take a Newton step in every row; the first with the guide's own slopes."""
        size = np.sqrt(_dots(self.residual, self.residual))
        goal = np.maximum(self.enough * size, 0.3 * _ACCEPTED * self._top())
        curved = self.slope - guide.slope
        if first:
            curved[:, : self.load.shape[1]] = 0.0
        change, image = _change(guide.inverse, curved, self.residual, goal)
        image -= (guide.slope + guide.ground) * change
        self._go(change, image)
        after = np.sqrt(_dots(self.residual, self.residual))
        self.enough = np.minimum(0.05, (after / size) ** 2)

    def _go(self, change: Floats, image: Floats) -> None:
        """Take the whole change, or go back to where the energy no longer rises steeply."""
        start = _dots(self.residual, change)
        share = np.ones(len(change))
        self._look(slice(None), self.unknowns + change, self.held + image)
        for _ in range(_MOST_TRIALS - 1):
            steep = _dots(self.residual, change)
            far = steep > 0.5 * np.abs(start)
            if not far.any():
                break
            share[far] *= np.clip(-start[far] / (steep[far] - start[far]), 0.1, 0.9)
            part = share[far, None]
            self._look(far, self.unknowns[far] + part * change[far], self.held[far] + part * image[far])
        self.unknowns += share[:, None] * change
        self.held += share[:, None] * image


def _change(inverse: Floats, curved: Floats, residual: Floats, goal: Floats) -> tuple[Floats, Floats]:
    """Return a change of the unknowns of every row, and the guide's matrix times it."""
    change, image = np.zeros_like(residual), np.zeros_like(residual)
    going = np.arange(len(residual))
    left = -residual
    toward = left @ inverse
    turned, weight = left.copy(), _dots(left, toward)
    for passes in range(1, _MOST_PASSES + 1):
        met = curved * toward
        met += turned
        bend = _dots(toward, met)
        share = np.divide(weight, bend, out=np.zeros_like(weight), where=bend > 0.0)[:, None]
        change[going] += share * toward
        image[going] += share * turned
        left -= share * met
        open_ = (np.sqrt(_dots(left, left)) > goal) & (bend > 0.0)
        if passes == _MOST_PASSES or not open_.any():
            break
        if open_.mean() < _CROWDED:
            going, goal, curved, weight = going[open_], goal[open_], curved[open_], weight[open_]
            left, toward, turned = left[open_], toward[open_], turned[open_]
        ahead = left @ inverse
        before, weight = weight, _dots(left, ahead)
        gain = np.divide(weight, before, out=np.zeros_like(weight), where=before > 0.0)[:, None]
        toward *= gain
        toward += ahead
        turned *= gain
        turned += left
    return change, image


@dataclass
class _Found:
    """Answers as they come in."""

    unknowns: Floats
    load: Floats
    left: Floats
    steps: Ints
    gap: Floats

    @classmethod
    def empty(cls, start: Floats, patches: Patches) -> _Found:
        """Make room for as many answers as there are starts."""
        count, p = len(start), len(patches.gap)
        return cls(
            np.empty_like(start), np.empty((count, p)), np.empty(count), np.zeros(count, dtype=np.int64),
            patches.gap,
        )  # fmt: skip

    def take(self, numbers: Ints, rows: _Rows, step: int) -> None:
        """Keep the answers of some rows."""
        self.unknowns[numbers], self.load[numbers] = rows.unknowns, rows.load
        self.left[numbers], self.steps[numbers] = np.abs(rows.residual).max(axis=1), step

    def balances(self, fasteners: Fasteners) -> ManyBalances:
        """Return all answers."""
        p = len(self.gap)
        tension = fasteners.tension(self.unknowns[:, p:])
        scale = np.maximum(self.load.max(axis=1, initial=1.0), tension.max(axis=1, initial=1.0))
        closure = self.unknowns[:, :p] - self.gap
        return ManyBalances(self.unknowns, closure, self.load, tension, self.left / scale, self.steps)
