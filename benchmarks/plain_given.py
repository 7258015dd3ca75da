"""What the plain version of the reading is handed, and not timed for: definitions as plain arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

if TYPE_CHECKING:  # a fresh process imports no more of firedeck than it needs
    from firedeck.definition.deck import DeckPlan
    from firedeck.definition.film import FilmBatch

__all__ = ["PITCH_MM", "Band", "Bools", "Curve", "Floats", "Given", "Ints", "Map", "prepare"]

Floats: TypeAlias = NDArray[np.float64]
Map: TypeAlias = NDArray[np.float32]
Bools: TypeAlias = NDArray[np.bool_]
Ints: TypeAlias = NDArray[np.int64]

PITCH_MM = 0.1
#: Distance between places on a seal where its mark is looked for [mm].
MARK_STEP_MM = 1.0


@dataclass(frozen=True)
class Curve:
    """From signal to pressure.

    Attributes
    ----------
    signal, pressure, grain : ndarray, shape (n,)
        Knots [1], pressure there [MPa], and noise of the signal times length [mm].
    modes : ndarray, shape (k, n)
        Shifts of the curve, one standard deviation of the calibration each [MPa].
    lowest : float
        Pressure of the lowest piece that answers [MPa].
    stated : tuple of float
        The film's stated range [MPa].
    """

    signal: Floats
    pressure: Floats
    grain: Floats
    modes: Floats
    lowest: float
    stated: tuple[float, float]

    def to_pressure(self, signal: Floats) -> Floats:
        """Return the pressure [MPa] of signals."""
        return np.interp(signal, self.signal, self.pressure)

    def to_signal(self, pressure: float) -> float:
        """Return the signal of a pressure [MPa]."""
        return float(np.interp(pressure, self.pressure, self.signal))

    def slope(self, signal: Floats) -> Floats:
        """Return d(pressure)/d(signal) [MPa]."""
        steps = np.diff(self.pressure) / np.diff(self.signal)
        span = np.searchsorted(self.signal, signal, side="right") - 1
        return np.asarray(steps[np.clip(span, 0, len(steps) - 1)])

    def bend(self, signal: Floats) -> Floats:
        """Return d2(pressure)/d(signal)2 [MPa] over steps of 0.02."""
        step = 0.02 * min(1.0, float(self.signal[-1]))
        middle = np.clip(signal, step, self.signal[-1] - step)
        outer = self.to_pressure(middle + step) + self.to_pressure(middle - step)
        return np.asarray((outer - 2 * self.to_pressure(middle)) / step**2)


@dataclass(frozen=True)
class Band:
    """A seal's line on the deck [mm], its unit normals, and the width of its band [mm]."""

    name: str
    points: Floats
    normals: Floats
    length: float
    width: float
    is_round: bool

    @property
    def step(self) -> float:
        """Distance between neighbouring points [mm]."""
        return self.length / len(self.points)

    @property
    def sector(self) -> float:
        """Length of a sector [mm]: 5 degrees of a round seal, about 5 mm of any other."""
        wanted = self.length * 5 / 360 if self.is_round else 5.0
        if self.is_round and wanted < 1.0:
            wanted = min(5.0, self.length / 12)
        return self.length / max(1, round(self.length / wanted))


@dataclass(frozen=True)
class Given:
    """What the plain reading is handed.

    Attributes
    ----------
    scan : Path
        The scan.
    files : list of Path
        All input files, to be hashed.
    linear : ndarray of float32
        Reflectance of every code value [1].
    pixel_mm : tuple of float
        Width and height of a scan pixel [mm].
    start : ndarray, shape (2, 3)
        From the picture, y down, to the deck [mm], as the constellation of holes gives it.
    outline : shapely.Polygon
        The deck's outline [mm].
    wet, dry : list of shapely.Polygon
        Bores and ports in the order of the media; fastener and dowel holes [mm].
    bands, marks : list of Band
        The seals, and the same at the wider steps at which marks are looked for.
    curve : Curve
        The response curve.
    range_low : float
        Signal of the lower end of the film's stated range [1].
    thickness : float
        Thickness of the film [mm].
    fasteners : ndarray, shape (n, 2)
        Centres of the fastener holes [mm].
    preload : float
        Of all fasteners together [N].
    """

    scan: Path
    files: list[Path]
    linear: Map
    pixel_mm: tuple[float, float]
    start: Floats
    outline: shapely.Polygon
    wet: list[shapely.Polygon]
    dry: list[shapely.Polygon]
    bands: list[Band]
    marks: list[Band]
    curve: Curve
    range_low: float
    thickness: float
    fasteners: Floats
    preload: float


def prepare(test_file: Path, to_deck: Sequence[Sequence[float]]) -> Given:
    """Collect what a plain reading of a film test is handed; uses firedeck's definitions."""
    from firedeck.definition.shape import opening_polygon, outline_polygon
    from firedeck.files.scan_file import open_scan, require_resolution
    from firedeck.kernel.transfer import Transfer, reflectance_table
    from firedeck.study.prints.reading import load_test

    files = load_test(test_file)
    test, plan = files.test, files.plan
    names = (test.scans[0].file, test.deck, test.gasket, test.film)
    scan = open_scan(files.folder / names[0])
    per_mm = require_resolution(scan)
    wet = plan.media[:-1]
    dry = [feature.name for feature in plan.openings if feature.name not in wet]
    curve, range_low = _curve(files.batch)
    return Given(
        scan=files.folder / names[0],
        files=[files.folder / name for name in names],
        linear=reflectance_table(Transfer.srgb(), scan.bits).reflectance,
        pixel_mm=(1 / per_mm[0], 1 / per_mm[1]),
        start=_nudged(np.asarray(to_deck, dtype=float)),
        outline=outline_polygon(plan),
        wet=[opening_polygon(plan, name) for name in wet],
        dry=[opening_polygon(plan, name) for name in dry],
        bands=_bands(plan, PITCH_MM),
        marks=_bands(plan, MARK_STEP_MM),
        curve=curve,
        range_low=range_low,
        thickness=files.batch.thickness,
        fasteners=np.array([hole.centre for hole in plan.fastener_holes], dtype=float).reshape(-1, 2),
        preload=test.clamp.total if test.clamp else float("nan"),
    )


def _nudged(to_deck: Floats) -> Floats:
    """Return a pose that is off by as much as one from holes alone: 0.2 mm, and a trifle of angle."""
    off = np.array([[1.0, -4e-4, 0.2], [4e-4, 1.0, -0.2], [0, 0, 1]])
    return np.asarray((off @ np.vstack([to_deck, [0, 0, 1]]))[:2])


def _bands(plan: DeckPlan, step: float) -> list[Band]:
    from firedeck.definition.shape import seal_line

    found = []
    for seal in plan.seals:
        line = seal_line(plan, seal, step=step)
        found.append(Band(seal.name, line.points, line.normals, line.length, seal.band, line.is_round))
    return found


def _curve(batch: FilmBatch) -> tuple[Curve, float]:
    """Return the curve of a film, and the signal of the lower end of its stated range."""
    from firedeck.film.response import build_conversion, grain_of_signal

    response = batch.response
    assert response is not None  # the reading has made sure
    known = build_conversion(response)
    stated = batch.range_low, min(batch.range_high, float(response.pressure[-1]))
    grain = grain_of_signal(response, known.signal)
    curve = Curve(known.signal, known.pressure, grain, known.modes, float(response.pressure[0]), stated)
    return curve, curve.to_signal(max(batch.range_low, curve.lowest))
