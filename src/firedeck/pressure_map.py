"""The pressure map: where measurement and prediction meet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt

from firedeck.errors import FiredeckError
from firedeck.kernel.lookup import guide_of, interpolate_curve, interpolate_curves, slope_of_curve

__all__ = ["Conversion", "FloatArray", "Grid", "MapArray", "PressureMap", "identity_conversion"]

FloatArray = npt.NDArray[np.float64]
MapArray = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Grid:
    """A regular grid of square cells in deck coordinates, row 0 lowest in y.

    Attributes
    ----------
    x0, y0 : float
        Corner of cell (0, 0) with the lowest x and y [mm].
    pitch : float
        Side of a cell [mm].
    rows, cols : int
        Number of cells along y and x.
    """

    x0: float
    y0: float
    pitch: float
    rows: int
    cols: int

    def __post_init__(self) -> None:
        if self.pitch <= 0 or self.rows < 1 or self.cols < 1:
            raise FiredeckError(
                f"a grid of {self.rows} x {self.cols} cells of {self.pitch} mm is not possible",
                remedy="use a positive pitch and at least one cell each way",
            )

    @classmethod
    def covering(
        cls, low: tuple[float, float], high: tuple[float, float], pitch: float, margin: float
    ) -> Grid:
        """Return the grid that covers a rectangle [mm] with a margin [mm] on all sides."""
        x0 = np.floor((low[0] - margin) / pitch) * pitch
        y0 = np.floor((low[1] - margin) / pitch) * pitch
        cols = int(np.ceil((high[0] + margin - x0) / pitch))
        rows = int(np.ceil((high[1] + margin - y0) / pitch))
        return cls(float(x0), float(y0), pitch, rows, cols)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.rows, self.cols

    @property
    def cell_area(self) -> float:
        """Area of one cell [mm^2]."""
        return self.pitch**2

    @property
    def x(self) -> FloatArray:
        """Centres of the columns [mm]."""
        return np.asarray(self.x0 + (np.arange(self.cols) + 0.5) * self.pitch, dtype=np.float64)

    @property
    def y(self) -> FloatArray:
        """Centres of the rows [mm]."""
        return np.asarray(self.y0 + (np.arange(self.rows) + 0.5) * self.pitch, dtype=np.float64)

    def index_of(self, points: FloatArray) -> FloatArray:
        """Turn points x, y [mm], shape (..., 2), into fractional row, column of cell centres."""
        points = np.asarray(points, dtype=float)
        column = (points[..., 0] - self.x0) / self.pitch - 0.5
        row = (points[..., 1] - self.y0) / self.pitch - 0.5
        return np.stack([row, column], axis=-1)


@dataclass(frozen=True)
class Conversion:
    """How a signal that may be averaged becomes pressure.

    Averages over cells are honest only in a quantity that adds up: for film the share of light
    that the dye takes away, not density and not pressure. The map therefore carries that signal,
    and this curve from it to pressure.

    Attributes
    ----------
    signal : ndarray, shape (n,)
        Rising knots of the signal [1].
    pressure : ndarray, shape (n,)
        Pressure at the knots [MPa].
    modes : ndarray, shape (k, n)
        Independent shifts of the curve, one standard deviation each [MPa], common to all cells.
    """

    signal: FloatArray
    pressure: FloatArray
    modes: FloatArray

    @cached_property
    def guide(self) -> npt.NDArray[np.int64]:
        """Where to begin looking for a signal among the knots; see `firedeck.kernel.lookup`."""
        return guide_of(self.signal)

    @property
    def curve(self) -> tuple[FloatArray, FloatArray, npt.NDArray[np.int64]]:
        """Knots, pressure at them, and the guide to them, as kernels take them."""
        return self.signal, self.pressure, self.guide

    def to_pressure(self, signal: npt.ArrayLike) -> FloatArray:
        """Convert signals to pressure [MPa], held at the ends of the curve."""
        return interpolate_curve(_floating(signal), self.signal, self.pressure, self.guide)

    def to_signal(self, pressure: npt.ArrayLike) -> FloatArray:
        """Convert pressure [MPa] to signal, held at the ends of the curve."""
        return np.asarray(np.interp(np.asarray(pressure, dtype=float), self.pressure, self.signal))

    def slope(self, signal: npt.ArrayLike) -> FloatArray:
        """Return d(pressure)/d(signal) [MPa]."""
        return slope_of_curve(_floating(signal), self.signal, self.pressure, self.guide)

    def bend(self, signal: npt.ArrayLike, step: float = 0.02) -> FloatArray:
        """Return d2(pressure)/d(signal)2 [MPa], seen over steps of the signal of `step`."""
        signal = _floating(signal)
        step = min(step, 0.02 * float(self.signal[-1]))
        middle = np.clip(signal, self.signal[0] + step, self.signal[-1] - step)
        outer = self.to_pressure(middle + step) + self.to_pressure(middle - step)
        return np.asarray((outer - 2.0 * self.to_pressure(middle)) / step**2)

    def mode_shifts(self, signal: npt.ArrayLike) -> FloatArray:
        """Return the shift of every mode at the given signals [MPa], shape (k, ...)."""
        signal = np.asarray(signal, dtype=float)
        shifts = interpolate_curves(signal.ravel(), self.signal, self.modes, self.guide)
        return np.asarray(shifts.reshape(len(self.modes), *signal.shape))


def _floating(values: npt.ArrayLike) -> npt.NDArray[np.floating]:
    """Return values as an array of floats, single precision kept as it is."""
    array = np.asarray(values)
    return array if array.dtype in (np.float32, np.float64) else array.astype(np.float64)


def identity_conversion(highest: float) -> Conversion:
    """Return the conversion of a map whose signal is its pressure, up to `highest` [MPa]."""
    ends = np.array([0.0, max(highest, 1e-9)])
    return Conversion(ends, ends, np.zeros((0, 2)))


@dataclass(frozen=True)
class PressureMap:
    """Contact pressure over the deck, with its doubts.

    Attributes
    ----------
    kind : {"measured", "predicted"}
        Where the map comes from.
    grid : Grid
        Cells in deck coordinates.
    value : ndarray of float32, shape (rows, cols)
        Pressure [MPa]; NaN where there is no film.
    noise : ndarray of float32, shape (rows, cols)
        Standard uncertainty of each cell that is independent of its neighbours [MPa].
    flags : ndarray of uint16, shape (rows, cols)
        Bits of `firedeck.evidence.FLAGS`.
    signal : ndarray of float32, shape (rows, cols)
        The quantity that may be averaged [1]; for a prediction the pressure itself.
    conversion : Conversion
        From signal to pressure, with the calibration error common to all cells.
    background : float
        Standard uncertainty of the signal's zero [1], common to places a few centimetres apart.
    lowest : float
        Pressure of the lowest calibration piece that still answers [MPa].
    stated_range : tuple of float
        The film's stated range [MPa].
    spread : float
        Length by which the film widens a line [mm], about its thickness; 0 for a prediction.
    blur : float
        Standard deviation of the averaging of *signal* by scanner, pooling and grid [mm]; 0 for a
        prediction.
    notes : tuple of str
        Assumptions that change the result, in plain sentences.
    provenance : mapping
        Inputs, settings and versions behind the map.
    """

    kind: Literal["measured", "predicted"]
    grid: Grid
    value: MapArray
    noise: MapArray
    flags: npt.NDArray[np.uint16]
    signal: MapArray
    conversion: Conversion
    background: float
    lowest: float
    stated_range: tuple[float, float]
    spread: float
    blur: float = 0.0
    notes: tuple[str, ...] = ()
    provenance: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("value", "noise", "flags", "signal"):
            if getattr(self, name).shape != self.grid.shape:
                raise FiredeckError(f"the map's {name} does not have the shape of its grid {self.grid.shape}")
