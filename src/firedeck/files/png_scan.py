"""Reading PNG scans: what the chunks say, and the pixels in bands of rows.

Rows are inflated in one thread and unfiltered in a second while a third uses the band before, so
that neither memory nor waiting grows with the picture.

Source of the layout: PNG (Portable Network Graphics) Specification, RFC 2083 (1997), sections 3 to
6; iCCP and sRGB after PNG Specification Version 1.2 (1999), sections 4.2.2.3 and 4.2.2.4 (numbers
from memory); eXIf after Extensions to the PNG 1.2 Specification, Version 1.5.0 (2017).
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Generator, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from firedeck.errors import FiredeckError, ScanError
from firedeck.files.camera_marks import camera_reason
from firedeck.files.icc_profile import IccProfile, read_icc_profile
from firedeck.files.picture_file import PictureSource
from firedeck.files.scan_limits import BAND_BYTES, DAMAGED, MAX_PIXELS, MAX_SHRINK
from firedeck.files.scan_resolution import credible_resolution
from firedeck.files.span_reader import SpanInflater, SpanReader
from firedeck.files.stored_scan import Block, CodeValues, StoredScan, one_ahead, pick_channels
from firedeck.files.tiff_directory import TiffStream
from firedeck.kernel.png_filter import undo_row_filters
from firedeck.kernel.transfer import Transfer

__all__ = ["PngSource", "read_png"]

_SIGNATURE_BYTES = 8
#: Colour type -> values per pixel, colours among them.
_SAMPLES = {0: (1, 1), 2: (3, 3), 3: (1, 3), 4: (2, 1), 6: (4, 3)}
_PALETTE = 3
_KEPT = frozenset({b"IHDR", b"pHYs", b"gAMA", b"sRGB", b"iCCP", b"eXIf"})
_MOST_CHUNKS = 1_000_000
_MOST_KEPT_BYTES = 16_000_000
_ORIENTATION = 274


@dataclass(frozen=True)
class _PngFile:
    """Chunks of a PNG file: the small ones kept whole, the picture's located."""

    name: str
    kept: Mapping[bytes, bytes]
    offsets: NDArray[np.int64]
    counts: NDArray[np.int64]

    def fault(self, message: str, remedy: str = DAMAGED) -> ScanError:
        return ScanError(message, where=self.name, remedy=remedy)


@dataclass(frozen=True)
class _Header:
    width: int
    height: int
    bits: int
    colour_type: int

    @property
    def row_bytes(self) -> int:
        return (self.width * _SAMPLES[self.colour_type][0] * self.bits + 7) // 8


def read_png(path: Path, name: str, page: int) -> StoredScan:
    """Read what a PNG file says about itself, and prepare to read its pixels.

    Parameters
    ----------
    path : Path
        File.
    name : str
        Name that faults are reported under.
    page : int
        Must be 0: a PNG file holds one picture.

    Returns
    -------
    StoredScan
        The picture in its stored orientation.

    Raises
    ------
    ScanError
        If the file is damaged or of a kind that is not read.
    """
    with path.open("rb") as stream:
        png = _walk(stream, name)
    if page:
        raise png.fault(f"it has 1 page, so there is no page {page + 1}", "leave the page out")
    header = _header(png)
    _check_data_size(png, header)
    orientation, by_camera, camera_notes = _camera_data(png)
    resolution, resolution_notes = _resolution(png)
    profile, encoding, encoding_notes = _encoding(png)
    reason = _reason(header)
    samples, colours = _SAMPLES[header.colour_type]
    notes = ("An extra channel for transparency is left out.",) if samples > colours else ()
    return StoredScan(
        height=header.height,
        width=header.width,
        channels=3 if reason else colours,
        bits=8 if reason else header.bits,
        source=PictureSource(path, name, (header.height, header.width))
        if reason
        else PngSource(path, png, header),
        orientation=orientation,
        resolution=resolution,
        profile=profile,
        encoding=encoding,
        picture_only=reason or by_camera,
        notes=notes + camera_notes + resolution_notes + encoding_notes,
    )


def _walk(stream: BinaryIO, name: str) -> _PngFile:
    kept: dict[bytes, bytes] = {}
    spans: list[tuple[int, int]] = []
    png = _PngFile(name, kept, np.empty(0, np.int64), np.empty(0, np.int64))
    size = stream.seek(0, io.SEEK_END)
    at = _SIGNATURE_BYTES
    for _ in range(_MOST_CHUNKS):
        length, kind = _chunk_head(stream, at, size, png)
        if kind == b"IEND":
            offsets, counts = np.array(spans, np.int64).reshape(-1, 2).T
            return _PngFile(name, kept, offsets, counts)
        if kind == b"IDAT":
            spans.append((at + 8, length))
        elif kind in _KEPT:
            kept.setdefault(kind, _chunk_data(stream, kind, length, png))
        elif kind[:1].isupper() and kind != b"PLTE":
            raise png.fault(f"it has a part of the unknown kind {kind!r} that cannot be skipped")
        at += 12 + length
    raise png.fault("it is made of absurdly many parts")


def _chunk_head(stream: BinaryIO, at: int, size: int, png: _PngFile) -> tuple[int, bytes]:
    stream.seek(at)
    head = stream.read(8)
    if len(head) < 8:
        raise png.fault("it is cut short: its end mark is missing")
    length, kind = struct.unpack(">I4s", head)
    if at + 12 + length > size:
        raise png.fault("it is cut short or damaged: a part of it reaches beyond the end of the file")
    return length, kind


def _chunk_data(stream: BinaryIO, kind: bytes, length: int, png: _PngFile) -> bytes:
    if length > _MOST_KEPT_BYTES:
        raise png.fault(f"its part {kind.decode()} is absurdly large")
    data = stream.read(length)
    check_sum = stream.read(4)
    if zlib.crc32(kind + data).to_bytes(4, "big") != check_sum:
        raise png.fault(f"it is damaged: the check sum of its part {kind.decode()} is wrong")
    return data


def _header(png: _PngFile) -> _Header:
    data = png.kept.get(b"IHDR", b"")
    if len(data) != 13:
        raise png.fault("it has no header")
    width, height, bits, colour_type, packing, filtering, interlaced = struct.unpack(">IIBBBBB", data)
    if width == 0 or height == 0 or width * height > MAX_PIXELS:
        raise png.fault(f"its size is stated as {width} by {height} pixels, which no scan has")
    if colour_type not in _SAMPLES or bits not in (1, 2, 4, 8, 16) or packing or filtering:
        raise png.fault("its header describes a kind of PNG that does not exist")
    if bits < 8 and colour_type not in (0, _PALETTE):
        raise png.fault("its header describes a kind of PNG that does not exist")
    if interlaced:
        raise png.fault(
            "its rows are interlaced for slow networks, so it cannot be read from top to bottom",
            "save it without interlacing, or scan the sheet again as TIFF",
        )
    return _Header(width, height, bits, colour_type)


def _check_data_size(png: _PngFile, header: _Header) -> None:
    stored = int(png.counts.sum())
    if stored == 0:
        raise png.fault("it holds no picture")
    shrink = header.height * (header.row_bytes + 1) / stored
    if shrink > MAX_SHRINK:
        raise png.fault(f"it claims to be {shrink:.0f} times larger than its data, which no scan is")


def _reason(header: _Header) -> str:
    if header.colour_type == _PALETTE:
        return "Nothing can be measured from it: its colours come from a palette of a few."
    if header.bits < 8:
        return (
            f"Nothing can be measured from it: {header.bits} bits a value leave only "
            f"{2**header.bits} steps of grey."
        )
    return ""


def _resolution(png: _PngFile) -> tuple[tuple[float, float] | None, tuple[str, ...]]:
    data = png.kept.get(b"pHYs", b"")
    if len(data) != 9:
        return credible_resolution(None, None)
    x, y, unit = struct.unpack(">IIB", data)
    if unit != 1:
        return None, ("The file states a resolution without a unit; it is not used.",)
    return credible_resolution(x / 1000.0, y / 1000.0)


def _camera_data(png: _PngFile) -> tuple[int, str, tuple[str, ...]]:
    data = png.kept.get(b"eXIf", b"")
    if not data:
        return 1, "", ()
    try:
        directory = next(TiffStream(io.BytesIO(data), png.name).directories(), None)
        orientation = directory.number(_ORIENTATION, 1) if directory else 1
    except ScanError:
        return 1, "", ("The file's camera data is damaged and was ignored.",)
    reason, notes = camera_reason(directory) if directory else ("", ())
    return (orientation if 1 <= orientation <= 8 else 1), reason, notes


def _encoding(png: _PngFile) -> tuple[IccProfile | None, Transfer | None, tuple[str, ...]]:
    """Return profile and declared encoding; a profile goes before sRGB, and sRGB before gamma."""
    profile, notes = _profile(png)
    if b"sRGB" in png.kept:
        return profile, Transfer.srgb(), notes
    data = png.kept.get(b"gAMA", b"")
    if len(data) != 4:
        return profile, None, notes
    (stored,) = struct.unpack(">I", data)
    try:
        return profile, Transfer.from_gamma(100_000 / stored if stored else 0.0), notes
    except FiredeckError:
        return profile, None, (*notes, "The file states an impossible gamma; it is not used.")


def _profile(png: _PngFile) -> tuple[IccProfile | None, tuple[str, ...]]:
    data = png.kept.get(b"iCCP", b"")
    if not data:
        return None, ()
    _, _, packed = data.partition(b"\0")
    try:
        plain = zlib.decompressobj().decompress(packed[1:], _MOST_KEPT_BYTES)
    except zlib.error:
        plain = b""
    profile = read_icc_profile(plain)
    return profile, () if profile else ("The file's colour profile is damaged and was ignored.",)


@dataclass(frozen=True)
class PngSource:
    """Pixels of a PNG file.

    Attributes
    ----------
    path : Path
        File.
    png : _PngFile
        Its chunks.
    header : _Header
        Its size and kind.
    """

    path: Path
    png: _PngFile
    header: _Header

    def blocks(self, channels: tuple[int, ...], rows: int) -> Iterator[Block]:
        """Yield bands of rows over the whole width, decoding in threads ahead of their use."""
        rows = max(1, min(rows, BAND_BYTES // self.header.row_bytes))
        with self.path.open("rb", buffering=0) as stream:
            inflated = one_ahead(self._inflated(SpanReader(stream, self.png.name), rows))
            yield from one_ahead(self._unfiltered(inflated, channels))

    def _inflated(self, reader: SpanReader, rows: int) -> Generator[NDArray[np.uint8]]:
        inflater = SpanInflater(reader, self.png.offsets, self.png.counts)
        size = self.header.row_bytes + 1
        for top in range(0, self.header.height, rows):
            count = min(rows, self.header.height - top)
            yield inflater.take(count * size).reshape(count, size)
        inflater.finish(exact=True)

    def _unfiltered(self, bands: Generator[NDArray[np.uint8]], channels: tuple[int, ...]) -> Generator[Block]:
        header = self.header
        samples = _SAMPLES[header.colour_type][0]
        before, top = np.zeros(header.row_bytes, np.uint8), 0
        for band in bands:
            if undo_row_filters(band, before, samples * header.bits // 8) >= 0:
                raise self.png.fault("it is damaged: a row is filtered in an unknown way")
            before = band[-1, 1:].copy()
            yield Block(top, 0, self._wanted(band, channels))
            top += band.shape[0]

    def _wanted(self, band: NDArray[np.uint8], channels: tuple[int, ...]) -> CodeValues:
        """Copy the wanted channels of unfiltered rows, in the machine's byte order."""
        header = self.header
        samples = _SAMPLES[header.colour_type][0]
        dtype = np.dtype(np.uint8 if header.bits == 8 else ">u2")
        # The filter number before each row leaves 16-bit values at odd addresses: hence no plain view.
        values: CodeValues = np.ndarray(
            (band.shape[0], header.width, samples),
            dtype,
            buffer=band.data,
            offset=1,
            strides=(band.strides[0], samples * dtype.itemsize, dtype.itemsize),
        )
        return pick_channels(values, channels).astype(dtype.newbyteorder("="))
