"""What stands across a seal in windows along it: signal, pressure, and which part is the seal's line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.kernel.windows import RunningSums, closed_window_means, fill_rows
from firedeck.pressure_map import FloatArray, PressureMap
from firedeck.seal.strip import Strip

__all__ = ["Windows", "average_windows"]

BoolArray = npt.NDArray[np.bool_]

#: Outer part of the band on each side that shows the land [mm], and as a share of the band at most.
_LAND_MM = 0.5
_LAND_SHARE = 0.15


@dataclass(frozen=True)
class Windows:
    """Averages in windows along a seal, at every distance across it.

    Attributes
    ----------
    signal : ndarray, shape (k, m)
        Mean signal [1], filled from its neighbours across where nothing is seen.
    pressure : ndarray, shape (k, m)
        Pressure of it, blur put back [MPa].
    noise : ndarray, shape (k, m)
        Mean independent noise of a map cell [MPa].
    footprint : ndarray of bool, shape (k, m)
        The part that is the seal's own line.
    usable : ndarray, shape (k, m)
        Share of the window that is seen [1].
    """

    signal: FloatArray
    pressure: FloatArray
    noise: FloatArray
    footprint: BoolArray
    usable: FloatArray


def average_windows(
    strip: Strip, pressure_map: PressureMap, sums: RunningSums, centres: npt.NDArray[np.int64], half: int
) -> Windows:
    """Average a strip in windows along it, and tell its line from the land beside it.

    Parameters
    ----------
    strip : Strip
        Unrolled seal.
    pressure_map : PressureMap
        Map it was unrolled from.
    sums : tuple of ndarray
        `running_sums` of the strip's signal and noise.
    centres : ndarray of int, shape (k,)
        Middle rows of the windows.
    half : int
        Rows to either side of the middle.

    Returns
    -------
    Windows
        One row a window.
    """
    signal, noise, share = closed_window_means(sums, centres, half)
    signal[share < 0.2] = np.nan
    filled = _filled_across(signal)
    conversion = pressure_map.conversion
    land_signal = _land_signal(filled, np.isfinite(signal), strip)
    pressure = conversion.to_pressure(filled)
    pressure += _blur_correction(filled, pressure, strip.step_across, pressure_map)
    cell_noise = np.nan_to_num(noise) / np.maximum(conversion.slope(filled), 1e-9)
    spread = (
        cell_noise * pressure_map.grid.pitch / np.sqrt((2 * half + 1) * strip.line.step * strip.step_across)
    )
    threshold = np.maximum(conversion.to_signal(pressure_map.lowest), land_signal + 3.0 * spread)
    return Windows(
        filled, pressure, np.nan_to_num(noise), _footprint((filled > threshold) & (share > 0.5)), share
    )


def _blur_correction(
    signal: FloatArray, pressure: FloatArray, step: float, pressure_map: PressureMap
) -> FloatArray:
    """Return what to add so that blur, which averages signal, leaves the mean pressure as it was.

    Within the blur the signal varies by its slope across the seal; the mean of a bent function
    differs from the function of the mean by half its bend times that variance.
    """
    conversion = pressure_map.conversion
    if pressure_map.blur <= 0:
        return np.zeros_like(signal)
    variance = (pressure_map.blur * np.gradient(signal, step, axis=1)) ** 2
    limit = 0.3 * pressure
    return np.clip(0.5 * conversion.bend(signal) * variance, -limit, limit)


def _filled_across(signal: FloatArray) -> FloatArray:
    """Fill missing places across the seal from their neighbours across."""
    filled = signal.copy()
    fill_rows(filled)
    return filled


def _land_signal(signal: FloatArray, known: BoolArray, strip: Strip) -> FloatArray:
    """Return the land's signal under the seal, drawn from the outer parts of the band."""
    half = strip.seal.band / 2
    width = min(_LAND_MM, _LAND_SHARE * strip.seal.band)
    sides = []
    for sign in (-1.0, 1.0):
        outer = (sign * strip.across > half - width)[None, :] & known
        total = np.sum(np.where(outer, signal, 0.0), axis=1)
        count = outer.sum(axis=1)
        sides.append(np.where(count > 0, total / np.maximum(count, 1), np.nan))
    left, right = sides
    lowest = np.min(np.where(known, signal, np.inf), axis=1)
    lowest = np.where(np.isfinite(lowest), lowest, 0.0)
    left, right = np.where(np.isnan(left), right, left), np.where(np.isnan(right), left, right)
    left, right = (np.where(np.isnan(side), lowest, side) for side in (left, right))
    place = (strip.across / half + 1) / 2
    return np.asarray(left[:, None] * (1 - place) + right[:, None] * place)


def _footprint(above: BoolArray) -> BoolArray:
    """Return everything from the first to the last place, two in a row, above the threshold."""
    firm = above.copy()
    firm[:, 1:-1] &= above[:, :-2] | above[:, 2:]
    begun = np.maximum.accumulate(firm, axis=1)
    not_ended = np.maximum.accumulate(firm[:, ::-1], axis=1)[:, ::-1]
    return np.asarray(begun & not_ended)
