"""What stands across a seal in windows along it: signal, pressure, and which part is the seal's line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.kernel.across import tell_lines
from firedeck.kernel.windows import RunningSums, closed_window_means
from firedeck.pressure_map import FloatArray, PressureMap
from firedeck.seal.strip import Strip

__all__ = ["Windows", "average_windows"]

#: A place across the seal is read where this share of the window shows it, and may be the line's where
#: this share does.
_READ_SHARE, _LINE_SHARE = 0.2, 0.5

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
    usable : ndarray, shape (k, m)
        Share of the window that is seen [1].
    extent : ndarray of int, shape (k, 2)
        First place of the seal's own line and the one after its last; both 0 where there is no line.
    """

    signal: FloatArray
    pressure: FloatArray
    noise: FloatArray
    usable: FloatArray
    extent: npt.NDArray[np.int64]

    @property
    def places(self) -> npt.NDArray[np.int64]:
        """Number of places that are the line's, shape (k,)."""
        return np.asarray(self.extent[:, 1] - self.extent[:, 0])


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
    means = closed_window_means(sums, centres, half)
    conversion = pressure_map.conversion
    limits = (
        _READ_SHARE,
        _LINE_SHARE,
        float(conversion.to_signal(pressure_map.lowest)),
        pressure_map.grid.pitch / float(np.sqrt((2 * half + 1) * strip.line.step * strip.step_across)),
        (pressure_map.blur / strip.step_across) ** 2,
    )
    place = (2 * strip.across / strip.seal.band + 1) / 2
    pressure, extent = tell_lines(means, conversion.curve, place, _land_columns(strip), limits)
    signal, noise, share = means
    return Windows(signal, pressure, noise, share, extent)


def _land_columns(strip: Strip) -> tuple[int, int]:
    """Return the first column that does not show the land, and the first that shows it again."""
    width = min(_LAND_MM, _LAND_SHARE * strip.seal.band)
    inner = np.flatnonzero(np.abs(strip.across) <= strip.seal.band / 2 - width)
    return int(inner[0]), int(inner[-1]) + 1
