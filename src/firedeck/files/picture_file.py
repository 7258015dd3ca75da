"""Pictures that may be looked at but not measured: JPEG, palettes, fax, printing colours."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from firedeck.errors import ScanError
from firedeck.files.scan_resolution import credible_resolution
from firedeck.files.stored_scan import Block, CodeValues, StoredScan

if TYPE_CHECKING:
    from PIL.Image import Image

__all__ = ["PictureSource", "read_picture"]

_FORMATS = ("JPEG", "PNG", "TIFF", "BMP", "WEBP", "GIF")
_ORIENTATION = 274
_MM_PER_INCH = 25.4
_AS_TIFF = "scan the sheet as a 16-bit RGB or grey TIFF"
#: Largest picture opened only to be looked at [pixel]; it is held in memory whole.
_MAX_PIXELS = 150_000_000
#: A larger picture must have at least a byte of data for so many pixels.
_FREE_PIXELS, _PIXELS_PER_BYTE = 40_000_000, 1500


def read_picture(path: Path, name: str, page: int) -> StoredScan:
    """Read the size of a picture in a format that nothing is measured from.

    Parameters
    ----------
    path : Path
        File.
    name : str
        Name that faults are reported under.
    page : int
        Frame, from 0.

    Returns
    -------
    StoredScan
        With `picture_only` set.

    Raises
    ------
    ScanError
        If the picture cannot be opened.
    """
    with _opened(path, name, page) as picture:
        kind, (width, height) = picture.format or "", picture.size
        orientation = _orientation(picture)
        dpi = picture.info.get("dpi") or (None, None)
    reason = (
        "Nothing can be measured from it: JPEG compression changes the values the scanner read."
        if kind == "JPEG"
        else f"Nothing is measured from {kind} files."
    )
    x, y = (float(part) / _MM_PER_INCH if part else None for part in dpi[:2])
    resolution, notes = credible_resolution(x, y)
    return StoredScan(
        height=height,
        width=width,
        channels=3,
        bits=8,
        source=PictureSource(path, name, (height, width), page),
        orientation=orientation,
        resolution=resolution,
        picture_only=f"{reason} {_AS_TIFF.capitalize()}.",
        notes=notes,
    )


@dataclass(frozen=True)
class PictureSource:
    """Pixels of a picture that is only looked at, as 8-bit red, green, blue.

    Attributes
    ----------
    path : Path
        File.
    name : str
        Name that faults are reported under.
    shape : tuple of int
        Height and width its header stated [pixel].
    frame : int
        Page of the file, previews counted.
    """

    path: Path
    name: str
    shape: tuple[int, int]
    frame: int = 0

    def blocks(self, channels: tuple[int, ...], rows: int) -> Iterator[Block]:
        """Yield bands of rows; the whole picture is in memory meanwhile."""
        with _opened(self.path, self.name, self.frame) as picture:
            values = _as_rgb(picture, self.name)
        if values.shape[:2] != self.shape:
            raise ScanError(
                "its headers contradict each other about its size", where=self.name, remedy=_AS_TIFF
            )
        for top in range(0, self.shape[0], rows):
            yield Block(top, 0, values[top : top + rows, :, list(channels)])


def _opened(path: Path, name: str, frame: int) -> Image:
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            picture = Image.open(path, formats=_FORMATS)
            picture.seek(frame)
    except Exception as problem:  # the library's readers raise whatever damaged data makes them trip over
        raise ScanError("it cannot be opened as a picture", where=name, remedy=_AS_TIFF) from problem
    width, height = picture.size
    if width * height > min(_MAX_PIXELS, max(_FREE_PIXELS, _PIXELS_PER_BYTE * path.stat().st_size)):
        picture.close()
        raise ScanError(
            f"it claims {width} by {height} pixels, too many for its data or to be only looked at",
            where=name,
            remedy=_AS_TIFF,
        )
    return picture


def _orientation(picture: Image) -> int:
    try:
        orientation = picture.getexif().get(_ORIENTATION, 1)
    except Exception:  # damaged camera data must not keep a picture from being shown
        return 1
    return orientation if isinstance(orientation, int) and 1 <= orientation <= 8 else 1


def _as_rgb(picture: Image, name: str) -> CodeValues:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            picture.load()
            if picture.mode.startswith("I;16"):
                # Converting this mode clips at 255 instead of scaling.
                grey = (np.asarray(picture) >> 8).astype(np.uint8)
                return np.repeat(grey[..., np.newaxis], 3, axis=2)
            return np.asarray(picture.convert("RGB"))
    except Exception as problem:  # as above
        raise ScanError("its picture data is damaged", where=name, remedy=_AS_TIFF) from problem
