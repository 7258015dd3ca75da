"""Cutting the film by hand, and what else happens to a sheet: creases, streaks, ink, dust."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import opening_polygon, outline_polygon
from firedeck.scenario.compiled import FloatArray
from firedeck.scenario.disturbances import Disturbances

__all__ = ["Cut", "Mark", "MarkKind", "Sheet", "cut_sheet", "dust_on_glass", "marks_on_sheet"]

MarkKind = Literal["crease", "rub", "pen", "dust", "lint"]

#: Reflectance of ink, dark dirt and white lint in red, green, blue, invented.
_INK = {"blue": (0.10, 0.13, 0.42), "black": (0.06, 0.06, 0.07)}
_DIRT = ((0.10, 0.09, 0.08), (0.97, 0.97, 0.97), (0.35, 0.33, 0.30))


@dataclass(frozen=True)
class Cut:
    """One hole cut into the sheet: the opening it is for, and its edge on the deck [mm]."""

    opening: str
    edge: FloatArray
    torn: bool = False


@dataclass(frozen=True)
class Mark:
    """A line of something that is not pressure.

    Attributes
    ----------
    kind : str
        What it is.
    points : ndarray, shape (n, 2)
        Its line, on the deck [mm].
    width : float
        Full width [mm].
    strength : float
        Share of capsules burst in its middle (crease, rub) or how opaque it is (the others) [1].
    colour : tuple of float
        Reflectance of what lies on top [1]; of no meaning for creases and rub streaks.
    """

    kind: MarkKind
    points: FloatArray
    width: float
    strength: float
    colour: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def is_dye(self) -> bool:
        """Whether the mark is burst capsules rather than something lying on the film."""
        return self.kind in {"crease", "rub"}


@dataclass(frozen=True)
class Sheet:
    """A sheet as cut: its shape, holes included, on the deck [mm], and its holes one by one."""

    shape: shapely.Polygon
    cuts: tuple[Cut, ...]
    missing: tuple[str, ...]
    rim_width: float


def _hand_line(points: FloatArray, roughness: float, rng: np.random.Generator, *, wave: float) -> FloatArray:
    """Move points of a closed line off their place by a smooth random amount [mm]."""
    turn = 2 * np.pi * np.arange(len(points)) / len(points)
    length = float(np.hypot(*np.diff(np.vstack([points, points[:1]]), axis=0).T).sum())
    top = int(np.clip(length / wave, 3, 24))
    moved = points.copy()
    for order in range(2, top + 1):
        size, phase = rng.normal(0, roughness / order**0.5, 2), rng.uniform(0, 2 * np.pi, 2)
        moved += size * np.cos(order * turn[:, None] + phase)
    return moved


def _even(shape: shapely.Polygon, step: float = 0.5) -> FloatArray:
    ring = shapely.orient_polygons(shape).exterior
    at = np.linspace(0, ring.length, max(24, int(ring.length / step)), endpoint=False)
    return np.array([point.coords[0] for point in shapely.line_interpolate_point(ring, at)])


def _cut_hole(plan: DeckPlan, name: str, worry: Disturbances, rng: np.random.Generator) -> Cut:
    over = float(rng.uniform(*worry.hole_oversize))
    shift = rng.normal(0.0, worry.hole_shift, 2)
    if any(bore.name == name for bore in plan.bores):
        # Bores are cut along the opening's own edge: the bead beside it leaves no room for more.
        over, shift = min(over, 1.2), np.clip(shift, -0.25, 0.25)
    edge = _even(opening_polygon(plan, name).buffer(over / 2, quad_segs=16)) + shift
    torn = bool(rng.random() < worry.torn_holes) and not any(bore.name == name for bore in plan.bores)
    edge = _hand_line(edge, worry.hole_roughness * (6 if torn else 1), rng, wave=6.0)
    return Cut(name, edge, torn)


def cut_sheet(
    plan: DeckPlan, worry: Disturbances, rng: np.random.Generator, *, part: shapely.Geometry | None = None
) -> Sheet:
    """Cut a sheet to the deck by hand.

    Parameters
    ----------
    plan : DeckPlan
        The deck.
    worry : Disturbances
        How well it is done.
    rng : numpy.random.Generator
        Chance.
    part : shapely.Geometry, optional
        Part of the deck that the sheet covers [mm]; without it all.
    """
    border = float(rng.uniform(*worry.border))
    edge = _even(outline_polygon(plan).buffer(border, join_style="mitre"), 1.0)
    whole = shapely.Polygon(_hand_line(edge, worry.edge_roughness, rng, wave=40.0)).buffer(0)
    blank = whole if part is None else shapely.intersection(whole, part)
    bores = {bore.name for bore in plan.bores}
    names = [feature.name for feature in plan.openings]
    missing = {name for name in names if name not in bores and rng.random() < worry.missing_holes}
    cuts = [_cut_hole(plan, name, worry, rng) for name in names if name not in missing]
    cuts = [cut for cut in cuts if shapely.Polygon(cut.edge).intersects(blank)]
    shape = shapely.difference(
        blank, shapely.union_all([shapely.Polygon(cut.edge).buffer(0) for cut in cuts])
    )
    largest = max(shapely.get_parts(shape), key=lambda piece: float(piece.area))
    rim = float(rng.uniform(*worry.rim_width)) if worry.rim_width[1] > 0 else 0.0
    return Sheet(largest, tuple(cuts), tuple(sorted(missing)), rim)


def _arc_between(
    start: FloatArray, stop: FloatArray, bend: float, wiggle: float, rng: np.random.Generator
) -> FloatArray:
    at = np.linspace(0, 1, max(20, int(np.hypot(*(stop - start)) / 1.0)))
    side = np.array([-(stop - start)[1], (stop - start)[0]])
    off = bend * 4 * at * (1 - at) + wiggle * np.sin(2 * np.pi * (2.3 * at + rng.random())) / max(
        np.hypot(*side), 1
    )
    return np.asarray(start + at[:, None] * (stop - start) + off[:, None] * side)


def _inside_points(shape: shapely.Polygon, count: int, rng: np.random.Generator) -> FloatArray:
    x0, y0, x1, y1 = shape.bounds
    found: list[FloatArray] = []
    while len(found) < count:
        point = rng.uniform((x0, y0), (x1, y1))
        if shape.contains(shapely.Point(*point)):
            found.append(point)
    return np.array(found).reshape(-1, 2)


def marks_on_sheet(sheet: Sheet, worry: Disturbances, rng: np.random.Generator) -> list[Mark]:
    """Return creases, rub streaks and pen marks of a sheet."""
    marks: list[Mark] = []
    for start in _inside_points(sheet.shape, worry.creases, rng):
        turn, length = rng.uniform(0, 2 * np.pi), rng.uniform(20, 70)
        stop = start + length * np.array([np.cos(turn), np.sin(turn)])
        line = _arc_between(start, stop, rng.uniform(-0.2, 0.2), 0.3, rng)
        marks.append(Mark("crease", line, float(rng.uniform(0.12, 0.25)), float(rng.uniform(0.35, 0.75))))
    for start in _inside_points(sheet.shape, worry.rubs, rng):
        turn, length = rng.normal(0.3, 0.2), rng.uniform(10, 35)
        stop = start + length * np.array([np.cos(turn), np.sin(turn)])
        line = _arc_between(start, stop, 0.02, 0.2, rng)
        marks.append(Mark("rub", line, float(rng.uniform(0.6, 2.0)), float(rng.uniform(0.06, 0.2))))
    for number in range(worry.pen_marks):
        marks.extend(_writing(sheet, rng, in_margin=number % 2 == 0))
    return marks


def _writing(sheet: Sheet, rng: np.random.Generator, *, in_margin: bool) -> list[Mark]:
    """Return strokes of a short word, along the lower margin or anywhere on the land."""
    x0, y0, x1, _ = sheet.shape.bounds
    if in_margin:
        place = np.array([rng.uniform(x0 + 15, max(x0 + 16, x1 - 45)), y0 + 1.8])
    else:
        place = _inside_points(sheet.shape.buffer(-12.0), 1, rng)[0]
    colour = _INK["blue" if rng.random() < 0.6 else "black"]
    size = 3.2 if in_margin else 5.0
    strokes = []
    for letter in range(int(rng.integers(4, 9))):
        knots = rng.uniform(0, 1, (int(rng.integers(3, 6)), 2)) * (0.7 * size, size)
        at = np.linspace(0, len(knots) - 1, 25)
        curve = np.column_stack([np.interp(at, np.arange(len(knots)), knots[:, axis]) for axis in (0, 1)])
        smooth = (curve + np.roll(curve, 1, axis=0) + np.roll(curve, -1, axis=0))[1:-1] / 3
        strokes.append(Mark("pen", smooth + place + (letter * size, 0.0), 0.45, 0.9, colour))
    return strokes


def dust_on_glass(corners: FloatArray, worry: Disturbances, rng: np.random.Generator) -> list[Mark]:
    """Return specks and lint lying anywhere between the scan's corners on the deck [mm]."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    marks = []
    for _ in range(worry.dust):
        place = rng.uniform(low, high)
        colour = _DIRT[int(rng.integers(len(_DIRT)))]
        is_lint = rng.random() < 0.2
        turn, length = (
            rng.uniform(0, 2 * np.pi),
            rng.uniform(1.0, 4.0) if is_lint else rng.uniform(0.02, 0.12),
        )
        stop = place + length * np.array([np.cos(turn), np.sin(turn)])
        line = _arc_between(place, stop, rng.uniform(-0.4, 0.4) if is_lint else 0.0, 0.0, rng)
        width = float(rng.uniform(0.04, 0.08) if is_lint else rng.uniform(0.1, 0.45))
        marks.append(Mark("lint" if is_lint else "dust", line, width, float(rng.uniform(0.6, 1.0)), colour))
    return marks
