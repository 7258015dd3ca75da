"""Generic head and block sections, sized from the deck plan where nobody has drawings.

Every size is an assumption until it is measured; the sections say so and carry a wide stiffness
spread. Sizes are common practice for cast heads and blocks of passenger-car engines, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from firedeck.contact.section import BodySection, SectionLayer, union
from firedeck.definition.deck import DeckPlan
from firedeck.definition.material import Material, builtin_material
from firedeck.definition.shape import opening_polygon, outline_polygon

__all__ = ["BlockSizes", "HeadSizes", "generic_block", "generic_head"]

_QUARTER_SEGMENTS = 16

_SPREAD_NOTE = (
    "decks and walls may be a fifth thicker or thinner and stand elsewhere: the stiffness is taken to be "
    "known within 30 %, common practice, no source"
)


@dataclass(frozen=True)
class HeadSizes:
    """Sizes of a generic head.

    Attributes
    ----------
    fire_deck, jacket, middle_deck, ports, upper_deck, rail : float
        Heights of the layers from the sealing plane up [mm].
    outer_wall, cross_wall, row_wall, port_wall : float
        Thickness of the outer wall, of the walls across the row between and beside the cylinders, of the
        walls along it from fastener to fastener, and of the gas ports' walls [mm].
    boss : float
        Material round each fastener hole [mm].
    valve : float
        Inner diameter of each of the four gas ports over a bore, as a share of the bore [1].
    plug : float
        Outer diameter of the column in the middle of each bore, as a share of the bore [1].
    """

    fire_deck: float = 11.0
    jacket: float = 27.0
    middle_deck: float = 8.0
    ports: float = 30.0
    upper_deck: float = 10.0
    rail: float = 30.0
    outer_wall: float = 8.0
    cross_wall: float = 10.0
    row_wall: float = 8.0
    port_wall: float = 6.0
    boss: float = 9.0
    valve: float = 0.34
    plug: float = 0.26


@dataclass(frozen=True)
class BlockSizes:
    """Sizes of a generic block.

    Attributes
    ----------
    top_deck, jacket, lower_deck, skirt : float
        Heights of the layers from the sealing plane down [mm]; an open deck has a top deck of 0.
    liner, outer_wall, row_wall, bulkhead : float
        Thickness of the cylinder walls, outer walls, jacket walls along the row from tapped hole to
        tapped hole, and main bearing walls [mm].
    boss : float
        Material round each tapped hole [mm].
    """

    top_deck: float = 11.0
    jacket: float = 75.0
    lower_deck: float = 12.0
    skirt: float = 60.0
    liner: float = 7.0
    outer_wall: float = 8.0
    row_wall: float = 8.0
    bulkhead: float = 20.0
    boss: float = 9.0


def generic_head(
    plan: DeckPlan, sizes: HeadSizes | None = None, material: Material | None = None, *, element: float = 10.0
) -> BodySection:
    """Return a head: fire, middle and upper deck, jacket and port walls between them, open rails.

    Parameters
    ----------
    plan : DeckPlan
        The sealing plane; its outline is taken for the whole height.
    sizes : HeadSizes, optional
        Sizes.
    material : Material, optional
        Cast aluminium unless stated.
    element : float
        Largest height of an element [mm].

    Returns
    -------
    BodySection
        The head; fasteners bear on the upper deck.
    """
    size = sizes or HeadSizes()
    outline = outline_polygon(plan)
    holes = _fastener_circles(plan, 0.0)
    bosses = _fastener_circles(plan, size.boss).intersection(outline)
    wall = outline.difference(outline.buffer(-size.outer_wall))
    solid = outline.difference(holes)
    across = _cross_walls(plan, size.cross_wall, ends=True)
    jacket = union([wall, bosses, across, _row_walls(plan, size.row_wall), *_gas_ports(plan, size)])
    gas_ways = union(_gas_passages(plan, size))
    rails = wall.difference(_fastener_circles(plan, size.boss + 3.0))
    open_jacket = jacket.difference(holes).difference(gas_ways)
    layers = [
        _layer("fire deck", size.fire_deck, solid.difference(_port_shapes(plan)), element),
        _layer("jacket", size.jacket, open_jacket, element),
        _layer("middle deck", size.middle_deck, solid.difference(gas_ways), element),
        _layer("ports", size.ports, open_jacket, element),
        _layer("upper deck", size.upper_deck, solid, element),
    ]
    if size.rail > 0.0:
        layers.append(_layer("rail", size.rail, rails, 2.0 * element))
    return BodySection(
        "head",
        tuple(layers),
        material or builtin_material("A356-T6"),
        assumptions=(
            "the head's outline is that of the sealing plane over its whole height",
            "four upright gas ports and a plug column to a bore; valve openings in the fire deck are closed",
            f"fire deck {size.fire_deck:g} mm, middle deck {size.middle_deck:g} mm, upper deck "
            f"{size.upper_deck:g} mm, bearing faces {_bearing_height(size):g} mm up, outer walls "
            f"{size.outer_wall:g} mm, walls across and along the row {size.cross_wall:g} and "
            f"{size.row_wall:g} mm, bosses {size.boss:g} mm: common practice, no source",
            _SPREAD_NOTE,
        ),
    )


def generic_block(
    plan: DeckPlan,
    sizes: BlockSizes | None = None,
    material: Material | None = None,
    *,
    element: float = 10.0,
) -> BodySection:
    """Return a block: top deck, jacket with cylinder walls and bosses, lower deck, skirt with bulkheads.

    Parameters
    ----------
    plan : DeckPlan
        The sealing plane.
    sizes : BlockSizes, optional
        Sizes; ``top_deck = 0`` gives an open deck.
    material : Material, optional
        Grey iron unless stated.
    element : float
        Largest height of an element [mm].

    Returns
    -------
    BodySection
        The block, held at its bottom.
    """
    size = sizes or BlockSizes()
    outline = outline_polygon(plan)
    bores = union(opening_polygon(plan, bore.name) for bore in plan.bores)
    wall = outline.difference(outline.buffer(-size.outer_wall))
    liners = bores.buffer(size.liner, quad_segs=_QUARTER_SEGMENTS).intersection(outline)
    bosses = _fastener_circles(plan, size.boss).intersection(outline)
    jacket = union([wall, liners, bosses, _row_walls(plan, size.row_wall)]).difference(bores)
    skirt = union([wall, _cross_walls(plan, size.bulkhead, ends=True)])
    layers = [] if size.top_deck <= 0.0 else [
        _layer("top deck", size.top_deck, outline.difference(bores).difference(_port_shapes(plan)), element)
    ]  # fmt: skip
    layers += [
        _layer("jacket", size.jacket, jacket, element),
        _layer("lower deck", size.lower_deck, outline.difference(bores), element),
        _layer("skirt", size.skirt, skirt, 1.5 * element),
    ]
    return BodySection(
        "block",
        tuple(layers),
        material or builtin_material("grey iron GJL-250"),
        assumptions=(
            "the block's outline is that of the sealing plane over its whole height",
            "tapped holes are filled; cylinder walls are one piece with the block and of its material",
            f"top deck {size.top_deck:g} mm, jacket {size.jacket:g} mm, cylinder walls {size.liner:g} mm, "
            f"outer walls {size.outer_wall:g} mm, jacket walls along the row {size.row_wall:g} mm, bulkheads "
            f"{size.bulkhead:g} mm: common practice, no source",
            _SPREAD_NOTE,
        ),
    )


def _bearing_height(size: HeadSizes) -> float:
    return size.fire_deck + size.jacket + size.middle_deck + size.ports + size.upper_deck


def _layer(name: str, thickness: float, plan: BaseGeometry, element: float) -> SectionLayer:
    return SectionLayer(name, thickness, plan, max(1, math.ceil(thickness / element - 1e-9)))


def _circle(x: float, y: float, radius: float) -> BaseGeometry:
    return shapely.Point(x, y).buffer(radius, quad_segs=_QUARTER_SEGMENTS)


def _fastener_circles(plan: DeckPlan, around: float) -> BaseGeometry:
    return union(_circle(*hole.centre, 0.5 * hole.diameter + around) for hole in plan.fastener_holes)


def _port_shapes(plan: DeckPlan) -> BaseGeometry:
    return union(opening_polygon(plan, port.name) for port in plan.ports)


def _row_direction(plan: DeckPlan) -> np.ndarray:
    centres = np.array([bore.centre for bore in plan.bores])
    spread = centres - centres.mean(axis=0)
    if len(centres) == 1 or np.allclose(spread, 0.0):
        return np.array([1.0, 0.0])
    return np.asarray(np.linalg.svd(spread)[2][0])


def _cross_walls(plan: DeckPlan, thickness: float, *, ends: bool = False) -> BaseGeometry:
    """Walls across the row of bores, between neighbours and, if wanted, beyond the first and last."""
    along = _row_direction(plan)
    centres = np.array([bore.centre for bore in plan.bores])
    order = np.argsort(centres @ along)
    places = list(0.5 * (centres[order][1:] + centres[order][:-1]))
    if ends or not places:
        reach = 0.5 * max(bore.diameter for bore in plan.bores) + 0.5 * thickness + 1.0
        places += [centres[order[0]] - reach * along, centres[order[-1]] + reach * along]
    across = np.array([-along[1], along[0]])
    outline = outline_polygon(plan)
    far = 2.0 * max(outline.bounds[2] - outline.bounds[0], outline.bounds[3] - outline.bounds[1])
    lines = [shapely.LineString([place - far * across, place + far * across]) for place in places]
    return union(line.buffer(0.5 * thickness, cap_style="flat") for line in lines).intersection(outline)


def _row_walls(plan: DeckPlan, thickness: float) -> BaseGeometry:
    """Walls along the row of bores, from fastener to fastener on either side of it."""
    along = _row_direction(plan)
    across = np.array([-along[1], along[0]])
    middle = np.mean([bore.centre for bore in plan.bores], axis=0)
    places = np.array([hole.centre for hole in plan.fastener_holes]) - middle
    lines = []
    for side in (-1.0, 1.0):
        own = places[side * (places @ across) > 0.0]
        if len(own) > 1:
            lines.append(shapely.LineString(middle + own[np.argsort(own @ along)]))
    walls = union(line.buffer(0.5 * thickness, cap_style="flat") for line in lines)
    return walls.intersection(outline_polygon(plan))


def _valve_centres(plan: DeckPlan) -> list[tuple[float, float, float]]:
    along = _row_direction(plan)
    across = np.array([-along[1], along[0]])
    offsets = [(a, b) for a in (-0.22, 0.22) for b in (-0.22, 0.22)]
    return [
        (*(np.asarray(bore.centre) + bore.diameter * (a * along + b * across)), bore.diameter)
        for bore in plan.bores
        for a, b in offsets
    ]


def _gas_passages(plan: DeckPlan, size: HeadSizes) -> list[BaseGeometry]:
    return [_circle(x, y, 0.5 * size.valve * bore) for x, y, bore in _valve_centres(plan)]


def _gas_ports(plan: DeckPlan, size: HeadSizes) -> list[BaseGeometry]:
    tubes = [_circle(x, y, 0.5 * size.valve * bore + size.port_wall) for x, y, bore in _valve_centres(plan)]
    plugs = [_circle(*bore.centre, 0.5 * size.plug * bore.diameter) for bore in plan.bores]
    return [*tubes, *plugs]
