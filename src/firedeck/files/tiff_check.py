"""Whether a TIFF page can be read, whether it can be measured, and where its pixels stand.

Everything that reading needs is checked here, before a single pixel is decoded: pieces that lie
outside the file, sizes that contradict each other, and sizes that no scan of paper has.

Source of tags and their defaults: TIFF Revision 6.0 (1992), sections 3 to 15; TIFF Technical Note
2 and the registered compression numbers as libtiff documents them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from firedeck.files.scan_limits import LARGE_PIECE, MAX_PIECE, MAX_PIXELS, MAX_SHRINK
from firedeck.files.tiff_directory import Directory

__all__ = ["TiffLayout", "check_size", "layout_of_pixels", "reason_by_encoding"]

_WIDTH, _HEIGHT, _BITS, _COMPRESSION, _PHOTOMETRIC, _FILL_ORDER = 256, 257, 258, 259, 262, 266
_SAMPLES, _ROWS_PER_STRIP, _PLANAR, _PREDICTOR, _SAMPLE_FORMAT = 277, 278, 284, 317, 339
_STRIP_OFFSETS, _STRIP_COUNTS = 273, 279
_TILE_WIDTH, _TILE_HEIGHT, _TILE_OFFSETS, _TILE_COUNTS = 322, 323, 324, 325

_MOST_SAMPLES = 16

#: Compression number -> name, for those that give back exactly what the scanner stored.
LOSSLESS = {
    1: "none",
    5: "lzw",
    8: "deflate",
    32773: "packbits",
    32946: "deflate",
    34925: "lzma",
    34926: "zstd",
    50000: "zstd",
}
#: Compressions that the differencing predictor is defined for.
_DIFFERENCED = frozenset({5, 8, 32946, 34925, 34926, 50000})
_LOSSY = {
    6: "JPEG",
    7: "JPEG",
    22610: "JPEG XR",
    34887: "limited-error",
    34892: "JPEG",
    34927: "WebP",
    34934: "JPEG XR",
    50001: "WebP",
    50002: "JPEG XL",
    52546: "JPEG XL",
    **dict.fromkeys((33003, 33004, 33005, 34712), "JPEG 2000"),
}
_FAX = frozenset({2, 3, 4, 32771})
_NOT_SCANNER_COLOURS = {
    3: "its colours come from a palette of a few",
    4: "it is a mask, not a picture",
    5: "its colours are mixed for printing inks",
    6: "its colours are split into brightness and reduced colour",
    8: "its colours were converted to another colour space",
    9: "its colours were converted to another colour space",
    10: "its colours were converted to another colour space",
}
_AS_TIFF = "save it from the scanning program as an uncompressed 16-bit RGB or grey TIFF"


@dataclass(frozen=True)
class TiffLayout:
    """Where the pixels of a page stand and how they are stored.

    Attributes
    ----------
    height, width : int
        Size as stored [pixel].
    samples : int
        Values per pixel, extra ones included.
    colours : int
        1 for grey, 3 for red, green, blue.
    bits : int
        Bits per value, 8 or 16.
    order : str
        Byte order in the file, ``<`` or ``>``.
    separate : bool
        Whether each sample has its own plane.
    compression : str
        A name from `LOSSLESS`.
    differenced : bool
        Whether values are stored as differences along rows.
    white_is_zero : bool
        Whether grey values count from white.
    piece_height, piece_width : int
        Size of a strip or tile [pixel].
    tiled : bool
        Whether pieces are tiles; strips are as wide as the picture.
    offsets, counts : ndarray of int64
        Place and stored size of each piece [byte], planes one after the other.
    """

    height: int
    width: int
    samples: int
    colours: int
    bits: int
    order: Literal["<", ">"]
    separate: bool
    compression: str
    differenced: bool
    white_is_zero: bool
    piece_height: int
    piece_width: int
    tiled: bool
    offsets: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    counts: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))

    @property
    def dtype(self) -> np.dtype[np.uint8] | np.dtype[np.uint16]:
        """Type of the values as stored."""
        return np.dtype(np.uint8) if self.bits == 8 else np.dtype(np.uint16).newbyteorder(self.order)

    @property
    def samples_in_piece(self) -> int:
        """Values per pixel within one strip or tile."""
        return 1 if self.separate else self.samples

    @property
    def row_bytes(self) -> int:
        """Size of one row of a piece, decoded [byte]."""
        return self.piece_width * self.samples_in_piece * self.bits // 8

    @property
    def pieces_across(self) -> int:
        """Pieces side by side."""
        return -(-self.width // self.piece_width)

    @property
    def pieces_down(self) -> int:
        """Pieces one below the other."""
        return -(-self.height // self.piece_height)

    def rows_in_piece(self, index: int) -> int:
        """Rows stored in a piece: the last strip holds only what is left, a tile is always whole."""
        if self.tiled:
            return self.piece_height
        down = index % self.pieces_down
        return min(self.piece_height, self.height - down * self.piece_height)

    def decoded_sizes(self) -> NDArray[np.int64]:
        """Size of each piece once decoded [byte]."""
        sizes = np.full(self.offsets.size, self.piece_height * self.row_bytes, np.int64)
        if not self.tiled:
            last = self.rows_in_piece(self.pieces_down - 1) * self.row_bytes
            sizes[self.pieces_down - 1 :: self.pieces_down] = last
        return sizes


def check_size(directory: Directory) -> tuple[int, int]:
    """Return height and width of a page [pixel].

    Raises
    ------
    ScanError
        If either is missing or zero, or the picture is larger than any scan.
    """
    height, width = directory.number(_HEIGHT, 0), directory.number(_WIDTH, 0)
    fault = directory.stream.fault
    if height <= 0 or width <= 0:
        raise fault(f"its size is stated as {width} by {height} pixels")
    if height * width > MAX_PIXELS:
        raise fault(
            f"it claims {width} by {height} pixels, more than the {MAX_PIXELS // 10**9} gigapixels that "
            "a scan may have",
            "scan at a lower resolution, or scan the sheet in parts",
        )
    return height, width


def reason_by_encoding(directory: Directory) -> str:
    """Say why nothing may be measured from a page as it is encoded; empty if it may.

    Raises
    ------
    ScanError
        If it cannot even be shown.
    """
    fault = directory.stream.fault
    bits = _bits(directory)
    if bits not in (1, 2, 4, 8, 16):
        raise fault(f"its values have {bits} bits, where 8 or 16 are read", _AS_TIFF)
    if directory.number(_SAMPLE_FORMAT, 1) not in (1, 4):
        raise fault("its values are signed or fractional numbers, where plain counts are read", _AS_TIFF)
    compression = directory.number(_COMPRESSION, 1)
    if compression in _LOSSY:
        return (
            f"Nothing can be measured from it: {_LOSSY[compression]} compression changes the values "
            "the scanner read."
        )
    photometric = _photometric(directory)
    if photometric in _NOT_SCANNER_COLOURS:
        return f"Nothing can be measured from it: {_NOT_SCANNER_COLOURS[photometric]}."
    if photometric not in (0, 1, 2):
        raise fault("it holds a camera's raw data or another kind of values that is not read", _AS_TIFF)
    if bits < 8 or compression in _FAX:
        return f"Nothing can be measured from it: {bits} bits a value leave only {2**bits} steps of grey."
    if compression not in LOSSLESS:
        raise fault(f"its compression, number {compression}, is not read", _AS_TIFF)
    return ""


def layout_of_pixels(directory: Directory) -> tuple[TiffLayout, tuple[str, ...]]:
    """Return where the pixels stand, checked against the size of the file.

    Parameters
    ----------
    directory : Directory
        Tags of a page that `reason_by_encoding` has nothing against.

    Returns
    -------
    layout : TiffLayout
        Everything decoding needs.
    notes : tuple of str
        What was assumed.

    Raises
    ------
    ScanError
        If pieces are missing, lie outside the file or do not add up to the picture.
    """
    height, width = check_size(directory)
    fault = directory.stream.fault
    colours = 3 if _photometric(directory) == 2 else 1
    samples = directory.number(_SAMPLES, 1)
    if not colours <= samples <= _MOST_SAMPLES:
        raise fault(f"it claims {samples} values per pixel, where {colours} are needed")
    piece_height, piece_width = _piece_size(directory, height, width)
    compression = directory.number(_COMPRESSION, 1)
    layout = TiffLayout(
        height=height,
        width=width,
        samples=samples,
        colours=colours,
        bits=_bits(directory),
        order=directory.stream.order,
        separate=directory.number(_PLANAR, 1) == 2 and samples > 1,
        compression=LOSSLESS[compression],
        differenced=_differenced(directory, compression),
        white_is_zero=_photometric(directory) == 0,
        piece_height=piece_height,
        piece_width=piece_width,
        tiled=_TILE_WIDTH in directory,
    )
    layout = _with_pieces(directory, layout)
    _check_pieces(directory, layout)
    return layout, _layout_notes(directory, layout)


def _bits(directory: Directory) -> int:
    values = directory.counts(_BITS, most=_MOST_SAMPLES)
    if values.size == 0:
        return 1
    if np.any(values != values[0]):
        raise directory.stream.fault("its channels differ in their number of bits", _AS_TIFF)
    return int(values[0])


def _photometric(directory: Directory) -> int:
    by_default = 2 if directory.number(_SAMPLES, 1) >= 3 else 1
    return directory.number(_PHOTOMETRIC, by_default)


def _piece_size(directory: Directory, height: int, width: int) -> tuple[int, int]:
    if _TILE_WIDTH in directory:
        piece_height, piece_width = directory.number(_TILE_HEIGHT, 0), directory.number(_TILE_WIDTH, 0)
    else:
        piece_height, piece_width = min(directory.number(_ROWS_PER_STRIP, height), height), width
    if piece_height <= 0 or piece_width <= 0:
        raise directory.stream.fault(f"its pieces are stated to be {piece_width} by {piece_height} pixels")
    return piece_height, piece_width


def _differenced(directory: Directory, compression: int) -> bool:
    predictor = directory.number(_PREDICTOR, 1)
    if predictor not in (1, 2) or (predictor == 2 and compression not in _DIFFERENCED):
        raise directory.stream.fault(
            f"its values are stored as differences of kind {predictor}, which readers do not agree on",
            _AS_TIFF,
        )
    if directory.number(_FILL_ORDER, 1) != 1:
        raise directory.stream.fault("its bits are stored in reverse order", _AS_TIFF)
    return predictor == 2


def _with_pieces(directory: Directory, layout: TiffLayout) -> TiffLayout:
    offset_tag, count_tag = (_TILE_OFFSETS, _TILE_COUNTS) if layout.tiled else (_STRIP_OFFSETS, _STRIP_COUNTS)
    planes = layout.samples if layout.separate else 1
    expected = layout.pieces_across * layout.pieces_down * planes
    fault = directory.stream.fault
    places = []
    for tag in (offset_tag, count_tag):
        values = directory.counts(tag, most=expected)
        if values.size != expected:
            raise fault(f"it should have {expected} pieces, but its tag {tag} lists {values.size}")
        if np.any(values > directory.stream.size):
            raise fault("it is cut short or damaged: a piece of the picture lies outside the file")
        places.append(values.astype(np.int64))
    return replace(layout, offsets=places[0], counts=places[1])


def _check_pieces(directory: Directory, layout: TiffLayout) -> None:
    fault = directory.stream.fault
    offsets, counts = layout.offsets, layout.counts
    if np.any(counts == 0) or np.any(offsets == 0):
        raise fault("pieces of the picture are missing")
    if np.any(offsets + counts > directory.stream.size) or counts.sum() > directory.stream.size:
        raise fault("it is cut short or damaged: the picture needs more data than the file has")
    if layout.compression == "none" and np.any(counts < layout.decoded_sizes()):
        raise fault("it is damaged: a piece of the picture is smaller than its size in pixels demands")
    if layout.compression != "none":
        _check_shrinking(directory, layout)


def _check_shrinking(directory: Directory, layout: TiffLayout) -> None:
    fault = directory.stream.fault
    piece = layout.row_bytes * layout.piece_height
    if piece > MAX_PIECE:
        raise fault(f"it is compressed in pieces of {piece / 1e9:.1f} GB, too large to open", _AS_TIFF)
    shrink = piece * layout.counts.size / int(layout.counts.sum())
    if shrink > MAX_SHRINK:
        raise fault(f"it claims to be {shrink:.0f} times larger than its data, which no scan is")


def _layout_notes(directory: Directory, layout: TiffLayout) -> tuple[str, ...]:
    notes = []
    if _PHOTOMETRIC not in directory:
        notes.append("The file does not say what its values mean; they are taken as light on black.")
    if layout.samples > layout.colours:
        notes.append(
            f"{layout.samples - layout.colours} extra channel(s), such as transparency or infrared, "
            "are left out."
        )
    if layout.white_is_zero:
        notes.append("The file counts grey from white; its values were turned to count from black.")
    if layout.compression not in ("none", "deflate") and layout.piece_height * layout.row_bytes > LARGE_PIECE:
        notes.append(
            "The file is compressed in few large pieces, so reading it needs memory for a whole piece; "
            "strips or tiles of a few hundred rows would not."
        )
    return tuple(notes)
