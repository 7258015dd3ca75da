"""Refining a pose on the marks that rings and beads leave on the film."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import seal_line
from firedeck.film.picture import ScanPicture
from firedeck.film.sheet import SheetFinding
from firedeck.kernel.crown import crown_centres, sample_profiles
from firedeck.kernel.pose import PoseFit, Sightings, apply_pose, fit_pose
from firedeck.kernel.raster import dilate

__all__ = ["MarkFit", "SealMarks", "refine_on_marks", "seal_marks"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

#: Distance between places on a seal that are looked at [mm].
_STEP_MM = 1.0

#: Pitch of a profile across the seal [mm].
_PITCH_MM = 0.06

#: Profile half-width: never more, never less than this [mm].
_HALF_MM = (0.7, 2.5)

#: Known film that a profile needs on each side of the line [mm].
_LEAST_HALF_MM = 0.9

#: Share of the film near seals that is taken to be without a mark [1].
_BLANK_QUANTILE = 0.15

#: Crossings averaged on each side of a place, and their distance [mm].
_SPREAD, _SPREAD_MM = 2, 0.2

#: Film nearer than this to a cut shows the cut's rim [mm]; common practice: rims of 0.2 to 0.5 mm.
_RIM_MM = 0.7

#: Rounds of the search: every how many places are looked at, and how far from its line a crown may
#: lie [mm], less as the pose improves.
_ROUNDS = ((3, 1.1), (2, 0.7), (1, 0.5))

#: Least height of a mark [density] and least height over noise [1].
_LEAST_HEIGHT, _LEAST_RATIO = 0.06, 4.0

#: Expected offset of a seal's crown from its line, and shift of a seal as a whole [mm]: true
#: departures of the gasket from its drawing, which must not bend the pose.
_SEAL_SD = (0.08, 0.05)

#: Neighbouring places averaged to see whether crowns stray together.
_RUN = 8

#: Least standard uncertainty of one crown [mm].
_LEAST_SD = 0.02


@dataclass(frozen=True)
class SealMarks:
    """Places on the seals of a plan where marks are looked for.

    Attributes
    ----------
    names : tuple of str
        Names of the seals.
    points, normals : ndarray, shape (n, 2)
        Places [mm] and unit normals.
    seal : ndarray of int, shape (n,)
        Index of each place's seal.
    room : ndarray, shape (n,)
        Half-width that belongs to this seal alone [mm].
    """

    names: tuple[str, ...]
    points: FloatArray
    normals: FloatArray
    seal: IntArray
    room: FloatArray

    def thinned(self, stride: int) -> SealMarks:
        """Return every `stride`-th place."""
        kept = slice(None, None, stride)
        return SealMarks(self.names, self.points[kept], self.normals[kept], self.seal[kept], self.room[kept])


@dataclass(frozen=True)
class MarkFit:
    """A pose refined on marks.

    Attributes
    ----------
    fit : PoseFit
        Pose of marks and holes together.
    count : int
        Places whose crown was found and kept.
    looked_at : int
        Places that lie on usable film.
    rms : float
        Root mean square distance of crowns from their lines, seal offsets taken out [mm].
    seals : tuple of str
        Seals with at least ten crowns.
    offsets : dict of str to float
        Mean distance of a seal's crown from its line, away from what it encloses [mm].
    """

    fit: PoseFit
    count: int
    looked_at: int
    rms: float
    seals: tuple[str, ...]
    offsets: dict[str, float]

    @property
    def found_share(self) -> float:
        """Share of the places looked at where a crown was found [1]."""
        return self.count / self.looked_at if self.looked_at else 0.0


def seal_marks(plan: DeckPlan) -> SealMarks:
    """Return the places on a plan's seals where marks are looked for."""
    names, points, normals, index = [], [], [], []
    for number, seal in enumerate(plan.seals):
        line = seal_line(plan, seal, step=_STEP_MM)
        names.append(seal.name)
        points.append(line.points)
        normals.append(line.normals)
        index.append(np.full(len(line.points), number))
    if not names:
        return SealMarks((), np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0, np.int64), np.zeros(0))
    every, seals = np.vstack(points), np.concatenate(index)
    return SealMarks(tuple(names), every, np.vstack(normals), seals, _room(every, seals))


def _room(points: FloatArray, seal: IntArray) -> FloatArray:
    """Return half the distance from each place to the nearest other seal, within limits."""
    room = np.full(len(points), _HALF_MM[1])
    for number in range(int(seal.max()) + 1):
        own = seal == number
        if own.all():
            break
        # Asked once and of few places: a tree that is built quickly answers soonest.
        others = cKDTree(points[~own], balanced_tree=False, compact_nodes=False)
        apart, _ = others.query(points[own], distance_upper_bound=2 * _HALF_MM[1])
        room[own] = np.clip(apart / 2, *_HALF_MM)
    return room


def refine_on_marks(
    picture: ScanPicture,
    sheet: SheetFinding,
    marks: SealMarks,
    start: PoseFit,
    held: Sightings,
    strain_sd: FloatArray,
) -> MarkFit:
    """Refine a pose so that the crowns of the print lie on the plan's seals.

    Parameters
    ----------
    picture : ScanPicture
        The scan.
    sheet : SheetFinding
        The sheet in it.
    marks : SealMarks
        Where to look.
    start : PoseFit
        Pose from holes or landmarks.
    held : Sightings
        What that pose was fitted to; kept in the fit with its own uncertainty.
    strain_sd : ndarray, shape (3,)
        Expected standard deviation of stretch and shear [1].

    Returns
    -------
    MarkFit
        The refined pose; the first one where too few marks were found.
    """
    usable = ~dilate(~sheet.film, max(1, round(_RIM_MM / min(picture.coarse_mm))))
    matrix, best = start.matrix, MarkFit(start, 0, 0, float("inf"), (), {})
    for stride, search in _ROUNDS:
        some = marks.thinned(stride)
        crowns = _find_crowns(picture, usable, some, matrix, search)
        if len(crowns.place) < 12:
            return MarkFit(best.fit, len(crowns.place), crowns.looked_at, best.rms, (), {})
        best = _fit_crowns(crowns, some, matrix, held, strain_sd)
        matrix = best.fit.matrix
    return best


@dataclass(frozen=True)
class _Crowns:
    place: IntArray
    found: FloatArray
    looked_at: int


def _find_crowns(
    picture: ScanPicture, usable: npt.NDArray[np.bool_], marks: SealMarks, matrix: FloatArray, search: float
) -> _Crowns:
    """Locate crowns under a pose; return their picture points."""
    inverse = np.linalg.inv(matrix[:, :2])
    to_pixel = np.diag(1 / np.asarray(picture.fine_mm)) @ inverse
    places = (marks.points - matrix[:, 2]) @ to_pixel.T - 0.5
    across = marks.normals @ to_pixel.T * _PITCH_MM
    along = np.column_stack([-marks.normals[:, 1], marks.normals[:, 0]]) @ to_pixel.T * _SPREAD_MM
    half = np.round(marks.room / _PITCH_MM).astype(np.int64)
    profiles = sample_profiles(picture.fine, usable, picture.factor, places, across, along, half, _SPREAD)
    reach = np.full(len(half), round(search / _PITCH_MM))
    known = np.isfinite(profiles)
    blank = float(np.quantile(profiles[known], _BLANK_QUANTILE)) if known.any() else 0.0
    least = round(_LEAST_HALF_MM / _PITCH_MM)
    centre, height, noise = crown_centres(profiles, half, least, reach, blank)
    looked_at = int(np.sum(known[:, half.max()]))
    seen = np.isfinite(centre) & (height > np.maximum(_LEAST_HEIGHT, _LEAST_RATIO * noise))
    place = np.flatnonzero(seen)
    crown = marks.points[place] + (centre[place] * _PITCH_MM)[:, None] * marks.normals[place]
    return _Crowns(place, (crown - matrix[:, 2]) @ inverse.T, looked_at)


def _fit_crowns(
    crowns: _Crowns, marks: SealMarks, matrix: FloatArray, held: Sightings, strain_sd: FloatArray
) -> MarkFit:
    targets, normals = marks.points[crowns.place], marks.normals[crowns.place]
    seals, group = np.unique(marks.seal[crowns.place], return_inverse=True)
    miss = np.sum(normals * (apply_pose(matrix, crowns.found) - targets), axis=1)
    spread = _spread(miss)
    weights = _downweight(miss - np.median(miss), spread)
    for _ in range(4):
        sigma = np.full(len(miss), max(spread, _LEAST_SD) * _thinning(miss, weights))
        seen = Sightings(crowns.found, targets, normals, sigma, group.astype(np.int64)) + held
        fit = fit_pose(seen, matrix, np.concatenate([weights, np.ones(len(held.sigma))]), strain_sd, _SEAL_SD)
        miss = fit.residuals[: len(miss)]
        spread, matrix = _spread(miss), fit.matrix
        weights = _downweight(miss, max(spread, _LEAST_SD))
    kept = weights > 0.05
    counts = np.bincount(group[kept], minlength=len(seals))
    names = [marks.names[seal] for seal in seals]
    return MarkFit(
        fit,
        int(np.sum(kept)),
        crowns.looked_at,
        float(np.sqrt(np.mean(miss[kept] ** 2))),
        tuple(name for name, count in zip(names, counts, strict=True) if count >= 10),
        {name: float(fit.nuisance[k, 0]) for k, name in enumerate(names)},
    )


def _spread(values: FloatArray) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _downweight(miss: FloatArray, spread: float) -> FloatArray:
    """Tukey's biweight at five spreads."""
    return np.asarray(np.clip(1 - (miss / (5 * spread + 1e-9)) ** 2, 0, None) ** 2)


def _thinning(miss: FloatArray, weights: FloatArray) -> float:
    """Return the factor on sigma for crowns of one seal that stray together [1].

    Neighbouring crowns share what makes them stray. Means over runs of places show how much: with
    independent crowns the variance of the mean would fall by the length of the run.
    """
    kept = miss[weights > 0.05]
    whole = kept[: len(kept) // _RUN * _RUN].reshape(-1, _RUN)
    single, joint = float(np.mean(kept**2)), float(_RUN * np.mean(np.mean(whole, axis=1) ** 2))
    return float(np.sqrt(max(1.0, joint / single))) if single > 0 else 1.0
