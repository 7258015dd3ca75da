"""What is true of a print: for whoever tests a reading of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from firedeck.scenario.compiled import FloatArray
from firedeck.scenario.cutting import Cut, Mark
from firedeck.scenario.pose import Pose
from firedeck.scenario.pressure import PressureField, SealLoad, State
from firedeck.scenario.printing import FilmChemistry
from firedeck.scenario.rasters import Raster

__all__ = ["PrintTruth", "ScanTruth"]


@dataclass(frozen=True)
class ScanTruth:
    """One scan of a print.

    Attributes
    ----------
    file : str
        Name of the scan file.
    pose : Pose
        From pixels of the upright scan to the deck, exactly.
    size : tuple of int
        Rows and columns.
    sheet : shapely.Geometry
        The sheet as cut, holes included [mm of the deck].
    cuts : tuple of Cut
        Holes one by one.
    missing : tuple of str
        Openings left uncut.
    marks : tuple of Mark
        Dust, lint, creases, rub streaks and ink [mm of the deck].
    rim_width : float
        Width of the dark rims [mm], within a third.
    fog : float
        Density of the sheet's fog above the batch's.
    """

    file: str
    pose: Pose
    size: tuple[int, int]
    sheet: shapely.Geometry
    cuts: tuple[Cut, ...]
    missing: tuple[str, ...]
    marks: tuple[Mark, ...]
    rim_width: float
    fog: float


@dataclass(frozen=True)
class PrintTruth:
    """Everything that is true of a print.

    Attributes
    ----------
    field : PressureField
        The pressure.
    chemistry : FilmChemistry
        The film's answer.
    scans : tuple of ScanTruth
        The scans, in the record's order.
    record : str
        Name of the film test's file.
    """

    field: PressureField
    chemistry: FilmChemistry
    scans: tuple[ScanTruth, ...]
    record: str

    @property
    def felt(self) -> Raster:
        """Highest pressure, spread by the film: what the capsules felt [MPa]."""
        return self.field.raster("felt")

    @property
    def joint(self) -> Raster:
        """Highest pressure of the joint at every place [MPa]."""
        return self.field.raster("joint")

    @property
    def final(self) -> Raster:
        """Pressure of the joint once tightened and settled [MPa]."""
        return self.field.raster("final")

    @property
    def land(self) -> Raster:
        """Highest pressure of lands and pads [MPa], coarse, not cut out at the openings."""
        return self.field.land_joint

    @property
    def total_force(self) -> float:
        """Force of the whole print: the integral of what the film felt [N]."""
        return self.field.force("joint")

    @property
    def final_force(self) -> float:
        """Force of the settled joint [N]."""
        return self.field.force("final")

    def seal(self, name: str) -> SealLoad:
        """Return a seal's true load along its line."""
        return self.field.seal(name)

    def line_load(self, name: str, s0: float, s1: float, state: State = "joint") -> float:
        """Return a seal's mean line load [N/mm] from arc length s0 to s1 [mm], land not counted.

        Arc length runs from the first point of the seal's line, anticlockwise.
        """
        return self.seal(name).mean_load(s0, s1, state)

    def band_load(
        self, name: str, s0: float, s1: float, *, half_width: float, state: State = "felt"
    ) -> float:
        """Return the mean load [N/mm] of everything within `half_width` [mm] of a seal's line.

        Land and neighbouring seals count: what an integral over a band would show.
        """
        line = self.seal(name).line
        step = 0.025
        at = np.arange(s0, s1, line.step)
        off = np.arange(-half_width + step / 2, half_width, step)
        place = (at / line.step) % len(line.points)
        middle, normal = _along(line.points, place), _along(line.normals, place)
        points = middle[:, None, :] + off[None, :, None] * normal[:, None, :]
        pressure = self.field.raster(state).sample(points.reshape(-1, 2)).reshape(len(at), len(off))
        return float(pressure.sum(axis=1).mean() * step)


def _along(values: FloatArray, place: FloatArray) -> FloatArray:
    first = place.astype(int) % len(values)
    part = (place - place.astype(int))[:, None]
    return np.asarray(values[first] * (1 - part) + values[(first + 1) % len(values)] * part)
