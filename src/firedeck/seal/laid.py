"""A predicted map: line loads laid along their seals, for everything that reads maps.

Across a seal the load is spread over the width on which the line presses: evenly, so that the
contact pressure is a lower bound of the crown's, or as an ellipse, as a film would print a rounded
crown. A film in the joint widens the line by about its own thickness to either side.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from firedeck.definition.deck import DeckPlan
from firedeck.definition.zones import opening_labels
from firedeck.evidence import FLAG_DTYPE, flag_bit
from firedeck.kernel.band_field import lay_band
from firedeck.pressure_map import Conversion, FloatArray, Grid, MapArray, PressureMap
from firedeck.seal.profile import LoadTable, SealProfile
from firedeck.seal.strip import Strip, unroll_seals

__all__ = ["LaidLine", "LaidMap", "Shape", "lay_lines", "line_profile", "plan_grid"]

#: How the load is spread across a line.
Shape = Literal["even", "ellipse"]

#: Room of the map beyond the outline [mm].
_MARGIN_MM = 2.0

#: Places across a line at which its spread is worked out, over its reach [1].
_ACROSS = 400


@dataclass(frozen=True)
class LaidLine:
    """What one seal carries all along.

    Attributes
    ----------
    at : ndarray, shape (n,)
        Arc length of the points from the line's first one, evenly apart [mm].
    line_load : ndarray, shape (n,)
        Line load there [N/mm].
    width : float
        Width on which the line presses [mm].
    doubt : float
        Plus or minus at 95 % of the whole line's load [1].
    """

    at: FloatArray
    line_load: FloatArray
    width: float
    doubt: float


@dataclass(frozen=True)
class LaidMap:
    """A predicted map with its seals unrolled.

    Attributes
    ----------
    map : PressureMap
        The map.
    strips : tuple of Strip
        One a seal of the plan, in its order.
    profiles : tuple of SealProfile
        The line loads that were laid, in the same order.
    """

    map: PressureMap
    strips: tuple[Strip, ...]
    profiles: tuple[SealProfile, ...]


def plan_grid(plan: DeckPlan, pitch: float) -> Grid:
    """Return the grid of cells of side `pitch` [mm] over a plan."""
    points = np.asarray(plan.outline)
    low, high = points.min(axis=0), points.max(axis=0)
    return Grid.covering((low[0], low[1]), (high[0], high[1]), pitch, _MARGIN_MM)


def lay_lines(
    plan: DeckPlan,
    lines: Mapping[str, LaidLine],
    pitch: float,
    *,
    shape: Shape = "even",
    bloom: float = 0.0,
    notes: Sequence[str] = (),
    provenance: Mapping[str, str] | None = None,
) -> LaidMap:
    """Lay line loads onto a map.

    Parameters
    ----------
    plan : DeckPlan
        Plan with the seals.
    lines : mapping of str to LaidLine
        What each seal of the plan carries.
    pitch : float
        Side of a cell [mm].
    shape : {"even", "ellipse"}
        How the load is spread across a line.
    bloom : float
        How far a film widens a line to either side [mm].
    notes : sequence of str
        Assumptions that change the result.
    provenance : mapping of str to str
        Inputs and versions behind the map.

    Returns
    -------
    LaidMap
        The map; beyond the lines nothing presses.
    """
    grid = plan_grid(plan, pitch)
    blank = _blank(plan, grid, lines, tuple(notes), dict(provenance or {}), bloom)
    value = np.zeros(grid.shape, np.float32)
    scratch = np.zeros((*grid.shape, 2), np.float32)
    strips = []
    for strip in unroll_seals(plan, blank):
        painted = _painted(strip, lines[strip.seal.name], shape, bloom)
        lay_band(painted, *strip.cell, 0, value, scratch)
        strips.append(replace(strip, signal=painted, crown_signal=np.nan_to_num(painted).max(axis=1)))
    value[np.isnan(blank.value)] = np.nan
    laid = replace(blank, value=value, signal=value)
    profiles = tuple(line_profile(strip, lines[strip.seal.name]) for strip in strips)
    return LaidMap(laid, tuple(strips), profiles)


def _blank(
    plan: DeckPlan,
    grid: Grid,
    lines: Mapping[str, LaidLine],
    notes: tuple[str, ...],
    provenance: dict[str, str],
    bloom: float,
) -> PressureMap:
    """Return the map on which nothing presses yet; openings and what lies beyond the outline are holes."""
    media, holes = opening_labels(plan, grid.x, grid.y)
    open_cells = holes | (media > 0)
    value = np.where(open_cells, np.float32(np.nan), np.float32(0.0))
    flags = np.where(open_cells, FLAG_DTYPE(flag_bit("hole")), FLAG_DTYPE(0))
    highest = 2.0 * max(
        (float(one.line_load.max(initial=0.0)) / one.width for one in lines.values()), default=1.0
    )
    ends = np.array([0.0, max(highest, 1e-6)])
    doubt = max((one.doubt for one in lines.values()), default=0.0)
    curve = Conversion(ends, ends, np.array([0.5 * doubt * ends]))
    return PressureMap(
        "predicted", grid, value, np.zeros_like(value), flags, value, curve,
        0.0, 0.0, (0.0, float("inf")), bloom, 0.0, notes, provenance,
    )  # fmt: skip


def _painted(strip: Strip, line: LaidLine, shape: Shape, bloom: float) -> MapArray:
    """Return the pressure in the band of a seal [MPa]; NaN where the place is not the seal's own."""
    length = strip.line.length
    along = np.interp(np.arange(len(strip.signal)) * strip.line.step, line.at, line.line_load, period=length)
    across = _spread(strip.across, line.width, shape, bloom)
    total = across.sum() * strip.step_across
    painted = np.multiply.outer(along, across / total if total > 0.0 else across)
    return np.where(np.isfinite(strip.signal), painted, np.nan).astype(np.float32)


def _spread(across: FloatArray, width: float, shape: Shape, bloom: float) -> FloatArray:
    """Return the share of the load at distances across a line [1/mm], averaged over each one's own step."""
    half, step = 0.5 * width, float(across[1] - across[0])
    fine = np.linspace(-half - bloom - step, half + bloom + step, 2 * _ACROSS + 1)
    height = (np.abs(fine) <= half).astype(float)
    if shape == "ellipse":
        height = np.sqrt(np.clip(1.0 - (fine / half) ** 2, 0.0, None))
    d = float(fine[1] - fine[0])
    reach = round(bloom / d)
    if reach > 0:
        # Even over its reach: its standard deviation is then 0.58 of the reach, near the share of the
        # film's thickness that the reader takes back.
        height = np.convolve(height, np.full(2 * reach + 1, 1.0 / (2 * reach + 1)), mode="same")
    summed = np.concatenate([[0.0], np.cumsum(0.5 * (height[1:] + height[:-1]) * d)])
    summed /= summed[-1]
    ends = [np.interp(across + side * step, fine, summed) for side in (-0.5, 0.5)]
    return np.asarray((ends[1] - ends[0]) / step)


def line_profile(strip: Strip, line: LaidLine) -> SealProfile:
    """Return what a line carries in the form that pictures and summaries read.

    Parameters
    ----------
    strip : Strip
        The seal's strip.
    line : LaidLine
        What it carries.
    """
    load, count = line.line_load, len(line.at)
    half = line.doubt * load
    none = np.zeros(count)
    rows = np.round(line.at / strip.line.step).astype(np.int64) % len(strip.line.points)
    table = LoadTable(
        window=float(line.at[1] - line.at[0]),
        at=line.at,
        angle=strip.line.angles[rows],
        line_load=load,
        noise=none,
        by_mode=0.5 * half[None, :],
        by_zero=none,
        low=np.maximum(load - half, 0.0),
        high=load + half,
        peak=load / line.width,
        peak_sd=0.5 * half / line.width,
        peak_grain=none,
        width=np.full(count, line.width),
        inferred=none,
        flags=np.zeros(count, FLAG_DTYPE),
    )
    seal = strip.seal
    return SealProfile(seal.name, seal.kind, strip.line.length, strip, table, table, table)
