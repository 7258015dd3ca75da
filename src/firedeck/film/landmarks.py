"""Poses from landmarks that a person has picked by hand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from firedeck.definition.film_test import Landmark
from firedeck.errors import PrintError
from firedeck.film.constellation import STRAIN_SD, point_sightings
from firedeck.film.picture import ScanPicture
from firedeck.kernel.pose import PoseFit, Sightings, apply_homography, apply_pose, fit_homography, fit_pose

__all__ = ["landmark_poses", "landmark_sightings"]

FloatArray = npt.NDArray[np.float64]

#: Standard uncertainty of a landmark picked by hand, per axis [mm]; common practice, no source.
_PICK_SD = 0.5

#: Landmarks whose poses miss by more than this disagree [mm].
_LARGEST_MISS = 2.0

#: Landmarks must span at least this much of the plan [mm].
_LEAST_SPAN = 25.0

#: Landmarks within this distance of one straight line cannot tell a sheet from its mirror image [mm].
_LEAST_WIDTH = 6.0


def landmark_sightings(landmarks: Sequence[Landmark], picture: ScanPicture) -> Sightings:
    """Return landmarks as sightings of a pose.

    Pixels are those of the upright scan, counted from its upper left corner, centres at whole
    numbers.
    """
    pixel = np.asarray(picture.fine_mm) / picture.pooled
    points = (np.array([landmark.pixel for landmark in landmarks], dtype=float) + 0.5) * pixel
    targets = np.array([landmark.plan for landmark in landmarks], dtype=float)
    return point_sightings(points, targets, _PICK_SD)


def landmark_poses(
    landmarks: Sequence[Landmark], picture: ScanPicture, mirrored: bool | None
) -> tuple[PoseFit, ...]:
    """Fit poses to landmarks.

    Parameters
    ----------
    landmarks : sequence of Landmark
        Landmarks of this scan.
    picture : ScanPicture
        The scan.
    mirrored : bool, optional
        Whether the scan shows the sheet from the block's side, where known.

    Returns
    -------
    tuple of PoseFit
        One pose; two, one for each face, where the landmarks lie on one line and `mirrored` is not
        given.

    Raises
    ------
    PrintError
        If the landmarks are too few, too close together, or contradict each other.
    """
    _check_spread(landmarks, picture)
    seen = landmark_sightings(landmarks, picture)
    count = len(landmarks)
    points, targets = seen.points[:count], seen.targets[:count]
    in_line = _width(targets) < _LEAST_WIDTH
    signs = (-1.0, 1.0) if mirrored is None or not in_line else (1.0,) if mirrored else (-1.0,)
    fits = [_fit(points, targets, sign) for sign in signs]
    if in_line:
        _check_agreement(landmarks, picture, points, targets, signs[0])
        return tuple(fits)
    best = int(np.argmin([_cost(fit, points, targets) for fit in fits]))
    _check_agreement(landmarks, picture, points, targets, signs[best])
    if mirrored is not None and (signs[best] > 0) is not mirrored:
        raise PrintError(
            f"the landmarks show the sheet {'mirrored' if signs[best] > 0 else 'not mirrored'}, "
            f"but the scan is stated to be {'mirrored' if mirrored else 'not mirrored'}",
            where=picture.name,
            remedy="correct `mirrored` of the scan, or the landmarks",
        )
    return (fits[best],)


def _check_spread(landmarks: Sequence[Landmark], picture: ScanPicture) -> None:
    if len(landmarks) < 2:
        have = "only one landmark is" if landmarks else "no landmarks are"
        raise PrintError(
            f"{have} given, and a pose needs at least two",
            where=picture.name,
            remedy="give two landmarks far apart; three or more also show a mistake",
        )
    targets = np.array([landmark.plan for landmark in landmarks], dtype=float)
    pixels = np.array([landmark.pixel for landmark in landmarks], dtype=float)
    pixels = pixels * np.asarray(picture.fine_mm) / picture.pooled
    for span, place in ((_span(targets), "on the plan"), (_span(pixels), "in the scan")):
        if span < _LEAST_SPAN:
            raise PrintError(
                f"the landmarks lie only {span:.1f} mm apart {place}",
                where=picture.name,
                remedy=f"choose landmarks at least {_LEAST_SPAN:g} mm apart, best near the ends of the deck",
            )


def _span(points: FloatArray) -> float:
    return float(np.max(np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))))


def _width(points: FloatArray) -> float:
    """Extent of points across the line that fits them best [mm]."""
    local = points - points.mean(axis=0)
    return float(np.ptp(local @ np.linalg.svd(local)[2][1]))


def _fit(points: FloatArray, targets: FloatArray, sign: float) -> PoseFit:
    u = points[:, 0] + 1j * sign * points[:, 1]
    w = targets[:, 0] + 1j * targets[:, 1]
    turn = np.vdot(u - u.mean(), w - w.mean())
    turn = turn / abs(turn) if abs(turn) > 0 else 1.0 + 0j
    shift = w.mean() - turn * u.mean()
    start = np.array(
        [[turn.real, -turn.imag * sign, shift.real], [turn.imag, turn.real * sign, shift.imag]], dtype=float
    )
    return fit_pose(point_sightings(points, targets, _PICK_SD), start, np.ones(2 * len(points)), STRAIN_SD)


def _misses(fit: PoseFit, points: FloatArray, targets: FloatArray) -> FloatArray:
    return np.asarray(np.hypot(*(apply_pose(fit.matrix, points) - targets).T))


def _cost(fit: PoseFit, points: FloatArray, targets: FloatArray) -> float:
    """Half the squared misses and strains, each over its expected standard deviation."""
    misses = _misses(fit, points, targets)
    return 0.5 * float(np.sum((misses / _PICK_SD) ** 2) + np.sum((fit.strain / STRAIN_SD) ** 2))


def _check_agreement(
    landmarks: Sequence[Landmark], picture: ScanPicture, points: FloatArray, targets: FloatArray, sign: float
) -> None:
    """Refuse landmarks that no pose of small stretch fits, and name the one to look at first."""
    fit = _fit(points, targets, sign)
    stretch = float(np.max(np.abs(fit.strain)))
    if np.max(_misses(fit, points, targets)) <= _LARGEST_MISS and stretch <= 4 * STRAIN_SD[0]:
        return
    if len(landmarks) == 2:
        on_plan, in_scan = _span(targets), _span(points)
        raise PrintError(
            f"the two landmarks lie {on_plan:.1f} mm apart on the plan but {in_scan:.1f} mm in the scan",
            where=picture.name,
            remedy="check both landmarks and the scan's resolution",
        )
    if _seen_at_an_angle(points, targets):
        raise PrintError(
            "the landmarks fit a picture taken at an angle, not a flat scan",
            where=picture.name,
            remedy="scan the sheet flat on a scanner; a photograph cannot be measured",
        )
    worst, miss = _worst(points, targets, sign)
    at = landmarks[worst]
    raise PrintError(
        f"the landmarks contradict each other: number {worst + 1} (pixel {at.pixel[0]:g}, {at.pixel[1]:g}; "
        f"plan {at.plan[0]:g}, {at.plan[1]:g}) lies {miss:.1f} mm from where the others put it",
        where=picture.name,
        remedy="correct or remove that landmark",
    )


def _seen_at_an_angle(points: FloatArray, targets: FloatArray) -> bool:
    if len(points) < 6:
        return False
    perspective = apply_homography(fit_homography(points, targets), points)
    return bool(np.max(np.hypot(*(perspective - targets).T)) < _LARGEST_MISS)


def _worst(points: FloatArray, targets: FloatArray, sign: float) -> tuple[int, float]:
    """Return the landmark whose removal leaves the others in best agreement, and its miss [mm]."""
    costs, misses = [], []
    for number in range(len(points)):
        others = np.arange(len(points)) != number
        fit = _fit(points[others], targets[others], sign)
        costs.append(_cost(fit, points[others], targets[others]))
        misses.append(_misses(fit, points, targets)[number])
    worst = int(np.argmin(costs))
    return worst, float(misses[worst])
