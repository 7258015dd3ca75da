"""The tag directories of a TIFF file, read strictly: nothing in the file is believed unchecked.

A TIFF file is a header, a chain of directories of tags, and data those tags point to. Every
offset and count is compared with the size of the file before anything is read or allocated.

Source of the layout: TIFF Revision 6.0 (1992), section 2; the 64-bit variant after the BigTIFF
design as libtiff documents it.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import BinaryIO, Literal

import numpy as np
from numpy.typing import NDArray

from firedeck.errors import ScanError
from firedeck.files.scan_limits import DAMAGED

__all__ = ["Directory", "TiffStream"]

#: Tag type number -> dtype character and how many of them make one value.
_TYPES: Mapping[int, tuple[str, int]] = {
    1: ("u1", 1),
    2: ("u1", 1),
    3: ("u2", 1),
    4: ("u4", 1),
    5: ("u4", 2),
    6: ("i1", 1),
    7: ("u1", 1),
    8: ("i2", 1),
    9: ("i4", 1),
    10: ("i4", 2),
    11: ("f4", 1),
    12: ("f8", 1),
    13: ("u4", 1),
    16: ("u8", 1),
    17: ("i8", 1),
    18: ("u8", 1),
}
#: Bytes per value by type number, 1 for the unknown ones.
_SIZES = np.array(
    [np.dtype(code).itemsize * width for code, width in (_TYPES.get(kind, ("u1", 1)) for kind in range(20))]
)
_MAX_TAGS = 4096
_MAX_PAGES = 4096
_MOST_VALUES = 65_536


@dataclass(frozen=True)
class Directory:
    """The tags of one page.

    Attributes
    ----------
    stream : TiffStream
        File the tags belong to.
    entries : ndarray
        One record per tag: ``tag``, ``kind`` (type number), ``count`` of values, and ``place``,
        where the values stand [byte].
    """

    stream: TiffStream
    entries: NDArray[np.void]

    def __contains__(self, tag: int) -> bool:
        return bool(np.any(self.entries["tag"] == tag))

    def values(self, tag: int, *, most: int = _MOST_VALUES) -> NDArray[np.generic]:
        """Return a tag's values, shape (count,) or (count, 2) for ratios; empty if it is absent.

        Parameters
        ----------
        tag : int
            Tag number.
        most : int
            Count of values above which the tag is held to be damaged.

        Raises
        ------
        ScanError
            If the tag points outside the file, has an unknown type or more values than `most`.
        """
        found = np.flatnonzero(self.entries["tag"] == tag)
        if found.size == 0:
            return np.empty(0, np.uint16)
        kind, count, place = (int(self.entries[name][found[0]]) for name in ("kind", "count", "place"))
        if count > most:
            raise self.stream.fault(f"its tag {tag} claims {count} values where at most {most} make sense")
        return self.stream.tag_values(tag, kind, count, place)

    def counts(self, tag: int, *, most: int) -> NDArray[np.uint64]:
        """Return a tag's values as whole numbers from 0 up; empty if it is absent.

        Raises
        ------
        ScanError
            As `values`, or if it holds other values than whole numbers from 0 up.
        """
        values = self.values(tag, most=most)
        if values.ndim != 1 or values.dtype.kind != "u":
            raise self.stream.fault(f"its tag {tag} holds no whole numbers")
        return values.astype(np.uint64)

    def number(self, tag: int, default: int) -> int:
        """Return a tag's only (or first) whole number, or `default` if the tag is absent.

        Raises
        ------
        ScanError
            If the tag is there without a whole number in it.
        """
        if tag not in self:
            return default
        values = self.counts(tag, most=_MOST_VALUES)
        if values.size == 0:
            raise self.stream.fault(f"its tag {tag} is empty")
        return int(values[0])

    def ratio(self, tag: int) -> float | None:
        """Return a tag's ratio as a float; None if it is absent, or divided by zero."""
        values = self.values(tag)
        if values.size == 0:
            return None
        if values.ndim == 1:
            return float(values[0])
        top, bottom = (float(part) for part in values[0])
        return top / bottom if bottom else None

    def raw(self, tag: int, *, most: int) -> bytes:
        """Return a tag's values as the bytes that stand in the file, empty if it is absent."""
        return self.values(tag, most=most).tobytes()


class TiffStream:
    """A TIFF file, or the TIFF-shaped camera data inside another file.

    Parameters
    ----------
    stream : binary file
        Seekable file.
    name : str
        Name that faults are reported under.

    Raises
    ------
    ScanError
        If the header is not a TIFF header.
    """

    def __init__(self, stream: BinaryIO, name: str) -> None:
        self.name = name
        self._stream = stream
        self.size = stream.seek(0, io.SEEK_END)
        head = self._read(0, 8)
        self.order: Literal["<", ">"] = "<" if head[:2] == b"II" else ">"
        self.big = int(np.frombuffer(head[2:4], f"{self.order}u2")[0]) == 43
        if head[:2] not in (b"II", b"MM") or head[2:4] not in (b"*\0", b"\0*", b"+\0", b"\0+"):
            raise self.fault("it does not begin as a TIFF file does")
        if self.big and self._whole(4, 2) != 8:
            raise self.fault("its header states an unknown size of offsets")
        self._first = self._whole(8, 8) if self.big else self._whole(4, 4)

    def fault(self, message: str, remedy: str = DAMAGED) -> ScanError:
        """Build the error for something wrong in this file."""
        return ScanError(message, where=self.name, remedy=remedy)

    def directories(self) -> Iterator[Directory]:
        """Yield the directory of each page in the file's order.

        Raises
        ------
        ScanError
            If the chain of pages leaves the file, runs in a circle or is absurdly long.
        """
        seen: set[int] = set()
        offset = self._first
        while offset:
            if offset in seen or len(seen) >= _MAX_PAGES:
                raise self.fault("its chain of pages runs in a circle or never ends")
            seen.add(offset)
            directory, offset = self._directory(offset)
            yield directory

    def child(self, directory: Directory, tag: int) -> Directory | None:
        """Return the directory that a tag of `directory` points to, or None if there is none."""
        offset = directory.number(tag, 0)
        return self._directory(offset)[0] if offset else None

    def tag_values(self, tag: int, kind: int, count: int, place: int) -> NDArray[np.generic]:
        """Read the values an entry points to, in the machine's own byte order."""
        if kind not in _TYPES:
            raise self.fault(f"its tag {tag} has the unknown type {kind}")
        code, width = _TYPES[kind]
        dtype = np.dtype(f"{self.order}{code}")
        data = self._read(place, count * width * dtype.itemsize)
        values = np.frombuffer(data, dtype).astype(dtype.newbyteorder("="))
        return values.reshape(-1, 2) if width == 2 else values

    def _directory(self, offset: int) -> tuple[Directory, int]:
        count_size, room = (8, 8) if self.big else (2, 4)
        count = self._whole(offset, count_size)
        if not 0 < count <= _MAX_TAGS:
            raise self.fault(f"one of its pages claims {count} tags")
        start = offset + count_size
        number = f"{self.order}u{room}"
        layout = np.dtype(
            [("tag", f"{self.order}u2"), ("kind", f"{self.order}u2"), ("count", number), ("place", number)]
        )
        size = count * layout.itemsize
        entries = np.frombuffer(self._read(start, size), layout).copy()
        # Values short enough stand in the entry itself, where the offset would be.
        in_entry = entries["count"] <= room // _SIZES[np.minimum(entries["kind"], len(_SIZES) - 1)]
        own_place = start + np.arange(count) * layout.itemsize + 4 + room
        entries["place"] = np.where(in_entry, own_place, entries["place"])
        return Directory(self, entries), self._whole(start + size, room)

    def _whole(self, offset: int, size: int) -> int:
        return int(np.frombuffer(self._read(offset, size), f"{self.order}u{size}")[0])

    def _read(self, offset: int, size: int) -> bytes:
        if offset + size > self.size:
            raise self.fault(
                f"it is cut short or damaged: {size} bytes are expected at byte {offset}, "
                f"but it has only {self.size} bytes"
            )
        self._stream.seek(offset)
        data = self._stream.read(size)
        if len(data) != size:
            raise self.fault(f"only {len(data)} of {size} bytes at byte {offset} could be read")
        return data
