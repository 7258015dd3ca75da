"""Find the calibration pieces in a scan and read how dark each one is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import contourpy
import numpy as np
import numpy.typing as npt
from scipy import ndimage

from firedeck.errors import PrintError
from firedeck.film.picture import ScanPicture
from firedeck.film.response import PieceReading

__all__ = ["FoundPiece", "PiecesError", "find_pieces", "read_pieces"]

BoolArray = npt.NDArray[np.bool_]
FloatArray = npt.NDArray[np.float64]

#: Share of the stain's diameter that is read; its edge is darker (common practice: central 60 to 70 %).
_CENTRAL_SHARE = 0.65

#: Fewest pixels that a stain's middle, or the blank film round it, is read from [1].
_LEAST_PIXELS = 40

#: Film this close to a stain or to a cut edge is not used as blank reference [mm].
_BLANK_CLEARANCE_MM = 1.2

#: Smaller than this, what departs from the backing is dust or a scratch and is not told of [mm^2].
_LEAST_TOLD = 6.0

#: Least departure from the backing, relative, that counts as film.
_LEAST_CONTRAST = 0.02


@dataclass(frozen=True)
class FoundPiece:
    """One piece of film on the glass.

    Attributes
    ----------
    centre : tuple of float
        Centre of its stain, or of the piece where no stain shows: x, y from the scan's upper left [mm].
    mask : ndarray of bool
        Film pixels of the piece, within `place`.
    place : tuple of slice
        Where the mask lies in the coarse picture.
    outline : ndarray, shape (n, 2)
        Its edge, from the scan's upper left, y down [mm].
    refused : str
        Why it is not taken for a calibration piece; empty where it is.
    counted : bool
        Whether it counts as one of the scan's pieces, sound or not.
    """

    centre: tuple[float, float]
    mask: BoolArray
    place: tuple[slice, slice]
    outline: FloatArray
    refused: str = ""
    counted: bool = True


class PiecesError(PrintError):
    """A calibration scan whose pieces are not those of the record; carries what was found, to be drawn.

    Parameters
    ----------
    message, where, remedy : str
        As for every error.
    found : sequence of FoundPiece
        Everything found: the pieces in reading order, then what is refused.
    """

    def __init__(self, message: str, *, where: str, remedy: str, found: Sequence[FoundPiece]) -> None:
        super().__init__(message, where=where, remedy=remedy)
        self.found = tuple(found)


def _backing_fit(picture: ScanPicture) -> npt.NDArray[np.float64]:
    """Fit what lies behind the film from the scan's outermost 2 mm, as a quadratic in x and y."""
    rows, cols, channels = picture.coarse.shape
    width = max(2, round(2.0 / picture.coarse_mm[0]))
    y, x = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, cols), indexing="ij")
    terms = np.stack([np.ones_like(x), x, y, x * y, x**2, y**2], axis=-1)
    rim = np.ones((rows, cols), bool)
    rim[width:-width, width:-width] = False
    fitted = np.empty_like(picture.coarse, dtype=float)
    for channel in range(channels):
        values, design = picture.coarse[..., channel][rim], terms[rim]
        keep = np.ones(len(values), bool)
        for _ in range(4):
            factors = np.linalg.lstsq(design[keep], values[keep], rcond=None)[0]
            misfit = values - design @ factors
            keep = np.abs(misfit) <= 3.5 * 1.4826 * np.median(np.abs(misfit[keep])) + 1e-9
        fitted[..., channel] = terms @ factors
    return fitted


def _film_mask(picture: ScanPicture) -> BoolArray:
    backing = np.maximum(_backing_fit(picture), 1e-3)
    departure = np.abs(picture.coarse / backing - 1.0).max(axis=-1)
    rim = np.concatenate([departure[:3].ravel(), departure[-3:].ravel()])
    noise = 1.4826 * float(np.median(np.abs(rim - np.median(rim)))) + float(np.median(rim))
    mask = departure > max(_LEAST_CONTRAST, 5.0 * noise)
    return np.asarray(ndimage.binary_fill_holes(ndimage.binary_opening(mask, iterations=2)))


def find_pieces(picture: ScanPicture, *, disc_mm: float, expected: int) -> list[FoundPiece]:
    """Find the pieces and put them in reading order: row by row, left to right.

    Parameters
    ----------
    picture : ScanPicture
        The calibration scan.
    disc_mm : float
        Diameter of the loaded disc [mm].
    expected : int
        How many pieces the record lists.

    Returns
    -------
    list of FoundPiece
        The pieces, and behind them what is too small for one.

    Raises
    ------
    PiecesError
        If another number of pieces is found than expected.
    """
    parts = _parts(picture, disc_mm)
    pieces = _reading_order([one for one in parts if one.counted])
    found = [*pieces, *(one for one in parts if not one.counted)]
    if len(pieces) != expected:
        raise PiecesError(
            f"{len(pieces)} pieces of film were found on the scan, but the record lists {expected}",
            where=picture.name,
            remedy="lay the pieces apart from each other and from the edge, on one even backing, "
            "and list them all in reading order",
            found=found,
        )
    return found


def _parts(picture: ScanPicture, disc_mm: float) -> list[FoundPiece]:
    """Return everything that departs from the backing and is more than dust."""
    labels, _ = ndimage.label(_film_mask(picture))
    pixel_area = picture.coarse_mm[0] * picture.coarse_mm[1]
    least = 0.8 * disc_mm**2
    found = []
    for index, place in enumerate(ndimage.find_objects(labels), start=1):
        mask = labels[place] == index
        area = float(mask.sum()) * pixel_area
        if area < min(least, _LEAST_TOLD):
            continue
        counted = area >= least
        centre = _stain_centre(picture, mask, place, disc_mm) if counted else _middle(picture, mask, place)
        small = f"{area:.0f} mm² is too small for a piece, which has {least:.0f} mm² at least"
        outline = _outline(picture, mask, place)
        found.append(FoundPiece(centre, mask, place, outline, "" if counted else small, counted))
    return found


def _outline(picture: ScanPicture, mask: BoolArray, place: tuple[slice, slice]) -> FloatArray:
    """Return the longest edge of a part [mm]."""
    walled = np.pad(mask.astype(float), 1)
    lines = contourpy.contour_generator(z=walled, line_type=contourpy.LineType.Separate).lines(0.5)
    longest: FloatArray = max((np.asarray(line, np.float64) for line in lines), key=len)
    edge = longest - 0.5
    return np.asarray((edge + np.array([place[1].start, place[0].start])) * picture.coarse_mm)


def _middle(
    picture: ScanPicture, weight: npt.NDArray[np.generic], place: tuple[slice, slice]
) -> tuple[float, float]:
    """Return the centre of what weighs, from the scan's upper left [mm]."""
    row, col = ndimage.center_of_mass(weight)
    return (
        float((place[1].start + col + 0.5) * picture.coarse_mm[0]),
        float((place[0].start + row + 0.5) * picture.coarse_mm[1]),
    )


def _stain_centre(
    picture: ScanPicture, mask: BoolArray, place: tuple[slice, slice], disc_mm: float
) -> tuple[float, float]:
    """Return the stain's centre of darkness, or the piece's centre where nothing darkens."""
    inner = ndimage.binary_erosion(mask, iterations=_pixels(picture, _BLANK_CLEARANCE_MM))
    light = picture.coarse[place].min(axis=-1)
    blank = float(np.quantile(light[inner], 0.9)) if inner.any() else 1.0
    weight = np.where(inner, np.clip(1 - light / blank - 0.1, 0.0, None), 0.0)
    weight = np.where(weight > 0.5 * weight.max(initial=0.0), weight, 0.0)
    enough = weight.astype(bool).sum() * picture.coarse_mm[0] * picture.coarse_mm[1] > 0.25 * disc_mm**2
    return _middle(picture, weight if enough else mask.astype(float), place)


def _pixels(picture: ScanPicture, length: float) -> int:
    return max(1, round(length / picture.coarse_mm[0]))


def _reading_order(pieces: list[FoundPiece]) -> list[FoundPiece]:
    by_height = sorted(pieces, key=lambda piece: piece.place[0].start)
    rows: list[list[FoundPiece]] = []
    for piece in by_height:
        middle = (piece.place[0].start + piece.place[0].stop) / 2
        if rows and middle < rows[-1][0].place[0].stop:
            rows[-1].append(piece)
        else:
            rows.append([piece])
    return [piece for row in rows for piece in sorted(row, key=lambda piece: piece.place[1].start)]


def _clipped_mean(values: npt.NDArray[np.float32], sigmas: float = 4.0) -> float:
    """Return the mean without dust: values beyond `sigmas` robust deviations are left out."""
    centre = np.median(values)
    spread = 1.4826 * np.median(np.abs(values - centre)) + 1e-9
    return float(values[np.abs(values - centre) <= sigmas * spread].mean(dtype=np.float64))


def read_pieces(
    picture: ScanPicture, pieces: list[FoundPiece], pressures: tuple[float, ...], *, disc_mm: float
) -> list[PieceReading]:
    """Read the darkening of every piece against its own unstained margin.

    Parameters
    ----------
    picture : ScanPicture
        The calibration scan.
    pieces : list of FoundPiece
        Pieces in reading order; what is refused behind them is left out.
    pressures : tuple of float
        Pressure of every piece, in the same order [MPa].
    disc_mm : float
        Diameter of the loaded disc [mm].

    Returns
    -------
    list of PieceReading
        One reading a piece.

    Raises
    ------
    PiecesError
        If a piece leaves no blank margin beside its stain.
    """
    taken = [piece for piece in pieces if piece.counted]
    areas = [_core_and_margin(picture, piece, disc_mm) for piece in taken]
    bare = [margin.sum() < _LEAST_PIXELS or core.sum() < _LEAST_PIXELS for core, margin in areas]
    if any(bare):
        first = next(pressure for pressure, is_bare in zip(pressures, bare, strict=True) if is_bare)
        raise PiecesError(
            f"the piece of {first:g} MPa leaves no blank film beside its stain",
            where=picture.name,
            remedy=f"cut pieces at least {disc_mm + 8:.0f} mm wide and load them in the middle",
            found=[
                *(
                    replace(piece, refused="no blank film is left beside its stain") if is_bare else piece
                    for piece, is_bare in zip(taken, bare, strict=True)
                ),
                *(piece for piece in pieces if not piece.counted),
            ],
        )
    return [
        _read_piece(picture, piece, pressure, *area)
        for piece, pressure, area in zip(taken, pressures, areas, strict=True)
    ]


def _core_and_margin(picture: ScanPicture, piece: FoundPiece, disc_mm: float) -> tuple[BoolArray, BoolArray]:
    """Return the middle of the stain and the blank film round it, within the piece's place."""
    width, height = picture.coarse_mm
    rows = (np.arange(piece.place[0].start, piece.place[0].stop) + 0.5) * height - piece.centre[1]
    cols = (np.arange(piece.place[1].start, piece.place[1].stop) + 0.5) * width - piece.centre[0]
    distance = np.hypot(rows[:, None], cols[None, :])
    core = (distance < _CENTRAL_SHARE * disc_mm / 2) & piece.mask
    film = ndimage.binary_erosion(piece.mask, iterations=_pixels(picture, _BLANK_CLEARANCE_MM))
    return core, film & (distance > disc_mm / 2 + _BLANK_CLEARANCE_MM)


def _read_piece(
    picture: ScanPicture, piece: FoundPiece, pressure: float, core: BoolArray, margin: BoolArray
) -> PieceReading:
    width, height = picture.coarse_mm
    light = picture.coarse[piece.place]
    signal, grain = [], []
    for channel in range(light.shape[-1]):
        blank = _clipped_mean(light[..., channel][margin])
        values = 1.0 - light[..., channel][core] / blank
        signal.append(_clipped_mean(values))
        grain.append(_grain(1.0 - light[..., channel] / blank, core) * float(np.sqrt(width * height)))
    return PieceReading(pressure, tuple(signal), tuple(grain))


def _grain(values: npt.NDArray[np.float32], core: BoolArray) -> float:
    """Return the pixel-to-pixel deviation, slow unevenness of the stain taken out by differences."""
    across = (values[:, 1:] - values[:, :-1])[core[:, 1:] & core[:, :-1]]
    return float(1.4826 * np.median(np.abs(across - np.median(across))) / np.sqrt(2))
