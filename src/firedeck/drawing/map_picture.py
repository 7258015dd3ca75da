"""The pressure map and the difference of two maps, drawn over the deck plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colorbar import Colorbar
from matplotlib.colors import Colormap, Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon

from firedeck.compare import MapDifference
from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import opening_polygon
from firedeck.drawing.labels import Box, Label, draw_labels
from firedeck.drawing.map_cells import (
    CellState,
    MapCells,
    block_means,
    colour_scale,
    paint,
    shrink_map,
    state_legend,
)
from firedeck.drawing.plan_lines import draw_outline, line_points, opening_boxes, short_names
from firedeck.drawing.plan_picture import draw_frame_notes, plan_axes
from firedeck.drawing.style import DIFFERENCE_MAP, FAULT_COLOUR, INK, PRESSURE_MAP, styled
from firedeck.pressure_map import FloatArray, MapArray, PressureMap

__all__ = [
    "Mark",
    "difference_figure",
    "draw_marks",
    "dress_plan",
    "finish_ground",
    "map_figure",
    "map_ground",
]

_BAR_SPACE = 0.85
_LEGEND_LINE = 0.17
_NAME_SIZE = 6.0


@dataclass(frozen=True)
class Mark:
    """A marked place on the deck.

    Attributes
    ----------
    text : str
        Its number or name.
    at : tuple of float
        x and y [mm].
    urgent : bool
        Whether it is drawn to be seen first.
    """

    text: str
    at: tuple[float, float]
    urgent: bool = False


@styled
def map_figure(
    plan: DeckPlan,
    pressure_map: PressureMap,
    *,
    weakest: Sequence[Mark] = (),
    crossings: Sequence[Mark] = (),
    title: str = "",
) -> Figure:
    """Draw a pressure map over the deck plan.

    Parameters
    ----------
    plan : DeckPlan
        Plan with the seals of the gasket that was clamped.
    pressure_map : PressureMap
        The map.
    weakest : sequence of Mark
        Weakest place of every seal.
    crossings : sequence of Mark
        Where leak paths cross the seals.
    title : str
        Title of the picture.

    Returns
    -------
    Figure
        The picture.
    """
    cells = shrink_map(pressure_map)
    low, top = pressure_map.stated_range
    norm = colour_scale(pressure_map)
    legend = state_legend(cells.state)
    legend += _mark_legend(weakest, crossings)
    figure, axes, scale = _ground(plan, title, len(legend))
    _show(axes, cells, norm, PRESSURE_MAP)
    dress_plan(axes, plan)
    draw_marks(axes, [(crossings, "D"), (weakest, "v")], scale, line_points(plan))
    bar = _bar(figure, axes, norm, PRESSURE_MAP, "contact pressure [MPa]")
    if np.isfinite(top):
        _mark_range(bar, low, top)
    finish_ground(figure, axes, legend, _cell_note(cells.block, pressure_map.grid.pitch))
    return figure


def _ground(plan: DeckPlan, title: str, entries: int) -> tuple[Figure, Axes, float]:
    rows = -(-entries // 2)
    figure, axes, scale = plan_axes(plan, extra=0.26 + _LEGEND_LINE * rows, right=_BAR_SPACE)
    axes.set_title(title)
    return figure, axes, scale


def _show(axes: Axes, cells: MapCells, norm: Normalize, colours: Colormap) -> None:
    image = paint(cells.value, cells.state, norm, colours=colours)
    axes.imshow(image, origin="lower", extent=cells.extent, interpolation="antialiased", zorder=0)


def dress_plan(axes: Axes, plan: DeckPlan) -> None:
    """Draw outline, openings, and the names that places are told by; nothing presses in an opening."""
    axes.set_autoscale_on(False)
    draw_outline(axes, plan)
    for opening in plan.openings:
        edge = np.asarray(opening_polygon(plan, opening.name).exterior.coords)
        # As an artist: the axes' limits stand, and to search a patch of many points for its own is slow.
        axes.add_artist(Polygon(edge, closed=True, facecolor="white", edgecolor=INK, linewidth=0.7, zorder=3))
    boxes = opening_boxes(plan)
    short = short_names([hole.name for hole in plan.fastener_holes])
    for named in (*plan.bores, *plan.fastener_holes):
        box, text = boxes[named.name], short.get(named.name, named.name)
        axes.text(box.x, box.y, text, size=_NAME_SIZE, ha="center", va="center", color=INK, zorder=6)


def draw_marks(
    axes: Axes, groups: Sequence[tuple[Sequence[Mark], str]], scale: float, lines: FloatArray
) -> None:
    """Draw marked places with their numbers beside them.

    Parameters
    ----------
    axes : Axes
        Where to draw, in deck coordinates [mm].
    groups : sequence of (sequence of Mark, str)
        Places, each group with its marker of the drawing library.
    scale : float
        Deck millimetres to a point of paper [mm/pt].
    lines : ndarray, shape (n, 2)
        Points that numbers should not cover [mm].
    """
    marks = [mark for group, _ in groups for mark in group]
    boxes = [Box(*mark.at, 2.6 * scale, 2.6 * scale) for mark in marks]
    for group, shape in groups:
        for mark in group:
            axes.plot(
                *mark.at,
                marker=shape,
                markersize=5.0,
                markeredgecolor="white",
                markeredgewidth=0.7,
                color=FAULT_COLOUR if mark.urgent else INK,
                zorder=8,
            )
    labels = [Label(mark.text, box) for mark, box in zip(marks, boxes, strict=True)]
    before = len(axes.texts)
    draw_labels(axes, labels, boxes, lines, size=6.5, scale=scale)
    for text, mark in zip(axes.texts[before:], marks, strict=True):
        text.set_bbox(
            {"boxstyle": "round,pad=0.12", "facecolor": "white", "edgecolor": "none", "alpha": 0.85}
        )
        text.set_fontweight("bold")
        text.set_color(FAULT_COLOUR if mark.urgent else INK)


def _mark_legend(weakest: Sequence[Mark], crossings: Sequence[Mark]) -> list[Line2D]:
    entries = []
    for marks, shape, words in (
        (weakest, "v", "weakest place of a seal, by its number in the table"),
        (crossings, "D", "where a leak path crosses, by its number"),
    ):
        if marks:
            entries.append(Line2D([], [], linestyle="", marker=shape, color=INK, markersize=5, label=words))
    return entries


def _bar(figure: Figure, axes: Axes, norm: Normalize, colours: Colormap, label: str) -> Colorbar:
    box = axes.get_position()
    width = figure.get_size_inches()[0]
    place = figure.add_axes((box.x1 + 0.1 / width, box.y0, 0.13 / width, box.height))
    bar = figure.colorbar(ScalarMappable(norm, colours), cax=place)
    bar.set_label(label, labelpad=2)
    bar.outline.set_linewidth(0.5)
    bar.ax.tick_params(length=2)
    return bar


def _mark_range(bar: Colorbar, low: float, top: float) -> None:
    """Mark the film's stated range on a colour bar, and hatch what lies below it."""
    bar.ax.axhspan(0, low, facecolor="none", edgecolor=INK, hatch="....", linewidth=0, alpha=0.6)
    bar.ax.axhline(low, color=INK, linewidth=1.2)
    bar.ax.axhline(top, color=INK, linewidth=2.0)
    bar.ax.text(
        0.5,
        (low + top) / 2,
        "stated range",
        rotation=90,
        ha="center",
        va="center",
        size=5.5,
        transform=bar.ax.get_yaxis_transform(),
        color="white",
    )


def finish_ground(figure: Figure, axes: Axes, legend: Sequence[Artist], note: str) -> None:
    """Draw scale bar, legend and a note below a map."""
    draw_frame_notes(figure, axes)
    height = figure.get_size_inches()[1]
    top = axes.get_position().y0 - 0.44 / height
    if legend:
        figure.legend(
            handles=legend,
            ncols=2,
            loc="upper left",
            bbox_to_anchor=(0.05, top),
            columnspacing=1.5,
            borderaxespad=0.0,
            handlelength=1.6,
        )
    figure.text(0.06, 0.05 / height, note, size=6.5, va="bottom")


@styled
def difference_figure(
    plan: DeckPlan, difference: MapDifference, *, first: str, second: str, title: str = ""
) -> Figure:
    """Draw the difference of two maps: `second` minus `first`, the names of the two prints."""
    cells, bound = _shrink_difference(difference)
    seen = np.abs(cells.value[cells.state == CellState.READ])
    reach = max(float(np.quantile(seen, 0.997)) if seen.size else 1.0, 1.0)
    norm = Normalize(-reach, reach)
    figure, axes, _ = _ground(plan, title, 2)
    image = paint(cells.value, cells.state, norm, colours=DIFFERENCE_MAP).astype(float)
    image[..., :3] = 245 - (1 - 0.55 * bound[..., None]) * (245 - image[..., :3])
    axes.imshow(
        image.astype(np.uint8), origin="lower", extent=cells.extent, zorder=0, interpolation="antialiased"
    )
    dress_plan(axes, plan)
    _bar(figure, axes, norm, DIFFERENCE_MAP, f"{second} minus {first} [MPa]")
    notes = (
        f"Brown: {second} presses harder. Blue: {first} presses harder. Pale: a bound only.\nThat "
        "is where one of the two is saturated or below range. "
        + _cell_note(cells.block, difference.grid.pitch)
    )
    finish_ground(figure, axes, (), notes)
    return figure


def _cell_note(block: int, pitch: float) -> str:
    side = f"{block * pitch:.2g} mm"
    return (
        f"Every drawn cell, {side} wide, shows the mean of {block} × {block} map cells." if block > 1 else ""
    )


def _shrink_difference(difference: MapDifference, widest: int = 1000) -> tuple[MapCells, MapArray]:
    """Reduce a difference, and the share of every block that is a bound only [1]."""
    grid = difference.grid
    block = max(2, -(-grid.cols // widest))
    value = block_means(difference.value, block)
    state = np.where(np.isfinite(value), CellState.READ, CellState.NO_FILM).astype(np.uint8)
    rows, cols = value.shape
    extent = (grid.x0, grid.x0 + cols * block * grid.pitch, grid.y0, grid.y0 + rows * block * grid.pitch)
    return MapCells(value, state, block, extent), block_means(difference.bound.astype(np.float32), block)


@styled
def map_ground(
    plan: DeckPlan, pressure_map: PressureMap, *, title: str, entries: int
) -> tuple[Figure, Axes, float]:
    """Draw a pale map over the plan as the ground for lines; return figure, axes and scale [mm/pt]."""
    cells = shrink_map(pressure_map)
    figure, axes, scale = _ground(plan, title, entries)
    pale = np.asarray(paint(cells.value, cells.state, colour_scale(pressure_map)), dtype=float)
    pale[..., :3] = 255 - 0.45 * (255 - pale[..., :3])
    axes.imshow(
        pale.astype(np.uint8), origin="lower", extent=cells.extent, interpolation="antialiased", zorder=0
    )
    dress_plan(axes, plan)
    return figure, axes, scale
