"""From registered pictures to one pressure map on the deck grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.definition.deck import DeckPlan
from firedeck.definition.film import FilmBatch, Response
from firedeck.definition.shape import outline_polygon
from firedeck.definition.zones import band_zone, outline_zone
from firedeck.errors import PrintError
from firedeck.evidence import FLAG_DTYPE, flag_bit
from firedeck.film.blank import BlankSurface, fit_blank, signal_from_light
from firedeck.film.picture import ScanPicture
from firedeck.film.response import build_conversion, grain_of_signal, signal_of
from firedeck.kernel.box import box_mean
from firedeck.kernel.cells import convert_cells, settle_faint
from firedeck.kernel.raster import dilate
from firedeck.kernel.resample import resample_mean
from firedeck.kernel.threads import for_each, row_bands
from firedeck.pressure_map import Conversion, FloatArray, Grid, MapArray, PressureMap

__all__ = ["PlanZones", "SheetSignal", "assemble_map", "deck_grid", "plan_zones", "read_sheet"]

BoolArray = npt.NDArray[np.bool_]

#: Margin of the grid beyond the outline [mm]: it must hold the blank border.
_MARGIN_MM = 10.0

#: Film this close to a cut edge shows the dark rim of cutting [mm]; common practice: 0.2 to 0.5 mm.
_RIM_MM = 0.6

#: Contact is taken to end this far beyond the outline [mm]: drawing and registration tolerance.
_OUTLINE_CLEARANCE_MM = 1.0

#: Standard deviation of a flatbed scanner's optical blur [mm]; from memory, not checked.
_OPTICS_MM = 0.04

#: Mean variance of reading straight between cells [cells^2].
_BETWEEN_CELLS = 1 / 6

#: A cell is read where the mean over a square of this side [mm] answers, and stands out from the
#: grain by this many standard deviations.
_AROUND_MM = 0.5
_SEEN_SIGMAS = 4.0

#: Below the lowest answering piece the signal is averaged over tiles of this side [mm].
_FAINT_TILE_MM = 2.0

#: Rows of such tiles that one thread takes at a time.
_TILES_TO_A_BAND = 12

#: Rows of the map in which one thread looks for rims at a time: many times the rim's own width.
_RIM_BAND_ROWS = 256

_LEAST_COVER = 0.5
_TABLE_SIZE = 8192


@dataclass(frozen=True)
class PlanZones:
    """Where on the grid film is certainly blank, and where it may be tinted.

    Attributes
    ----------
    beyond : ndarray of bool
        Cells beyond the outline by more than the clearance.
    land : ndarray of bool
        Cells inside the outline and clear of every seal's band.
    """

    beyond: BoolArray
    land: BoolArray


@dataclass(frozen=True)
class SheetSignal:
    """One sheet on the deck grid.

    Attributes
    ----------
    signal : ndarray of float32, shape (rows, cols)
        1 - I / I_blank; NaN where there is no film.
    rim : ndarray of bool, shape (rows, cols)
        Film so close to a cut edge that the cut's rim may show.
    blank : BlankSurface
        The sheet's blank surface.
    blur : float
        Standard deviation of the averaging of light between sheet and grid [mm].
    grain_left : float
        Share of the variance of the film's grain, averaged over a cell alone, that this averaging
        beyond the cell leaves in it [1].
    """

    signal: MapArray
    rim: BoolArray
    blank: BlankSurface
    blur: float
    grain_left: float


def deck_grid(plan: DeckPlan, pitch: float) -> Grid:
    """Return the grid that covers the plan's outline with room for the blank border."""
    x_low, y_low, x_high, y_high = outline_polygon(plan).bounds
    return Grid.covering((x_low, y_low), (x_high, y_high), pitch, _MARGIN_MM)


def plan_zones(plan: DeckPlan, grid: Grid) -> PlanZones:
    """Rasterise the zones of a plan that the blank surface rests on."""
    inside = outline_zone(plan, grid.x, grid.y)
    beyond = ~outline_zone(plan, grid.x, grid.y, grow=_OUTLINE_CLEARANCE_MM)
    return PlanZones(beyond, inside & ~band_zone(plan, grid.x, grid.y, grow=0.3))


def read_sheet(
    picture: ScanPicture, film: BoolArray, to_deck: FloatArray, grid: Grid, zones: PlanZones
) -> SheetSignal:
    """Hand one sheet's light to the deck grid and refer it to the unexposed film.

    Parameters
    ----------
    picture : ScanPicture
        The scan.
    film : ndarray of bool, shape of the coarse picture
        Where there is film, and not backing.
    to_deck : ndarray, shape (2, 3)
        From picture x, y (from the upper left corner, y down) to deck x, y [mm].
    grid : Grid
        Deck grid.
    zones : PlanZones
        Zones of the plan on that grid.

    Returns
    -------
    SheetSignal
        Signal, rims and blank surface.

    Raises
    ------
    PrintError
        If there is no film off the seals to take the blank level from.
    """
    pixel_to_cell, footprint = _pixel_to_cell(picture, to_deck, grid)
    light = resample_mean(
        picture.fine, film, picture.factor, pixel_to_cell, footprint, grid.shape, _LEAST_COVER
    )
    rim, border, land = _part_film(light, max(1, round(_RIM_MM / grid.pitch)), zones)
    if not (np.any(border) or np.any(land)):
        raise PrintError(
            "no unexposed film was found on the sheet to compare the print with",
            where=picture.name,
            remedy="leave a border of at least 5 mm of film beyond the deck's outline",
        )
    blank = fit_blank(light, grid, border, land)
    signal = signal_from_light(light, blank)
    pixel = footprint * grid.pitch
    return SheetSignal(signal, rim, blank, _blur(pixel, grid.pitch), _grain_left(pixel, grid.pitch))


def _part_film(light: MapArray, reach: int, zones: PlanZones) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Return film within `reach` cells of a place without any; of the rest border and land; in threads."""
    rim, border, land = (np.empty(light.shape, bool) for _ in range(3))

    def part(band: slice) -> None:
        first = max(band.start - reach, 0)
        bare = np.isnan(light[first : band.stop + reach])
        own = slice(band.start - first, band.stop - first)
        present, near = ~bare[own], dilate(bare, reach)[own]
        np.logical_and(present, near, out=rim[band])
        clear = present & ~near
        np.logical_and(clear, zones.beyond[band], out=border[band])
        np.logical_and(clear, zones.land[band], out=land[band])

    for_each(part, row_bands(len(light), _RIM_BAND_ROWS))
    return rim, border, land


def _blur(pixel: float, pitch: float) -> float:
    """Return the standard deviation of optics, pixel, cell and reading between cells together [mm]."""
    return float(np.sqrt(_OPTICS_MM**2 + pixel**2 / 12 + (1 / 12 + _BETWEEN_CELLS) * pitch**2))


def _grain_left(pixel: float, pitch: float) -> float:
    """Return the share of white grain's variance in a cell that optics and pixel leave [1].

    By Parseval's theorem: the integral of the squared transfer of cell, pixel and optics together
    over that of the cell alone, squared for the two axes.
    """
    frequency = np.linspace(0.0, 20.0 / pitch, 4001)
    cell = np.sinc(frequency * pitch) ** 2
    beyond = np.sinc(frequency * pixel) ** 2 * np.exp(-((2 * np.pi * _OPTICS_MM * frequency) ** 2))
    return float((np.sum(cell * beyond) / np.sum(cell)) ** 2)


def _pixel_to_cell(picture: ScanPicture, to_deck: FloatArray, grid: Grid) -> tuple[FloatArray, float]:
    width, height = picture.fine_mm
    linear = to_deck[:, :2] * np.array([width, height]) / grid.pitch
    corner = to_deck @ np.array([width / 2, height / 2, 1.0])
    offset = (corner - np.array([grid.x0, grid.y0])) / grid.pitch - 0.5
    return np.column_stack([linear, offset]), float(np.sqrt(abs(np.linalg.det(linear))))


def _merge(sheets: list[SheetSignal]) -> tuple[MapArray, BoolArray]:
    """Join sheets: away from cut rims where one has it, averaged where several do."""
    if len(sheets) == 1:
        return sheets[0].signal, sheets[0].rim
    total = np.zeros(sheets[0].signal.shape, np.float32)
    weight = np.zeros_like(total)
    clear_any = np.zeros(total.shape, bool)
    for sheet in sheets:
        trust = np.where(sheet.rim, np.float32(1e-3), np.float32(1.0))
        trust[np.isnan(sheet.signal)] = 0
        total += trust * np.nan_to_num(sheet.signal)
        weight += trust
        clear_any |= trust == 1.0
    signal = np.divide(total, weight, out=np.full_like(total, np.nan), where=weight > 0)
    return signal, (weight > 0) & ~clear_any


def _tables(response: Response, conversion: Conversion, pitch: float, grain_left: float) -> MapArray:
    """Return pressure, mean-preserving under grain, its noise, half its bend, and the grain's variance.

    One row each, over signal 0 to 1. The noise is that of white grain, so that averages over many
    cells have theirs; within one cell less of it is left.
    """
    signal = np.linspace(0.0, 1.0, _TABLE_SIZE)
    pressure = conversion.to_pressure(signal)
    grain = grain_of_signal(response, signal) / pitch
    # A step of at least the grain gives the slope and bend that a noisy cell actually meets.
    step = np.maximum(grain, 2.0 / _TABLE_SIZE)
    within = grain_left * grain**2
    above = conversion.to_pressure(np.minimum(signal + step, conversion.signal[-1]))
    below = conversion.to_pressure(np.maximum(signal - step, 0.0))
    slope = (above - below) / (2 * step)
    bend = (above - 2 * pressure + below) / step**2
    inside = (signal > conversion.signal[40] + step) & (signal < conversion.signal[-1] - step)
    corrected = np.where(inside, pressure - 0.5 * bend * within, pressure)
    half_bend = 0.5 * conversion.bend(signal)
    return np.stack([corrected, slope * grain, half_bend, within]).astype(np.float32)


def _seen_signal(response: Response, pitch: float) -> float:
    """Return the mean signal around a cell from which on it answers and stands out from the grain."""
    low_signal = float(signal_of(response.net_density[0]))
    side = (2 * _cells_around(pitch) + 1) * pitch
    return max(low_signal, _SEEN_SIGMAS * float(grain_of_signal(response, low_signal)) / side)


def _cells_around(pitch: float) -> int:
    return max(1, round(_AROUND_MM / 2 / pitch))


def _convert(
    signal: MapArray,
    rim: BoolArray,
    tables: MapArray,
    blur: float,
    limits: tuple[float, float, float],
    pitch: float,
    per_signal: float,
) -> tuple[MapArray, MapArray, npt.NDArray[np.uint16]]:
    """Turn the signal into pressure and noise [MPa], band by band, and flag rims and what is out of range."""
    value, noise = np.empty_like(signal), np.empty_like(signal)
    flags = np.empty(signal.shape, FLAG_DTYPE)
    half, side = _cells_around(pitch), max(2, round(_FAINT_TILE_MM / pitch))
    below = flag_bit("below-range")
    bits = below, flag_bit("under-stated-range"), flag_bit("saturated"), flag_bit("outside-sheet")

    def convert(band: slice) -> None:
        first = max(band.start - half, 0)
        around = box_mean(signal[first : band.stop + half], half)[band.start - first :]
        np.multiply(rim[band], FLAG_DTYPE(flag_bit("cut-rim")), out=flags[band])
        out = value[band], noise[band], flags[band]
        convert_cells(signal, (band.start, band.stop), around, tables, blur, limits, bits, out)
        settle_faint(signal[band], flags[band], below, side, per_signal, value[band])

    for_each(convert, row_bands(len(signal), side * _TILES_TO_A_BAND))
    return value, noise, flags


def assemble_map(
    sheets: list[SheetSignal],
    grid: Grid,
    batch: FilmBatch,
    *,
    notes: tuple[str, ...] = (),
    provenance: dict[str, str] | None = None,
    conversion: Conversion | None = None,
) -> PressureMap:
    """Join the sheets of a print and turn their signal into pressure.

    Parameters
    ----------
    sheets : list of SheetSignal
        Sheets of one print, on the same grid.
    grid : Grid
        The grid.
    batch : FilmBatch
        The film with its response curve.
    notes : tuple of str
        Assumptions to carry with the map.
    provenance : dict of str
        Inputs and settings to carry with the map.
    conversion : Conversion, optional
        From `build_conversion`, if the batch's response curve is made ready already.

    Returns
    -------
    PressureMap
        The measured map.

    Raises
    ------
    PrintError
        If the batch has no response curve.
    """
    if batch.response is None:
        raise PrintError(
            f"film batch {batch.name!r} has no response curve",
            remedy="calibrate it first: firedeck film calibrate",
        )
    response = batch.response
    if conversion is None:
        conversion = build_conversion(response)
    signal, rim = _merge(sheets)
    lowest = float(response.pressure[0])
    top = min(batch.range_high, float(response.pressure[-1]))
    blur = max(sheet.blur for sheet in sheets)
    cell_blur = blur**2 / grid.pitch**2 - _BETWEEN_CELLS  # a cell of the map is not read between cells
    limits = (
        _seen_signal(response, grid.pitch),
        float(conversion.to_signal(max(batch.range_low, lowest))),
        float(conversion.to_signal(top)),
    )
    per_signal = lowest / float(signal_of(response.net_density[0]))
    tables = _tables(response, conversion, grid.pitch, min(sheet.grain_left for sheet in sheets))
    value, noise, flags = _convert(signal, rim, tables, cell_blur, limits, grid.pitch, per_signal)
    background = float(max(sheet.blank.sd for sheet in sheets))
    return PressureMap(
        kind="measured",
        grid=grid,
        value=value,
        noise=noise,
        flags=flags,
        signal=signal,
        conversion=conversion,
        background=background,
        lowest=lowest,
        stated_range=(batch.range_low, top),
        spread=batch.thickness,
        blur=blur,
        notes=notes,
        provenance=provenance or {},
    )
