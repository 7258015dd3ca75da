"""Drawing one scan from what lies on the glass, strip by strip, into a TIFF file."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import tifffile
from scipy.special import ndtri

from firedeck.scenario.compiled import FloatArray, MapArray
from firedeck.scenario.cutting import Mark
from firedeck.scenario.disturbances import Scanner
from firedeck.scenario.exposure import (
    NODE_STEP,
    add_dye,
    add_rim,
    burst_share,
    codes_of_light,
    cover_line,
    light_of_sheet,
)
from firedeck.scenario.pose import Pose
from firedeck.scenario.printing import SHARE_TOP_MPA, FilmChemistry
from firedeck.scenario.rasters import FAR, Raster, Rings, fill_rings, nearest_on_line

__all__ = ["Glass", "write_scan"]

_STRIP_ROWS = 96
_THREADS = 2
_CURVE_STEPS = 65536

#: Reflectance of the scanner's lid and of black card in red, green, blue, invented.
_BACKINGS = {"white": (0.93, 0.93, 0.92), "black": (0.035, 0.035, 0.036)}

#: Light lost per mm between film and glass: 1.1 to 1.4 %/mm in a published test of film scanners
#: (Medical Physics, 2015, doi 10.1118/1.4929563, abstract).
_LOSS_PER_MM = 0.012

#: Share of the capsules that a knife bursts at the very edge.
_RIM_STRENGTH = 0.75


@dataclass(frozen=True)
class Glass:
    """What lies on the scanner's glass.

    Attributes
    ----------
    felt : Raster
        Pressure on the film [MPa].
    edges : Rings
        Cut edges of the sheets [mm of the deck], film to the left of the direction of travel.
    rims : ndarray
        Width of the dark rim at every point of the edges [mm].
    pose : Pose
        Where the scan lies on the deck.
    size : tuple of int
        Rows and columns.
    marks : tuple of Mark
        What is not pressure.
    chemistry : FilmChemistry
        The film.
    fog, sensitivity : float
        Of this sheet, relative to its batch.
    curl : float
        Largest distance of film from glass [mm].
    seed : int
        Of grain and noise.
    """

    felt: Raster
    edges: Rings
    rims: FloatArray
    pose: Pose
    size: tuple[int, int]
    marks: tuple[Mark, ...]
    chemistry: FilmChemistry
    fog: float
    sensitivity: float
    curl: float
    seed: int


@dataclass(frozen=True)
class _Ready:
    """A glass with everything expressed in pixels, ready for any strip."""

    glass: Glass
    scanner: Scanner
    edges: Rings
    rims: MapArray
    deck_nodes: FloatArray
    light_nodes: FloatArray
    marks: tuple[tuple[Mark, FloatArray], ...]
    table: MapArray
    colours: MapArray
    curve: MapArray
    weights: MapArray
    noise: MapArray
    seeds: tuple[np.uint64, np.uint64]


def _nodes(glass: Glass, scanner: Scanner) -> tuple[FloatArray, FloatArray]:
    rows, cols = (np.arange(-1, count // NODE_STEP + 3) * NODE_STEP for count in glass.size)
    grid = np.column_stack([np.tile(cols, len(rows)), np.repeat(rows, len(cols))])
    deck = glass.pose.to_deck(grid)
    lateral = 2 * grid[:, 0] / max(glass.size[1] - 1, 1) - 1
    lamp = 1 - scanner.lamp_error * np.clip(lateral, -1, 1) ** 2
    lift = 1 - _LOSS_PER_MM * glass.curl * _curl_shape(deck, glass.edges.points)
    shape = len(rows), len(cols)
    return (
        np.stack([deck[:, 0].reshape(shape), deck[:, 1].reshape(shape)]),
        np.stack([lamp.reshape(shape), lift.reshape(shape)]),
    )


def _curl_shape(points: FloatArray, edge: FloatArray) -> FloatArray:
    """Return 0 to 1: a sheet that curls up at both ends, one more, and waves a little between."""
    low, high = edge.min(axis=0), edge.max(axis=0)
    u, v = np.clip(2 * (points - low) / (high - low) - 1, -1, 1).T
    ends = np.where(u > 0, 1.0, 0.6) * np.abs(u) ** 3
    return np.asarray(0.8 * ends + 0.1 * v**2 * (1 + u) / 2 + 0.1 * (1 + np.sin(4 * u + 2 * v)) / 2)


def _bell_weights(sigma: float) -> MapArray:
    if sigma <= 0:
        return np.ones(1, np.float32)
    radius = max(1, int(np.ceil(3.5 * sigma)))
    weights = np.exp(-0.5 * (np.arange(-radius, radius + 1) / sigma) ** 2)
    return np.asarray(weights / weights.sum(), np.float32)


def _noise_draws(scanner: Scanner) -> MapArray:
    """Return equally likely draws of the scanner's noise at full light [1]: quantiles of the normal law."""
    return np.asarray(scanner.noise * ndtri((np.arange(65536) + 0.5) / 65536), np.float32)


def _edges_on_scan(glass: Glass) -> tuple[Rings, FloatArray]:
    """Return edges [pixels] and rim widths [mm], turned so that outside counts positive."""
    edges = glass.edges.mapped(glass.pose.to_scan(glass.edges.points))
    if glass.pose.mirrored:
        return edges, glass.rims
    bounds = zip(edges.starts[:-1], edges.starts[1:], strict=True)
    rims = [glass.rims[first:last][::-1] for first, last in bounds]
    return Rings.joined([ring[::-1] for ring in edges.each()]), np.concatenate(rims)


def _prepare(glass: Glass, scanner: Scanner) -> _Ready:
    per_mm = 1 / np.sqrt(glass.pose.pixel_area)
    deck_nodes, light_nodes = _nodes(glass, scanner)
    blank, dyed = glass.chemistry.colours(scanner.backing)
    colours = np.array([blank, dyed, _BACKINGS[scanner.backing]], np.float32)
    fog = glass.chemistry.fog_share(glass.fog)
    table = 1 - (1 - glass.chemistry.share_table(glass.sensitivity)) * np.float32(1 - fog)
    curve = scanner.code_of_light(np.linspace(0, 1, _CURVE_STEPS + 1)).astype(np.float32)
    marks = tuple((mark, glass.pose.to_scan(mark.points)) for mark in glass.marks)
    seeds = np.random.SeedSequence(glass.seed).generate_state(2, np.uint64)
    edges, rims = _edges_on_scan(glass)
    return _Ready(
        glass, scanner, edges, (rims * per_mm).astype(np.float32), deck_nodes, light_nodes, marks, table,
        colours, curve, _bell_weights(scanner.blur * per_mm), _noise_draws(scanner), (seeds[0], seeds[1]),
    )  # fmt: skip


def _edge_distance(ready: _Ready, row0: int, high: int) -> tuple[MapArray, MapArray]:
    """Return distance from the nearest cut edge [pixels], positive outside, and the place along it."""
    across = np.full((high, ready.glass.size[1]), FAR, np.float32)
    along = np.zeros_like(across)
    limit = max(float(ready.rims.max()) + 2.0, 9.0)
    for ring, start in zip(ready.edges.each(), ready.edges.starts[:-1], strict=True):
        nearest_on_line(ring, True, limit, row0, 0, across, along, float(start))
    return across, along


def _each_mark(
    ready: _Ready, row0: int, high: int
) -> Iterator[tuple[Mark, MapArray, tuple[slice, slice], float]]:
    """Yield marks that touch a strip, with the distance from their line in the part of it they touch."""
    per_mm = 1 / np.sqrt(ready.glass.pose.pixel_area)
    for mark, points in ready.marks:
        half = mark.width / 2 * per_mm
        left, top = np.floor(points.min(axis=0) - half - 2).astype(int)
        right, bottom = np.ceil(points.max(axis=0) + half + 2).astype(int)
        top, bottom, left = max(top, row0), min(bottom, row0 + high), max(left, 0)
        right = min(right, ready.glass.size[1])
        if top >= bottom or left >= right:
            continue
        across = np.full((bottom - top, right - left), FAR, np.float32)
        nearest_on_line(points, False, half + 1.0, top, left, across, np.zeros_like(across), 0.0)
        yield mark, across, (slice(top - row0, bottom - row0), slice(left, right)), half


def _light_strip(ready: _Ready, row0: int, high: int) -> MapArray:
    glass, cols = ready.glass, ready.glass.size[1]
    share = np.empty((high, cols), np.float32)
    felt = glass.felt
    parts = max(1, round(np.sqrt(glass.pose.pixel_area) / felt.pitch - 0.1))
    frame = np.array([felt.x0, felt.y0, felt.pitch])
    burst_share(ready.deck_nodes, row0, felt.values, frame, ready.table, SHARE_TOP_MPA, parts, share)
    mask = np.zeros(share.shape, np.uint8)
    fill_rings(ready.edges.points, ready.edges.starts, row0, mask)
    across, along = _edge_distance(ready, row0, high)
    add_rim(share, across, along, ready.rims, _RIM_STRENGTH)
    found = list(_each_mark(ready, row0, high))
    for mark, distance, part, half in found:
        if mark.is_dye:
            add_dye(share[part], distance, half, mark.strength)
    light = np.empty((3, high, cols), np.float32)
    clumps = glass.chemistry.clumps(glass.pose.pixel_area)
    light_of_sheet(
        share,
        mask,
        across,
        ready.light_nodes,
        ready.colours,
        clumps,
        ready.seeds[0],
        row0,
        light,
    )
    for mark, distance, part, half in found:
        if not mark.is_dye:
            cover_line(light[:, *part], distance, half, mark.strength, np.array(mark.colour, np.float32))
    return light


def _code_strip(ready: _Ready, row0: int) -> npt.NDArray[np.uint16]:
    radius = len(ready.weights) // 2
    high = min(_STRIP_ROWS, ready.glass.size[0] - row0)
    light = _light_strip(ready, row0 - radius, high + 2 * radius)
    codes = np.empty((high, ready.glass.size[1], 3), np.uint16)
    scanner = ready.scanner
    codes_of_light(
        light, ready.weights, ready.noise, scanner.exposure, ready.curve, ready.seeds[1], row0, codes
    )
    return codes


def _strips(ready: _Ready) -> Iterator[npt.NDArray[np.uint8] | npt.NDArray[np.uint16]]:
    with ThreadPoolExecutor(_THREADS) as pool:
        for codes in pool.map(
            lambda row0: _code_strip(ready, row0), range(0, ready.glass.size[0], _STRIP_ROWS)
        ):
            yield codes if ready.scanner.bits == 16 else codes.astype(np.uint8)


def write_scan(path: Path, glass: Glass, scanner: Scanner) -> None:
    """Draw what lies on the glass and write it as a TIFF file.

    Parameters
    ----------
    path : Path
        File to write.
    glass : Glass
        What lies on the glass.
    scanner : Scanner
        The scanner, its encoding and the file's compression.
    """
    ready = _prepare(glass, scanner)
    compression = {"none": None, "deflate": "zlib", "lzw": "lzw"}[scanner.compression]
    with tifffile.TiffWriter(path) as file:
        file.write(
            # Only what is stored as it is can be handed over strip by strip.
            _strips(ready) if compression is None else np.concatenate(list(_strips(ready))),
            shape=(*glass.size, 3),
            dtype=np.uint16 if scanner.bits == 16 else np.uint8,
            photometric="rgb",
            planarconfig="contig",
            rowsperstrip=_STRIP_ROWS,
            compression=compression,
            predictor=compression is not None,
            metadata=None,
            software="",
            resolution=(scanner.dpi, scanner.dpi) if scanner.resolution_tags else None,
            resolutionunit="INCH" if scanner.resolution_tags else None,
        )
