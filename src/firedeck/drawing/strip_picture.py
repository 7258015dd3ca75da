"""A seal unrolled: the print along and across it, and the line load underneath on the same axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.figure import Figure

from firedeck.compare import SealDifference
from firedeck.definition.deck import DeckPlan
from firedeck.drawing.curve_marks import (
    draw_curve,
    draw_saturated,
    draw_threshold,
    load_top,
    mark_fasteners,
    mark_weakest,
    near_fasteners,
    runs,
)
from firedeck.drawing.map_cells import CellState, StateArray, colour_scale, paint, state_legend, strip_states
from firedeck.drawing.style import FAULT_COLOUR, FULL_WIDTH, INK, MUTED, PRESSURE_MAP, SERIES, styled
from firedeck.pressure_map import FloatArray, MapArray, PressureMap
from firedeck.seal.profile import LoadTable, SealProfile
from firedeck.seal.strip import Strip
from firedeck.seal.summary import SealSummary

__all__ = [
    "SealView",
    "axis_of",
    "curves_figure",
    "draw_strip",
    "overlay_figure",
    "strip_cells",
    "strip_figure",
]

_LEFT, _RIGHT = 0.62, 0.72
_DRAWN_ROWS = 1100


@dataclass(frozen=True)
class SealView:
    """One seal as it is drawn.

    Attributes
    ----------
    profile : SealProfile
        Its profile.
    summary : SealSummary
        Its summary, for the weakest place.
    least : float, optional
        Least line load asked for [N/mm].
    """

    profile: SealProfile
    summary: SealSummary
    least: float | None = None


def axis_of(profile: SealProfile) -> tuple[str, float]:
    """Return the label and the length of a seal's axis: angle where it is round, arc length elsewhere."""
    if profile.strip.line.is_round:
        return "angle, anticlockwise from the plan's x axis [degree]", 360.0
    return "arc length, anticlockwise [mm]", profile.length


def _along(profile: SealProfile, table: LoadTable) -> FloatArray:
    return table.at * (axis_of(profile)[1] / profile.length)


@styled
def strip_figure(plan: DeckPlan, pressure_map: PressureMap, view: SealView, *, title: str = "") -> Figure:
    """Draw a seal's strip with its line load under it.

    Parameters
    ----------
    plan : DeckPlan
        Plan, for the fasteners.
    pressure_map : PressureMap
        Map that the strip was read from.
    view : SealView
        The seal.
    title : str
        Title; the seal's name by default.

    Returns
    -------
    Figure
        The picture.
    """
    profile = view.profile
    figure = Figure(figsize=(FULL_WIDTH, 3.3))
    width = 1 - (_LEFT + _RIGHT) / FULL_WIDTH
    above = figure.add_axes((_LEFT / FULL_WIDTH, 0.62, width, 0.29))
    below = figure.add_axes((_LEFT / FULL_WIDTH, 0.19, width, 0.41))
    label, span = axis_of(profile)
    above.set_title(title or profile.name)
    states = draw_strip(figure, above, profile, pressure_map, span)
    _draw_load(below, plan, view, span)
    above.tick_params(labelbottom=False, length=2)
    below.set_xlabel(label, labelpad=1)
    legend = state_legend(states)
    if legend:
        figure.legend(
            handles=legend,
            ncols=4,
            loc="lower left",
            bbox_to_anchor=(0.05, 0.0),
            fontsize=6.2,
            columnspacing=1.2,
            handlelength=1.4,
        )
    return figure


def draw_strip(
    figure: Figure, axes: Axes, profile: SealProfile, pressure_map: PressureMap, span: float
) -> StateArray:
    """Draw a seal's strip along an axis `span` long with its colour bar; return the states shown."""
    strip = profile.strip
    value, states = strip_cells(strip, pressure_map)
    if pressure_map.kind == "predicted":
        states[states >= CellState.MASKED] = CellState.OPEN
    norm = colour_scale(pressure_map)
    image = paint(value.T, states.T, norm, stripe=9)
    half = strip.seal.band / 2
    axes.imshow(
        image, origin="lower", aspect="auto", extent=(0, span, -half, half), interpolation="antialiased"
    )
    axes.set_ylabel("across [mm]\n← inside  outside →", fontsize=6.5, labelpad=1)
    axes.axhline(0.0, color=INK, linewidth=0.4, linestyle=(0, (1, 3)))
    axes.set_xlim(0, span)
    box = axes.get_position()
    place = figure.add_axes((box.x1 + 0.012, box.y0, 0.012, box.height))
    bar = figure.colorbar(ScalarMappable(norm, PRESSURE_MAP), cax=place)
    bar.set_label("MPa", labelpad=1, fontsize=6.5)
    bar.ax.tick_params(length=1.5, labelsize=6)
    if pressure_map.stated_range[0] > 0.0:
        bar.ax.axhline(pressure_map.stated_range[0], color=INK, linewidth=1.0)
    bar.outline.set_linewidth(0.4)
    return states


def strip_cells(strip: Strip, pressure_map: PressureMap) -> tuple[MapArray, StateArray]:
    """Reduce an unrolled seal to what is drawn of it.

    Parameters
    ----------
    strip : Strip
        The unrolled seal.
    pressure_map : PressureMap
        Map that it was read from.

    Returns
    -------
    value : ndarray of float32, shape (n, m)
        Pressure along and across the seal [MPa], the signal averaged along it.
    states : ndarray of uint8, shape (n, m)
        How every sample is to be shown.
    """
    value = _averaged(strip.signal, pressure_map)
    block = _block(len(strip.signal))
    usable, foreign = strip.usable[::block][: len(value)], strip.foreign[::block][: len(value)]
    return value, strip_states(value, usable, foreign, pressure_map.lowest, pressure_map.stated_range[1])


def _block(rows: int) -> int:
    return max(1, -(-rows // _DRAWN_ROWS))


def _averaged(signal: MapArray, pressure_map: PressureMap) -> MapArray:
    """Average the signal over blocks along the seal, then turn it into pressure [MPa]."""
    block = _block(len(signal))
    rows = len(signal) // block
    parts = signal[: rows * block].reshape(rows, block, signal.shape[1])
    seen = np.isfinite(parts)
    count = seen.sum(axis=1)
    mean = np.where(seen, parts, 0.0).sum(axis=1) / np.maximum(count, 1)
    pressure = pressure_map.conversion.to_pressure(mean)
    pressure[count < block / 2] = np.nan
    return pressure.astype(np.float32)


def _draw_load(axes: Axes, plan: DeckPlan, view: SealView, span: float) -> None:
    profile, table = view.profile, view.profile.sliding
    top = load_top([table], view.least or 0.0)
    _frame_load(axes, span, top)
    scale = span / profile.length
    at = _along(profile, table)
    mark_fasteners(axes, [(one.at * scale, one) for one in near_fasteners(plan, profile.strip.line)])
    draw_curve(axes, at, table, span, top)
    _shade_hidden(axes, at, table, span)
    draw_saturated(axes, at, table, span / len(at))
    draw_threshold(axes, view.least)
    if view.summary.weakest is not None:
        mark_weakest(axes, view.summary.weakest.at * scale, view.summary.weakest, span, view.least)


def _frame_load(axes: Axes, span: float, top: float) -> None:
    axes.set_xlim(0, span)
    axes.set_ylim(0, top)
    axes.grid(axis="y")
    if span == 360.0:
        axes.set_xticks(np.arange(0, 361, 45))
    axes.set_ylabel("line load [N/mm]", fontsize=7)
    axes.tick_params(length=2)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _shade_hidden(axes: Axes, at: FloatArray, table: LoadTable, span: float) -> None:
    step = span / len(at)
    for begin, end in runs(~np.isfinite(table.line_load)):
        axes.axvspan(
            at[begin] - step / 2,
            at[end - 1] + step / 2,
            facecolor="none",
            edgecolor=MUTED,
            hatch="\\\\\\\\",
            linewidth=0,
            alpha=0.5,
        )
        axes.text(
            (at[begin] + at[end - 1]) / 2,
            0.5,
            "not shown",
            transform=axes.get_xaxis_transform(),
            size=6,
            rotation=90,
            ha="center",
            va="center",
        )


@styled
def curves_figure(plan: DeckPlan, views: Sequence[SealView]) -> Figure:
    """Draw the line-load curves of several seals as small panels, three to a row."""
    columns = 3
    rows = -(-len(views) // columns)
    height = 1.42 * rows + 0.3
    figure = Figure(figsize=(FULL_WIDTH, height))
    figure.subplots_adjust(
        left=0.075, right=0.985, bottom=0.22 / height, top=1 - 0.25 / height, hspace=0.55, wspace=0.2
    )
    panels = figure.subplots(rows, columns, squeeze=False)
    for axes, view in zip(panels.flat, views, strict=False):
        _small_panel(axes, plan, view)
    for axes in panels.flat[len(views) :]:
        axes.set_visible(False)
    figure.supylabel("line load [N/mm]", fontsize=7, x=0.005)
    return figure


def _small_panel(axes: Axes, plan: DeckPlan, view: SealView) -> None:
    profile, table = view.profile, view.profile.sliding
    span = axis_of(profile)[1]
    top = load_top([table], view.least or 0.0)
    _frame_load(axes, span, top)
    axes.set_ylabel("")
    if span == 360.0:
        axes.set_xticks([0, 90, 180, 270, 360])
    at = _along(profile, table)
    for fastener in near_fasteners(plan, profile.strip.line):
        axes.axvline(fastener.at * span / profile.length, color=MUTED, linewidth=0.4, linestyle=(0, (2, 2)))
    draw_curve(axes, at, table, span, top)
    _shade_hidden(axes, at, table, span)
    draw_saturated(axes, at, table, span / len(at))
    if view.least is not None:
        axes.axhline(view.least, color=FAULT_COLOUR, linewidth=0.9, linestyle=(0, (6, 2, 1.5, 2)))
    weakest = view.summary.weakest
    if weakest is not None:
        axes.plot(
            weakest.at * span / profile.length,
            weakest.line_load.value,
            marker="v",
            color=FAULT_COLOUR,
            markersize=5,
            markeredgecolor="white",
            zorder=7,
        )
    unit = "degree" if span == 360.0 else "mm"
    axes.set_title(f"{profile.name} [{unit}]", fontsize=7)
    axes.tick_params(labelsize=6)


@styled
def overlay_figure(
    first: SealView, second: SealView, difference: SealDifference, *, names: tuple[str, str], title: str = ""
) -> Figure:
    """Draw one seal of two prints over each other, and their difference underneath.

    Parameters
    ----------
    first, second : SealView
        The seal in both prints.
    difference : SealDifference
        Second minus first.
    names : tuple of str
        Names of the two.
    title : str
        Title; the seal's name by default.

    Returns
    -------
    Figure
        The picture.
    """
    figure = Figure(figsize=(FULL_WIDTH, 3.3), layout="constrained")
    above, below = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    label, span = axis_of(first.profile)
    least = first.least
    top = load_top([first.profile.sliding, second.profile.sliding], least or 0.0)
    _frame_load(above, span, top)
    above.set_title(title or first.profile.name)
    for number, (view, name) in enumerate(zip((first, second), names, strict=True)):
        table = view.profile.sliding
        at = table.at * span / view.profile.length
        draw_curve(above, at, table, span, top, series=2 * number, label=name)
        if view.summary.weakest is not None:
            above.plot(
                view.summary.weakest.at * span / view.profile.length,
                view.summary.weakest.line_load.value,
                marker="v",
                color=SERIES[2 * number],
                markersize=7,
                markeredgecolor="white",
                zorder=7,
            )
    draw_threshold(above, least)
    above.legend(loc="upper right", bbox_to_anchor=(1.0, 1.2), ncols=2, borderaxespad=0.0)
    _draw_difference(below, difference, span / first.profile.length)
    below.set_xlabel(label, labelpad=1)
    return figure


def _draw_difference(axes: Axes, difference: SealDifference, scale: float) -> None:
    at, width = difference.at * scale, 0.8 * scale * float(np.median(np.diff(difference.at)))
    seen = difference.difference[np.isfinite(difference.difference)]
    reach = 1.35 * float(np.abs(seen).max()) + 1.0 if seen.size else 1.0
    for wanted, colour, label in (
        (difference.shown, "#46525f", "shown: the interval does not hold zero"),
        (~difference.shown & np.isfinite(difference.difference), "#b9c0c7", "not shown: it could be zero"),
    ):
        if wanted.any():
            axes.bar(at[wanted], difference.difference[wanted], width, color=colour, label=label)
    bounded = np.isfinite(difference.low) & np.isfinite(difference.high)
    low, high = np.clip(difference.low, -reach, reach), np.clip(difference.high, -reach, reach)
    axes.vlines(at[bounded], low[bounded], high[bounded], color=INK, linewidth=0.8)
    unbounded = ~bounded & np.isfinite(difference.difference)
    axes.vlines(
        at[unbounded], low[unbounded], high[unbounded], color=MUTED, linewidth=0.5, linestyle=(0, (1, 1.5))
    )
    axes.axhline(0.0, color=INK, linewidth=0.7)
    axes.set_ylim(-reach, reach)
    axes.set_ylabel("difference [N/mm]", fontsize=7)
    axes.grid(axis="y")
    axes.legend(loc="lower left", ncols=2, fontsize=6.2)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
