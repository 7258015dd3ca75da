"""What a registration is: where a scanned sheet lies on the deck plan, or why that is not known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.errors import PrintError
from firedeck.film.constellation import Candidate
from firedeck.film.sheet import Hole, SheetFinding
from firedeck.kernel.pose import apply_pose

__all__ = ["Registration", "RegistrationError", "overlap_residual"]

FloatArray = npt.NDArray[np.float64]


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
