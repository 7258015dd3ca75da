"""Reading TIFF scans: the page, what it says about itself, and its pixels in bands of rows."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firedeck.errors import ScanError
from firedeck.files.camera_marks import camera_reason
from firedeck.files.icc_profile import IccProfile, read_icc_profile
from firedeck.files.picture_file import PictureSource
from firedeck.files.scan_limits import BAND_BYTES, LARGE_PIECE
from firedeck.files.scan_resolution import credible_resolution
from firedeck.files.span_reader import SpanInflater, SpanReader
from firedeck.files.stored_scan import (
    Block,
    BlockSource,
    CodeValues,
    StoredScan,
    one_ahead,
    pick_channels,
    run_ahead,
)
from firedeck.files.tiff_check import (
    TiffLayout,
    check_size,
    layout_of_pixels,
    reason_by_encoding,
)
from firedeck.files.tiff_directory import Directory, TiffStream

__all__ = ["TiffSource", "read_tiff"]

_ORIENTATION, _X_RESOLUTION, _Y_RESOLUTION, _RESOLUTION_UNIT = 274, 282, 283, 296
_SUBFILE, _PROFILE, _TRANSFER_FUNCTION = 254, 34675, 301
_REDUCED = 1
_MM_PER_UNIT = {2: 25.4, 3: 10.0}
_MOST_PROFILE_BYTES = 16_000_000
#: Where memory bounds a band, it has a whole multiple of so many rows if it can: pixels pooled from bands
#: then seldom lie on two of them.
_EVEN_ROWS = 16


def read_tiff(path: Path, name: str, page: int) -> StoredScan:
    """Read what a TIFF file says about one page, and prepare to read its pixels.

    Parameters
    ----------
    path : Path
        File.
    name : str
        Name that faults are reported under.
    page : int
        Which page, from 0, previews not counted.

    Returns
    -------
    StoredScan
        The page in its stored orientation.

    Raises
    ------
    ScanError
        If the file is damaged or holds nothing that can be shown.
    """
    with path.open("rb") as stream:
        directories = list(TiffStream(stream, name).directories())
        pages = [index for index, each in enumerate(directories) if not _is_preview(each)]
        if not 0 <= page < len(pages):
            raise ScanError(
                f"it has {len(pages)} page(s), so there is no page {page + 1}",
                where=name,
                remedy="choose one of its pages, or scan the sheet again as TIFF",
            )
        directory = directories[pages[page]]
        height, width = check_size(directory)
        source, colours, bits, reason, notes = _pixels(path, name, directory, pages[page])
        by_camera, camera_notes = camera_reason(directory)
        resolution, resolution_notes = _resolution(directory)
        profile, profile_notes = _profile(directory)
        if len(pages) > 1:
            notes += (f"Only page {page + 1} of the {len(pages)} in the file is read.",)
        return StoredScan(
            height=height,
            width=width,
            channels=colours,
            bits=bits,
            source=source,
            orientation=_orientation(directory),
            resolution=resolution,
            profile=profile,
            picture_only=reason or by_camera,
            notes=notes + camera_notes + resolution_notes + profile_notes,
        )


def _is_preview(directory: Directory) -> bool:
    return bool(directory.number(_SUBFILE, 0) & _REDUCED)


def _pixels(
    path: Path, name: str, directory: Directory, index: int
) -> tuple[BlockSource, int, int, str, tuple[str, ...]]:
    reason = reason_by_encoding(directory)
    if reason:
        return PictureSource(path, name, check_size(directory), index), 3, 8, reason, ()
    layout, notes = layout_of_pixels(directory)
    return TiffSource(path, name, layout), layout.colours, layout.bits, "", notes


def _orientation(directory: Directory) -> int:
    orientation = directory.number(_ORIENTATION, 1)
    if not 1 <= orientation <= 8:
        raise directory.stream.fault(
            f"its orientation is stated as {orientation}, where 1 to 8 have a meaning"
        )
    return orientation


def _resolution(directory: Directory) -> tuple[tuple[float, float] | None, tuple[str, ...]]:
    unit = directory.number(_RESOLUTION_UNIT, 2)
    if unit not in _MM_PER_UNIT:
        return None, ("The file states a resolution without a unit; it is not used.",)
    x, y = (directory.ratio(tag) for tag in (_X_RESOLUTION, _Y_RESOLUTION))
    scale = _MM_PER_UNIT[unit]
    return credible_resolution(x / scale if x else None, y / scale if y else None)


def _profile(directory: Directory) -> tuple[IccProfile | None, tuple[str, ...]]:
    notes: tuple[str, ...] = ()
    if _TRANSFER_FUNCTION in directory:
        notes = ("The file has a transfer table of its own, which is not used.",)
    data = directory.raw(_PROFILE, most=_MOST_PROFILE_BYTES)
    if not data:
        return None, notes
    profile = read_icc_profile(data)
    return profile, notes if profile else (*notes, "The file's colour profile is damaged and was ignored.")


@dataclass(frozen=True)
class TiffSource:
    """Pixels of one TIFF page.

    Attributes
    ----------
    path : Path
        File.
    name : str
        Name that faults are reported under.
    layout : TiffLayout
        Where the pixels stand, already checked.
    """

    path: Path
    name: str
    layout: TiffLayout

    def blocks(self, channels: tuple[int, ...], rows: int) -> Iterator[Block]:
        """Yield bands of rows over the whole width, decoding in threads ahead of their use."""
        layout = self.layout
        row_bytes = layout.width * layout.samples * layout.bits // 8
        most = BAND_BYTES // row_bytes
        most -= most % _EVEN_ROWS if most > _EVEN_ROWS else 0
        rows = max(1, min(rows, most))
        with self.path.open("rb", buffering=0) as stream:
            pixels = _BandReader(SpanReader(stream, self.name), layout, channels)
            for block in pixels.bands(rows):
                yield self._from_black(block)

    def _from_black(self, block: Block) -> Block:
        return Block(block.row0, block.col0, ~block.values) if self.layout.white_is_zero else block


class _BandReader:
    """Decodes bands of rows of the wanted channels."""

    def __init__(self, reader: SpanReader, layout: TiffLayout, channels: tuple[int, ...]) -> None:
        self._reader = reader
        self._layout = layout
        self._channels = channels

    def bands(self, rows: int) -> Generator[Block]:
        """Yield bands of about `rows` rows from top to bottom."""
        layout = self._layout
        piece = layout.piece_height * layout.row_bytes
        if layout.compression == "none" and not layout.tiled:
            return run_ahead(self._jobs(self._stored_band, rows), ahead=2)
        if layout.compression == "deflate" and not layout.tiled and piece > LARGE_PIECE:
            return one_ahead(self._inflated_bands(rows))
        whole_pieces = max(1, rows // layout.piece_height) * layout.piece_height
        return run_ahead(self._jobs(self._decoded_band, whole_pieces), ahead=2 if piece > LARGE_PIECE else 3)

    def _jobs(self, read: Callable[[int, int], Block], rows: int) -> Iterator[Callable[[], Block]]:
        height = self._layout.height
        return (partial(read, top, min(top + rows, height)) for top in range(0, height, rows))

    @property
    def _planes(self) -> tuple[tuple[int, tuple[int, ...]], ...]:
        """Each plane to read, with the places within its pixels of the wanted channels."""
        if self._layout.separate:
            return tuple((channel, (0,)) for channel in self._channels)
        return ((0, self._channels),)

    def _stored_band(self, top: int, bottom: int) -> Block:
        """Read rows that stand in the file as they are."""
        parts = [
            _native(pick_channels(self._stored_rows(plane, top, bottom), places))
            for plane, places in self._planes
        ]
        return Block(top, 0, parts[0] if len(parts) == 1 else np.concatenate(parts, axis=2))

    def _stored_rows(self, plane: int, top: int, bottom: int) -> CodeValues:
        layout = self._layout
        data = np.empty((bottom - top) * layout.row_bytes, np.uint8)
        row, at = top, 0
        while row < bottom:
            down, inside = divmod(row, layout.piece_height)
            count = min(layout.piece_height - inside, bottom - row)
            offset = int(layout.offsets[plane * layout.pieces_down + down]) + inside * layout.row_bytes
            self._reader.fill(offset, data[at : at + count * layout.row_bytes])
            row, at = row + count, at + count * layout.row_bytes
        return self._shaped(data, bottom - top)

    def _decoded_band(self, top: int, bottom: int) -> Block:
        """Decode the whole pieces that make up a band."""
        layout = self._layout
        band: CodeValues = np.empty(
            (bottom - top, layout.width, len(self._channels)), layout.dtype.newbyteorder("=")
        )
        first = 0
        for plane, places in self._planes:
            target = band[..., first : first + len(places)]
            for row in range(top, bottom, layout.piece_height):
                self._decode_across(plane, row // layout.piece_height, places, target[row - top :])
            first += len(places)
        return Block(top, 0, band)

    def _decode_across(self, plane: int, down: int, places: tuple[int, ...], target: CodeValues) -> None:
        layout = self._layout
        for across in range(layout.pieces_across):
            index = (plane * layout.pieces_down + down) * layout.pieces_across + across
            left = across * layout.piece_width
            rows = min(layout.piece_height, target.shape[0])
            place = target[:rows, left : left + layout.piece_width]
            self._put(self._decoded(index)[:rows], places, place)

    def _decoded(self, index: int) -> CodeValues:
        layout = self._layout
        data = self._reader.take(int(layout.offsets[index]), int(layout.counts[index]))
        needed = layout.rows_in_piece(index % (layout.pieces_down * layout.pieces_across)) * layout.row_bytes
        if layout.compression != "none":
            data = _decompress(self._reader, layout.compression, data, layout.piece_height * layout.row_bytes)
        if data.size < needed:
            raise self._reader.fault("it is cut short or damaged: a piece of the picture is incomplete")
        return self._shaped(data[:needed], needed // layout.row_bytes)

    def _inflated_bands(self, rows: int) -> Generator[Block]:
        """Inflate strips too large to be held whole."""
        layout = self._layout
        for down in range(layout.pieces_down):
            top = down * layout.piece_height
            bottom = min(top + layout.piece_height, layout.height)
            pieces = [(plane * layout.pieces_down + down, places) for plane, places in self._planes]
            streams = [
                (SpanInflater(self._reader, layout.offsets[i : i + 1], layout.counts[i : i + 1]), places)
                for i, places in pieces
            ]
            for row in range(top, bottom, rows):
                yield self._inflated_band(streams, row, min(row + rows, bottom))
            for stream, _ in streams:
                stream.finish(exact=False)

    def _inflated_band(
        self, streams: list[tuple[SpanInflater, tuple[int, ...]]], top: int, bottom: int
    ) -> Block:
        layout = self._layout
        band: CodeValues = np.empty(
            (bottom - top, layout.width, len(self._channels)), layout.dtype.newbyteorder("=")
        )
        first = 0
        for stream, places in streams:
            values = self._shaped(stream.take((bottom - top) * layout.row_bytes), bottom - top)
            self._put(values, places, band[..., first : first + len(places)])
            first += len(places)
        return Block(top, 0, band)

    def _put(self, piece: CodeValues, places: tuple[int, ...], target: CodeValues) -> None:
        """Copy the wanted channels of a piece to where they belong, undoing differences."""
        import imagecodecs

        width = target.shape[1]
        if not self._layout.differenced:
            for channel, place in enumerate(places):
                target[..., channel] = piece[:, :width, place]
            return
        piece = _native(piece)
        for channel, place in enumerate(places):
            imagecodecs.delta_decode(piece[:, :width, place], axis=-1, out=target[..., channel])

    def _shaped(self, data: NDArray[np.uint8], rows: int) -> CodeValues:
        layout = self._layout
        return data.view(layout.dtype).reshape(rows, layout.piece_width, layout.samples_in_piece)


def _native(values: CodeValues) -> CodeValues:
    """Return the values in the machine's own byte order."""
    return values.astype(values.dtype.newbyteorder("="), copy=False)


def _decompress(
    reader: SpanReader, compression: str, data: NDArray[np.uint8], size: int
) -> NDArray[np.uint8]:
    """Decompress a piece into at most `size` bytes."""
    import imagecodecs

    decoders: dict[str, Any] = {
        "lzw": imagecodecs.lzw_decode,
        "deflate": imagecodecs.deflate_decode,
        "packbits": imagecodecs.packbits_decode,
        "lzma": imagecodecs.lzma_decode,
        "zstd": imagecodecs.zstd_decode,
    }
    try:
        decoded: NDArray[np.uint8] = decoders[compression](data, out=np.empty(size, np.uint8))
    except (RuntimeError, ValueError, MemoryError) as problem:
        raise reader.fault("it is damaged: its compressed data cannot be undone") from problem
    return decoded
