"""Newton steps on the balance of a condensed joint with the factor of an earlier matrix.

What changes from one trial to the next is the slope of some points and fasteners. So the matrix
of an earlier trial, once factored, brings every later one to rest in a few steps of conjugate
gradients (Hestenes and Stiefel, J. Res. Natl. Bur. Stand. 49 (1952) 409, with the factor as in
Concus, Golub and O'Leary 1976; both from memory), each one pass over the factor.
"""

from __future__ import annotations

from typing import Any

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

#: How the parts are compiled that only other parts call: plain loops and no way in from outside, since every
#: wrapper and every array expression costs whoever starts the program first.
_PART: Any = {
    "cache": True, "nogil": True, "error_model": "numpy",
    "no_cpython_wrapper": True, "no_cfunc_wrapper": True,
}  # fmt: skip

#: The sums may be taken in any order.
_ANY_ORDER = {"reassoc", "contract", "nsz"}

#: Passes over the factor after which a new one is cheaper.
_MOST_PASSES = 40

#: Greatest number of Newton steps with one factor.
_MOST_STEPS = 60


@njit(**_PART, fastmath=_ANY_ORDER)
def _dot(a: Floats, b: Floats) -> float:
    total = 0.0
    for i in range(len(a)):
        total += a[i] * b[i]
    return total


@njit(**_PART)
def _add(into: Floats, share: float, added: Floats) -> None:
    for i in range(len(into)):
        into[i] += share * added[i]


@njit(**_PART, fastmath=_ANY_ORDER)
def _down(factor: Floats, x: Floats) -> None:
    """Divide by the lower factor in place; its columns are the rows given, taken four at a time."""
    n = len(x)
    for j in range(0, n, 4):
        past = min(j + 4, n)
        for k in range(j, past):
            x[k] /= factor[k, k]
            for i in range(k + 1, past):
                x[i] -= factor[k, i] * x[k]
        if past < n:
            # Slices, so that the inner loop runs over memory without a look at each index.
            row_a, row_b, row_c, row_d = (
                factor[j, past:], factor[j + 1, past:], factor[j + 2, past:], factor[j + 3, past:],
            )  # fmt: skip
            a, b, c, d = x[j], x[j + 1], x[j + 2], x[j + 3]
            rest = x[past:]
            for i in range(len(rest)):
                rest[i] -= a * row_a[i] + b * row_b[i] + c * row_c[i] + d * row_d[i]


@njit(**_PART, fastmath=_ANY_ORDER)
def _up(factor: Floats, x: Floats) -> None:
    """Divide by the lower factor's transpose in place, in the same steps back."""
    n = len(x)
    for j in range((n - 1) // 4 * 4, -1, -4):
        past = min(j + 4, n)
        if past < n:
            row_a, row_b, row_c, row_d = (
                factor[j, past:], factor[j + 1, past:], factor[j + 2, past:], factor[j + 3, past:],
            )  # fmt: skip
            a, b, c, d = 0.0, 0.0, 0.0, 0.0
            rest = x[past:]
            for i in range(len(rest)):
                a += row_a[i] * rest[i]
                b += row_b[i] * rest[i]
                c += row_c[i] * rest[i]
                d += row_d[i] * rest[i]
            x[j] -= a
            x[j + 1] -= b
            x[j + 2] -= c
            x[j + 3] -= d
        for k in range(past - 1, j - 1, -1):
            total = x[k]
            for i in range(k + 1, past):
                total -= factor[k, i] * x[i]
            x[k] = total / factor[k, k]


@njit(**_PART)
def _solve(factor: Floats, x: Floats) -> None:
    """Solve in place."""
    _down(factor, x)
    _up(factor, x)


@njit(**_PART)
def _add_curved(
    gasket: Gasket,
    slopes: tuple[Floats, Floats],
    less: tuple[Floats, Floats],
    x: Floats,
    out: Floats,
) -> None:
    """Add what points and fasteners of these slopes, less others, answer to a change."""
    starts, columns, weights = gasket[0], gasket[1], gasket[2]
    for i in range(len(slopes[0])):
        slope = slopes[0][i] - less[0][i]
        if slope == 0.0:
            continue
        closure = 0.0
        for a in range(starts[i], starts[i + 1]):
            closure += weights[a] * x[columns[a]]
        closure *= slope
        for a in range(starts[i], starts[i + 1]):
            out[columns[a]] += weights[a] * closure
    first = len(x) - len(slopes[1])
    for k in range(len(slopes[1])):
        out[first + k] += (slopes[1][k] - less[1][k]) * x[first + k]


@njit(cache=True, nogil=True, error_model="numpy")
def unbalanced(
    held: Floats,
    x: Floats,
    gasket: Gasket,
    fasteners: Pull,
    met: tuple[Floats, Floats, Floats, Floats],
    out: Floats,
) -> None:
    """Fill in the residual from the elastic part; closures, loads and slopes are left in `met`."""
    starts, columns, weights, gap, law, scale, largest, tables = gasket
    closure, load, slope, pull = met
    for i in range(len(gap)):
        total = -gap[i]
        for a in range(starts[i], starts[i + 1]):
            total += weights[a] * x[columns[a]]
        closure[i] = total
    point_loads(closure, largest, law, scale, tables, load, slope)
    for i in range(len(held)):
        out[i] = held[i]
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


@njit(**_PART)
def _change(
    reference: Reference,
    gasket: Gasket,
    slopes: tuple[Floats, Floats],
    goal: float,
    most: int,
    room: Floats,
) -> int:
    """Find a change of the unknowns and the reference matrix times it; return the passes taken.

    Rows of the room: residual, change, image, and four of its own.
    """
    factor, points, pulls, _ = reference
    residual, change, image, left, toward, turned, met = (
        room[0], room[1], room[2], room[3], room[4], room[5], room[6],
    )  # fmt: skip
    for i in range(len(residual)):
        change[i] = image[i] = 0.0
        left[i] = toward[i] = turned[i] = -residual[i]
    _solve(factor, toward)
    weight = _dot(left, toward)
    passes = 1
    while True:
        for i in range(len(met)):
            met[i] = turned[i]
        _add_curved(gasket, slopes, (points, pulls), toward, met)
        bend = _dot(toward, met)
        if not bend > 0.0:
            return passes
        share = weight / bend
        _add(change, share, toward)
        _add(image, share, turned)
        _add(left, -share, met)
        if passes >= most or np.sqrt(_dot(left, left)) <= goal:
            return passes
        for i in range(len(met)):
            met[i] = left[i]
        _solve(factor, met)
        passes += 1
        before, weight = weight, _dot(left, met)
        gain = weight / before
        for i in range(len(met)):
            toward[i] = met[i] + gain * toward[i]
            turned[i] = left[i] + gain * turned[i]


@njit(**_PART)
def _largest(values: Floats) -> float:
    """Return the largest size of some values; infinite where one is no number."""
    top = 0.0
    for i in range(len(values)):
        size = abs(values[i])
        if not size <= top:
            top = size if size > top else np.inf
    return top


@njit(**_PART)
def _force_scale(load: Floats, fixed: Floats) -> float:
    """Return the largest of loads and of tensions that are held, at least 1 N."""
    top: float = max(_largest(load), 1.0)
    for k in range(len(fixed)):
        if not np.isnan(fixed[k]):
            top = max(top, abs(fixed[k]))
    return top


@njit(cache=True, nogil=True, error_model="numpy")
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
    n, (_, points, pulls, ground) = len(unknowns), reference
    room = np.zeros((10, n))
    residual, change, image, held = room[0], room[1], room[2], room[7]
    none = (np.zeros(len(points)), np.zeros(len(pulls)))
    size, passes, enough = 0.0, 0, 0.05
    for step in range(_MOST_STEPS):
        top = accepted * _force_scale(met[1], fasteners[2])
        if step == 0 or _largest(residual) <= top:
            # What was added up on the way is done once more from the start.
            for i in range(n):
                held[i] = _dot(stiffness[i], unknowns) - forces[i]
            unbalanced(held, unknowns, gasket, fasteners, met, residual)
            size = np.sqrt(_dot(residual, residual))
            top = accepted * _force_scale(met[1], fasteners[2])
            if _largest(residual) <= top:
                return _largest(residual), step, passes, True
        if passes >= _MOST_PASSES:
            break
        slopes = (points if chord and step == 0 else met[2], met[3])
        goal = max(enough * size, 0.3 * top)
        passes += _change(reference, gasket, slopes, goal, max(_MOST_PASSES - passes, 2), room)
        _add_curved(gasket, none, (points, pulls), change, image)
        _add(image, -ground, change)
        share = _line_search(unknowns, gasket, fasteners, met, room)
        _add(held, share, image)
        _add(unknowns, share, change)
        before, size = size, np.sqrt(_dot(residual, residual))
        enough = min(0.05, (size / before) ** 2)
    return _largest(residual), step, passes, False


@njit(**_PART)
def _line_search(
    unknowns: Floats,
    gasket: Gasket,
    fasteners: Pull,
    met: tuple[Floats, Floats, Floats, Floats],
    room: Floats,
) -> float:
    """Return the whole step, or how far to go back to where the energy no longer rises steeply.

    Rows of the room as above; the seventh holds the elastic part, the last two the trial.
    """
    residual, change, image, held, trial, place = room[0], room[1], room[2], room[7], room[8], room[9]
    start, share = _dot(residual, change), 1.0
    for attempt in range(13):
        for i in range(len(place)):
            trial[i] = held[i] + share * image[i]
            place[i] = unknowns[i] + share * change[i]
        unbalanced(trial, place, gasket, fasteners, met, residual)
        slope = _dot(residual, change)
        if slope <= 0.5 * abs(start) or attempt == 12:
            break
        share *= min(max(-start / (slope - start), 0.1), 0.9)
    return share
