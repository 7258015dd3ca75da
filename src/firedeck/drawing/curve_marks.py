"""What line-load curves share: intervals that run out of sight, thresholds, fasteners, the weakest place."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.transforms import blended_transform_factory

from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import SealLine
from firedeck.drawing.map_cells import SATURATED_COLOUR
from firedeck.drawing.plan_lines import short_names
from firedeck.drawing.style import FAULT_COLOUR, INK, MUTED, SERIES, THRESHOLD_LINE
from firedeck.pressure_map import FloatArray
from firedeck.seal.summary import WeakestPlace

__all__ = [
    "DrawnLoads",
    "NearFastener",
    "closed",
    "draw_curve",
    "draw_saturated",
    "draw_threshold",
    "load_top",
    "mark_fasteners",
    "mark_weakest",
    "near_fasteners",
    "runs",
]

BoolArray = npt.NDArray[np.bool_]


class DrawnLoads(Protocol):
    """What a curve of line load is drawn from; a `LoadTable` is such."""

    @property
    def line_load(self) -> FloatArray:
        """Line load [N/mm]; NaN where it is not shown."""

    @property
    def low(self) -> FloatArray:
        """Lower end of the 95 % interval [N/mm]."""

    @property
    def high(self) -> FloatArray:
        """Upper end of it, infinite where it is open [N/mm]."""

    def has(self, flag: str) -> BoolArray:
        """Return which windows carry a flag."""


@dataclass(frozen=True)
class NearFastener:
    """A fastener beside a seal: short name, nearest arc length [mm] and angle [degree], distance [mm]."""

    name: str
    at: float
    angle: float
    distance: float


def near_fasteners(plan: DeckPlan, line: SealLine) -> list[NearFastener]:
    """Return the fasteners beside a seal's line: those at most about twice as far off as the nearest."""
    names = short_names([hole.name for hole in plan.fastener_holes])
    found = []
    for hole in plan.fastener_holes:
        distance = np.hypot(*(line.points - np.asarray(hole.centre)).T)
        row = int(np.argmin(distance))
        name = names.get(hole.name, hole.name)
        found.append(NearFastener(name, row * line.step, float(line.angles[row]), float(distance[row])))
    limit = 2.0 * min((one.distance for one in found), default=0.0) + 8.0
    return sorted((one for one in found if one.distance <= limit), key=lambda one: one.at)


def load_top(tables: Sequence[DrawnLoads], least: float) -> float:
    """Return the upper end of a line-load axis [N/mm] that shows curves, finite intervals and a limit."""
    peaks = [least * 1.15, 1.0]
    for table in tables:
        for values in (table.line_load, table.high):
            finite = values[np.isfinite(values)]
            if finite.size:
                peaks.append(1.08 * float(finite.max()))
        loads = table.line_load[np.isfinite(table.line_load)]
        if loads.size and np.isinf(table.high).any():
            peaks.append(1.25 * float(loads.max()))
    return max(peaks)


def closed(at: FloatArray, length: float, *series: FloatArray) -> tuple[FloatArray, ...]:
    """Append the first window behind the last, so that a curve closes on itself at `length`."""
    return (np.append(at, at[0] + length), *(np.append(values, values[0]) for values in series))


def draw_curve(
    axes: Axes,
    at: FloatArray,
    table: DrawnLoads,
    length: float,
    top: float,
    *,
    series: int = 0,
    label: str = "",
) -> None:
    """Draw a table's line load with its 95 % band; a band without an upper end is hatched to the top."""
    colour = SERIES[series]
    where, load, low, high = closed(at, length, table.line_load, table.low, table.high)
    low = np.maximum(low, 0.0)
    open_ended = np.isinf(high)
    bounded = np.where(open_ended, top, high)
    axes.fill_between(where, low, np.where(open_ended, np.nan, high), color=colour, alpha=0.22, linewidth=0)
    if open_ended.any():
        axes.fill_between(
            where,
            low,
            bounded,
            where=open_ended,
            facecolor="none",
            edgecolor=colour,
            hatch="////",
            linewidth=0,
            alpha=0.5,
        )
    axes.plot(
        where, load, color=colour, linewidth=1.4, linestyle="-" if series == 0 else (0, (5, 1.5)), label=label
    )


def runs(wanted: BoolArray) -> Iterator[tuple[int, int]]:
    """Yield first and last-plus-one index of every run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], wanted, [False]]).astype(np.int8)))
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        yield int(begin), int(end)


def draw_saturated(axes: Axes, at: FloatArray, table: DrawnLoads, step: float) -> bool:
    """Lay a bar along the top of the axes over saturated windows; tell whether there are any."""
    saturated = table.has("saturated")
    across = axes.get_xaxis_transform()
    for begin, end in runs(saturated):
        axes.plot(
            [at[begin] - step / 2, at[end - 1] + step / 2],
            [0.975, 0.975],
            transform=across,
            color=SATURATED_COLOUR,
            linewidth=4.0,
            solid_capstyle="butt",
            zorder=5,
        )
    return bool(saturated.any())


def draw_threshold(axes: Axes, least: float | None) -> None:
    """Draw the least line load asked for [N/mm], with its value."""
    if least is None:
        return
    axes.axhline(least, **THRESHOLD_LINE, zorder=2)
    where = blended_transform_factory(axes.transAxes, axes.transData)
    axes.text(
        0.004,
        least,
        f"asked for: {least:g} N/mm",
        transform=where,
        size=6.2,
        color=FAULT_COLOUR,
        va="bottom",
        ha="left",
        zorder=6,
        bbox={"facecolor": "white", "alpha": 0.75, "edgecolor": "none", "pad": 0.5},
    )


def mark_fasteners(axes: Axes, places: Sequence[tuple[float, NearFastener]]) -> None:
    """Mark fasteners by thin lines with their short names at the foot of the axes."""
    across = axes.get_xaxis_transform()
    for place, fastener in places:
        axes.axvline(place, color=MUTED, linewidth=0.5, linestyle=(0, (2, 2)), zorder=1)
        axes.text(
            place,
            0.02,
            f"⌀{fastener.name}",
            transform=across,
            size=6.2,
            color=INK,
            ha="center",
            va="bottom",
            bbox={"facecolor": "white", "alpha": 0.8, "edgecolor": "none", "pad": 0.6},
            zorder=4,
        )


def mark_weakest(
    axes: Axes, place: float, weakest: WeakestPlace, span: float, least: float | None = None
) -> None:
    """Mark the weakest place at `place` on an axis `span` long, with its load, clear of the limit."""
    load = weakest.line_load
    axes.plot(
        place, load.value, marker="v", color=FAULT_COLOUR, markeredgecolor="white", markersize=7, zorder=7
    )
    text = f"weakest {load.value:.3g} N/mm at {weakest.angle:.0f}°"
    if not load.bounded_above:
        text = f"weakest seen, at least {max(load.low, 0.0):.3g} N/mm, at {weakest.angle:.0f}°"
    if weakest.fastener:
        text += f",\n{weakest.fastener_distance:.0f} mm from {weakest.fastener}"
    crowded = least is not None and load.value - least < 0.4 * axes.get_ylim()[1]
    across = -1 if place > 0.6 * span else 1
    axes.annotate(
        text,
        (place, load.value),
        (14 * across, 2) if crowded else (6 * across, -9),
        textcoords="offset points",
        size=6.4,
        weight="bold",
        color=FAULT_COLOUR,
        ha="right" if across < 0 else "left",
        va="center" if crowded else "top",
        zorder=8,
        bbox={"facecolor": "white", "alpha": 0.85, "edgecolor": "none", "pad": 0.8},
    )
