"""A pressure map made small enough to be drawn, and its cells turned into colours and hatches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt
from matplotlib.artist import Artist
from matplotlib.colors import Colormap, Normalize, to_rgb
from matplotlib.patches import Patch

from firedeck.drawing.style import INK, PRESSURE_MAP
from firedeck.evidence import flag_bit
from firedeck.pressure_map import Grid, MapArray, PressureMap

__all__ = [
    "SATURATED_COLOUR",
    "THRESHOLD_COLOUR",
    "CellState",
    "MapCells",
    "StateArray",
    "block_means",
    "cell_states",
    "colour_scale",
    "paint",
    "shrink_map",
    "state_legend",
    "state_look",
    "strip_states",
]

StateArray = npt.NDArray[np.uint8]

#: Colour of saturated cells: the one warm colour on a map of cool ones, and much lighter than its top.
SATURATED_COLOUR = "#f4a300"

#: Colour of the line round what reaches a threshold. Its lightness keeps clear of both ends of the map's
#: colours, its hue of them and of saturated cells, to an eye that lacks one kind of cone too.
THRESHOLD_COLOUR = "#aa22ff"

#: Share of a block at which it takes a state [1]; half, but for rounding.
_HALF = 0.499

_MASKS = ("crease", "cut-rim", "dust", "pen", "rub", "masked")


class CellState(IntEnum):
    """How a drawn cell is to be shown; the higher of two wins where they share a cell."""

    READ = 0
    BELOW = 1
    SATURATED = 2
    MASKED = 3
    NO_FILM = 4
    OPEN = 5


#: Ground colour, stripe colour, stripe direction (0 none, 1 rising, -1 falling), legend hatch, words.
_LOOKS: dict[CellState, tuple[str, str, int, str, str]] = {
    CellState.BELOW: ("#e6e8ea", "#e6e8ea", 0, "", "below range: too faint to read"),
    CellState.SATURATED: (
        SATURATED_COLOUR,
        SATURATED_COLOUR,
        0,
        "",
        "saturated: at least the top of the stated range",
    ),
    CellState.MASKED: ("#ffffff", "#8b8f94", 1, "//////", "masked: crease, cut rim, dust, pen"),
    CellState.NO_FILM: ("#ffffff", "#c3c7cb", -1, "\\\\\\\\\\\\", "no film"),
}


@dataclass(frozen=True)
class MapCells:
    """A map as drawn.

    Attributes
    ----------
    value : ndarray of float32, shape (rows, cols)
        Pressure, or difference of pressure [MPa].
    state : ndarray of uint8, shape (rows, cols)
        A `CellState` a cell.
    block : int
        Map cells to one drawn cell, each way.
    extent : tuple of float
        Left, right, lower and upper edge on the deck [mm].
    """

    value: MapArray
    state: StateArray
    block: int
    extent: tuple[float, float, float, float]


def colour_scale(pressure_map: PressureMap) -> Normalize:
    """Return the scale of a map's colours: to the top of the film's range, or to what is predicted."""
    top = pressure_map.stated_range[1]
    if not np.isfinite(top):
        top = float(np.nanmax(pressure_map.value, initial=0.0)) or 1.0
    return Normalize(0.0, top)


def shrink_map(pressure_map: PressureMap, *, widest: int = 1300) -> MapCells:
    """Reduce a map by taking the mean of every block of cells.

    Parameters
    ----------
    pressure_map : PressureMap
        The map.
    widest : int
        Most drawn cells along x.

    Returns
    -------
    MapCells
        The reduced map; a block is below range, saturated, masked or bare where half of it is.
    """
    grid = pressure_map.grid
    block = max(1, -(-grid.cols // widest))
    states = cell_states(pressure_map.value, pressure_map.flags)
    value = block_means(np.where(states <= CellState.SATURATED, pressure_map.value, np.nan), block)
    reduced = np.zeros(value.shape, np.uint8)
    present = np.bincount(states.ravel(), minlength=len(CellState))
    for state in list(CellState)[1:]:
        if present[state]:
            reduced[_block_shares(states == state, block) >= _HALF] = state
    reduced[np.isnan(value) & (reduced < CellState.MASKED)] = CellState.MASKED
    return MapCells(value, reduced, block, _extent(grid, block))


def block_means(values: MapArray, block: int) -> MapArray:
    """Return the mean of the finite values in every block of a map; NaN in a block without any."""
    rows, cols = values.shape
    if block == 1:
        return values
    high, wide = -(-rows // block), -(-cols // block)
    total, count = np.zeros((high, wide), np.float32), np.zeros((high, wide), np.float32)
    for down in range(block):
        for right in range(block):
            part = values[down::block, right::block]
            place = np.s_[: part.shape[0], : part.shape[1]]
            seen = np.isfinite(part)
            count[place] += seen
            total[place] += np.where(seen, part, np.float32(0.0))
    return np.divide(total, count, out=np.full((high, wide), np.nan, np.float32), where=count > 0)


def _block_shares(chosen: npt.NDArray[np.bool_], block: int) -> MapArray:
    """Return the share of every block's cells that are chosen [1]."""
    if block == 1:
        return chosen.astype(np.float32)
    count = np.zeros([-(-length // block) for length in chosen.shape], np.float32)
    for down in range(block):
        for right in range(block):
            part = chosen[down::block, right::block]
            count[: part.shape[0], : part.shape[1]] += part
    high, wide = (
        np.minimum(block, length - block * np.arange(blocks))
        for length, blocks in zip(chosen.shape, count.shape, strict=True)
    )
    return np.asarray(count / np.outer(high, wide), np.float32)


def cell_states(value: MapArray, flags: npt.NDArray[np.uint16]) -> StateArray:
    """Return how every cell is to be shown.

    Parameters
    ----------
    value : ndarray
        Pressure [MPa]; NaN where there is no film.
    flags : ndarray of uint16
        Bits of `firedeck.evidence.FLAGS`.

    Returns
    -------
    ndarray of uint8
        A `CellState` a cell.
    """
    states = np.zeros(flags.shape, np.uint8)
    for names, state in (
        (("below-range",), CellState.BELOW),
        (("saturated",), CellState.SATURATED),
        (_MASKS, CellState.MASKED),
        (("outside-sheet",), CellState.NO_FILM),
        (("hole",), CellState.OPEN),
    ):
        states[(flags & np.uint16(sum(flag_bit(name) for name in names))) != 0] = state
    states[np.isnan(value) & (states < CellState.NO_FILM)] = CellState.NO_FILM
    return states


def _extent(grid: Grid, block: int) -> tuple[float, float, float, float]:
    width, height = -(-grid.cols // block) * block * grid.pitch, -(-grid.rows // block) * block * grid.pitch
    return grid.x0, grid.x0 + width, grid.y0, grid.y0 + height


def strip_states(
    value: MapArray, usable: npt.NDArray[np.bool_], foreign: npt.NDArray[np.bool_], low: float, top: float
) -> StateArray:
    """Return the states of an unrolled seal's samples.

    Parameters
    ----------
    value : ndarray
        Pressure [MPa]; NaN where there is no film or another seal's ground.
    usable, foreign : ndarray of bool
        Samples that count, and those left out as dust, crease or mark.
    low, top : float
        Lowest pressure that the film answers to, and top of its range [MPa].
    """
    states = np.zeros(value.shape, np.uint8)
    with np.errstate(invalid="ignore"):
        states[value < low] = CellState.BELOW
        states[value >= top] = CellState.SATURATED
    states[foreign | (~usable & np.isfinite(value))] = CellState.MASKED
    states[~np.isfinite(value)] = CellState.NO_FILM
    return states


def paint(
    value: MapArray, state: StateArray, norm: Normalize, *, colours: Colormap = PRESSURE_MAP, stripe: int = 6
) -> npt.NDArray[np.uint8]:
    """Turn cells into colours, shape (rows, cols, 4); what was not read gets its hatch, not a pressure."""
    image = colours(norm(np.nan_to_num(value)), bytes=True)
    row, col = np.ogrid[: state.shape[0], : state.shape[1]]
    for which, (ground, line, slope, _, _) in _LOOKS.items():
        place = state == which
        if not place.any():
            continue
        image[place, :3] = _bytes(ground)
        if slope:
            image[place & ((row + slope * col) % stripe < stripe // 3), :3] = _bytes(line)
    image[state == CellState.OPEN] = 0
    return np.asarray(image)


def state_look(state: CellState) -> dict[str, object]:
    """Return ground and stripe colour, the stripe's slope and the words of a state, for other painters."""
    if state not in _LOOKS:
        return {"ground": "", "stripe": "", "slope": 0, "words": "opening"}
    ground, stripe, slope, _, words = _LOOKS[state]
    return {"ground": ground, "stripe": stripe, "slope": slope, "words": words}


def _bytes(colour: str) -> npt.NDArray[np.uint8]:
    return np.asarray(np.rint(255 * np.asarray(to_rgb(colour))), dtype=np.uint8)


def state_legend(present: Sequence[int] | StateArray) -> list[Artist]:
    """Return the legend's entries for the states that occur."""
    there = set(np.unique(np.asarray(present)).tolist())
    return [
        Patch(facecolor=ground, edgecolor=line if slope else INK, hatch=hatch, linewidth=0.5, label=words)
        for state, (ground, line, slope, hatch, words) in _LOOKS.items()
        if int(state) in there
    ]
