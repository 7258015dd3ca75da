"""The plain reading's registration: holes on openings, then the marks of seals on their lines.

A pose is an affine map fitted by linear least squares. Its stretch is expected to be small, and so
are each seal's own offset and shift; rows that say so are added to the equations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.signal import fftconvolve
from scipy.spatial import cKDTree

from benchmarks.plain_given import Bools, Floats, Given, Ints, Map
from benchmarks.plain_sheet import COARSE, Picture, Sheet

__all__ = ["Pose", "apply", "register"]

#: Standard uncertainty that scanner and sheet leave after the best affine fit, per axis [mm].
SCANNER_SD = 0.02
#: Standard uncertainty of a hand-cut hole's centre [mm]; expected stretch and shear [1]; expected
#: offset of a seal from its line and shift of it as a whole [mm]; least uncertainty of a crown [mm].
CENTRE_SD, STRAIN_SD, SEAL_SD, LEAST_SD = 0.35, (0.006, 0.006, 0.004), (0.08, 0.05, 0.05), 0.02
#: Every how many places are looked at, and how far a crown may lie from its line [mm].
ROUNDS = ((3, 1.1), (2, 0.7), (1, 0.5))
#: Pitch across [mm]; half width [mm]; crossings to either side and their distance [mm]; rim [mm].
PITCH, HALF, SPREAD, SPREAD_MM, RIM = 0.06, (0.7, 2.5), 2, 0.2, 0.7
#: Least known half width [samples], height of a mark [density], height over noise, neighbouring places.
LEAST, HEIGHT, RATIO, RUN = 15, 0.06, 4.0, 8


@dataclass(frozen=True)
class Pose:
    """From picture to deck [mm] as a matrix of shape (2, 3), with the covariance of its elements."""

    matrix: Floats
    covariance: Floats
    offsets: Floats


def apply(matrix: Floats, points: Floats) -> Floats:
    """Map points, shape (n, 2), by a matrix of shape (2, 3)."""
    return np.asarray(points @ matrix[:, :2].T + matrix[:, 2])


@dataclass(frozen=True)
class _Sightings:
    """Picture points that should lie on lines through targets; seal of each, -1 for none."""

    points: Floats
    targets: Floats
    normals: Floats
    sigma: Floats
    seal: Ints

    def __add__(self, other: _Sightings) -> _Sightings:
        mine, theirs = vars(self).values(), vars(other).values()
        return _Sightings(*(np.concatenate(pair) for pair in zip(mine, theirs, strict=True)))

    def miss(self, matrix: Floats) -> Floats:
        return np.asarray(np.sum(self.normals * (apply(matrix, self.points) - self.targets), axis=1))


def register(picture: Picture, sheet: Sheet, given: Given) -> Pose:
    """Refine the start pose, first on the holes and then on the marks of the seals."""
    held, pose = _fit_holes(sheet, given)
    rim = np.ones(2 * [2 * round(RIM / picture.coarse_mm.min()) + 1], bool)
    usable = ndimage.binary_erosion(sheet.film, rim)
    places = _Places.of(given)
    for stride, search in ROUNDS:
        some = places.thinned(stride)
        crowns = _find_crowns(picture, usable, some, pose.matrix, search)
        pose = _fit_crowns(crowns, pose.matrix, held)
    left = SCANNER_SD**2 * np.diag([0.0, 0, 1, 0, 0, 1])
    return Pose(pose.matrix, pose.covariance + left, pose.offsets)


def _fit_holes(sheet: Sheet, given: Given) -> tuple[_Sightings, Pose]:
    centres = np.array([shape.centroid.coords[0] for shape in (*given.wet, *given.dry)])
    matrix = given.start
    for reach in (2.0, 1.5, 1.5):
        apart, opening = cKDTree(centres).query(apply(matrix, sheet.holes[:, :2]))
        kept = apart < reach
        points, targets = np.tile(sheet.holes[kept, :2], (2, 1)), np.tile(centres[opening[kept]], (2, 1))
        normals = np.repeat(np.eye(2), kept.sum(), axis=0)
        sigma, none = np.full(len(points), CENTRE_SD), np.full(len(points), -1)
        seen = _Sightings(points, targets, normals, sigma, none)
        pose, _ = _solve(seen, matrix, np.tile(1 / (1 + (apart[kept] / (2.5 * CENTRE_SD)) ** 2), 2))
        matrix = pose.matrix
    return seen, pose


def _solve(seen: _Sightings, start: Floats, weights: Floats) -> tuple[Pose, Floats]:
    """Fit a pose and every seal's offset and shift; return the pose and what is left of each sighting."""
    centre = seen.points.mean(axis=0)
    local = np.column_stack([seen.points - centre, np.ones(len(seen.points))])
    count = int(seen.seal.max(initial=-1)) + 1
    own = np.column_stack([np.ones(len(seen.normals)), seen.normals])
    rows = np.zeros((len(local), 6 + 3 * count))
    rows[:, :6] = (seen.normals[:, :, None] * local[:, None, :]).reshape(-1, 6)
    member = np.flatnonzero(seen.seal >= 0)
    for axis in range(3):
        rows[member, 6 + 3 * seen.seal[member] + axis] = own[member, axis]
    right = np.sum(seen.normals * seen.targets, axis=1)
    expected, wanted = _strain_rows(start[:, :2])
    prior = np.diag(np.concatenate([np.zeros(6), np.tile(np.array(SEAL_SD) ** -2.0, count)]))
    prior[:6, :6] = expected.T @ expected
    strength = weights / seen.sigma**2
    normal = rows.T @ (strength[:, None] * rows) + prior
    pull = rows.T @ (strength * right)
    pull[:6] += expected.T @ wanted
    found = np.linalg.solve(normal, pull)
    turn = np.eye(6)  # from the shift at the centre of the points to that at the picture's corner
    turn[2, :2] = turn[5, 3:5] = -centre
    matrix = (turn @ found[:6]).reshape(2, 3)
    covariance = turn @ np.linalg.inv(normal)[:6, :6] @ turn.T
    return Pose(matrix, covariance, found[6::3]), rows @ found - right


def _strain_rows(linear: Floats) -> tuple[Floats, Floats]:
    """Return rows that expect a map to be the nearest rotation, but for small stretch and shear."""
    u, _, vt = np.linalg.svd(linear)
    turn = u @ vt
    rows = np.zeros((3, 6))
    rows[0, :2], rows[1, 3:5] = turn[0], turn[1]
    rows[2, :2], rows[2, 3:5] = turn[1] / 2, turn[0] / 2
    return rows / np.array(STRAIN_SD)[:, None], np.array([1.0, 1.0, 0.0]) / STRAIN_SD


@dataclass(frozen=True)
class _Places:
    """Places on the seals, their normals, seals, and the half width that is each seal's own [mm]."""

    points: Floats
    normals: Floats
    seal: Ints
    room: Floats

    @classmethod
    def of(cls, given: Given) -> _Places:
        points, normals = (
            np.vstack([getattr(band, name) for band in given.marks]) for name in ("points", "normals")
        )
        seal = np.repeat(np.arange(len(given.marks)), [len(band.points) for band in given.marks])
        room = np.full(len(points), HALF[1])
        for number in range(len(given.marks) if len(given.marks) > 1 else 0):
            own = seal == number
            room[own] = cKDTree(points[~own]).query(points[own], distance_upper_bound=5.0)[0] / 2
        return cls(points, normals, seal, np.clip(room, *HALF))

    def thinned(self, stride: int) -> _Places:
        return _Places(*(part[::stride] for part in vars(self).values()))


def _find_crowns(
    picture: Picture, usable: Bools, places: _Places, matrix: Floats, search: float
) -> _Sightings:
    profiles = _profiles(picture, usable, places, matrix)
    blank = float(np.nanquantile(profiles, 0.15))
    centre, height, noise = _symmetry_centres(profiles, round(search / PITCH), blank)
    seen = np.isfinite(centre) & (height > np.maximum(HEIGHT, RATIO * noise))
    points, normals = places.points[seen], places.normals[seen]
    crowns = points + (centre[seen] * PITCH)[:, None] * normals
    back = (crowns - matrix[:, 2]) @ np.linalg.inv(matrix[:, :2]).T
    return _Sightings(back, points, normals, np.full(len(points), LEAST_SD), places.seal[seen])


def _profiles(picture: Picture, usable: Bools, places: _Places, matrix: Floats) -> Floats:
    """Return density across the seals, averaged over neighbouring crossings; NaN where it is not known."""
    to_pixel = np.linalg.inv(matrix[:, :2]).T / picture.fine_mm
    most = round(HALF[1] / PITCH)
    across = np.arange(-most, most + 1) * PITCH
    along = np.arange(-SPREAD, SPREAD + 1) * SPREAD_MM
    tangents = places.normals[:, ::-1] * [-1, 1]
    deck = (
        places.points[:, None, None]
        + across[:, None, None] * places.normals[:, None, None]
        + along[:, None] * tangents[:, None, None]
    )
    at = (deck - matrix[:, 2]) @ to_pixel - 0.5
    cells = np.moveaxis(at[..., ::-1], -1, 0)
    light = ndimage.map_coordinates(picture.fine, cells, order=1, mode="nearest").mean(axis=2)
    row, col = (np.clip(cells[k].astype(int) // COARSE, 0, usable.shape[k] - 1) for k in (0, 1))
    known = usable[row, col].all(axis=2) & (np.abs(across) <= places.room[:, None] + PITCH / 2)
    return np.where(known, -np.log10(light), np.nan)


def _symmetry_centres(profiles: Floats, reach: int, blank: float) -> tuple[Floats, Floats, Floats]:
    """Return where each mark agrees best with its mirror image [samples], its height and noise [density]."""
    middle = profiles.shape[1] // 2
    known = np.isfinite(profiles)
    both = np.logical_and.accumulate((known & known[:, ::-1])[:, middle:], axis=1)
    half = both.sum(axis=1)[:, None] - 1
    offset = np.arange(-middle, middle + 1)
    filled = np.where(np.abs(offset) <= half, profiles, 0.0)
    third = np.where(np.abs(offset[:-3] + 1.5) <= half - 1.5, np.diff(filled, 3, axis=1), 0.0)
    noise = np.sqrt((third**2).sum(axis=1) / (20 * np.maximum(2 * half[:, 0] - 2, 1)))
    mean = ndimage.uniform_filter1d(filled, 3, axis=1)
    sides = [(sign * offset >= half // 2) & (sign * offset < half) for sign in (-1, 1)]
    lightest = [np.where(side, mean, np.inf) for side in sides]
    left, right = (np.argmin(side, axis=1)[:, None] for side in lightest)
    low, high = (side.min(axis=1)[:, None] for side in lightest)
    place = np.arange(profiles.shape[1])
    with np.errstate(invalid="ignore"):
        ground = low + (high - low) * (place - left) / np.maximum(right - left, 1)
    mark = np.where((place >= left) & (place <= right) & (half >= LEAST), filled - ground, 0.0).clip(0)
    height = mark.max(axis=1)
    centre = _mirror_peaks(mark, np.minimum(2 * reach, 2 * half[:, 0] - 8))
    ends = np.maximum(low, high)[:, 0] - blank < 0.6 * height
    return np.where(ends & (half[:, 0] >= LEAST), centre, np.nan), height, noise


def _mirror_peaks(mark: Floats, reach: Ints) -> Floats:
    """Return the peaks of marks convolved with themselves, from the middle [samples]."""
    agreement = fftconvolve(mark, mark, axes=1)
    lag = np.arange(agreement.shape[1]) - (mark.shape[1] - 1)
    within = np.where(np.abs(lag) <= reach[:, None], agreement, 0.0)
    best, rows = np.argmax(within, axis=1), np.arange(len(mark))
    inner = (within[rows, best] > 1e-9) & (np.abs(lag[best]) < reach)
    at = np.clip(best, 1, len(lag) - 2)
    before, peak, after = (agreement[rows, at + step] for step in (-1, 0, 1))
    bend = before - 2 * peak + after
    shift = np.where(bend < 0, (before - after) / (2 * np.minimum(bend, -1e-12)), 0.0)
    return np.where(inner, (lag[best] + shift) / 2, np.nan)


def _fit_crowns(crowns: _Sightings, matrix: Floats, held: _Sightings) -> Pose:
    """Fit crowns and holes together, giving crowns that stray little weight."""
    count = len(crowns.points)
    miss = crowns.miss(matrix)
    spread = _spread(miss)
    weights = _biweight(miss - np.median(miss), spread)
    for _ in range(4):
        sigma = np.full(count, max(spread, LEAST_SD) * _thinning(miss, weights))
        seen = _Sightings(crowns.points, crowns.targets, crowns.normals, sigma, crowns.seal) + held
        pose, left = _solve(seen, matrix, np.concatenate([weights, np.ones(len(held.sigma))]))
        miss, matrix = left[:count], pose.matrix
        spread = _spread(miss)
        weights = _biweight(miss, max(spread, LEAST_SD))
    return pose


def _spread(values: Map | Floats) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _biweight(miss: Floats, spread: float) -> Floats:
    return np.asarray(np.clip(1 - (miss / (5 * spread + 1e-9)) ** 2, 0, None) ** 2)


def _thinning(miss: Floats, weights: Floats) -> float:
    """Return the factor on sigma for neighbouring crowns that stray together [1]."""
    kept = miss[weights > 0.05]
    runs = kept[: len(kept) // RUN * RUN].reshape(-1, RUN)
    return float(np.sqrt(max(1.0, RUN * np.mean(runs.mean(axis=1) ** 2) / np.mean(kept**2))))
