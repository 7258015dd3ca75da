"""Making a calibration: film pieces with round stains of known pressure, on one scan."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

from firedeck.definition.calibration import FilmCalibration
from firedeck.definition.film import FilmBatch
from firedeck.scenario.compiled import FloatArray, MapArray
from firedeck.scenario.cutting import Mark, dust_on_glass
from firedeck.scenario.disturbances import Disturbances, Scanner
from firedeck.scenario.engine import film_batch_stub, write_text
from firedeck.scenario.pose import Pose, place_sheet
from firedeck.scenario.pressure_raster import spread_weights
from firedeck.scenario.printing import FilmChemistry
from firedeck.scenario.rasters import Raster, rings_of, spread_rows
from firedeck.scenario.records import CLIMATE, LOAD_PROFILE, scanner_table
from firedeck.scenario.scan_file import Glass, write_scan

__all__ = ["CALIBRATION_LEVELS", "CalibrationTruth", "PieceTruth", "make_calibration"]

#: Pressures of the scenario's calibration [MPa]: nothing, below the answer, the stated range, past it.
CALIBRATION_LEVELS = (0.0, 2.0, 4.0, 6.0, 10.0, 15.0, 20.0, 30.0, 45.0, 65.0, 85.0, 100.0, 130.0, 180.0)

_LATTICE_MM = 31.0
_PITCH_MM = 0.05
_EDGE_MM = 0.25


@dataclass(frozen=True)
class PieceTruth:
    """One calibration piece.

    Attributes
    ----------
    nominal, pressure : float
        Pressure as recorded and as it was [MPa].
    centre : tuple of float
        Centre of the stain, in pixels of the upright scan: column, row.
    corners : ndarray, shape (4, 2)
        Corners of the piece [mm on the glass].
    """

    nominal: float
    pressure: float
    centre: tuple[float, float]
    corners: FloatArray


@dataclass(frozen=True)
class CalibrationTruth:
    """What is true of a calibration: pieces in reading order, the film's answer, pose, dust, files."""

    pieces: tuple[PieceTruth, ...]
    chemistry: FilmChemistry
    pose: Pose
    marks: tuple[Mark, ...]
    scan: str
    record: str


@dataclass(frozen=True)
class _Piece:
    nominal: float
    pressure: float
    corners: FloatArray
    stain: FloatArray


def make_calibration(
    folder: Path | str,
    film: FilmBatch | None = None,
    levels: tuple[float, ...] = CALIBRATION_LEVELS,
    repeats: int = 3,
    *,
    scanner: Scanner | None = None,
    disturbances: Disturbances | None = None,
    chemistry: FilmChemistry | None = None,
    disc: float = 12.0,
    pressure_scatter: float = 0.01,
    per_row: int = 7,
    seed: int = 0,
) -> CalibrationTruth:
    """Make a film calibration: scan, record and film file in a folder.

    Parameters
    ----------
    folder : Path
        Where to write; made if it is not there.
    film : FilmBatch, optional
        The film.
    levels : tuple of float
        Nominal pressures [MPa].
    repeats : int
        Pieces per level.
    scanner, disturbances, chemistry : optional
        The scanner, what goes wrong (scale, wobble, rims, curl, dust, fog), the film's answer.
    disc : float
        Diameter of the stains [mm].
    pressure_scatter : float
        Relative standard deviation of the true pressure about the nominal one [1].
    per_row : int
        Pieces to a row on the glass.
    seed : int
        Same seed, same bytes.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    film, scanner, chemistry = film or film_batch_stub(), scanner or Scanner(), chemistry or FilmChemistry()
    worry = disturbances or Disturbances(rim_width=(0.2, 0.4))
    rng = np.random.default_rng([seed, 31])
    order = rng.permutation(np.repeat(np.asarray(levels, dtype=float), repeats))
    pieces = [_cut_piece(n, per_row, float(level), pressure_scatter, rng) for n, level in enumerate(order)]
    edges = rings_of(
        shapely.multipolygons([shapely.segmentize(shapely.Polygon(p.corners), 0.6) for p in pieces])
    )
    pose, size = place_sheet(
        edges.points, per_mm=scanner.per_mm, rotation=0.0, mirrored=False,
        scale_error=worry.scale_error, margins=(9.0, 8.0, 10.0, 9.0), waves=(),
    )  # fmt: skip
    marks = tuple(dust_on_glass(pose.to_deck([(0, 0), (size[1], size[0])]), worry, rng))
    glass = Glass(
        felt=_stains(pieces, disc, film.thickness, chemistry),
        edges=edges,
        rims=rng.uniform(*worry.rim_width, len(edges.starts) - 1).repeat(np.diff(edges.starts)),
        pose=pose,
        size=size,
        marks=marks,
        chemistry=chemistry,
        fog=worry.fog,
        sensitivity=worry.sensitivity,
        curl=worry.curl,
        seed=int(rng.integers(2**62)),
    )
    write_scan(folder / "calibration.tif", glass, scanner)
    (folder / "film.toml").write_text(write_text(film), encoding="utf-8")
    record = _record(order, disc, pressure_scatter, scanner)
    (folder / "calibration.toml").write_text(write_text(record), encoding="utf-8")
    centres = pose.to_scan(np.array([piece.stain for piece in pieces]))
    truths = tuple(
        PieceTruth(piece.nominal, piece.pressure, (float(at[0]), float(at[1])), piece.corners)
        for piece, at in zip(pieces, centres, strict=True)
    )
    return CalibrationTruth(truths, chemistry, pose, marks, "calibration.tif", "calibration.toml")


def _cut_piece(number: int, per_row: int, level: float, scatter: float, rng: np.random.Generator) -> _Piece:
    place = np.array([number % per_row, -(number // per_row)]) * _LATTICE_MM + rng.uniform(-1.2, 1.2, 2)
    half = rng.uniform(11.0, 12.5, 2)
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half + rng.normal(0, 0.3, (4, 2))
    turn = np.radians(rng.normal(0, 2.0))
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    pressure = level * (1 + scatter * float(rng.normal()))
    return _Piece(level, pressure, square @ spin.T + place, place + rng.uniform(-1.0, 1.0, 2))


def _stains(pieces: list[_Piece], disc: float, thickness: float, chemistry: FilmChemistry) -> Raster:
    """Draw the pressure on all pieces: even discs, a little more at their very edge, spread by the film."""
    stains = np.array([piece.stain for piece in pieces])
    low, high = stains.min(axis=0) - disc, stains.max(axis=0) + disc
    cols, rows = np.ceil((high - low) / _PITCH_MM).astype(int)
    canvas = Raster(float(low[0]), float(low[1]), _PITCH_MM, np.zeros((rows, cols), np.float32))
    weights = spread_weights(thickness, _PITCH_MM)
    reach = int(disc / 2 / _PITCH_MM) + len(weights)
    for piece, cell in zip(pieces, canvas.cells(stains), strict=True):
        col0, row0 = (round(float(value)) - reach for value in cell)
        patch = _disc(cell - (col0, row0), 2 * reach + 1, disc / 2 / _PITCH_MM, piece.pressure, chemistry)
        radius = len(weights) // 2
        spread = spread_rows(np.pad(patch, ((radius, radius), (0, 0))), weights)
        canvas.values[row0 : row0 + len(patch), col0 : col0 + len(patch)] += spread
    return canvas


def _disc(
    centre: FloatArray, side: int, radius: float, pressure: float, chemistry: FilmChemistry
) -> MapArray:
    at = np.arange(side)
    depth = (radius - np.hypot(at[None, :] - centre[0], at[:, None] - centre[1])) * _PITCH_MM
    ring = 1 + chemistry.edge_ring * np.exp(-((depth / _EDGE_MM) ** 2))
    inside = np.clip(depth / _PITCH_MM + 0.5, 0, 1)
    return np.asarray(pressure * inside * ring, np.float32)


def _record(order: FloatArray, disc: float, scatter: float, scanner: Scanner) -> FilmCalibration:
    return FilmCalibration.model_validate(
        {
            "kind": "film-calibration",
            "film": "film.toml",
            "date": "2025-03-17",
            "operator": "M. Aldous",
            "scan": "calibration.tif",
            "resolution": None if scanner.resolution_tags else f"{scanner.dpi:g} dpi",
            "disc": f"{disc:g} mm",
            "pressure_uncertainty": f"{100 * scatter:g} %",
            "climate": CLIMATE,
            "load-profile": LOAD_PROFILE,
            "scanner": scanner_table(scanner),
            "piece": [{"pressure": f"{level:g} MPa"} for level in order],
        }
    )
