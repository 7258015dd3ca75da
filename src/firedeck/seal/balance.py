"""Whether the force on the print fits the preload that the test record states."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firedeck.evidence import Estimate, flag_bit
from firedeck.pressure_map import PressureMap

#: Marks on the film that are no force.
_MARKS = ("crease", "cut-rim", "dust", "pen", "rub", "masked")

__all__ = ["ClampBalance", "clamp_balance", "printed_force"]


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
    value = np.nan_to_num(pressure_map.value)
    below = (pressure_map.flags & np.uint16(flag_bit("below-range"))) != 0
    over = (pressure_map.flags & np.uint16(flag_bit("saturated"))) != 0
    marks = np.uint16(sum(flag_bit(name) for name in _MARKS))
    outside = np.isnan(pressure_map.value) | ((pressure_map.flags & marks) != 0)
    below, over = below & ~outside, over & ~outside
    read = ~below & ~over & ~outside
    core = float(value[read].sum(dtype=np.float64)) * area
    top = float(value[over].sum(dtype=np.float64)) * area
    faint = float(value[below].sum(dtype=np.float64)) * area
    sd = _common_sd(pressure_map, read)
    stated = read & ((pressure_map.flags & np.uint16(flag_bit("under-stated-range"))) == 0)
    in_force = float(value[stated].sum(dtype=np.float64)) * area
    in_range = Estimate.from_standard(in_force, _common_sd(pressure_map, stated))
    spread = 1.96 * sd
    low, high = core + top - spread, core + top + spread + _faint_bound(pressure_map, below)
    if over.any():
        high = float("inf")
    total = Estimate(core + top + faint, low, high, ("saturated",) if over.any() else ())
    return total, in_range, float(over.sum()) * area, float(below.sum()) * area


def _faint_bound(pressure_map: PressureMap, below: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> float:
    """Return the most that below-range cells can add [N]: those darker than the blank level's doubt."""
    conversion = pressure_map.conversion
    pressed = below & (pressure_map.signal > 2.0 * pressure_map.background)
    clear = below & ~pressed
    blank_limit = float(conversion.to_pressure(2.0 * pressure_map.background))
    area = pressure_map.grid.cell_area
    return (
        int(pressed.sum()) * pressure_map.lowest + int(clear.sum()) * min(blank_limit, pressure_map.lowest)
    ) * area


def _common_sd(pressure_map: PressureMap, read: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> float:
    """Return the calibration and blank error of the sum over cells [N], by a histogram of signals."""
    counts, edges = np.histogram(pressure_map.signal[read], bins=256, range=(0.0, 1.0))
    middle = (edges[1:] + edges[:-1]) / 2
    conversion = pressure_map.conversion
    modes = conversion.mode_shifts(middle) @ counts
    zero = float((conversion.slope(middle) * (1 - middle)) @ counts) * pressure_map.background
    return float(np.sqrt(np.sum(modes**2) + zero**2)) * pressure_map.grid.cell_area


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
