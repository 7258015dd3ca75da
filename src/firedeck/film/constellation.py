"""Matching the holes of a sheet to the openings of a deck plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import opening_polygon
from firedeck.film.sheet import Hole, SheetFinding
from firedeck.kernel.constellation import nearest_index, vote_poses
from firedeck.kernel.pose import PoseFit, Sightings, apply_pose, fit_pose

__all__ = [
    "CENTRE_SD",
    "STRAIN_SD",
    "Candidate",
    "Constellation",
    "hole_discs",
    "match_holes",
    "point_sightings",
    "settle_pose",
]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

#: A hand-cut hole's radius over the plan's, least and most [mm].
_OVERSIZE_MM = (-0.4, 2.6)

#: Relative and absolute slack between the lengths of matched pairs: two scales of 1.2 %, two centres.
_SLACK = (0.014, 1.2)

#: How far a hole may lie from its opening under a pose made from two pairs [mm].
_REACH_MM = 4.0

#: How far a hole may lie from its opening once the pose is fitted [mm].
_AGREEMENT_MM = 1.5

#: Standard uncertainty of a hand-cut hole's centre, per axis [mm]; about 0.3 mm, common practice.
CENTRE_SD = 0.35

#: Expected standard deviation of stretch in x and y and of shear: scanners and film of up to 1 %.
STRAIN_SD = np.array([0.006, 0.006, 0.004])

_MOST_PAIRS = 400
_MOST_POSES = 20000
_CANDIDATES = 12

#: Least share of the best pose's votes that makes a pose a candidate [1].
_LEAST_VOTE = 0.4

#: Worth of a matched hole, of an opening that is missing, when poses are compared (log odds).
_MATCH_WORTH = 8.0
_MISSING_COST = 1.2


@dataclass(frozen=True)
class Constellation:
    """The plan's openings as discs.

    Attributes
    ----------
    names : tuple of str
        Names of the openings.
    discs : ndarray, shape (m, 3)
        Centroid x, y and radius of equal area [mm].
    """

    names: tuple[str, ...]
    discs: FloatArray

    @classmethod
    def of_plan(cls, plan: DeckPlan) -> Constellation:
        """Return the constellation of a plan's openings."""
        discs = []
        for opening in plan.openings:
            shape = opening_polygon(plan, opening.name)
            discs.append([shape.centroid.x, shape.centroid.y, np.sqrt(shape.area / np.pi)])
        return cls(tuple(opening.name for opening in plan.openings), np.array(discs))


@dataclass(frozen=True)
class Candidate:
    """A pose that the holes allow.

    Attributes
    ----------
    fit : PoseFit
        The pose fitted to the matched holes.
    mirrored : bool
        Whether the picture shows the sheet from the block's side.
    pairs : ndarray of int, shape (k, 2)
        Matched hole and opening.
    misses : ndarray, shape (k,)
        Distance of each matched hole from its opening [mm].
    missing : ndarray of int
        Openings that lie on the sheet but have no hole.
    score : float
        Log odds, up to a constant.
    """

    fit: PoseFit
    mirrored: bool
    pairs: IntArray
    misses: FloatArray
    missing: IntArray
    score: float

    @property
    def matched(self) -> int:
        """Number of matched holes."""
        return len(self.pairs)

    @property
    def rms(self) -> float:
        """Root mean square distance of matched holes from their openings [mm]."""
        return float(np.sqrt(np.mean(self.misses**2))) if len(self.misses) else float("inf")


def hole_discs(holes: Sequence[Hole]) -> FloatArray:
    """Return x, y and radius [mm] of holes as an array of shape (n, 3)."""
    return np.array([[*hole.centre, hole.radius] for hole in holes], dtype=float).reshape(-1, 3)


def match_holes(
    holes: Sequence[Hole], plan: DeckPlan, *, sheet: SheetFinding | None = None
) -> tuple[Candidate, ...]:
    """Find the poses that lay the holes onto the plan's openings.

    Any rotation, either face, stretch of up to 1.2 % per axis, missing and false holes, a sheet
    that covers part of the deck only.

    Parameters
    ----------
    holes : sequence of Hole
        Holes found.
    plan : DeckPlan
        The plan.
    sheet : SheetFinding, optional
        The sheet; tells which openings should be on it.

    Returns
    -------
    tuple of Candidate
        Distinct poses, best first; empty if not even two holes fit.
    """
    plan_discs = Constellation.of_plan(plan).discs
    found = hole_discs(holes)
    if len(found) < 2 or len(plan_discs) < 2:
        return ()
    outline = sheet.polygon if sheet is not None else None
    candidates: list[Candidate] = []
    for matrix in _voted(found, plan_discs):
        candidate = settle_pose(found, plan_discs, matrix, outline=outline)
        if candidate is not None and not any(_same_pose(candidate, other, found) for other in candidates):
            candidates.append(candidate)
    return tuple(sorted(candidates, key=lambda candidate: -candidate.score))


def _voted(found: FloatArray, discs: FloatArray) -> list[FloatArray]:
    """Return distinct first poses by pair voting, best first, as 2 x 3 matrices."""
    cell = 1.0
    low = discs[:, :2].min(axis=0) - _REACH_MM
    rows, cols = (int(n) for n in np.ceil((np.ptp(discs[:, 1::-1], axis=0) + 2 * _REACH_MM) / cell) + 1)
    index = nearest_index(discs, low[0], low[1], cell, (rows, cols), _REACH_MM + 1.0)
    votes = vote_poses(
        found,
        discs,
        _pairs_to_lay(discs),
        index,
        (float(low[0]), float(low[1]), cell),
        _SLACK,
        _OVERSIZE_MM,
        _REACH_MM,
        _MOST_POSES,
    )
    return _distinct(votes, found)


def _pairs_to_lay(discs: FloatArray) -> IntArray:
    """Return pairs of openings to lay onto holes: far apart enough, evenly thinned to a bearable number."""
    first, second = np.triu_indices(len(discs), 1)
    length = np.hypot(*(discs[first, :2] - discs[second, :2]).T)
    far = np.flatnonzero(length >= min(30.0, 0.5 * float(length.max())))
    stride = max(1, -(-len(far) // _MOST_PAIRS))
    chosen = far[::stride]
    return np.column_stack([first[chosen], second[chosen]]).astype(np.int64)


def _distinct(votes: FloatArray, found: FloatArray) -> list[FloatArray]:
    votes = votes[votes[:, 5] >= _LEAST_VOTE * votes[:, 5].max(initial=0.0)]
    order = np.argsort(-votes[:, 5], kind="stable")
    corners = found[:, :2]
    kept: list[FloatArray] = []
    places: list[FloatArray] = []
    for c, s, tx, ty, sign, _ in votes[order]:
        matrix = np.array([[c, -s * sign, tx], [s, c * sign, ty]])
        place = apply_pose(matrix, corners)
        if all(np.sqrt(np.mean(np.sum((place - other) ** 2, axis=1))) > 8.0 for other in places):
            kept.append(matrix)
            places.append(place)
        if len(kept) == _CANDIDATES:
            break
    return kept


def _same_pose(one: Candidate, other: Candidate, found: FloatArray) -> bool:
    apart = apply_pose(one.fit.matrix, found[:, :2]) - apply_pose(other.fit.matrix, found[:, :2])
    return bool(np.sqrt(np.mean(np.sum(apart**2, axis=1))) < 3.0)


def _pair_up(found: FloatArray, discs: FloatArray, matrix: FloatArray, reach: float) -> IntArray:
    """Pair holes and openings that are each other's nearest of fitting size."""
    if not len(found) or not len(discs):
        return np.zeros((0, 2), np.int64)
    apart = apply_pose(matrix, found[:, :2])[:, None, :] - discs[None, :, :2]
    distance = np.hypot(apart[..., 0], apart[..., 1])
    excess = found[:, None, 2] - discs[None, :, 2]
    distance[(excess < _OVERSIZE_MM[0]) | (excess > _OVERSIZE_MM[1])] = np.inf
    nearest = np.argmin(distance, axis=1)
    holes = np.arange(len(found))
    mutual = np.argmin(distance, axis=0)[nearest] == holes
    near = distance[holes, nearest] < reach
    return np.asarray(np.column_stack([holes, nearest])[mutual & near])


def point_sightings(points: FloatArray, targets: FloatArray, sigma: float) -> Sightings:
    """Return two sightings, along x and along y, for each pair of points [mm]."""
    count = len(points)
    directions = np.repeat(np.eye(2), count, axis=0)
    spread = np.full(2 * count, sigma)
    group = np.full(2 * count, -1, np.int64)
    return Sightings(np.tile(points, (2, 1)), np.tile(targets, (2, 1)), directions, spread, group)


def settle_pose(
    found: FloatArray,
    discs: FloatArray,
    matrix: FloatArray,
    *,
    held: Sightings | None = None,
    outline: shapely.Geometry | None = None,
) -> Candidate | None:
    """Fit a first pose to the holes it pairs up, pairing more strictly as the pose improves.

    Parameters
    ----------
    found : ndarray, shape (n, 3)
        x, y and radius of the holes in the picture [mm].
    discs : ndarray, shape (m, 3)
        x, y and radius of the plan's openings [mm].
    matrix : ndarray, shape (2, 3)
        First pose.
    held : Sightings, optional
        Other sightings to fit along with the holes, landmarks for instance.
    outline : shapely.Geometry, optional
        The sheet in the picture [mm]; tells which openings should be on it.

    Returns
    -------
    Candidate or None
        None if fewer than two holes pair up and nothing else is held.
    """
    fit: PoseFit | None = None
    pairs = np.zeros((0, 2), np.int64)
    for reach in (_REACH_MM + 1, 3.0, 2.0, _AGREEMENT_MM, _AGREEMENT_MM):
        pairs = _pair_up(found, discs, matrix, reach)
        if len(pairs) < 2 and held is None:
            return None
        fit = _fit_pairs(found[pairs[:, 0], :2], discs[pairs[:, 1], :2], matrix, held)
        matrix = fit.matrix
    assert fit is not None
    return _as_candidate(fit, found, discs, pairs, outline)


def _fit_pairs(
    points: FloatArray, targets: FloatArray, matrix: FloatArray, held: Sightings | None
) -> PoseFit:
    miss = np.hypot(*(apply_pose(matrix, points) - targets).T)
    weights = np.tile(1 / (1 + (miss / (2.5 * CENTRE_SD)) ** 2), 2)
    seen = point_sightings(points, targets, CENTRE_SD)
    if held is not None:
        seen, weights = seen + held, np.concatenate([weights, np.ones(len(held.sigma))])
    return fit_pose(seen, matrix, weights, STRAIN_SD)


def _as_candidate(
    fit: PoseFit, found: FloatArray, discs: FloatArray, pairs: IntArray, outline: shapely.Geometry | None
) -> Candidate:
    matrix = fit.matrix
    misses = np.hypot(*(apply_pose(matrix, found[pairs[:, 0], :2]) - discs[pairs[:, 1], :2]).T)
    missing = _missing(discs, pairs[:, 1], matrix, outline)
    odds = np.sum(_MATCH_WORTH - misses**2 / (2 * CENTRE_SD**2)) - _MISSING_COST * len(missing)
    score = float(odds) - 0.5 * float(np.sum((fit.strain / STRAIN_SD) ** 2))
    return Candidate(fit, bool(np.linalg.det(matrix[:, :2]) > 0), pairs, misses, missing, score)


def _missing(
    discs: FloatArray, matched: IntArray, matrix: FloatArray, outline: shapely.Geometry | None
) -> IntArray:
    others = np.setdiff1d(np.arange(len(discs)), matched)
    if outline is None:
        return others
    inverse = np.linalg.inv(matrix[:, :2])
    places = (discs[others, :2] - matrix[:, 2]) @ inverse.T
    return np.asarray(others[shapely.contains_xy(outline, places)])
