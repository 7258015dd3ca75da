"""Opening a scanner's file: what it is, whether it can be measured, and its pixels in a stream."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from firedeck.errors import ScanError
from firedeck.files.icc_profile import IccProfile
from firedeck.files.scan_resolution import check_given_resolution, differing_note
from firedeck.files.stored_scan import Block, CodeValues, StoredScan, turn_resolution, turn_upright
from firedeck.kernel.transfer import Transfer

__all__ = [
    "Block",
    "CodeValues",
    "RawScan",
    "file_hash",
    "open_scan",
    "require_measurable",
    "require_resolution",
]

_TIFF_STARTS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_PNG_START = b"\x89PNG\r\n\x1a\n"
_PICTURE_STARTS = (b"\xff\xd8\xff", b"BM", b"GIF8", b"RIFF")
#: Bytes of a file that are hashed at a time.
_HASHED_BYTES = 4_000_000
_SCAN_AGAIN = "scan the sheet again as a 16-bit RGB or grey TIFF"


@dataclass(frozen=True)
class RawScan:
    """A scan as the scanner stored it, turned upright; pixels are read when they are asked for.

    Attributes
    ----------
    name : str
        File as the user named it.
    height, width : int
        Size of the upright picture [pixel].
    channels : int
        1 for grey, 3 for red, green, blue.
    bits : int
        Bits per code value, 8 or 16.
    resolution : tuple of float or None
        Resolution along x (columns) and y (rows) of the upright picture [pixel/mm].
    resolution_from : str
        ``file``, ``given``, or ``nowhere``.
    profile : IccProfile or None
        Colour profile in the file.
    picture_only : str
        Why nothing may be measured from this file; empty if it may.
    notes : tuple of str
        What was assumed, in plain sentences.
    """

    name: str
    height: int
    width: int
    channels: int
    bits: int
    resolution: tuple[float, float] | None
    resolution_from: Literal["file", "given", "nowhere"]
    profile: IccProfile | None
    picture_only: str
    notes: tuple[str, ...]
    _stored: StoredScan = field(repr=False, compare=False)
    _path: Path = field(repr=False, compare=False)
    _state: tuple[int, int] = field(repr=False, compare=False)

    def encoding(self, channel: int = 0) -> Transfer | None:
        """Return how the file says a channel's code values stand for light, or None if it does not.

        Parameters
        ----------
        channel : int
            0 for red or grey, 1 for green, 2 for blue.
        """
        if self.profile and channel < len(self.profile.curves):
            return self.profile.curves[channel]
        return None if self.profile else self._stored.encoding

    def strips(
        self, channels: Sequence[int] | None = None, *, rows_per_strip: int = 256, as_picture: bool = False
    ) -> Iterator[Block]:
        """Stream the pixels in blocks that together cover the upright picture once.

        Parameters
        ----------
        channels : sequence of int, optional
            Channels wanted, in order; all by default. Fewer are quicker.
        rows_per_strip : int
            Rows of the stored picture per block, as far as its own pieces and the bound on memory
            allow [pixel].
        as_picture : bool
            Must be True to look at a file that nothing may be measured from.

        Yields
        ------
        Block
            Place in the upright picture and code values, in the machine's byte order, often a
            strided view. Blocks come in the order they stand in the file, so a picture stored
            sideways arrives in columns.

        Raises
        ------
        ScanError
            If nothing may be measured from the file, it has no such channel, it changed since it
            was opened, or its data turns out damaged.
        """
        if not as_picture:
            require_measurable(self)
        wanted = tuple(range(self.channels)) if channels is None else tuple(channels)
        if not wanted or not all(0 <= channel < self.channels for channel in wanted):
            raise ScanError(
                f"it has {self.channels} channel(s), numbered from 0, and {list(wanted)} was asked for",
                where=self.name,
                remedy="choose a channel it has, or scan the sheet again in colour",
            )
        if rows_per_strip < 1:
            raise ValueError("rows_per_strip must be at least 1")
        return self._upright_blocks(wanted, rows_per_strip)

    def _upright_blocks(self, channels: tuple[int, ...], rows: int) -> Iterator[Block]:
        stored = self._stored
        try:
            if _file_state(self._path) != self._state:
                raise ScanError("it was changed after it was opened", where=self.name, remedy="open it again")
            for block in stored.source.blocks(channels, rows):
                yield turn_upright(block, stored.orientation, stored.height, stored.width)
        except OSError as problem:
            raise _unreadable(self.name, problem) from problem


def open_scan(
    path: str | Path, *, resolution_per_mm: tuple[float, float] | None = None, page: int = 0
) -> RawScan:
    """Open a scan, reading what it says about itself but not its pixels.

    Parameters
    ----------
    path : str or Path
        TIFF or PNG file; other pictures open as pictures only.
    resolution_per_mm : tuple of float, optional
        Resolution along x and y of the upright picture, used instead of the file's [pixel/mm].
    page : int
        Page of a TIFF with several, from 0, previews not counted.

    Returns
    -------
    RawScan
        The scan. Its `picture_only`, `resolution` and `notes` say what it is good for.

    Raises
    ------
    ScanError
        If the file is missing, damaged, of an unknown kind or absurdly large.
    """
    path, name = Path(path), str(path)
    if resolution_per_mm is not None:
        check_given_resolution(resolution_per_mm, name)
    try:
        state = _file_state(path)
        stored = _read_stored(path, name, page)
    except OSError as problem:
        raise _unreadable(name, problem) from problem
    height, width = stored.upright_shape
    stated = turn_resolution(stored.resolution, stored.orientation) if stored.resolution else None
    notes = stored.notes + _turning_note(stored.orientation) + _encoding_note(stored)
    if resolution_per_mm is not None:
        notes += differing_note(resolution_per_mm, stated)
    return RawScan(
        name=name,
        height=height,
        width=width,
        channels=stored.channels,
        bits=stored.bits,
        resolution=resolution_per_mm or stated,
        resolution_from="given" if resolution_per_mm else "file" if stated else "nowhere",
        profile=stored.profile,
        picture_only=stored.picture_only,
        notes=notes,
        _stored=stored,
        _path=path,
        _state=state,
    )


def require_resolution(scan: RawScan) -> tuple[float, float]:
    """Return the resolution of a scan along x and y [pixel/mm].

    Raises
    ------
    ScanError
        If neither the file nor the user states a credible one.
    """
    if scan.resolution is None:
        raise ScanError(
            "its resolution is not known, so nothing on it can be measured in millimetres",
            where=scan.name,
            remedy='state the resolution the scanner was set to, for example "600 dpi"',
        )
    return scan.resolution


def require_measurable(scan: RawScan) -> None:
    """Do nothing if a scan may be measured.

    Raises
    ------
    ScanError
        With the reason, if it is a picture only.
    """
    if scan.picture_only:
        raise ScanError(f"it is a picture only. {scan.picture_only}", where=scan.name, remedy=_SCAN_AGAIN)


def file_hash(path: str | Path) -> str:
    """Return the SHA-256 of a file as 64 hexadecimal digits, reading it once in parts.

    The parts are large: between two of them other threads may keep the interpreter for a while.

    Raises
    ------
    ScanError
        If the file cannot be read.
    """
    try:
        with Path(path).open("rb", buffering=0) as stream:
            size = min(_HASHED_BYTES, max(_file_state(Path(path))[0], 1))
            digest, part = hashlib.sha256(), memoryview(bytearray(size))
            while got := stream.readinto(part):
                digest.update(part[:got])
            return digest.hexdigest()
    except OSError as problem:
        raise _unreadable(str(path), problem) from problem


def _file_state(path: Path) -> tuple[int, int]:
    """Return size and time of change, by which a file that was swapped is noticed."""
    status = path.stat()
    return status.st_size, status.st_mtime_ns


def _read_stored(path: Path, name: str, page: int) -> StoredScan:
    # Readers are imported when needed: a TIFF needs no picture library, a command needs neither.
    start = _start_of(path, name)
    if start.startswith(_TIFF_STARTS):
        from firedeck.files.tiff_scan import read_tiff

        return read_tiff(path, name, page)
    if start.startswith(_PNG_START):
        from firedeck.files.png_scan import read_png

        return read_png(path, name, page)
    if start.startswith(_PICTURE_STARTS):
        from firedeck.files.picture_file import read_picture

        return read_picture(path, name, page)
    what = (
        "it is a PDF document, not a scan"
        if start.startswith(b"%PDF")
        else "it is not a picture that is read"
    )
    raise ScanError(what, where=name, remedy=_SCAN_AGAIN)


def _start_of(path: Path, name: str) -> bytes:
    if not path.is_file():
        raise ScanError("it is a folder or a device, not a file", where=name, remedy="name the scan itself")
    with path.open("rb") as stream:
        start = stream.read(16)
    if not start:
        raise ScanError("it is empty", where=name, remedy=_SCAN_AGAIN)
    return start


def _unreadable(name: str, problem: OSError) -> ScanError:
    if isinstance(problem, FileNotFoundError):
        return ScanError("there is no such file", where=name, remedy="check the name and the folder")
    return ScanError(
        f"it cannot be read ({problem.strerror or problem})",
        where=name,
        remedy="check that the drive is connected and that you may read the file",
    )


def _turning_note(orientation: int) -> tuple[str, ...]:
    if orientation == 1:
        return ()
    how = "mirrored and turned" if orientation in (2, 4, 5, 7) else "turned"
    return (f"The file says its picture is stored {how} (orientation {orientation}); it was put upright.",)


def _encoding_note(stored: StoredScan) -> tuple[str, ...]:
    if stored.profile and not stored.profile.curves:
        reason = stored.profile.why_no_curves
        return (f"The colour profile does not tell how code values stand for light: {reason}.",)
    if not stored.profile and not stored.encoding:
        return ("The file does not tell how its code values stand for light.",)
    return ()
