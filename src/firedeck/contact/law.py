"""Closure laws: load of a seal over its closure, first loading and way back, from measured tables."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.errors import FiredeckError
from firedeck.evidence import Basis, Source
from firedeck.kernel.closure import LawTables

__all__ = ["ClosureLaw", "law_from_rows", "law_tables"]

Floats = npt.NDArray[np.float64]

#: Shares of the peak load at which the way back is kept.
SHARES = np.linspace(0.0, 1.0, 17)

#: How far the peak of a way back may be off the first loading, as a share of its load [1].
_OFF_PEAK = 0.1


@dataclass(frozen=True)
class ClosureLaw:
    """Load over closure, on first loading and on the way back from every closure.

    For a line the load is per length [N/mm], for a land per area [MPa].

    Attributes
    ----------
    name : str
        Name of the law.
    closure : ndarray, shape (n,)
        Closures from first touch, rising from 0 [mm].
    load : ndarray, shape (n,)
        Load on first loading, never falling [N/mm or MPa].
    recovery : ndarray, shape (n, 17)
        How far the closure has gone back when the load has fallen from that row's to each
        sixteenth of it, from nothing to all [mm].
    width : float
        Width on which a line presses, for its mean pressure; 0 where the law is per area [mm].
    spread : float
        Plus or minus at 95 % of the load at a given closure [1].
    source : Source
        Backing of the numbers.
    """

    name: str
    closure: Floats
    load: Floats
    recovery: Floats
    width: float
    spread: float
    source: Source

    def __post_init__(self) -> None:
        fault = self._fault()
        if fault:
            raise FiredeckError(f"closure law {self.name!r}: {fault}", remedy="check the table")

    def _fault(self) -> str:
        if not all(np.isfinite(part).all() for part in (self.closure, self.load, self.recovery)):
            return "a number is missing or infinite"
        if len(self.closure) < 2 or self.closure[0] != 0.0 or self.load[0] != 0.0:
            return "the first loading must start at no closure and no load, with one more row at least"
        if np.any(np.diff(self.closure) <= 0.0):
            return "closures must rise from row to row"
        if np.any(np.diff(self.load) < 0.0) or self.load[-1] <= 0.0:
            return "the load falls on first loading; a law that softens has no single answer"
        if np.any(self.recovery < 0.0) or np.any(np.diff(self.recovery, axis=1) > 1e-12):
            return "on the way back the closure must fall as the load falls"
        return ""

    @classmethod
    def from_table(
        cls,
        name: str,
        loading: Sequence[Sequence[float]],
        returns: Sequence[Sequence[Sequence[float]]] = (),
        *,
        elastic: bool = False,
        width: float = 0.0,
        spread: float = 0.1,
        source: Source | None = None,
    ) -> ClosureLaw:
        """Build a law from a measured table.

        Parameters
        ----------
        name : str
            Name of the law.
        loading : sequence of pairs
            Closure [mm] and load [N/mm or MPa] on first loading.
        returns : sequence of sequences of pairs
            Ways back, each from its peak on the first loading down to no load, in any order.
            Between measured peaks they are blended; beyond the largest the last one holds.
        elastic : bool
            Whether the way back is the first loading itself; then `returns` stays empty.
        width : float
            Width on which a line presses [mm].
        spread : float
            Plus or minus at 95 % of the load [1].
        source : Source, optional
            Backing; measured unless stated.

        Returns
        -------
        ClosureLaw
            The law.

        Raises
        ------
        FiredeckError
            If a table does not rise, or nothing is said about the way back.
        """
        table = np.asarray(sorted((float(c), float(q)) for c, q in loading))
        if elastic == bool(len(returns)):
            raise FiredeckError(
                f"closure law {name!r} says nothing, or two things, about the way back",
                remedy="give at least one measured way back, or say that the law is elastic",
            )
        if np.any(np.diff(table[:, 0]) <= 0.0):
            raise FiredeckError(
                f"closure law {name!r}: closures must rise from row to row of the first loading",
                remedy="give each closure once",
            )
        ways = [_way_back(np.asarray(way, dtype=np.float64)) for way in returns]
        _check_peaks(name, table, returns)
        peaks = np.array([peak for peak, _ in ways])
        knots = np.union1d(table[:, 0], peaks[peaks < table[-1, 0]])
        load = np.interp(knots, table[:, 0], table[:, 1])
        recovery = _elastic_recovery(knots, load) if elastic else _blended(knots, ways)
        backing = source or Source(Basis.MEASURED, "load over closure, table given")
        return cls(name, knots, load, recovery, width, spread, backing)

    @classmethod
    def linear(
        cls, name: str, stiffness: float, way_back: float = 1.0, reach: float = 1.0, *, width: float = 0.0
    ) -> ClosureLaw:
        """Return a law of constant stiffness, and a constant, steeper one on the way back.

        Parameters
        ----------
        name : str
            Name of the law.
        stiffness : float
            Stiffness on first loading [N/mm^2 for a line, N/mm^3 for a land].
        way_back : float
            Stiffness on the way back over that of the first loading, at least 1 [1].
        reach : float
            Largest closure of the table; the law goes on straight beyond [mm].
        width : float
            Width on which a line presses [mm].
        """
        knots = np.array([0.0, reach])
        recovery = knots[:, None] * (1.0 - SHARES) / way_back
        backing = Source(Basis.DERIVED, "straight line")
        return cls(name, knots, stiffness * knots, recovery, width, 0.0, backing)

    def in_series(self, other: ClosureLaw, name: str = "") -> ClosureLaw:
        """Return both laws one upon the other: at every load their closures add, also on the way back."""
        top = min(self.load[-1], other.load[-1])
        loads = np.unique(np.concatenate([self.load, other.load]))
        loads = np.append(loads[loads < top], top)
        loads = loads[(loads > 0.0) | (np.arange(len(loads)) == 0)]
        both = [law.at_load(loads) for law in (self, other)]
        closure = both[0][0] + both[1][0]
        keep = np.concatenate([[True], np.diff(closure) > 1e-12])
        return ClosureLaw(
            name or f"{self.name} on {other.name}",
            closure[keep],
            loads[keep],
            (both[0][1] + both[1][1])[keep],
            min(self.width, other.width) if self.width and other.width else max(self.width, other.width),
            max(self.spread, other.spread),
            Source(Basis.DERIVED, f"{self.source}; {other.source}", "closures added at equal load"),
        )

    def at_load(self, loads: Floats) -> tuple[Floats, Floats]:
        """Return the closure [mm] at which each load is first met, and the recoveries from there [mm]."""
        first = np.concatenate([[True], np.diff(self.load) > 0.0])
        knots, steps = self.load[first], self.closure[first]
        closure = np.interp(loads, knots, steps)
        recovery = np.column_stack([np.interp(closure, self.closure, column) for column in self.recovery.T])
        return closure, recovery

    def unloaded(self, closure: float) -> float:
        """Return the closure that stays after loading to `closure` [mm] and letting go [mm]."""
        return closure - float(np.interp(closure, self.closure, self.recovery[:, 0]))

    def plus_compliance(self, compliance: float, name: str = "") -> ClosureLaw:
        """Return the law with an elastic layer in series, so much per load [mm per N/mm, or per MPa]."""
        layer = ClosureLaw.linear("layer", 1.0 / compliance, reach=compliance * float(self.load[-1]))
        return self.in_series(layer, name or self.name)


def _check_peaks(name: str, table: Floats, returns: Sequence[Sequence[Sequence[float]]]) -> None:
    """Refuse ways back whose peak is not near the first loading."""
    for number, way in enumerate(returns, start=1):
        closure, load = max((float(q), float(c)) for c, q in way)[::-1]
        there = float(np.interp(closure, table[:, 0], table[:, 1]))
        if abs(load - there) > _OFF_PEAK * max(load, there):
            raise FiredeckError(
                f"closure law {name!r}: way back {number} does not begin on the first loading: "
                f"{load:.4g} at {closure:.4g} mm, where the first loading has {there:.4g}",
                remedy="begin every way back at the closure and load from which it was measured",
            )


def _way_back(way: Floats) -> tuple[float, Floats]:
    """Return the peak closure of a way back and its recoveries at the kept shares of load."""
    order = np.lexsort((way[:, 0], way[:, 1]))
    closure, load = np.maximum.accumulate(way[order, 0]), way[order, 1]
    peak = float(closure[-1])
    return peak, peak - np.interp(SHARES * load[-1], load, closure)


def _blended(knots: Floats, ways: list[tuple[float, Floats]]) -> Floats:
    ways = [(0.0, np.zeros(len(SHARES))), *sorted(ways, key=lambda way: way[0])]
    peaks = np.array([peak for peak, _ in ways])
    rows = np.stack([recovery for _, recovery in ways])
    return np.column_stack([np.interp(knots, peaks, column) for column in rows.T])


def _elastic_recovery(knots: Floats, load: Floats) -> Floats:
    rising = np.concatenate([np.diff(load) > 0.0, [True]])
    return np.stack(
        [c - np.interp(SHARES * q, load[rising], knots[rising]) for c, q in zip(knots, load, strict=True)]
    )


def law_from_rows(text: str, name: str, *, width: float = 0.0, spread: float = 0.1) -> ClosureLaw:
    """Read a measured law from text with the columns ``closure_mm``, ``load`` and ``branch``.

    Parameters
    ----------
    text : str
        Comma-separated lines with a heading. Branch 0 is the first loading; every other number is
        a way back from its peak. Load in N/mm for a line, MPa for a land.
    name : str
        Name of the law, also used in messages.
    width : float
        Width on which a line presses [mm].
    spread : float
        Plus or minus at 95 % of the load [1].

    Returns
    -------
    ClosureLaw
        The law.

    Raises
    ------
    FiredeckError
        If a column is missing, a value is no number, or the tables make no law.
    """
    branches: dict[int, list[tuple[float, float]]] = {}
    for number, row in enumerate(csv.DictReader(text.splitlines()), start=2):
        try:
            branch, pair = int(row["branch"]), (float(row["closure_mm"]), float(row["load"]))
            if not np.isfinite(pair).all():
                raise ValueError("not a finite number")
            branches.setdefault(branch, []).append(pair)
        except (KeyError, TypeError, ValueError) as fault:
            raise FiredeckError(
                f"line {number} of the law {name!r} does not hold closure, load and branch",
                remedy="write the columns closure_mm, load and branch, one number in each",
            ) from fault
    loading = branches.pop(0, [])
    if not loading:
        raise FiredeckError(f"the law {name!r} has no first loading", remedy="give rows with branch 0")
    return ClosureLaw.from_table(name, loading, list(branches.values()), width=width, spread=spread)


def law_tables(laws: Sequence[ClosureLaw]) -> LawTables:
    """Return the laws as arrays of equal length, each going on straight beyond its last row."""
    rows = max(len(law.closure) for law in laws) + 1
    closure, load = np.zeros((len(laws), rows)), np.zeros((len(laws), rows))
    recovery = np.zeros((len(laws), rows, len(SHARES)))
    for k, law in enumerate(laws):
        n = len(law.closure)
        slope = (law.load[-1] - law.load[-2]) / (law.closure[-1] - law.closure[-2])
        beyond = np.arange(1, rows - n + 1)
        closure[k] = np.concatenate([law.closure, law.closure[-1] + beyond])
        load[k] = np.concatenate([law.load, law.load[-1] + slope * beyond])
        recovery[k, :n], recovery[k, n:] = law.recovery, law.recovery[-1]
    return closure, load, recovery
