"""Layers of a gasket that press by themselves, upon another, or side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import reduce

import numpy as np
import numpy.typing as npt

from firedeck.contact.law import SHARES, ClosureLaw
from firedeck.errors import FiredeckError
from firedeck.evidence import Basis, Source

__all__ = ["coating_law", "series_law", "side_by_side", "stopper_law"]

Floats = npt.NDArray[np.float64]

#: Stiffness of a coating that gets no thinner, over its own [1].
_SQUEEZED = 200.0

#: Shares of a law's first row at which the sum is told where the law begins: a stopper takes the load
#: over within a micrometre, and the way back changes with it [1].
_ONSET = np.array([0.0, 1e-3, 4e-3, 0.015, 0.03, 0.06, 0.1, 0.15, 0.2, 0.3, 0.45, 0.7, 1.0])

#: Steps at which the way back of laws side by side is followed [1].
_STEPS = 600

#: Rows that laws side by side keep at most, besides those where one begins to press [1].
_ROWS = 60


def stopper_law(
    name: str, width: float, thickness: float, modulus: float, poisson: float, *, spread: float = 0.0
) -> ClosureLaw:
    """Return the law of a flat strip pressed through its thickness, elastic.

    The strip is long and rough faces hold it only along its length: the stiffness per length is
    ``E / (1 - nu^2) * width / thickness``, that of plane strain.

    Parameters
    ----------
    name : str
        Name of the law.
    width, thickness : float
        Width of the strip, thickness of all that is pressed there [mm].
    modulus : float
        Young's modulus [MPa].
    poisson : float
        Poisson's ratio [1].
    spread : float
        Plus or minus at 95 % of the load [1].
    """
    stiffness = modulus / (1.0 - poisson**2) * width / thickness
    law = ClosureLaw.linear(name, stiffness, reach=0.01 * thickness, width=width)
    source = Source(Basis.DERIVED, "elastic strip in plane strain, pressed through its thickness")
    return replace(law, spread=spread, source=source)


def coating_law(
    name: str, thickness: float, modulus: float, limit: float, width: float, *, spread: float = 0.0
) -> ClosureLaw:
    """Return the law of a soft layer: elastic up to a pressure, beyond it no longer thinner.

    Parameters
    ----------
    name : str
        Name of the law.
    thickness : float
        Thickness of the layer [mm].
    modulus : float
        Pressure over relative thinning [MPa].
    limit : float
        Pressure above which it gets no thinner [MPa].
    width : float
        Width of the line that presses on it [mm]; 0 for a law per area.
    spread : float
        Plus or minus at 95 % of the load [1].
    """
    per_area = width or 1.0
    thinned = thickness * limit / modulus
    knee = limit * per_area
    beyond = (thinned * (1.0 + 99.0 / _SQUEEZED), 100.0 * knee)
    source = Source(Basis.DERIVED, "soft layer, elastic up to its limiting pressure")
    rows = [(0.0, 0.0), (thinned, knee), beyond]
    return ClosureLaw.from_table(name, rows, elastic=True, width=width, spread=spread, source=source)


def series_law(name: str, laws: Sequence[ClosureLaw]) -> ClosureLaw:
    """Return laws one upon another: at every load their closures add.

    Raises
    ------
    FiredeckError
        If a load per length meets a load per area.
    """
    if len({law.width > 0.0 for law in laws}) > 1:
        raise FiredeckError(
            f"{name!r} puts a load per length upon a load per area",
            remedy="give every part its width, or none of them",
        )
    law = reduce(lambda below, above: below.in_series(above), laws)
    return replace(law, name=name)


def side_by_side(name: str, laws: Sequence[ClosureLaw], gaps: Sequence[float]) -> ClosureLaw:
    """Return laws side by side: at every closure their loads add, on the way back too.

    Parameters
    ----------
    name : str
        Name of the law.
    laws : sequence of ClosureLaw
        The laws.
    gaps : sequence of float
        Closure at which each begins to press, one of them 0 [mm].

    Raises
    ------
    FiredeckError
        If none presses from the start, or a law per length stands beside a law per area.
    """
    if min(gaps) != 0.0 or len({law.width > 0.0 for law in laws}) > 1:
        raise FiredeckError(
            f"{name!r} puts laws side by side that do not fit",
            remedy="one must press from the start, and all must be per length or all per area",
        )
    knots = _knots(laws, gaps)
    load = sum((_loads(law, knots - gap) for law, gap in zip(laws, gaps, strict=True)), np.zeros(len(knots)))
    recovery = np.stack([_way_back(laws, gaps, peak) for peak in knots])
    widths = [law.width for law in laws]
    source = Source(Basis.DERIVED, "; ".join(str(law.source) for law in laws), "loads added at equal closure")
    spread = max(law.spread for law in laws)
    return ClosureLaw(name, knots, np.maximum.accumulate(load), recovery, sum(widths), spread, source)


def _knots(laws: Sequence[ClosureLaw], gaps: Sequence[float]) -> Floats:
    """Return closures at which the sum is told: where a law begins, and evenly up to the first end."""
    end = max(gap + float(law.closure[1]) for law, gap in zip(laws, gaps, strict=True))
    end = max(end, min(gap + float(law.closure[-1]) for law, gap in zip(laws, gaps, strict=True)))
    bends = [gap + law.closure for law, gap in zip(laws, gaps, strict=True) if len(law.closure) < _ROWS]
    bends += [gap + law.closure[1] * _ONSET for law, gap in zip(laws, gaps, strict=True)]
    knots = np.unique(np.round(np.concatenate([np.linspace(0.0, end, _ROWS), *bends]), 9))
    return knots[knots <= end]


def _loads(law: ClosureLaw, closure: Floats) -> Floats:
    """Return loads on first loading, going on straight beyond the last row."""
    slope = (law.load[-1] - law.load[-2]) / (law.closure[-1] - law.closure[-2])
    beyond = slope * np.maximum(closure - law.closure[-1], 0.0)
    met: Floats = np.interp(closure, law.closure, law.load, left=0.0)
    met += beyond
    return met


def _way_back(laws: Sequence[ClosureLaw], gaps: Sequence[float], peak: float) -> Floats:
    """Return how far the closure has gone back from a peak at every kept share of the load."""
    if peak == 0.0:
        return np.zeros(len(SHARES))
    back = np.linspace(0.0, peak, _STEPS + 1)
    load = np.zeros(len(back))
    for law, gap in zip(laws, gaps, strict=True):
        load += _loads_back(law, peak - gap, back)
    load = np.minimum.accumulate(load)
    rising = load[::-1] / max(load[0], math.ulp(1.0))
    first = np.concatenate([np.diff(rising) > 0.0, [True]])
    return np.asarray(np.interp(SHARES, rising[first], back[::-1][first]))


def _loads_back(law: ClosureLaw, peak: float, back: Floats) -> Floats:
    """Return one law's loads once the closure has gone back from its peak by so much."""
    if peak <= 0.0:
        return np.zeros(len(back))
    top = float(_loads(law, np.array([peak]))[0])
    recovery = np.array([np.interp(peak, law.closure, column) for column in law.recovery.T])
    shares: Floats = np.interp(-back, -recovery, SHARES, left=0.0)
    shares *= top
    return np.asarray(shares)
