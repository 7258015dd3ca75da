"""Registration: laying a scanned print onto the deck plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.definition.deck import DeckPlan
from firedeck.definition.film_test import Landmark
from firedeck.errors import PrintError
from firedeck.film.constellation import (
    CENTRE_SD,
    STRAIN_SD,
    Candidate,
    Constellation,
    hole_discs,
    match_holes,
    point_sightings,
    settle_pose,
)
from firedeck.film.landmarks import landmark_poses, landmark_sightings
from firedeck.film.marks import MarkFit, SealMarks, refine_on_marks, seal_marks
from firedeck.film.picture import ScanPicture
from firedeck.film.sheet import Hole, SheetFinding, find_sheet
from firedeck.kernel.pose import PoseFit, Sightings, apply_pose

__all__ = ["Registration", "RegistrationError", "overlap_residual", "register", "register_by_landmarks"]

FloatArray = npt.NDArray[np.float64]

#: Fewest matched holes, and least share of the holes that must match, to believe a pose.
_LEAST_MATCHED, _LEAST_SHARE = 4, 0.55

#: Least share of the openings on the sheet that must have a hole: some or all ports may be uncut [1].
_LEAST_FOUND = 0.35

#: Largest rms miss of matched holes [mm]: hand cutting is good to about 0.3 mm per axis.
_LARGEST_RMS = 0.9

#: Largest stretch of a scan and film against the plan [1]: 1 % is common, common practice.
_LARGEST_STRAIN = 0.016

#: Two poses whose log odds differ by less than this rest on two holes or fewer.
_CLOSE_SCORE = 14.0

#: Marks tell two poses apart when their shares of crowns found differ by this [1].
_CLEAR_SHARE = 0.12

#: Fewest crowns for a fit by marks.
_LEAST_CROWNS = 40


class RegistrationError(PrintError):
    """A print that could not be laid onto the plan; carries what was found, to be drawn.

    Parameters
    ----------
    message, where, remedy : str
        As for every error.
    sheet : SheetFinding
        Sheet and holes found.
    candidates : tuple of Candidate
        Poses that came nearest, best first.
    """

    def __init__(
        self,
        message: str,
        *,
        where: str,
        remedy: str,
        sheet: SheetFinding,
        candidates: tuple[Candidate, ...] = (),
    ) -> None:
        super().__init__(message, where=where, remedy=remedy)
        self.sheet = sheet
        self.candidates = candidates


@dataclass(frozen=True)
class Registration:
    """Where a scanned sheet lies on the deck plan.

    Attributes
    ----------
    matrix : ndarray, shape (2, 3)
        From picture x, y (from the upper left corner, y down) to deck x, y [mm].
    mirrored : bool
        Whether the picture shows the sheet from the block's side.
    covariance : ndarray, shape (6, 6)
        Covariance of the matrix's elements, row by row.
    hole_rms : float
        Root mean square distance of matched holes from their openings [mm]; NaN without holes.
    hole_count : int
        Matched holes.
    mark_rms : float
        Root mean square distance of crowns from their seals' lines [mm]; NaN without marks.
    mark_count : int
        Crowns that carry the fit.
    matched : tuple of (str, Hole)
        Openings with the hole found for each.
    unmatched : tuple of Hole
        Holes that belong to no opening.
    missing : tuple of str
        Openings on the sheet without a hole.
    seal_offsets : dict of str to float
        Mean distance of each seal's crown from its line, away from what it encloses [mm].
    notes : tuple of str
        What a reader should know.
    """

    matrix: FloatArray
    mirrored: bool
    covariance: FloatArray
    hole_rms: float
    hole_count: int
    mark_rms: float
    mark_count: int
    matched: tuple[tuple[str, Hole], ...]
    unmatched: tuple[Hole, ...]
    missing: tuple[str, ...]
    seal_offsets: dict[str, float]
    notes: tuple[str, ...]

    @property
    def scale_x(self) -> float:
        """Deck mm to one picture mm along the deck's x [1]."""
        return float(np.hypot(*self.matrix[0, :2]))

    @property
    def scale_y(self) -> float:
        """Deck mm to one picture mm along the deck's y [1]."""
        return float(np.hypot(*self.matrix[1, :2]))

    @property
    def rotation_deg(self) -> float:
        """Direction of the deck's x axis in the picture, anticlockwise from the right [degree]."""
        direction = np.linalg.solve(self.matrix[:, :2], np.array([1.0, 0.0]))
        return float(np.degrees(np.arctan2(-direction[1], direction[0])))

    def to_deck(self, points: npt.ArrayLike) -> FloatArray:
        """Map picture points, shape (n, 2) [mm], to the deck [mm]."""
        return apply_pose(self.matrix, np.asarray(points, dtype=float))

    def to_picture(self, points: npt.ArrayLike) -> FloatArray:
        """Map deck points, shape (n, 2) [mm], to the picture [mm]."""
        shifted = np.asarray(points, dtype=float) - self.matrix[:, 2]
        return np.asarray(np.linalg.solve(self.matrix[:, :2], shifted.T).T)

    def uncertainty_at(self, points: npt.ArrayLike) -> FloatArray:
        """Return the expected distance (root mean square) of deck points from the truth [mm].

        Parameters
        ----------
        points : array_like, shape (n, 2)
            Deck points [mm].

        Returns
        -------
        ndarray, shape (n,)
            Standard uncertainty of position, both axes together [mm].
        """
        places = self.to_picture(points)
        rows = np.column_stack([places, np.ones(len(places))])
        total = self.covariance[:3, :3] + self.covariance[3:, 3:]
        return np.asarray(np.sqrt(np.einsum("ni,ij,nj->n", rows, total, rows)))


def register(
    picture: ScanPicture, plan: DeckPlan, *, sheet: SheetFinding | None = None, mirrored: bool | None = None
) -> Registration:
    """Lay a scanned print onto the deck plan.

    Parameters
    ----------
    picture : ScanPicture
        The scan.
    plan : DeckPlan
        The plan with the seals of the gasket that was clamped.
    sheet : SheetFinding, optional
        From `find_sheet`, if it was called before.
    mirrored : bool, optional
        Whether the scan shows the sheet from the block's side, where known.

    Returns
    -------
    Registration
        The pose with its uncertainty.

    Raises
    ------
    RegistrationError
        If the holes do not fit the plan, or fit it in more than one way.
    """
    sheet = find_sheet(picture) if sheet is None else sheet
    candidates = match_holes(sheet.holes, plan, sheet=sheet, mirrored=mirrored)
    _check_fit(picture, plan, sheet, candidates)
    marks = seal_marks(plan)
    chosen, refined, notes = _choose(picture, plan, sheet, candidates, marks)
    return _result(plan, sheet, chosen, refined, notes)


def _check_fit(
    picture: ScanPicture, plan: DeckPlan, sheet: SheetFinding, candidates: tuple[Candidate, ...]
) -> None:
    if candidates and _believable(candidates[0], sheet):
        return
    count = len(sheet.holes)
    holes = "1 hole was" if count == 1 else f"{count} holes were"
    best = "; no two of them fit"
    if candidates:
        strain = np.round(100 * candidates[0].fit.strain[:2], 1)
        best = (
            f"; at best {candidates[0].matched} of them fit, with {candidates[0].rms:.2f} mm rms, "
            f"the plan stretched by {-strain[0]:+g} % in x and {-strain[1]:+g} % in y"
        )
    raise RegistrationError(
        f"the print does not fit the deck plan {plan.name!r}: {holes} found{best}",
        where=picture.name,
        remedy="check that the plan belongs to this deck and that the scan's resolution is right; "
        "if both are, give three or more landmarks",
        sheet=sheet,
        candidates=candidates,
    )


def _believable(candidate: Candidate, sheet: SheetFinding) -> bool:
    enough = candidate.matched >= max(_LEAST_MATCHED, _LEAST_SHARE * len(sheet.holes))
    expected = candidate.matched + len(candidate.missing)
    unstretched = bool(np.max(np.abs(candidate.fit.strain)) <= _LARGEST_STRAIN)
    found = candidate.matched >= _LEAST_FOUND * expected
    return enough and unstretched and found and candidate.rms <= _LARGEST_RMS


def _refine(
    picture: ScanPicture,
    plan: DeckPlan,
    sheet: SheetFinding,
    candidate: Candidate,
    marks: SealMarks,
    landmarks: Sightings | None = None,
) -> MarkFit:
    points = hole_discs(sheet.holes)[candidate.pairs[:, 0], :2]
    targets = Constellation.of_plan(plan).discs[candidate.pairs[:, 1], :2]
    held = point_sightings(points, targets, max(CENTRE_SD, candidate.rms if len(points) else 0.0))
    held = held if landmarks is None else held + landmarks
    return refine_on_marks(picture, sheet, marks, candidate.fit, held, STRAIN_SD)


def _choose(
    picture: ScanPicture,
    plan: DeckPlan,
    sheet: SheetFinding,
    candidates: tuple[Candidate, ...],
    marks: SealMarks,
) -> tuple[Candidate, MarkFit, list[str]]:
    """Take the best pose; where holes leave several, let the marks decide or refuse."""
    close = [one for one in candidates if candidates[0].score - one.score < _CLOSE_SCORE]
    refined = [_refine(picture, plan, sheet, one, marks) for one in close]
    order = sorted(range(len(close)), key=lambda k: -refined[k].found_share)
    first = order[0]
    if len(close) == 1:
        return close[0], refined[0], []
    if refined[first].found_share - refined[order[1]].found_share >= _CLEAR_SHARE:
        return close[first], refined[first], ["the holes fit in more than one way; the marks decided"]
    ways = " and ".join(
        f"{'mirrored' if one.mirrored else 'as seen from the head'}, {one.matched} holes" for one in close[:4]
    )
    raise RegistrationError(
        f"the print fits the deck plan {plan.name!r} in {len(close)} ways ({ways})",
        where=picture.name,
        remedy="state whether the scan is mirrored, mark the sheet's orientation, or give landmarks",
        sheet=sheet,
        candidates=candidates,
    )


def _result(
    plan: DeckPlan, sheet: SheetFinding, chosen: Candidate, refined: MarkFit, notes: list[str]
) -> Registration:
    names = Constellation.of_plan(plan).names
    fit: PoseFit = refined.fit
    if refined.count < _LEAST_CROWNS:
        fit = chosen.fit
        carried = "the landmarks" if not chosen.matched else "the holes"
        notes = [*notes, f"only {refined.count} marks of seals were found; {carried} carry the fit alone"]
    pairs = {int(hole): names[opening] for hole, opening in chosen.pairs}
    return Registration(
        matrix=fit.matrix,
        mirrored=chosen.mirrored,
        covariance=fit.covariance,
        hole_rms=_hole_rms(sheet, chosen, fit.matrix, plan),
        hole_count=chosen.matched,
        mark_rms=refined.rms,
        mark_count=refined.count,
        matched=tuple((name, sheet.holes[hole]) for hole, name in pairs.items()),
        unmatched=tuple(hole for k, hole in enumerate(sheet.holes) if k not in pairs),
        missing=tuple(names[k] for k in chosen.missing),
        seal_offsets=refined.offsets,
        notes=tuple(notes),
    )


def _hole_rms(sheet: SheetFinding, chosen: Candidate, matrix: FloatArray, plan: DeckPlan) -> float:
    if not chosen.matched:
        return float("nan")
    points = hole_discs(sheet.holes)[chosen.pairs[:, 0], :2]
    miss = apply_pose(matrix, points) - Constellation.of_plan(plan).discs[chosen.pairs[:, 1], :2]
    return float(np.sqrt(np.mean(np.sum(miss**2, axis=1))))


def register_by_landmarks(
    picture: ScanPicture,
    plan: DeckPlan,
    landmarks: Sequence[Landmark],
    *,
    sheet: SheetFinding | None = None,
    mirrored: bool | None = None,
) -> Registration:
    """Lay a scanned print onto the deck plan by landmarks picked by hand, then refine it.

    Holes that fit the landmarks' pose and the marks of the seals refine it as in `register`;
    neither is needed.

    Parameters
    ----------
    picture : ScanPicture
        The scan.
    plan : DeckPlan
        The plan with the seals of the gasket that was clamped.
    landmarks : sequence of Landmark
        Landmarks of this scan; pixels as in the upright scan file, centres at whole numbers.
    sheet : SheetFinding, optional
        From `find_sheet`, if it was called before.
    mirrored : bool, optional
        Whether the scan shows the sheet from the block's side, where known; needed where the
        landmarks lie on one line and the holes do not tell.

    Returns
    -------
    Registration
        The pose with its uncertainty.

    Raises
    ------
    PrintError
        If the landmarks are too few, contradict each other or leave the face open.
    """
    sheet = find_sheet(picture) if sheet is None else sheet
    poses = landmark_poses(landmarks, picture, mirrored)
    held = landmark_sightings(landmarks, picture)
    discs, found = Constellation.of_plan(plan).discs, hole_discs(sheet.holes)
    settled = [settle_pose(found, discs, fit.matrix, held=held, outline=sheet.polygon) for fit in poses]
    candidates = sorted((one for one in settled if one is not None), key=lambda one: -one.score)
    if len(candidates) > 1 and candidates[0].score - candidates[1].score < _CLOSE_SCORE:
        raise RegistrationError(
            "the landmarks lie on one line, so the sheet could be seen from either side",
            where=picture.name,
            remedy="add a landmark off that line, or state whether the scan is mirrored",
            sheet=sheet,
            candidates=tuple(candidates),
        )
    chosen = candidates[0]
    refined = _refine(picture, plan, sheet, chosen, seal_marks(plan), held)
    notes = [f"laid by {len(landmarks)} landmarks, {_landmark_rms(held, chosen.fit):.2f} mm rms"]
    return _result(plan, sheet, chosen, refined, notes)


def _landmark_rms(held: Sightings, fit: PoseFit) -> float:
    miss = np.sum(held.directions * (apply_pose(fit.matrix, held.points) - held.targets), axis=1)
    return float(np.sqrt(2 * np.mean(miss**2)))


def overlap_residual(one: Registration, other: Registration) -> tuple[float, int]:
    """Tell how well two sheets of one print agree on the holes that both show.

    Both sheets were cut over the same stack, so a hole that both show is the same opening; its two
    centres differ by what hand cutting and both registrations leave.

    Returns
    -------
    rms, count : float, int
        Root mean square distance between the two places on the deck [mm], NaN without a shared
        hole, and the number of shared holes.
    """
    first, second = dict(one.matched), dict(other.matched)
    shared = [name for name in first if name in second]
    if not shared:
        return float("nan"), 0
    apart = one.to_deck([first[name].centre for name in shared]) - other.to_deck(
        [second[name].centre for name in shared]
    )
    return float(np.sqrt(np.mean(np.sum(apart**2, axis=1)))), len(shared)
