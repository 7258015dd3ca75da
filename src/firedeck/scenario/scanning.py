"""Making a print: cut the sheet, expose it, scan it, write the files, and keep the truth."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

from firedeck.definition.deck import DeckPlan
from firedeck.definition.film import FilmBatch
from firedeck.definition.gasket import Gasket
from firedeck.definition.quantities import Definition
from firedeck.definition.shape import outline_polygon
from firedeck.scenario.compiled import FloatArray
from firedeck.scenario.cutting import Sheet, cut_sheet, dust_on_glass, marks_on_sheet
from firedeck.scenario.disturbances import Disturbances, Scanner
from firedeck.scenario.engine import factory_gasket, film_batch_stub, write_text
from firedeck.scenario.pose import Pose, Wave, place_sheet
from firedeck.scenario.pressure import PressureField
from firedeck.scenario.printing import FilmChemistry
from firedeck.scenario.rasters import Rings, rings_of
from firedeck.scenario.records import film_test_record
from firedeck.scenario.scan_file import Glass, write_scan
from firedeck.scenario.truth import PrintTruth, ScanTruth

__all__ = ["PrintOrder", "make_print"]


@dataclass(frozen=True)
class PrintOrder:
    """What is asked of a print.

    Attributes
    ----------
    name : str
        Of the film test; its files begin with it.
    sheets : int
        1, or 2 that overlap in the middle.
    overlap : float
        Length of that overlap [mm].
    film_face : str
        Face of the gasket that the film lay on.
    gasket_use : int
        How many times the gasket has been clamped.
    date : str
        Of the test.
    clamp_uncertainty : float
        Relative standard uncertainty with which the preload is known [1]; the record is off by a draw.
    """

    name: str = "print"
    sheets: int = 1
    overlap: float = 20.0
    film_face: str = "head"
    gasket_use: int = 1
    date: str = "2025-03-18"
    clamp_uncertainty: float = 0.06


def make_print(
    folder: Path | str,
    plan: DeckPlan,
    field: PressureField,
    *,
    gasket: Gasket | None = None,
    film: FilmBatch | None = None,
    order: PrintOrder | None = None,
    scanner: Scanner | None = None,
    disturbances: Disturbances | tuple[Disturbances, ...] | None = None,
    chemistry: FilmChemistry | None = None,
    seed: int = 0,
) -> PrintTruth:
    """Make one print with all its files in a folder: deck, gasket, film, film test, scans.

    Parameters
    ----------
    folder : Path
        Where to write; made if it is not there.
    plan : DeckPlan
        The deck plan as filed, without a gasket's own seals.
    field : PressureField
        Pressure in the joint.
    gasket, film, order, scanner, chemistry : optional
        What was tested on what; the scenario's own without them. A film file that is there already
        stays, unless `film` is given.
    disturbances : Disturbances or tuple, optional
        What went wrong; a tuple has one entry per sheet.
    seed : int
        Same seed, same bytes.

    Returns
    -------
    PrintTruth
        What is true of it.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    order, scanner = order or PrintOrder(), scanner or Scanner()
    gasket, chemistry = gasket or factory_gasket(), chemistry or FilmChemistry()
    each = (
        disturbances if isinstance(disturbances, tuple) else (disturbances or Disturbances(),) * order.sheets
    )
    rng = np.random.default_rng([seed, zlib.crc32(order.name.encode())])
    scans = tuple(
        _make_scan(folder, plan, field, chemistry, scanner, each[number], part, _file(order, number), rng)
        for number, part in enumerate(_parts(plan, order))
    )
    truth = PrintTruth(field, chemistry, scans, f"{order.name}.toml")
    record = film_test_record(plan, truth, gasket, order, scanner, rng)
    models: dict[str, Definition] = {"deck.toml": plan, f"{gasket.role}.toml": gasket, truth.record: record}
    if film is not None or not (folder / "film.toml").exists():
        models["film.toml"] = film or film_batch_stub()
    for name, model in models.items():
        (folder / name).write_text(write_text(model), encoding="utf-8")
    return truth


def _file(order: PrintOrder, number: int) -> str:
    return f"{order.name}-{number + 1}.tif"


def _parts(plan: DeckPlan, order: PrintOrder) -> list[shapely.Geometry | None]:
    """Return the parts of the deck that the sheets cover; cut along lines a little out of square."""
    if order.sheets == 1:
        return [None]
    x0, y0, x1, y1 = outline_polygon(plan).buffer(40.0).bounds
    middle, half = (x0 + x1) / 2, order.overlap / 2
    left = [(x0, y0), (middle + half + 1.0, y0), (middle + half - 1.0, y1), (x0, y1)]
    right = [(middle - half - 0.6, y0), (x1, y0), (x1, y1), (middle - half + 0.6, y1)]
    return [shapely.Polygon(left), shapely.Polygon(right)]


def _make_scan(
    folder: Path,
    plan: DeckPlan,
    field: PressureField,
    chemistry: FilmChemistry,
    scanner: Scanner,
    worry: Disturbances,
    part: shapely.Geometry | None,
    file: str,
    rng: np.random.Generator,
) -> ScanTruth:
    sheet = cut_sheet(plan, worry, rng, part=part)
    edges = rings_of(shapely.segmentize(sheet.shape, 0.6))
    pose, size = _lay_down(edges, scanner, worry, rng)
    corners = pose.to_deck([(0, 0), (size[1], 0), (0, size[0]), (size[1], size[0])])
    marks = (*marks_on_sheet(sheet, worry, rng), *dust_on_glass(corners, worry, rng))
    glass = Glass(
        felt=field.raster("felt"),
        edges=edges,
        rims=_rim_widths(edges, sheet, rng),
        pose=pose,
        size=size,
        marks=marks,
        chemistry=chemistry,
        fog=worry.fog,
        sensitivity=worry.sensitivity,
        curl=worry.curl,
        seed=int(rng.integers(2**62)),
    )
    write_scan(folder / file, glass, scanner)
    return ScanTruth(
        file, pose, size, sheet.shape, sheet.cuts, sheet.missing, marks, sheet.rim_width, worry.fog
    )


def _lay_down(
    edges: Rings, scanner: Scanner, worry: Disturbances, rng: np.random.Generator
) -> tuple[Pose, tuple[int, int]]:
    margins = rng.uniform(0.6, 1.4, 4) * worry.glass_margin
    return place_sheet(
        edges.points,
        per_mm=scanner.per_mm,
        rotation=worry.rotation,
        mirrored=worry.mirrored,
        scale_error=worry.scale_error,
        margins=(float(margins[0]), float(margins[1]), float(margins[2]), float(margins[3])),
        waves=_wobble(worry.wobble, rng),
    )


def _wobble(largest: float, rng: np.random.Generator) -> tuple[Wave, ...]:
    """Return waves of 150 to 400 mm whose shifts together stay within `largest` [mm]."""
    if largest <= 0:
        return ()
    waves = []
    for _ in range(3):
        turn, way, length = rng.uniform(0, 2 * np.pi), rng.uniform(0, 2 * np.pi), rng.uniform(150, 400)
        shift = largest / 3 * np.array([np.cos(turn), np.sin(turn)])
        frequency = 2 * np.pi / length * np.array([np.cos(way), np.sin(way)])
        phase = float(rng.uniform(0, 2 * np.pi))
        waves.append(Wave((shift[0], shift[1]), (frequency[0], frequency[1]), phase))
    return tuple(waves)


def _rim_widths(edges: Rings, sheet: Sheet, rng: np.random.Generator) -> FloatArray:
    """Return the rim's width at every point of the edges [mm], wandering by a third."""
    widths = []
    for ring in edges.each():
        turn = 2 * np.pi * np.arange(len(ring)) / len(ring)
        phase, order = rng.uniform(0, 2 * np.pi), int(rng.integers(2, 6))
        widths.append(sheet.rim_width * (1 + 0.3 * np.sin(order * turn + phase)))
    return np.concatenate(widths)
