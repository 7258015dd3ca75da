"""Bricks that follow every edge of a layered section: bores, ports, walls and columns, none of them cut.

The edges of all layers are drawn in one plan and divided into steps; the plan is triangulated with
points on the edges, a triangular lattice between them and more points until no triangle is slim or
large, every triangle is parted into three four-sided cells, and these are drawn up through the layers
that have material there.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import Delaunay, cKDTree
from shapely.geometry.base import BaseGeometry

from firedeck.contact import BodySection, SolidMesh, VolumeSection

__all__ = ["fitted_mesh", "fitted_section"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Turn of an edge from which a corner is kept [rad].
_CORNER = 0.35
#: Smallest step along an edge [mm].
_LEAST_STEP = 0.4
#: Circle over a step in which no other point may lie, over the step's own [1].
_CIRCLE = 1.05
#: Distance of the lattice from the edges, in steps [1].
_CLEAR = 0.62
#: Largest turn of an edge along one step [rad].
_MOST_TURN = 0.6
_SMOOTHINGS = 6
#: Largest radius of the circle round a triangle, in steps; 0.58 where all its sides are a step [1].
_LARGEST = 0.75
#: Largest radius of that circle over the triangle's shortest side; 1.3 for a least angle of 22 degrees [1].
_SLIMMEST = 1.3
_REFINEMENTS = 40


def fitted_section(section: BodySection, size: float) -> VolumeSection:
    """Return a section as a volume mesh that fits its edges, its cells about `size` [mm] wide in plan."""
    return VolumeSection(section.side, fitted_mesh(section, size), section.material, section.temperature)


def fitted_mesh(section: BodySection, size: float) -> SolidMesh:
    """Return bricks that fit the edges of a section, in its own layers of elements.

    Parameters
    ----------
    section : BodySection
        The body.
    size : float
        Wanted width of the bricks in plan [mm].
    """
    points, quads, middle = _plan_cells([layer.plan for layer in section.layers], 2.0 * size)
    inside = [full for layer in section.layers for full in [_within(layer.plan, middle)] * layer.elements]
    if section.side == "block":
        inside.reverse()
    planes = np.asarray(section.planes)
    corners = np.concatenate(
        [
            np.column_stack([quads[full] + k * len(points), quads[full] + (k + 1) * len(points)])
            for k, full in enumerate(inside)
        ]
    )
    places = np.column_stack([np.tile(points, (len(planes), 1)), np.repeat(planes, len(points))])
    used, cells = np.unique(corners, return_inverse=True)
    return SolidMesh("fitted.vtu", places[used], cells.reshape(-1, 8).astype(np.int64))


def _within(plan: BaseGeometry, places: Floats) -> npt.NDArray[np.bool_]:
    shapely.prepare(plan)
    return np.asarray(shapely.contains_xy(plan, places[:, 0], places[:, 1]))


def _plan_cells(plans: list[BaseGeometry], step: float) -> tuple[Floats, Ints, Floats]:
    """Return points and four-sided cells of a plan, and for every cell a place that tells its region."""
    curves = _curves(plans)
    steps = _divided(curves, step)
    whole = shapely.union_all(plans)
    inner = _lattice_points(curves, steps, whole, step)
    for _ in range(_REFINEMENTS):
        more = _lacking(curves, steps, inner, whole, step)
        if more is None:
            break
        steps, inner = more
    else:
        raise ValueError(f"triangles of {step:.3g} mm stay slim however many points are added")
    edge_points, edges, between = _edge_points(curves, steps)
    points, triangles = _triangulated(edge_points, edges, inner, whole)
    return _quartered(points, triangles, edges, between)


def _curves(plans: list[BaseGeometry]) -> list[BaseGeometry]:
    """Return the edges of all plans as curves that meet only at their ends and turn gently in between."""
    lines = shapely.line_merge(shapely.union_all([plan.boundary for plan in plans], grid_size=1e-4))
    return [part for line in shapely.get_parts(lines) for part in _at_corners(line)]


def _at_corners(line: BaseGeometry) -> list[BaseGeometry]:
    at = shapely.get_coordinates(line)
    at = at[np.concatenate([[True], np.any(np.diff(at, axis=0) != 0.0, axis=1)])]
    way = np.diff(at, axis=0)
    angle = np.unwrap(np.arctan2(way[:, 1], way[:, 0]))
    turns = 1 + np.flatnonzero(np.abs(np.diff(angle)) > _CORNER)
    if np.all(at[0] == at[-1]):
        closing = np.angle(np.exp(1j * (angle[0] - angle[-1])))
        if len(turns) and abs(closing) <= _CORNER:
            at = np.concatenate([at[turns[0] : -1], at[: turns[0] + 1]])
            turns = turns[1:] - turns[0]
        elif not len(turns):
            turns = np.array([len(at) // 3, 2 * len(at) // 3])
    ends = [0, *turns, len(at) - 1]
    return [shapely.LineString(at[a : b + 1]) for a, b in itertools.pairwise(ends)]


def _divided(curves: list[BaseGeometry], step: float) -> list[Floats]:
    """Return how far along each curve its points lie [mm], closer where it turns or other edges are near."""
    counts = [max(1, round(one.length / step), math.ceil(_turn(one) / _MOST_TURN)) for one in curves]
    steps = [np.linspace(0.0, one.length, 1 + n) for one, n in zip(curves, counts, strict=True)]
    return _uncrowded(curves, steps)


def _uncrowded(curves: list[BaseGeometry], steps: list[Floats]) -> list[Floats]:
    """Return the places along the curves, steps halved while another point lies in the circle over one."""
    for _ in range(12):
        points, edges, _ = _edge_points(curves, steps)
        tree = cKDTree(points)
        middle = points[edges].mean(axis=1)
        half = 0.5 * np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
        near = tree.query_ball_point(middle, _CIRCLE * half)
        crowded = np.array([len(set(found) - set(edge)) > 0 for found, edge in zip(near, edges, strict=True)])
        crowded &= half > _LEAST_STEP
        if not crowded.any():
            break
        steps = _halved(steps, crowded)
    return steps


def _halved(steps: list[Floats], which: npt.NDArray[np.bool_]) -> list[Floats]:
    """Return the places along the curves with some steps halved, counted over all curves."""
    starts = np.cumsum([0] + [len(one) - 1 for one in steps])
    return [
        np.sort(np.concatenate([one, (0.5 * (one[1:] + one[:-1]))[which[a:b]]]))
        for one, a, b in zip(steps, starts[:-1], starts[1:], strict=True)
    ]


def _turn(curve: BaseGeometry) -> float:
    way = np.diff(shapely.get_coordinates(curve), axis=0)
    angle = np.unwrap(np.arctan2(way[:, 1], way[:, 0]))
    return float(np.abs(np.diff(angle)).sum())


def _edge_points(curves: list[BaseGeometry], steps: list[Floats]) -> tuple[Floats, Ints, Floats]:
    """Return the points on the curves, the steps between them, and the middles of these on the curves."""
    along = [_places(c, s) for c, s in zip(curves, steps, strict=True)]
    half = [_places(c, 0.5 * (s[1:] + s[:-1])) for c, s in zip(curves, steps, strict=True)]
    every: Floats = np.round(np.concatenate(along), 6).astype(np.float64)
    points, which = np.unique(every, axis=0, return_inverse=True)
    which = which.ravel()
    starts = np.cumsum([0] + [len(one) for one in steps])
    edges = [np.column_stack([which[a : b - 1], which[a + 1 : b]]) for a, b in itertools.pairwise(starts)]
    return points, np.concatenate(edges), np.concatenate(half)


def _places(curve: BaseGeometry, along: Floats) -> Floats:
    each = [shapely.LineString(curve.coords).interpolate(float(length)) for length in along]
    return np.asarray(shapely.get_coordinates(each), dtype=np.float64)


def _lattice_points(
    curves: list[BaseGeometry], steps: list[Floats], whole: BaseGeometry, step: float
) -> Floats:
    """Return the points of a triangular lattice that lie inside and clear of the edges."""
    low_x, low_y, high_x, high_y = whole.bounds
    along, rows = np.arange(low_x, high_x, step), np.arange(low_y, high_y, step * np.sqrt(0.75))
    x = along + 0.5 * step * (np.arange(len(rows)) % 2)[:, None]
    lattice = np.column_stack([x.ravel(), np.repeat(rows, len(along))])
    edge_points, edges, _ = _edge_points(curves, steps)
    lines = shapely.STRtree([shapely.LineString(edge_points[edge]) for edge in edges])
    _, distance = lines.query_nearest(shapely.points(lattice), return_distance=True, all_matches=False)
    return np.asarray(lattice[(distance > _CLEAR * step) & _within(whole, lattice)])


def _lacking(
    curves: list[BaseGeometry], steps: list[Floats], inner: Floats, whole: BaseGeometry, step: float
) -> tuple[list[Floats], Floats] | None:
    """Return steps and inner points with more where triangles are slim or large, None where none are.

    A new point is the middle of such a triangle's circle, unless it lies in the circle over a step of an
    edge, which is halved instead (Ruppert, J. Algorithms 18 (1995) 548, from memory).
    """
    edge_points, edges, _ = _edge_points(curves, steps)
    points = np.concatenate([edge_points, inner])
    triangles = Delaunay(points).simplices
    triangles = triangles[_within(whole, points[triangles].mean(axis=1))]
    centres, radii, shortest = _circles(points[triangles])
    wanted = (radii > _LARGEST * step) | ((radii > _SLIMMEST * shortest) & (shortest > _LEAST_STEP))
    chosen = _apart(centres[wanted], radii[wanted])
    halved, beside = _on_edges(chosen, points[edges])
    fresh = np.delete(chosen, beside, axis=0)
    fresh = fresh[_within(whole, fresh)]
    halved &= np.linalg.norm(np.diff(points[edges], axis=1)[:, 0], axis=1) > 2.0 * _LEAST_STEP
    if not len(fresh) and not halved.any():
        return None
    longer = _uncrowded(curves, _halved(steps, halved))
    edge_points, edges, _ = _edge_points(curves, longer)
    inner = np.concatenate([inner, fresh])
    return longer, np.delete(inner, _on_edges(inner, edge_points[edges])[1], axis=0)


def _on_edges(places: Floats, ends: Floats) -> tuple[npt.NDArray[np.bool_], Ints]:
    """Return which steps of edges have places in the circle over them, and the numbers of these places."""
    if not len(places):
        return np.zeros(len(ends), dtype=bool), np.zeros(0, dtype=np.int64)
    half = 0.5 * np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1)
    near = cKDTree(places).query_ball_point(ends.mean(axis=1), _CIRCLE * half)
    numbers = np.unique(np.concatenate([np.asarray(one, dtype=np.int64) for one in near]))
    return np.array([len(one) > 0 for one in near], dtype=bool), numbers


def _circles(corners: Floats) -> tuple[Floats, Floats, Floats]:
    """Return middle and radius of the circles round triangles, and their shortest sides."""
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    twice = 2.0 * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    turned = (a**2).sum(axis=1)[:, None] * b[:, ::-1] - (b**2).sum(axis=1)[:, None] * a[:, ::-1]
    arm = turned * [1.0, -1.0] / twice[:, None]
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
    return corners[:, 0] + arm, np.linalg.norm(arm, axis=1), sides.min(axis=1)


def _apart(places: Floats, radii: Floats) -> Floats:
    """Return places, those with large circles first, none within the circle of one before."""
    chosen: list[int] = []
    for k in np.argsort(-radii, kind="stable"):
        arms = places[chosen] - places[k]
        if np.all(np.linalg.norm(arms, axis=1) > np.maximum(radii[k], radii[chosen])):
            chosen.append(int(k))
    return places[chosen]


def _triangulated(
    edge_points: Floats, edges: Ints, inner: Floats, whole: BaseGeometry
) -> tuple[Floats, Ints]:
    """Return points and triangles of a plan whose edges are sides of triangles."""
    count = len(edge_points)
    points = np.concatenate([edge_points, inner])
    for _ in range(_SMOOTHINGS):
        moved = _smoothed(points, Delaunay(points).simplices)[count:]
        clear = np.ones(len(moved), dtype=bool)
        clear[_on_edges(moved, edge_points[edges])[1]] = False
        points[count:][clear] = moved[clear]
    triangles = Delaunay(points).simplices
    sides = {tuple(sorted(side)) for tri in triangles for side in (tri[:2], tri[1:], tri[[0, 2]])}
    lacking = [edge for edge in edges if tuple(sorted(edge)) not in sides]
    if lacking:
        at = points[lacking[0]].mean(axis=0)
        raise ValueError(f"{len(lacking)} edges are not met, the first near {at[0]:.4g}, {at[1]:.4g}")
    triangles = triangles[_within(whole, points[triangles].mean(axis=1))]
    return points, triangles.astype(np.int64)


def _smoothed(points: Floats, triangles: Ints) -> Floats:
    total, count = np.zeros_like(points), np.zeros(len(points))
    for a, b in ((0, 1), (1, 2), (2, 0), (1, 0), (2, 1), (0, 2)):
        np.add.at(total, triangles[:, a], points[triangles[:, b]])
        np.add.at(count, triangles[:, a], 1.0)
    return np.asarray(total / count[:, None])


def _quartered(points: Floats, triangles: Ints, edges: Ints, between: Floats) -> tuple[Floats, Ints, Floats]:
    """Part every triangle into three cells that meet in its middle; edges keep their curves."""
    a, b, c = points[triangles].transpose(1, 0, 2)
    turned = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] < 0.0
    triangles = np.where(turned[:, None], triangles[:, ::-1], triangles)
    sides = np.sort(
        np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1
    )
    pairs, which = np.unique(sides, axis=0, return_inverse=True)
    which = which.ravel()
    middles = points[pairs].mean(axis=1)
    known = {tuple(pair): k for k, pair in enumerate(pairs.tolist())}
    for edge, middle in zip(np.sort(edges, axis=1).tolist(), between, strict=True):
        if tuple(edge) in known:
            middles[known[tuple(edge)]] = middle
    centres = points[triangles].mean(axis=1)
    m = len(triangles)
    ab, bc, ca = (len(points) + which[k * m : (k + 1) * m] for k in range(3))
    mid = len(points) + len(pairs) + np.arange(m)
    quads = [
        np.column_stack([triangles[:, 0], ab, mid, ca]),
        np.column_stack([triangles[:, 1], bc, mid, ab]),
        np.column_stack([triangles[:, 2], ca, mid, bc]),
    ]
    return np.concatenate([points, middles, centres]), np.concatenate(quads), np.tile(centres, (3, 1))
