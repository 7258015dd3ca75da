"""Whether the shapes of a deck plan fit together on the plane: nothing crosses, overlaps or strays."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import shapely
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

from firedeck.definition.deck import Bore, DeckPlan, Dowel, FastenerHole, Port, Seal
from firedeck.definition.plan_finding import (
    OUTLINE_NAMES,
    Opening,
    PlanFinding,
    keyed_openings,
    keyed_seals,
)
from firedeck.definition.shape import feature_polygon, outline_polygon, seal_line
from firedeck.errors import FiredeckError

__all__ = ["Findings", "check_layout"]

#: Overlaps and overhangs below this [mm] are roundings of a drawing, not faults.
_TOLERANCE = 0.02

#: A hollow dowel shares the centre of a fastener hole to within this [mm].
_SAME_CENTRE = 0.5

#: Distance between the points that stand for a seal's line here [mm].
_LINE_STEP = 0.5

#: Findings as a check yields them.
Findings = Iterator[PlanFinding]


@dataclass(frozen=True)
class _Shape:
    """An opening or seal with its key and its polygon; of a seal the polygon is what it encloses."""

    key: str
    label: str
    polygon: shapely.Polygon

    @cached_property
    def line(self) -> shapely.LinearRing:
        ring = self.polygon.exterior
        # Distances to a line of many points are found many times as fast with an index of its parts.
        shapely.prepare(ring)
        return ring

    @cached_property
    def bounds(self) -> tuple[float, float, float, float]:
        return self.polygon.bounds

    @cached_property
    def core(self) -> BaseGeometry:
        """The polygon without the rim that a drawing's roundings may touch."""
        return self.polygon.buffer(-_TOLERANCE)

    def is_near(self, other: _Shape, reach: float) -> bool:
        """Tell whether the shapes' rectangles come within `reach` [mm] of each other."""
        west, south, east, north = self.bounds
        other_west, other_south, other_east, other_north = other.bounds
        across = max(other_west - east, west - other_east)
        upward = max(other_south - north, south - other_north)
        return max(across, upward) <= reach


@dataclass(frozen=True)
class _OpeningShape(_Shape):
    opening: Opening


@dataclass(frozen=True)
class _SealShape(_Shape):
    seal: Seal


def check_layout(plan: DeckPlan) -> Iterator[PlanFinding]:
    """Check outline, openings and seals against each other.

    Parameters
    ----------
    plan : DeckPlan
        The plan.

    Yields
    ------
    PlanFinding
        Each finding; shapes that cross themselves are named and left out of the other checks.
    """
    outline = outline_polygon(plan)
    openings = [_opening_shape(key, opening) for key, opening in keyed_openings(plan)]
    yield from _self_crossings(plan)
    sound = [shape for shape in openings if shape.polygon.is_valid]
    seals = []
    for key, seal in keyed_seals(plan):
        made = _seal_shape(plan, key, seal, openings)
        if isinstance(made, PlanFinding):
            yield made
        elif made is not None:
            seals.append(made)
    if outline.is_valid:
        yield from _outside_outline(outline, sound, seals)
    yield from _overlaps(sound)
    for seal_shape in seals:
        yield from _against_openings(seal_shape, sound)
    yield from _bands_together(seals)


def _opening_shape(key: str, opening: Opening) -> _OpeningShape:
    words = {Bore: "bore", Port: "port", FastenerHole: "fastener hole", Dowel: "dowel"}
    label = f'{words[type(opening)]} "{opening.name}"'
    return _OpeningShape(key, label, feature_polygon(opening), opening)


def _seal_shape(
    plan: DeckPlan, key: str, seal: Seal, openings: list[_OpeningShape]
) -> _SealShape | PlanFinding | None:
    """Return the seal's shape, a finding if its offset leaves none, or None if the fault lies elsewhere."""
    if not _base(plan, seal, openings).is_valid:
        return None
    try:
        points = seal_line(plan, seal, step=_LINE_STEP).points
    except FiredeckError as fault:
        return PlanFinding("fault", f"{key}.offset", fault.message, fault.remedy)
    polygon = shapely.Polygon(points)
    return _SealShape(key, f'seal "{seal.name}"', polygon, seal) if polygon.is_valid else None


def _base(plan: DeckPlan, seal: Seal, openings: list[_OpeningShape]) -> shapely.Polygon:
    """Return what the seal's line is drawn from; a polygon that is not valid where that is unknown."""
    if seal.path:
        return shapely.Polygon(seal.path)
    if seal.around in OUTLINE_NAMES:
        return outline_polygon(plan)
    unknown = shapely.Polygon([(0, 0), (1, 1), (0, 1), (1, 0)])
    return next((shape.polygon for shape in openings if shape.opening.name == seal.around), unknown)


def _self_crossings(plan: DeckPlan) -> Findings:
    for key, label, path in _drawn_paths(plan):
        polygon = shapely.Polygon(path)
        if shapely.multipoints(path).convex_hull.area < _TOLERANCE:
            yield PlanFinding("fault", key, f"{label} encloses no area", "check the points", path[0])
        elif not polygon.is_valid:
            message = f"{label} crosses or touches itself"
            yield PlanFinding("fault", key, message, "check the order of the points", _crossing(polygon))


def _drawn_paths(plan: DeckPlan) -> Iterator[tuple[str, str, tuple[tuple[float, float], ...]]]:
    yield "outline", "the outline", plan.outline
    for key, opening in keyed_openings(plan):
        if isinstance(opening, Port) and opening.path:
            yield f"{key}.path", f'port "{opening.name}"', opening.path
    for key, seal in keyed_seals(plan):
        if seal.path:
            yield f"{key}.path", f'seal "{seal.name}"', seal.path


def _crossing(polygon: shapely.Polygon) -> tuple[float, float] | None:
    """Return the place that the geometry library names in brackets."""
    numbers = explain_validity(polygon).partition("[")[2].rstrip("]").split()
    return (float(numbers[0]), float(numbers[1])) if len(numbers) >= 2 else None


def _outside_outline(
    outline: shapely.Polygon, openings: list[_OpeningShape], seals: list[_SealShape]
) -> Findings:
    roomy = outline.buffer(_TOLERANCE)
    for shape in (*openings, *seals):
        stray = shape.line.difference(roomy)
        if not stray.is_empty:
            reach = max(outline.distance(shapely.Point(point)) for point in shapely.get_coordinates(stray))
            message = f"{shape.label} reaches {reach:.2f} mm beyond the outline"
            yield PlanFinding("fault", shape.key, message, "check place, size and unit", _place(stray))
    for shape in seals:
        if roomy.covers(shape.line) and not roomy.covers(shape.line.buffer(shape.seal.band / 2)):
            message = f"the band of {shape.label} reaches beyond the outline"
            place = _place(shape.line.buffer(shape.seal.band / 2).difference(roomy))
            yield PlanFinding(
                "doubt", f"{shape.key}.band", message, "narrow the band or move the line", place
            )


def _place(shape: BaseGeometry) -> tuple[float, float]:
    point = shape.representative_point()
    return point.x, point.y


def _overlaps(openings: list[_OpeningShape]) -> Findings:
    for first, second in itertools.combinations(openings, 2):
        if not first.is_near(second, 0.0) or _hollow_dowel(first.opening, second.opening):
            continue
        common = first.core.intersection(second.core)
        if not common.is_empty:
            message = f"{second.label} overlaps {first.label}"
            yield PlanFinding("fault", second.key, message, "check place, size and unit", _place(common))


def _hollow_dowel(first: Opening, second: Opening) -> bool:
    """Tell whether one is a dowel that a fastener passes through."""
    if {type(first), type(second)} != {Dowel, FastenerHole} or not first.centre or not second.centre:
        return False
    return shapely.Point(first.centre).distance(shapely.Point(second.centre)) <= _SAME_CENTRE


def _against_openings(seal: _SealShape, openings: list[_OpeningShape]) -> Findings:
    for shape in openings:
        if seal.is_near(shape, 0.0) and seal.line.intersects(shape.core):
            message = f"the line of {seal.label} runs across {shape.label}"
            place = _place(seal.line.intersection(shape.polygon))
            yield PlanFinding("fault", seal.key, message, "move the line clear of every opening", place)
            continue
        yield from _enclosure(seal, shape)
        half = seal.seal.band / 2 - _TOLERANCE
        if not seal.is_near(shape, half) or not shapely.dwithin(seal.line, shape.polygon, half):
            continue
        reach = seal.seal.band / 2 - seal.line.distance(shape.polygon)
        if reach > _TOLERANCE:
            message = f"the band of {seal.label} reaches {reach:.2f} mm into {shape.label}"
            remedy = "narrow the band or move the line; pressure there would not be counted right"
            nearest = shapely.shortest_line(shape.polygon, seal.line)
            yield PlanFinding("doubt", f"{seal.key}.band", message, remedy, _place(nearest))


def _enclosure(seal: _SealShape, shape: _OpeningShape) -> Findings:
    """Compare what a seal says it encloses with what its line goes round."""
    if not isinstance(shape.opening, (Bore, Port)):
        return
    name, place = shape.opening.name, _place(shape.polygon)
    inside = seal.polygon.covers(shape.polygon)
    if name in seal.seal.enclosed and not inside:
        message = f"{seal.label} says that it encloses {shape.label}, which lies outside its line"
        yield PlanFinding("fault", f"{seal.key}.inside", message, "correct the names or the line", place)
    if name in seal.seal.outside and inside:
        message = f"{seal.label} says that {shape.label} lies beyond it, but its line goes round it"
        yield PlanFinding("fault", f"{seal.key}.outside", message, "correct the names or the line", place)
    whole_deck = seal.seal.around in OUTLINE_NAMES and not seal.seal.inside
    if inside and name not in seal.seal.enclosed and name not in seal.seal.outside and not whole_deck:
        message = f"{seal.label} goes round {shape.label} without naming it as enclosed"
        yield PlanFinding("doubt", f"{seal.key}.inside", message, f'add "{name}" to inside', place)


def _bands_together(seals: list[_SealShape]) -> Findings:
    for first, second in itertools.combinations(seals, 2):
        bands = (first.seal.band + second.seal.band) / 2
        if not first.is_near(second, bands) or not shapely.dwithin(
            first.line, second.line, bands - _TOLERANCE
        ):
            continue
        reach = bands - first.line.distance(second.line)
        if reach <= _TOLERANCE:
            continue
        crossing = first.line.intersects(second.line)
        message = (
            f"{second.label} crosses the line of {first.label}"
            if crossing
            else (f"the bands of {first.label} and {second.label} overlap by {reach:.2f} mm")
        )
        remedy = "narrow the bands or move the lines; what lies in both cannot be told apart"
        place = _place(shapely.shortest_line(first.line, second.line))
        yield PlanFinding("doubt", f"{second.key}.band", message, remedy, place)
