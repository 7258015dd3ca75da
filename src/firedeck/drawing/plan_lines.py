"""The lines of a deck plan, for every picture that shows it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Patch, Polygon

from firedeck.definition.deck import Bore, DeckPlan, Dowel, FastenerHole, Port, Seal
from firedeck.definition.shape import opening_polygon, outline_polygon, seal_line
from firedeck.drawing.labels import Box, Label
from firedeck.drawing.style import INK, MUTED, PORT_LOOKS, SEAL_LINES
from firedeck.errors import FiredeckError

__all__ = [
    "draw_openings",
    "draw_outline",
    "draw_seals",
    "frame_plan",
    "line_points",
    "opening_boxes",
    "opening_labels",
    "plan_legend",
]

FloatArray = npt.NDArray[np.float64]
Opening = Bore | Port | FastenerHole | Dowel

#: Distance between the points that a drawn seal is made of [mm].
_STEP = 1.0

#: Half length of a fastener's cross hairs over its hole's diameter [1].
_ARM = 0.7

_FILLS = {Bore: "#f1f3f5", FastenerHole: "white", Dowel: "#eef0f2"}


def frame_plan(axes: Axes, plan: DeckPlan, margin: float) -> None:
    """Set the axes to show the whole plan with a margin [mm], equal scales, ticks in mm."""
    points = np.asarray(plan.outline)
    low, high = points.min(axis=0) - margin, points.max(axis=0) + margin
    axes.set_xlim(low[0], high[0])
    axes.set_ylim(low[1], high[1])
    axes.set_aspect("equal")
    axes.tick_params(length=2.5)
    axes.set_xlabel("x [mm]", labelpad=1)
    axes.set_ylabel("y [mm]", labelpad=1)


def draw_outline(axes: Axes, plan: DeckPlan, *, fill: str = "none") -> None:
    """Draw the deck's outline."""
    axes.add_patch(
        Polygon(np.asarray(plan.outline), closed=True, facecolor=fill, edgecolor=INK, linewidth=1.0, zorder=1)
    )


def draw_openings(axes: Axes, plan: DeckPlan, *, filled: bool = True) -> None:
    """Draw bores, ports, fastener holes and dowels; unfilled over a map."""
    for opening in plan.openings:
        patch = _opening_patch(opening, filled=filled)
        patch.set_zorder(3)
        axes.add_patch(patch)
        if isinstance(opening, FastenerHole) and filled:
            arm = _ARM * opening.diameter
            x, y = opening.centre
            axes.plot([x - arm, x + arm], [y, y], color=MUTED, linewidth=0.4, zorder=3)
            axes.plot([x, x], [y - arm, y + arm], color=MUTED, linewidth=0.4, zorder=3)


def _opening_patch(opening: Opening, *, filled: bool) -> Patch:
    look = {"edgecolor": INK, "linewidth": 0.7, "facecolor": "none"}
    if isinstance(opening, Port):
        if filled:
            look |= {"facecolor": PORT_LOOKS[opening.kind].colour, "hatch": PORT_LOOKS[opening.kind].hatch}
    elif filled:
        look["facecolor"] = _FILLS[type(opening)]
    if opening.centre is not None and opening.diameter is not None:
        return Circle(opening.centre, opening.diameter / 2, **look)
    return Polygon(np.asarray(opening.path), closed=True, **look)


def draw_seals(axes: Axes, plan: DeckPlan, *, colour: str = INK, faint: bool = False) -> None:
    """Draw the seals' lines by kind; faint ones are thin, for lying over a map."""
    for seal in plan.seals:
        points = _line_points(plan, seal)
        if points is None:
            continue
        look = dict(SEAL_LINES[seal.kind])
        if faint:
            look |= {"linewidth": 0.4 * look["linewidth"], "alpha": 0.8}
        axes.plot(*np.vstack([points, points[:1]]).T, color=colour, zorder=4, label=seal.name, **look)


def _line_points(plan: DeckPlan, seal: Seal) -> FloatArray | None:
    """Return the seal's points, or None where the plan's faults leave no line."""
    try:
        return seal_line(plan, seal, step=_STEP).points
    except FiredeckError:
        return None


def line_points(plan: DeckPlan) -> FloatArray:
    """Return points [mm], about 1 mm apart, of all lines that names should not cross, shape (n, 2)."""
    rings = [outline_polygon(plan), *(opening_polygon(plan, bore.name) for bore in plan.bores)]
    drawn = [np.asarray(ring.exterior.segmentize(_STEP).coords) for ring in rings]
    seals = (_line_points(plan, seal) for seal in plan.seals)
    return np.vstack([*drawn, *(points for points in seals if points is not None)])


def opening_boxes(plan: DeckPlan) -> dict[str, Box]:
    """Return the box [mm] of every opening as drawn, cross hairs included, by name."""
    boxes = {}
    for opening in plan.openings:
        west, south, east, north = opening_polygon(plan, opening.name).bounds
        boxes[opening.name] = Box(
            (west + east) / 2, (south + north) / 2, (east - west) / 2, (north - south) / 2
        )
    return boxes


def opening_labels(plan: DeckPlan) -> list[Label]:
    """Return the names of all openings, bores in their middle, fasteners first among the others."""
    boxes = opening_boxes(plan)
    bores = [Label(bore.name, boxes[bore.name], centred=True) for bore in plan.bores]
    others: tuple[Opening, ...] = (*plan.fastener_holes, *plan.dowels, *plan.ports)
    short = short_names([hole.name for hole in plan.fastener_holes])
    return bores + [Label(short.get(item.name, item.name), boxes[item.name]) for item in others]


def short_names(names: Sequence[str]) -> dict[str, str]:
    """Return each name without the word that all of them begin with, where that leaves something."""
    first = {name.partition(" ")[0] for name in names}
    if len(names) < 2 or len(first) > 1:
        return {}
    return {name: name.partition(" ")[2] for name in names if name.partition(" ")[2]}


def plan_legend(plan: DeckPlan) -> list[Artist]:
    """Return the legend's entries for what the plan holds."""
    words = {Bore: "bore", FastenerHole: "fastener hole", Dowel: "dowel"}
    entries: list[Artist] = [
        Patch(facecolor=_FILLS[kind], edgecolor=INK, linewidth=0.7, label=words[kind])
        for kind, there in ((FastenerHole, plan.fastener_holes), (Dowel, plan.dowels))
        if there
    ]
    present = {port.kind for port in plan.ports}
    entries += [
        Patch(facecolor=look.colour, hatch=look.hatch, edgecolor=INK, linewidth=0.7, label=f"{kind} port")
        for kind, look in PORT_LOOKS.items()
        if kind in present
    ]
    kinds = {seal.kind for seal in plan.seals}
    return entries + [
        Line2D([], [], color=INK, label=f"{kind} seal", **look)
        for kind, look in SEAL_LINES.items()
        if kind in kinds
    ]
