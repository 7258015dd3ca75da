"""Whether the force on the print fits the preload that the test record states."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.evidence import Estimate, flag_bit
from firedeck.kernel.cells import tally_cells
from firedeck.kernel.threads import for_each, row_bands
from firedeck.pressure_map import FloatArray, PressureMap

__all__ = ["ClampBalance", "clamp_balance", "printed_force"]

#: Marks on the film that are no force.
_MARK_BITS = sum(flag_bit(name) for name in ("crease", "cut-rim", "dust", "pen", "rub", "masked"))

#: A cell below range is pressed where its signal exceeds this many times the blank level's doubt.
_CLEAR_SIGMAS = 2.0

#: Rows of the map that one thread takes at a time.
_BAND_ROWS = 256


@dataclass(frozen=True)
class ClampBalance:
    """Force on the print against the preload.

    Attributes
    ----------
    printed : Estimate
        Force that the print shows [N], with below-range area as part of the interval; its upper end
        is infinite where anything is saturated.
    in_range : Estimate
        Force over the area that presses within the film's stated range [N].
    expected : Estimate
        Preload of all fasteners together [N].
    saturated_area, below_area : float
        Area of saturated, and of pressed but unread film [mm^2].
    basis : str
        How the preload is known.
    """

    printed: Estimate
    in_range: Estimate
    expected: Estimate
    saturated_area: float
    below_area: float
    basis: str

    @property
    def ratio(self) -> float:
        """Printed over expected force [1]."""
        return self.printed.value / self.expected.value

    @property
    def fits(self) -> bool:
        """Whether the two intervals meet."""
        return self.printed.low <= self.expected.high and self.printed.high >= self.expected.low

    @property
    def text(self) -> str:
        """The finding in one sentence."""
        shown = f"{self.printed.value / 1e3:.0f} kN"
        if not self.printed.bounded_above:
            shown = f"at least {self.printed.low / 1e3:.0f} kN"
        verdict = "fits" if self.fits else "does NOT fit"
        return (
            f"The force on the print, {shown}, {verdict} the stated preload of "
            f"{self.expected.value / 1e3:.0f} kN ({self.expected.low / 1e3:.0f} to "
            f"{self.expected.high / 1e3:.0f} kN; {self.basis})."
        )


def printed_force(pressure_map: PressureMap) -> tuple[Estimate, Estimate, float, float]:
    """Integrate a map.

    Returns
    -------
    printed : Estimate
        Force over the whole map [N], bounded by what is saturated and what is below range.
    in_range : Estimate
        Force over the cells within the film's stated range [N].
    saturated_area, below_area : float
        Areas [mm^2].
    """
    area = pressure_map.grid.cell_area
    clear, pressed, under, read, over = _tally(pressure_map)
    in_range = Estimate.from_standard(read.force * area, read.common_sd(pressure_map))
    core = _Kind(under.force + read.force, under.counts + read.counts)
    spread = 1.96 * core.common_sd(pressure_map)
    faint = (clear.force + pressed.force) * area
    low = (core.force + over.force) * area - spread
    blank_limit = float(pressure_map.conversion.to_pressure(_CLEAR_SIGMAS * pressure_map.background))
    # Below range a cell may carry up to the lowest pressure that answers, or as much as the doubt of
    # the blank level hides.
    hidden = pressed.cells * pressure_map.lowest + clear.cells * min(blank_limit, pressure_map.lowest)
    high = float("inf") if over.cells else (core.force * area + spread + hidden * area)
    value = (core.force + over.force) * area + faint
    printed = Estimate(value, low, high, ("saturated",) if over.cells else ())
    return printed, in_range, over.cells * area, (clear.cells + pressed.cells) * area


@dataclass(frozen=True)
class _Kind:
    """The cells of one kind: sum of their pressures [MPa], and how many hold each step of the signal."""

    force: float
    counts: npt.NDArray[np.int64]

    @property
    def cells(self) -> int:
        return int(self.counts.sum())

    def common_sd(self, pressure_map: PressureMap) -> float:
        """Return the calibration and blank error of the force on these cells [N]."""
        middle = (np.arange(len(self.counts)) + 0.5) / len(self.counts)
        conversion = pressure_map.conversion
        modes = conversion.mode_shifts(middle) @ self.counts
        zero = float((conversion.slope(middle) * (1 - middle)) @ self.counts) * pressure_map.background
        return float(np.sqrt(np.sum(modes**2) + zero**2)) * pressure_map.grid.cell_area


def _tally(pressure_map: PressureMap) -> list[_Kind]:
    """Count cells clear of pressure, pressed but unread, under the stated range, in it, and saturated."""
    bits = flag_bit("below-range"), flag_bit("under-stated-range"), flag_bit("saturated")
    limit = _CLEAR_SIGMAS * pressure_map.background
    value, signal, flags = pressure_map.value, pressure_map.signal, pressure_map.flags

    def tally(band: slice) -> tuple[FloatArray, npt.NDArray[np.int64]]:
        return tally_cells(value[band], signal[band], flags[band], _MARK_BITS, bits, limit)

    parts = for_each(tally, row_bands(pressure_map.grid.rows, _BAND_ROWS))
    forces, counts = np.sum([part[0] for part in parts], axis=0), np.sum([part[1] for part in parts], axis=0)
    return [_Kind(float(force), count) for force, count in zip(forces, counts, strict=True)]


def clamp_balance(pressure_map: PressureMap, total: float, uncertainty: float, basis: str) -> ClampBalance:
    """Set the printed force against the preload.

    Parameters
    ----------
    pressure_map : PressureMap
        Measured map.
    total : float
        Preload of all fasteners together [N].
    uncertainty : float
        Its relative standard uncertainty [1].
    basis : str
        How it is known.

    Returns
    -------
    ClampBalance
        The comparison.
    """
    printed, in_range, saturated_area, below_area = printed_force(pressure_map)
    expected = Estimate.from_standard(total, total * uncertainty)
    return ClampBalance(printed, in_range, expected, saturated_area, below_area, basis)
