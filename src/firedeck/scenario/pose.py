"""Where a scan lies on the deck, exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.scenario.compiled import FloatArray

__all__ = ["Pose", "Wave", "place_sheet"]


@dataclass(frozen=True)
class Wave:
    """One smooth distortion: ``shift * sin(frequency . point + phase)``, all in mm and radians."""

    shift: tuple[float, float]
    frequency: tuple[float, float]
    phase: float


@dataclass(frozen=True)
class Pose:
    """From pixels of the upright scan to the deck.

    Pixels are counted as column, row from the upper left, centres at whole numbers.

    Attributes
    ----------
    matrix : ndarray, shape (2, 3)
        From column, row, 1 to deck x, y [mm], before the wobble.
    waves : tuple of Wave
        Wobble of the sheet and the scanner, added to that [mm].
    """

    matrix: FloatArray
    waves: tuple[Wave, ...] = ()

    def to_deck(self, pixels: npt.ArrayLike) -> FloatArray:
        """Return deck points [mm] of pixels, shape (n, 2)."""
        flat = np.asarray(pixels, dtype=float) @ self.matrix[:, :2].T + self.matrix[:, 2]
        return np.asarray(flat + self._wobble(flat))

    def to_scan(self, points: npt.ArrayLike) -> FloatArray:
        """Return pixels of deck points [mm], shape (n, 2)."""
        target = np.asarray(points, dtype=float)
        flat = target
        for _ in range(8):
            flat = target - self._wobble(flat)
        return np.asarray(np.linalg.solve(self.matrix[:, :2], (flat - self.matrix[:, 2]).T).T)

    @property
    def mirrored(self) -> bool:
        """Whether the scan shows the deck as seen from the block."""
        return bool(np.linalg.det(self.matrix[:, :2]) > 0)

    @property
    def pixel_area(self) -> float:
        """Area of a pixel on the deck [mm^2]."""
        return abs(float(np.linalg.det(self.matrix[:, :2])))

    def _wobble(self, points: FloatArray) -> FloatArray:
        moved = np.zeros_like(points)
        for wave in self.waves:
            moved += np.sin(points @ np.array(wave.frequency) + wave.phase)[:, None] * np.array(wave.shift)
        return moved


def place_sheet(
    sheet: FloatArray,
    *,
    per_mm: float,
    rotation: float,
    mirrored: bool,
    scale_error: tuple[float, float],
    margins: tuple[float, float, float, float],
    waves: tuple[Wave, ...],
) -> tuple[Pose, tuple[int, int]]:
    """Lay a sheet on the glass.

    Parameters
    ----------
    sheet : ndarray, shape (n, 2)
        Points of the sheet's edge [mm of the deck].
    per_mm : float
        Resolution that the scan claims [pixels/mm].
    rotation : float
        Turn of the sheet, anticlockwise on the upright picture [degree].
    mirrored : bool
        Whether its other side is up.
    scale_error : tuple of float
        Relative excess of the pixel size over the claimed one, along columns and rows [1].
    margins : tuple of float
        Bare glass left, above, right and below [mm].
    waves : tuple of Wave
        Wobble.

    Returns
    -------
    pose : Pose
        Where the scan lies.
    size : tuple of int
        Rows and columns of the scan.
    """
    pitch = (1 + np.array(scale_error)) / per_mm
    turn = np.radians(-rotation)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    seen = np.diag([-1.0 if mirrored else 1.0, 1.0])
    linear = seen @ spin @ np.diag([pitch[0], -pitch[1]])
    flat = np.linalg.solve(linear, sheet.T).T
    low = flat.min(axis=0) - np.array(margins[:2]) * per_mm
    high = flat.max(axis=0) + np.array(margins[2:]) * per_mm
    columns, rows = np.ceil(high - low).astype(int)
    matrix = np.column_stack([linear, linear @ low])
    return Pose(matrix, waves), (int(rows), int(columns))
