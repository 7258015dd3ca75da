"""Registration: laying a scanned print onto the deck plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely

from firedeck.definition.deck import DeckPlan
from firedeck.definition.film_test import Landmark
from firedeck.definition.shape import outline_polygon
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
from firedeck.film.registered import Registration, RegistrationError, overlap_residual
from firedeck.film.sheet import SheetFinding, find_sheet
from firedeck.kernel.pose import Sightings, apply_pose

__all__ = ["Registration", "RegistrationError", "overlap_residual", "register", "register_by_landmarks"]

FloatArray = npt.NDArray[np.float64]

#: Fewest matched holes to believe a pose by itself, and least share of the sheet's holes that must match.
_LEAST_MATCHED, _LEAST_SHARE = 4, 0.55

#: Least share of the openings on the sheet that must have a hole: some or all ports may be uncut [1].
_LEAST_FOUND = 0.35

#: Fewer holes lay a print only if its marks confirm them: fewest holes, and share of the crowns looked
#: for that must be found [1]. Right poses of three holes were seen to find 0.91 to 0.99 of their crowns;
#: the best wrong ones, mirrored over the row of bores, 0.75.
_FEW_MATCHED, _CONFIRMED_SHARE = 3, 0.85

#: Largest rms miss of matched holes [mm]: hand cutting is good to about 0.3 mm per axis.
_LARGEST_RMS = 0.9

#: Largest stretch of a scan and film against the plan [1]: 1 % is common, common practice.
_LARGEST_STRAIN = 0.016

#: Two poses whose log odds differ by less than this rest on two holes or fewer; on less than one.
_CLOSE_SCORE, _ONE_HOLE_SCORE = 14.0, 7.0

#: Marks tell two poses apart when their shares of crowns found differ by this [1].
_CLEAR_SHARE = 0.12

#: Standard uncertainty per axis that scanner and sheet leave after the best affine fit [mm]: desktop
#: scanners are reported good to about 0.05 mm ("Desktop Scanner Based Metrology", University of
#: Strathclyde; known from an index, not read).
_SCANNER_SD = 0.02

#: More holes than this share without an opening make the plan doubtful [1].
_MANY_UNMATCHED = 0.2

#: Film farther beyond the outline than this [mm], over more than this share of the sheet [1], makes the
#: plan doubtful: a border of 5 to 10 mm is common practice.
_LARGEST_BORDER_MM, _MUCH_BEYOND = 25.0, 0.08

#: Fewest crowns for a fit by marks.
_LEAST_CROWNS = 40


@dataclass(frozen=True)
class _Case:
    """What one registration works on."""

    picture: ScanPicture
    plan: DeckPlan
    sheet: SheetFinding
    openings: Constellation
    marks: SealMarks

    @classmethod
    def of(
        cls, picture: ScanPicture, plan: DeckPlan, sheet: SheetFinding | None, marks: SealMarks | None
    ) -> _Case:
        found = find_sheet(picture) if sheet is None else sheet
        looked_for = seal_marks(plan) if marks is None else marks
        return cls(picture, plan, found, Constellation.of_plan(plan), looked_for)

    def refusal(self, message: str, remedy: str, candidates: Sequence[Candidate]) -> RegistrationError:
        return RegistrationError(
            message, where=self.picture.name, remedy=remedy, sheet=self.sheet, candidates=tuple(candidates)
        )

    def paired(self, candidate: Candidate) -> tuple[FloatArray, FloatArray]:
        """Centres of the matched holes in the picture and of their openings on the deck [mm]."""
        holes, openings = candidate.pairs.T
        return hole_discs(self.sheet.holes)[holes, :2], self.openings.discs[openings, :2]


def register(
    picture: ScanPicture,
    plan: DeckPlan,
    *,
    sheet: SheetFinding | None = None,
    mirrored: bool | None = None,
    marks: SealMarks | None = None,
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
    marks : SealMarks, optional
        From `seal_marks`, if they are found for this plan already.

    Returns
    -------
    Registration
        The pose with its uncertainty.

    Raises
    ------
    RegistrationError
        If the holes do not fit the plan, fit it in more than one way, or contradict `mirrored`.
    """
    case = _Case.of(picture, plan, sheet, marks)
    candidates = match_holes(case.sheet.holes, plan, sheet=case.sheet)
    confirmed = None
    if not (candidates and _enough_holes(candidates[0], case.sheet)):
        confirmed = _confirmed_by_marks(case, candidates)
        candidates = (confirmed[0],)
    if mirrored is not None:
        candidates = _of_face(case, candidates, mirrored)
    chosen, refined, notes = confirmed or _choose(case, candidates)
    return _result(case, chosen, refined, notes)


def _confirmed_by_marks(
    case: _Case, candidates: tuple[Candidate, ...]
) -> tuple[Candidate, MarkFit, list[str]]:
    """Take the pose of few holes whose marks lie where the plan has its seals, or refuse."""
    asked = [one for one in candidates if _few_holes(one, case.sheet)]
    refined = sorted(((_refine(case, one), one) for one in asked), key=lambda pair: -pair[0].found_share)
    shares = [fit.found_share for fit, _ in refined] + [0.0]
    told = shares[0] >= _CONFIRMED_SHARE and shares[0] - max(shares[1:], default=0.0) >= _CLEAR_SHARE
    if not told or refined[0][0].count < _LEAST_CROWNS:
        raise _no_fit(case, candidates)
    fit, chosen = refined[0]
    note = f"only {chosen.matched} holes lay the sheet; {100 * shares[0]:.0f} % of the marks looked for agree"
    return chosen, fit, [note]


def _no_fit(case: _Case, candidates: tuple[Candidate, ...]) -> RegistrationError:
    count = len(case.sheet.holes)
    holes = "1 hole was" if count == 1 else f"{count} holes were"
    best = "; no two of them fit"
    if candidates:
        strain = np.round(100 * candidates[0].fit.strain[:2], 1)
        best = (
            f"; at best {candidates[0].matched} of them fit, with {candidates[0].rms:.2f} mm rms, "
            f"the plan stretched by {-strain[0]:+g} % in x and {-strain[1]:+g} % in y"
        )
    return case.refusal(
        f"the print does not fit the deck plan {case.plan.name!r}: {holes} found{best}",
        "check that the plan belongs to this deck and that the scan's resolution is right; "
        "if both are, give three or more landmarks",
        candidates,
    )


def _enough_holes(candidate: Candidate, sheet: SheetFinding) -> bool:
    """Tell whether the holes alone make a pose believable."""
    found = candidate.matched >= _LEAST_FOUND * (candidate.matched + len(candidate.missing))
    return found and candidate.matched >= _LEAST_MATCHED and _holes_agree(candidate, sheet)


def _few_holes(candidate: Candidate, sheet: SheetFinding) -> bool:
    """Tell whether the holes make a pose worth asking the marks about."""
    return candidate.matched >= _FEW_MATCHED and _holes_agree(candidate, sheet)


def _holes_agree(candidate: Candidate, sheet: SheetFinding) -> bool:
    unstretched = bool(np.max(np.abs(candidate.fit.strain)) <= _LARGEST_STRAIN)
    most = candidate.matched >= _LEAST_SHARE * len(sheet.holes)
    return most and unstretched and candidate.rms <= _LARGEST_RMS


def _of_face(case: _Case, candidates: tuple[Candidate, ...], mirrored: bool) -> tuple[Candidate, ...]:
    """Keep the poses that show the stated face, unless the holes speak clearly for the other."""
    stated = tuple(one for one in candidates if one.mirrored is mirrored)
    if stated and candidates[0].score - stated[0].score < _CLOSE_SCORE:
        return stated
    says, shows = ("", " not") if mirrored else (" not", "")
    raise case.refusal(
        f"the scan is stated to be{says} mirrored, but its holes fit the deck plan "
        f"{case.plan.name!r} only if it is{shows}",
        "correct `mirrored` of the scan, or leave it out",
        candidates,
    )


def _refine(case: _Case, candidate: Candidate, landmarks: Sightings | None = None) -> MarkFit:
    spread = max(CENTRE_SD, candidate.rms if candidate.matched else 0.0)
    held = point_sightings(*case.paired(candidate), spread)
    held = held if landmarks is None else held + landmarks
    return refine_on_marks(case.picture, case.sheet, case.marks, candidate.fit, held, STRAIN_SD)


def _choose(case: _Case, candidates: tuple[Candidate, ...]) -> tuple[Candidate, MarkFit, list[str]]:
    """Take the best pose; where holes leave several, let the marks decide or refuse."""
    close = [one for one in candidates if candidates[0].score - one.score < _CLOSE_SCORE]
    refined = [_refine(case, one) for one in close]
    if len(close) == 1:
        return close[0], refined[0], []
    lead = close[0].score - close[1].score
    first, second = sorted(range(len(close)), key=lambda k: -refined[k].found_share)[:2]
    told = refined[first].found_share - refined[second].found_share >= _CLEAR_SHARE
    told = told and refined[first].count >= _LEAST_CROWNS
    if told and (first == 0 or lead < _ONE_HOLE_SCORE):
        return close[first], refined[first], ["the holes fit in more than one way; the marks decided"]
    if not told and lead >= _ONE_HOLE_SCORE:
        return close[0], refined[0], ["the holes nearly fit in another way too; one or two of them decided"]
    raise _ambiguous(case, close)


def _ambiguous(case: _Case, close: list[Candidate]) -> RegistrationError:
    ways = " and ".join(
        f"{'mirrored' if one.mirrored else 'as seen from the head'}, {one.matched} holes" for one in close[:4]
    )
    return case.refusal(
        f"the print fits the deck plan {case.plan.name!r} in {len(close)} ways ({ways})",
        "state whether the scan is mirrored, mark the sheet's orientation, or give landmarks",
        close,
    )


def _result(case: _Case, chosen: Candidate, refined: MarkFit, notes: list[str]) -> Registration:
    trusted, doubts = _trust_marks(case, chosen, refined)
    fit = refined.fit if trusted else chosen.fit
    names = case.openings.names
    pairs = {int(hole): names[opening] for hole, opening in chosen.pairs}
    holes = case.sheet.holes
    unmatched = tuple(hole for k, hole in enumerate(holes) if k not in pairs)
    doubts = [*doubts, *_plan_doubts(case, len(unmatched), fit.matrix)]
    return Registration(
        matrix=fit.matrix,
        mirrored=chosen.mirrored,
        covariance=fit.covariance + _SCANNER_SD**2 * np.diag([0.0, 0.0, 1.0, 0.0, 0.0, 1.0]),
        hole_rms=_hole_rms(case, chosen, fit.matrix),
        hole_count=chosen.matched,
        mark_rms=refined.rms if trusted else float("nan"),
        mark_count=refined.count if trusted else 0,
        matched=tuple((name, holes[hole]) for hole, name in pairs.items()),
        unmatched=unmatched,
        missing=tuple(names[k] for k in chosen.missing),
        seal_offsets=refined.offsets if trusted else {},
        notes=(*notes, *doubts),
    )


def _plan_doubts(case: _Case, unmatched: int, matrix: FloatArray) -> list[str]:
    """Say what speaks against its being this deck's plan."""
    doubts, count = [], len(case.sheet.holes)
    if unmatched > max(2, _MANY_UNMATCHED * count):
        doubts.append(f"{unmatched} of {count} holes lie where the plan has no opening")
    sheet = shapely.Polygon(apply_pose(matrix, case.sheet.outline)).buffer(0)
    beyond = sheet.difference(outline_polygon(case.plan).buffer(_LARGEST_BORDER_MM)).area / sheet.area
    if case.sheet.backing != "none" and beyond > _MUCH_BEYOND:
        doubts.append(f"{100 * beyond:.0f} % of the sheet lies far beyond the deck's outline")
    return [f"{doubt}: check that it is this deck's plan" for doubt in doubts]


def _trust_marks(case: _Case, chosen: Candidate, refined: MarkFit) -> tuple[bool, list[str]]:
    """Tell whether the marks may carry the fit, and if not why."""
    carried = "the holes carry" if chosen.matched else "the landmarks carry"
    if refined.count < _LEAST_CROWNS:
        return False, [f"only {refined.count} marks of seals were found; {carried} the fit alone"]
    if chosen.matched and _hole_rms(case, chosen, refined.fit.matrix) > max(_LARGEST_RMS, 1.5 * chosen.rms):
        return False, [f"the marks contradict the holes; {carried} the fit alone"]
    return True, []


def _hole_rms(case: _Case, chosen: Candidate, matrix: FloatArray) -> float:
    if not chosen.matched:
        return float("nan")
    points, targets = case.paired(chosen)
    return float(np.sqrt(np.mean(np.sum((apply_pose(matrix, points) - targets) ** 2, axis=1))))


def register_by_landmarks(
    picture: ScanPicture,
    plan: DeckPlan,
    landmarks: Sequence[Landmark],
    *,
    sheet: SheetFinding | None = None,
    mirrored: bool | None = None,
    marks: SealMarks | None = None,
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
    marks : SealMarks, optional
        From `seal_marks`, if they are found for this plan already.

    Returns
    -------
    Registration
        The pose with its uncertainty.

    Raises
    ------
    PrintError
        If the landmarks are too few, contradict each other or leave the face open.
    """
    case = _Case.of(picture, plan, sheet, marks)
    poses = landmark_poses(landmarks, picture, mirrored)
    held = landmark_sightings(landmarks, picture)
    found, outline = hole_discs(case.sheet.holes), case.sheet.polygon
    settled = [
        settle_pose(found, case.openings.discs, fit.matrix, held=held, outline=outline) for fit in poses
    ]
    candidates = sorted((one for one in settled if one is not None), key=lambda one: -one.score)
    if len(candidates) > 1 and candidates[0].score - candidates[1].score < _ONE_HOLE_SCORE:
        raise case.refusal(
            "the landmarks lie on one line, so the sheet could be seen from either side",
            "add a landmark off that line, or state whether the scan is mirrored",
            candidates,
        )
    chosen = candidates[0]
    result = _result(case, chosen, _refine(case, chosen, held), [])
    miss = np.sum(held.directions * (result.to_deck(held.points) - held.targets), axis=1)
    rms = float(np.sqrt(2 * np.mean(miss**2)))
    note = f"laid by {len(landmarks)} landmarks, which lie {rms:.2f} mm rms from where the result puts them"
    return replace(result, notes=(note, *result.notes))
