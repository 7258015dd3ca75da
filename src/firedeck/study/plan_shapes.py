"""A deck plan as plain shapes [mm], for whatever draws it that is no picture of ours."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from firedeck.definition.deck import Bore, DeckPlan, Dowel, FastenerHole, Port, Seal
from firedeck.definition.plan_finding import keyed_openings, keyed_seals
from firedeck.definition.shape import feature_polygon, seal_line
from firedeck.drawing.plan_lines import short_names
from firedeck.errors import FiredeckError
from firedeck.pressure_map import FloatArray

__all__ = ["Shape", "points_of", "shape_plan", "shape_seal"]

#: One shape: what it is, its name, and its points.
Shape = dict[str, object]

#: Distance between the points of a drawn seal [mm].
_STEP = 0.5

#: How far a drawn outline may lie beside the true one [mm]: far below what a screen shows.
_BESIDE = 0.02

_WORDS: dict[type, str] = {Bore: "bore", FastenerHole: "fastener", Dowel: "dowel"}


def points_of(points: FloatArray) -> list[list[float]]:
    """Return points [mm] as plain numbers, to the hundredth."""
    plain: list[list[float]] = np.round(points, 2).tolist()
    return plain


def _thinned(points: FloatArray) -> list[list[float]]:
    """Return a closed line by as few of its points [mm] as it can be drawn from."""
    ring = shapely.LinearRing(points)
    return points_of(shapely.get_coordinates(ring.simplify(_BESIDE, preserve_topology=False)))


def shape_plan(plan: DeckPlan) -> dict[str, Any]:
    """Return outline, openings and seals of a plan as plain shapes.

    Parameters
    ----------
    plan : DeckPlan
        The plan.

    Returns
    -------
    dict
        ``name``, ``origin``, ``outline``, ``openings`` and ``seals``; points in mm, x and y.
    """
    return {
        "name": plan.name,
        "origin": plan.origin,
        "outline": points_of(np.asarray(plan.outline, float)),
        "openings": _openings(plan),
        "seals": [
            {"key": key, **shape} for key, seal in keyed_seals(plan) if (shape := shape_seal(plan, seal))
        ],
    }


def _openings(plan: DeckPlan) -> list[Shape]:
    short = short_names([hole.name for hole in plan.fastener_holes])
    shapes: list[Shape] = []
    for key, opening in keyed_openings(plan):
        ring = np.asarray(feature_polygon(opening).exterior.coords)
        middle = ring[:-1].mean(axis=0)
        what = f"{opening.kind} port" if isinstance(opening, Port) else _WORDS[type(opening)]
        shapes.append(
            {
                "key": key,
                "name": opening.name,
                "short": short.get(opening.name, opening.name),
                "what": what,
                "kind": str(opening.kind) if isinstance(opening, Port) else what,
                "diameter_mm": opening.diameter,
                "middle": [round(float(middle[0]), 2), round(float(middle[1]), 2)],
                "points": _thinned(ring),
            }
        )
    return shapes


def shape_seal(plan: DeckPlan, seal: Seal) -> Shape | None:
    """Return a seal's line as a plain shape, or None where the plan's faults leave no line."""
    try:
        line = seal_line(plan, seal, step=_STEP)
    except FiredeckError:
        return None
    return {
        "name": seal.name,
        "kind": str(seal.kind),
        "around": seal.around,
        "band_mm": seal.band,
        "length_mm": round(line.length, 1),
        "points": _thinned(line.points),
    }
