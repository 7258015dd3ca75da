"""Numbers in words: sensible digits, intervals, bounds, and `not shown` for what is not known."""

from __future__ import annotations

import math

from firedeck.evidence import Estimate

__all__ = ["NOT_SHOWN", "difference", "estimate", "number", "percent", "share"]

NOT_SHOWN = "not shown"


def number(value: float, digits: int = 3) -> str:
    """Return a number with so many significant digits, without exponent; `not shown` where there is none."""
    if not math.isfinite(value):
        return NOT_SHOWN
    if value == 0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    return _signed(f"{value:.{decimals}f}")


def _signed(text: str) -> str:
    return text.replace("-", "−")


def _decimals(half: float) -> int:
    """Return the decimals that an interval of this half width deserves: one from 0.2, none from 2."""
    return min(4, max(0, -math.floor(math.log10(half)))) if half > 0 else 2


def estimate(one: Estimate) -> str:
    """Return an estimate with its 95 % interval, or the bound that it is."""
    if math.isnan(one.value):
        return NOT_SHOWN
    if not one.bounded_above:
        return f"at least {number(max(one.low, 0.0))}"
    if "below-range" in one.flags and one.low <= 0:
        return f"at most {number(one.high)}"
    places = _decimals((one.high - one.low) / 2)
    return _signed(f"{one.value:.{places}f} ({one.low:.{places}f} to {one.high:.{places}f})")


def difference(one: Estimate) -> str:
    """Return a difference with its sign and interval; ends that saturation leaves open are said so."""
    if math.isnan(one.value):
        return NOT_SHOWN
    finite = [abs(end - one.value) for end in (one.low, one.high) if math.isfinite(end)]
    places = _decimals(max(finite, default=1.0))
    low = f"{one.low:+.{places}f}" if math.isfinite(one.low) else "no lower end"
    high = f"{one.high:+.{places}f}" if math.isfinite(one.high) else "no upper end"
    return _signed(f"{one.value:+.{places}f} ({low} to {high})")


def share(value: float) -> str:
    """Return a share [1] in per cent, whole numbers."""
    if not math.isfinite(value):
        return NOT_SHOWN
    if 0 < value < 0.005:
        return "< 1 %"
    return f"{100 * value:.0f} %"


def percent(value: float) -> str:
    """Return a small relative deviation [1] in per cent with sign and two decimals."""
    return _signed(f"{100 * value:+.2f} %") if math.isfinite(value) else NOT_SHOWN
