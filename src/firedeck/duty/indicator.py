"""What a worked-up trace shows: the fan of its cycles, and the polytropic lines of its mean cycle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firedeck.duty.geometry import Cylinder
from firedeck.duty.trace import TraceResult
from firedeck.evidence import Estimate

__all__ = [
    "USUAL_EXPONENTS",
    "PolytropicFit",
    "PressureFan",
    "indicated_pressure",
    "polytropic_fits",
    "pressure_fan",
]

Floats = NDArray[np.float64]

#: Polytropic exponents that a sound trace of a spark-ignition engine shows [1]. From memory, not checked.
USUAL_EXPONENTS = {"compression": (1.24, 1.38), "expansion": (1.15, 1.40)}

#: Crank angles that the lines are fitted between [deg]; kept within the closed valves.
_WINDOWS = {"compression": (-110.0, -45.0), "expansion": (70.0, 130.0)}


@dataclass(frozen=True)
class PressureFan:
    """Cycles of a trace, angle by angle; each array has shape (m,) and is in MPa but for `angle`.

    Attributes
    ----------
    angle : ndarray
        Crank angle after firing top dead centre [deg].
    mean : ndarray
        Mean of the cycles [MPa].
    low, quarter, three_quarters, high : ndarray
        2.5, 25, 75 and 97.5 per cent of the cycles lie below [MPa].
    worst : ndarray
        The cycle with the highest peak [MPa].
    worst_number : int
        Its number among the cycles used, from 1.
    """

    angle: Floats
    mean: Floats
    low: Floats
    quarter: Floats
    three_quarters: Floats
    high: Floats
    worst: Floats
    worst_number: int


@dataclass(frozen=True)
class PolytropicFit:
    """Line p V^n = const through a stretch of the mean cycle.

    Attributes
    ----------
    stretch : str
        ``"compression"`` or ``"expansion"``.
    exponent : float
        n [1].
    window : tuple of float
        Crank angles fitted between [deg].
    pressure : ndarray
        The line at the trace's angles within the window [MPa], shape (w,).
    volume : ndarray
        Gas volume there [mm^3], shape (w,).
    misfit : float
        Root mean square of the relative misfit [1].
    note : str
        What to doubt; empty for nothing.
    """

    stretch: str
    exponent: float
    window: tuple[float, float]
    pressure: Floats
    volume: Floats
    misfit: float
    note: str


def pressure_fan(result: TraceResult) -> PressureFan:
    """Describe the cycles of a trace angle by angle."""
    low, quarter, three_quarters, high = np.quantile(result.pressure, [0.025, 0.25, 0.75, 0.975], axis=0)
    worst = int(np.argmax(result.cycles.peak))
    return PressureFan(
        result.angle,
        result.mean_pressure,
        low,
        quarter,
        three_quarters,
        high,
        result.pressure[worst],
        worst + 1,
    )


def indicated_pressure(result: TraceResult, cylinder: Cylinder) -> Estimate:
    """Mean of the gross indicated mean effective pressure [MPa].

    The interval holds scatter, the sensor's gain and what top dead centre may be off; not thermal
    shock of the sensor.
    """
    mean, centre = result.imep.mean, result.top_dead_centre.angle
    half = 0.5 * (centre.high - centre.low)
    moved = [abs(_work(result, cylinder, off) - _work(result, cylinder, 0.0)) for off in (-half, half)]
    doubt = float(np.hypot(max(moved) / cylinder.swept_volume, result.gain_doubt * mean.value))
    return Estimate(
        mean.value,
        mean.value - float(np.hypot(mean.value - mean.low, doubt)),
        mean.value + float(np.hypot(mean.high - mean.value, doubt)),
    )


def _work(result: TraceResult, cylinder: Cylinder, off: float) -> float:
    """Work of compression and expansion of the mean cycle [N*mm], its angles moved by `off` [deg]."""
    closed = np.abs(result.angle) <= 180.0
    volume = cylinder.volume(result.angle[closed] + off)
    return float(np.trapezoid(result.mean_pressure[closed], volume))


def polytropic_fits(result: TraceResult, cylinder: Cylinder) -> tuple[PolytropicFit, ...]:
    """Fit compression and expansion of the mean cycle; a stretch too short or below vacuum is left out."""
    mean = result.mean_pressure
    fits = []
    for stretch, (first, last) in _WINDOWS.items():
        window = max(first, cylinder.intake_closes + 10.0), min(last, cylinder.exhaust_opens - 5.0)
        inside = (result.angle >= window[0]) & (result.angle <= window[1])
        if window[1] - window[0] < 15.0 or np.count_nonzero(inside) < 5 or mean[inside].min() <= 0.0:
            continue
        fits.append(_fit(stretch, window, cylinder.volume(result.angle[inside]), mean[inside]))
    return tuple(fits)


def _fit(stretch: str, window: tuple[float, float], volume: Floats, pressure: Floats) -> PolytropicFit:
    slope, start = np.polyfit(np.log(volume), np.log(pressure), 1)
    line = np.exp(start + slope * np.log(volume))
    misfit = float(np.sqrt(np.mean((pressure / line - 1.0) ** 2)))
    return PolytropicFit(
        stretch, float(-slope), window, line, volume, misfit, _exponent_note(stretch, float(-slope))
    )


def _exponent_note(stretch: str, exponent: float) -> str:
    low, high = USUAL_EXPONENTS[stretch]
    if low <= exponent <= high:
        return ""
    return (
        f"the {stretch} follows an exponent of {exponent:.2f}, outside the usual {low:g} to {high:g}: check "
        "top dead centre, pegging, compression ratio and the sensor"
    )
