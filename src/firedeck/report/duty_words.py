"""Pressures, powers and angles of a duty in the units of the trade."""

from __future__ import annotations

import math

from firedeck.evidence import Estimate
from firedeck.report.words import NOT_SHOWN, number
from firedeck.units import to_unit

__all__ = ["change", "in_unit", "interval", "power", "pressure", "pressure_in", "speed"]


def in_unit(one: Estimate, kind: str, unit: str) -> Estimate:
    """Return an estimate of a kind of quantity in another unit.

    Parameters
    ----------
    one : Estimate
        In the inner unit.
    kind : str
        A key of `firedeck.units.INNER_UNITS`.
    unit : str
        Unit wanted.
    """
    factor = to_unit(1.0, kind, unit)
    return Estimate(one.value * factor, one.low * factor, one.high * factor, one.flags)


def interval(one: Estimate, unit: str = "") -> str:
    """Return an estimate with its unit and 95 % interval, two digits of whose half width are written."""
    behind = f" {unit}" if unit not in ("", "°") else unit
    if math.isnan(one.value):
        return NOT_SHOWN
    if one.low == one.high:
        return f"{number(one.value)}{behind}"
    ends = [abs(end - one.value) for end in (one.low, one.high) if math.isfinite(end)]
    half = max(ends, default=0.0)
    places = min(4, max(0, 1 - math.floor(math.log10(half)))) if half > 0.0 else 2
    value, low = f"{one.value:.{places}f}{behind}", f"{one.low:.{places}f}"
    if not one.bounded_above:
        return f"{value} (from {low}, no upper end)".replace("-", "−")
    return f"{value} ({low} to {one.high:.{places}f})".replace("-", "−")


def _tidy(one: Estimate | float, kind: str, unit: str, behind: str) -> str:
    if isinstance(one, Estimate):
        return interval(in_unit(one, kind, unit), behind)
    return f"{number(to_unit(one, kind, unit))} {behind}".strip()


def pressure_in(one: Estimate | float, unit: str) -> str:
    """Return a pressure [MPa] in `unit`, without its name."""
    return _tidy(one, "pressure", unit, "")


def pressure(one: Estimate | float) -> str:
    """Return a pressure [MPa] in bar, MPa and psi."""
    return "; ".join(_tidy(one, "pressure", unit, unit) for unit in ("bar", "MPa", "psi"))


def power(one: Estimate | float) -> str:
    """Return a power [kW] in kW and hp (mechanical)."""
    return "; ".join(_tidy(one, "power", unit, unit) for unit in ("kW", "hp"))


def change(ratio: float) -> str:
    """Return a ratio [1] as a change in whole per cent with its sign."""
    return f"{100 * (ratio - 1):+.0f} %".replace("-", "−")


def speed(one: float | None) -> str:
    """Return an engine speed [1/min]."""
    return "not known" if one is None or math.isnan(one) else f"{one:.0f}/min"
