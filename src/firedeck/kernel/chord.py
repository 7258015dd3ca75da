"""Newton steps on the balance of a condensed joint with the factor of an earlier matrix.

What changes from one trial to the next is the slope of some points and fasteners. So the matrix
of an earlier trial, once factored, brings every later one to rest in a few steps of conjugate
gradients (Hestenes and Stiefel, J. Res. Natl. Bur. Stand. 49 (1952) 409, with the factor as in
Concus, Golub and O'Leary 1976; both from memory), each one pass over the factor.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

from firedeck.kernel.closure import LawTables, point_loads

__all__ = ["Gasket", "Pull", "Reference", "bring_to_rest", "unbalanced"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Ints32 = npt.NDArray[np.int32]

#: Starts, columns and values of the points' weights by rows, gap, law, scale, largest closure, tables.
Gasket = tuple[Ints32, Ints32, Floats, Floats, Ints, Floats, Floats, LawTables]

#: Stiffness, advance and fixed tension of every fastener.
Pull = tuple[Floats, Floats, Floats]

#: Factor, slopes of points and of fasteners in it, and what stands on its diagonal beside them.
Reference = tuple[Floats, Floats, Floats, float]

#: Passes over the factor after which a new one is cheaper.
_MOST_PASSES = 40

#: Greatest number of Newton steps with one factor.
_MOST_STEPS = 60


@njit(cache=True, nogil=True)
def _down(factor: Floats, x: Floats, first: int, past: int) -> None:
    for k in range(first, past):
        total = x[k]
        for i in range(first, k):
            total -= factor[i, k] * x[i]
        x[k] = total / factor[k, k]


@njit(cache=True, nogil=True)
def _up(factor: Floats, x: Floats, first: int, past: int) -> None:
    for k in range(past - 1, first - 1, -1):
        total = x[k]
        for i in range(k + 1, past):
            total -= factor[k, i] * x[i]
        x[k] = total / factor[k, k]


@njit(cache=True, nogil=True, fastmath={"reassoc", "contract", "nsz"})
def _solve(factor: Floats, x: Floats) -> None:
    """Solve in place; the lower factor's columns are the rows given, taken four at a time."""
    full = len(x) // 4 * 4
    for j in range(0, full, 4):
        _down(factor, x, j, j + 4)
        a, b, c, d = x[j], x[j + 1], x[j + 2], x[j + 3]
        row_a, row_b, row_c, row_d = (
            factor[j, j + 4 :], factor[j + 1, j + 4 :], factor[j + 2, j + 4 :], factor[j + 3, j + 4 :],
        )  # fmt: skip
        rest = x[j + 4 :]
        for i in range(len(rest)):
            rest[i] -= a * row_a[i] + b * row_b[i] + c * row_c[i] + d * row_d[i]
    _down(factor, x, full, len(x))
    _up(factor, x, full, len(x))
    for j in range(full - 4, -1, -4):
        row_a, row_b, row_c, row_d = (
            factor[j, j + 4 :], factor[j + 1, j + 4 :], factor[j + 2, j + 4 :], factor[j + 3, j + 4 :],
        )  # fmt: skip
        rest = x[j + 4 :]
        a, b, c, d = 0.0, 0.0, 0.0, 0.0
        for i in range(len(rest)):
            a += row_a[i] * rest[i]
            b += row_b[i] * rest[i]
            c += row_c[i] * rest[i]
            d += row_d[i] * rest[i]
        x[j] -= a
        x[j + 1] -= b
        x[j + 2] -= c
        x[j + 3] -= d
        _up(factor, x, j, j + 4)


@njit(cache=True, nogil=True)
def _add_curved(gasket: Gasket, slope: Floats, pull: Floats, x: Floats, out: Floats) -> None:
    """Add what points and fasteners of these slopes answer to a change."""
    starts, columns, weights = gasket[0], gasket[1], gasket[2]
    for i in range(len(slope)):
        if slope[i] == 0.0:
            continue
        closure = 0.0
        for a in range(starts[i], starts[i + 1]):
            closure += weights[a] * x[columns[a]]
        closure *= slope[i]
        for a in range(starts[i], starts[i + 1]):
            out[columns[a]] += weights[a] * closure
    first = len(x) - len(pull)
    for k in range(len(pull)):
        out[first + k] += pull[k] * x[first + k]


@njit(cache=True, nogil=True)
def unbalanced(
    held: Floats, x: Floats, gasket: Gasket, fasteners: Pull, met: tuple[Floats, Floats, Floats, Floats]
) -> Floats:
    """Return the residual from the elastic part; closures, loads and slopes are left in `met`."""
    starts, columns, weights, gap, law, scale, largest, tables = gasket
    closure, load, slope, pull = met
    for i in range(len(gap)):
        total = -gap[i]
        for a in range(starts[i], starts[i + 1]):
            total += weights[a] * x[columns[a]]
        closure[i] = total
    point_loads(closure, largest, law, scale, tables, load, slope)
    out = held.copy()
    for i in range(len(gap)):
        if load[i] != 0.0:
            for a in range(starts[i], starts[i + 1]):
                out[columns[a]] += weights[a] * load[i]
    stiffness, advance, fixed = fasteners
    first = len(x) - len(stiffness)
    for k in range(len(stiffness)):
        stretch = advance[k] - x[first + k]
        pull[k] = 0.0
        if not np.isnan(fixed[k]):
            out[first + k] -= fixed[k]
        elif stretch > 0.0:
            pull[k] = stiffness[k]
            out[first + k] -= stiffness[k] * stretch
    return out


@njit(cache=True, nogil=True)
def _change(
    reference: Reference,
    gasket: Gasket,
    slopes: tuple[Floats, Floats],
    residual: Floats,
    goal: float,
    most: int,
) -> tuple[Floats, Floats, int]:
    """Return a change of the unknowns, the reference matrix times it, and the passes taken."""
    factor, points, pulls, _ = reference
    curved, pulled = slopes[0] - points, slopes[1] - pulls
    change, image = np.zeros(len(residual)), np.zeros(len(residual))
    left = -residual
    toward, turned = left.copy(), left.copy()
    _solve(factor, toward)
    weight = left @ toward
    passes = 1
    while True:
        met = turned.copy()
        _add_curved(gasket, curved, pulled, toward, met)
        bend = toward @ met
        if not bend > 0.0:
            break
        share = weight / bend
        change += share * toward
        image += share * turned
        left -= share * met
        if passes >= most or np.sqrt(left @ left) <= goal:
            break
        ahead = left.copy()
        _solve(factor, ahead)
        passes += 1
        before, weight = weight, left @ ahead
        toward = ahead + weight / before * toward
        turned = left + weight / before * turned
    return change, image, passes


@njit(cache=True, nogil=True)
def _force_scale(load: Floats, fixed: Floats) -> float:
    top = 1.0
    for value in load:
        top = max(top, abs(value))
    for value in fixed:
        if not np.isnan(value):
            top = max(top, abs(value))
    return top


@njit(cache=True, nogil=True)
def _at_rest(residual: Floats, load: Floats, fixed: Floats, accepted: float) -> bool:
    return bool(np.abs(residual).max() <= accepted * _force_scale(load, fixed))


@njit(cache=True, nogil=True)
def bring_to_rest(
    stiffness: Floats,
    forces: Floats,
    gasket: Gasket,
    fasteners: Pull,
    reference: Reference,
    unknowns: Floats,
    met: tuple[Floats, Floats, Floats, Floats],
    accepted: float,
    chord: bool,
) -> tuple[float, int, int, bool]:
    """Take Newton steps until the residual is small or another factor would be cheaper.

    Parameters
    ----------
    stiffness : ndarray, shape (n, n)
        Elastic system [N/mm].
    forces : ndarray, shape (n,)
        Forces on the unknowns [N].
    gasket, fasteners, reference
        See `Gasket`, `Pull` and `Reference`.
    unknowns : ndarray, shape (n,)
        Trial, changed in place [mm].
    met : tuple of ndarray
        Closures, loads and slopes of the points, slopes of the fasteners, changed in place.
    accepted : float
        Residual, against the largest force at work, at which the work is done [1].
    chord : bool
        Whether the first step takes the points' slopes from the reference: right where a trial
        stands on a corner of the laws and the reference lies beyond it.

    Returns
    -------
    tuple
        Largest unbalanced force [N], steps taken, passes over the factor, and whether it is at rest.
    """
    held, residual = np.zeros(len(unknowns)), np.zeros(len(unknowns))
    size, passes, enough = 0.0, 0, 0.05
    for step in range(_MOST_STEPS):
        if step == 0 or _at_rest(residual, met[1], fasteners[2], accepted):
            # What was added up on the way is done once more from the start.
            held[:] = stiffness @ unknowns - forces
            residual = unbalanced(held, unknowns, gasket, fasteners, met)
            size = float(np.sqrt(residual @ residual))
            if _at_rest(residual, met[1], fasteners[2], accepted):
                return np.abs(residual).max(), step, passes, True
        if passes >= _MOST_PASSES:
            break
        top = accepted * _force_scale(met[1], fasteners[2])
        goal = float(max(enough * size, 0.3 * top))
        slopes = (reference[1], met[3]) if chord and step == 0 else (met[2], met[3])
        change, image, taken = _change(
            reference, gasket, slopes, residual, goal, max(_MOST_PASSES - passes, 2)
        )
        passes += taken
        _add_curved(gasket, -reference[1], -reference[2], change, image)
        image -= reference[3] * change
        share, residual = _line_search((held, image), (unknowns, change), gasket, fasteners, (residual, met))
        held += share * image
        unknowns += share * change
        before, size = size, float(np.sqrt(residual @ residual))
        enough = float(min(0.05, (size / before) ** 2))
    return np.abs(residual).max(), step, passes, False


@njit(cache=True, nogil=True)
def _line_search(
    held: tuple[Floats, Floats],
    place: tuple[Floats, Floats],
    gasket: Gasket,
    fasteners: Pull,
    now: tuple[Floats, tuple[Floats, Floats, Floats, Floats]],
) -> tuple[float, Floats]:
    """Take the whole step, or go back to where the energy no longer rises steeply."""
    change, met = place[1], now[1]
    start = float(now[0] @ change)
    low, low_slope, share = 0.0, start, 1.0
    found = now[0]
    for attempt in range(13):
        found = unbalanced(held[0] + share * held[1], place[0] + share * change, gasket, fasteners, met)
        slope = float(found @ change)
        if slope <= 0.5 * abs(start) or attempt == 12:
            break
        high = share
        share = low + (high - low) * float(min(max(-low_slope / (slope - low_slope), 0.1), 0.9))
    return share, found
