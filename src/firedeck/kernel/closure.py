"""Load of gasket points over closure: loading envelope, steeper way back, no tension.

A law is a table of closure and load on the first loading, and for every row the recovery on the
way back: how far the closure has gone back when the load has fallen to given shares of its peak.
A point remembers its largest closure; below it the load follows the way back, never above the
envelope, so that a cycle can only take energy up.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["LawTables", "curvature_rows", "point_loads", "stored_energy"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Tables of all laws: closure (laws, rows), load (laws, rows), recovery (laws, rows, shares).
LawTables = tuple[Floats, Floats, Floats]

#: How the parts are compiled that only other kernels call: a way in from outside would cost the first start.
_PART: Any = {
    "cache": True, "nogil": True, "error_model": "numpy",
    "no_cpython_wrapper": True, "no_cfunc_wrapper": True,
}  # fmt: skip


@njit(**_PART)
def _row_of(knots: Floats, law: int, x: float) -> int:
    low, high = 0, knots.shape[1] - 1
    while high - low > 1:
        middle = (low + high) // 2
        if knots[law, middle] <= x:
            low = middle
        else:
            high = middle
    return low


@njit(**_PART)
def _way_back(
    knots: Floats, recovery: Floats, law: int, row: int, top: float, back: float
) -> tuple[float, float]:
    """Share of the peak's load and its slope once the closure has gone back so far from its largest value."""
    part = min((top - knots[law, row]) / (knots[law, row + 1] - knots[law, row]), 1.0)
    shares = recovery.shape[2] - 1
    below = 0.0
    for step in range(shares - 1, -1, -1):
        above = (1.0 - part) * recovery[law, row, step] + part * recovery[law, row + 1, step]
        if back <= above:
            width = max(above - below, 1e-12)
            return (step + (above - back) / width) / shares, 1.0 / (width * shares)
        below = above
    return 0.0, 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def point_loads(
    closure: Floats,
    largest: Floats,
    law: Ints,
    scale: Floats,
    tables: LawTables,
    load: Floats,
    slope: Floats,
) -> None:
    """Fill in load and slope of every point.

    Parameters
    ----------
    closure : ndarray, shape (n,)
        Closure from first touch [mm]; negative where the gap is open.
    largest : ndarray, shape (n,)
        Largest closure met before [mm].
    law : ndarray of int, shape (n,)
        Row of the tables.
    scale : ndarray, shape (n,)
        Length or area of the point times the share of load that relaxation leaves.
    tables : tuple of ndarray
        See `LawTables`.
    load, slope : ndarray, shape (n,)
        Load [N] and its slope [N/mm], changed in place.
    """
    knots, loads, recovery = tables
    for i in range(len(closure)):
        x, k, top = closure[i], law[i], largest[i]
        load[i], slope[i] = 0.0, 0.0
        if x <= 0.0:
            continue
        row = _row_of(knots, k, x)
        steep = (loads[k, row + 1] - loads[k, row]) / (knots[k, row + 1] - knots[k, row])
        q = loads[k, row] + steep * (x - knots[k, row])
        if x < top:
            row = _row_of(knots, k, top)
            rise = (loads[k, row + 1] - loads[k, row]) / (knots[k, row + 1] - knots[k, row])
            peak = loads[k, row] + rise * (top - knots[k, row])
            share, falling = _way_back(knots, recovery, k, row, top, top - x)
            if peak * share < q:
                q, steep = peak * share, peak * falling
        load[i], slope[i] = scale[i] * q, scale[i] * steep


@njit(cache=True, nogil=True)
def curvature_rows(
    matrix: Floats,
    starts: npt.NDArray[np.int32],
    columns: npt.NDArray[np.int32],
    weights: Floats,
    slope: Floats,
) -> None:
    """Add ``W' diag(slope) W`` to the lower triangle of a matrix, W given by rows.

    Parameters
    ----------
    matrix : ndarray, shape (n, n), columns in memory one after the other
        Changed in place.
    starts, columns, weights : ndarray
        W in compressed rows.
    slope : ndarray, shape (m,)
        Factor of every row.
    """
    for i in range(len(slope)):
        if slope[i] == 0.0:
            continue
        for a in range(starts[i], starts[i + 1]):
            part = slope[i] * weights[a]
            for b in range(starts[i], starts[i + 1]):
                if columns[b] >= columns[a]:
                    matrix[columns[b], columns[a]] += part * weights[b]


@njit(cache=True, nogil=True)
def stored_energy(
    closure: Floats, before: Floats, largest: Floats, law: Ints, scale: Floats, tables: LawTables
) -> float:
    """Return the work that the points take up between two closures, by fine steps of the law [N*mm].

    Parameters
    ----------
    closure, before : ndarray, shape (n,)
        Closure at the end and at the start [mm].
    largest, law, scale, tables
        As for `point_loads`; the largest closure grows on the way.
    """
    steps = 200
    load, slope = np.zeros(1), np.zeros(1)
    total = 0.0
    for i in range(len(closure)):
        step = (closure[i] - before[i]) / steps
        met = largest[i : i + 1].copy()
        for k in range(steps):
            at = np.array([before[i] + (k + 0.5) * step])
            point_loads(at, met, law[i : i + 1], scale[i : i + 1], tables, load, slope)
            total += load[0] * step
            met[0] = max(met[0], at[0])
    return total
