"""What a reader of one file format hands over, and how its blocks are turned upright."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field
from functools import partial
from itertools import islice, repeat
from typing import Any, Protocol, TypeAlias, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from firedeck.files.icc_profile import IccProfile
from firedeck.kernel.transfer import Transfer

__all__ = [
    "Block",
    "BlockSource",
    "CodeValues",
    "StoredScan",
    "one_ahead",
    "pick_channels",
    "run_ahead",
    "turn_resolution",
    "turn_upright",
]

#: Raw code values of a scan, always in the machine's own byte order.
CodeValues: TypeAlias = NDArray[np.unsignedinteger[Any]]

# Orientations 1 to 8 taken apart: mirror the stored rows, mirror the stored columns, then swap
# rows for columns (TIFF Revision 6.0, 1992, section 8, tag 274).
_ROWS_MIRRORED = frozenset({3, 4, 6, 7})
_COLUMNS_MIRRORED = frozenset({2, 3, 7, 8})
_SIDEWAYS = frozenset({5, 6, 7, 8})

_Item = TypeVar("_Item")


@dataclass(frozen=True)
class Block:
    """A rectangle of a scan.

    Attributes
    ----------
    row0, col0 : int
        Row and column of its first pixel.
    values : ndarray of uint8 or uint16, shape (rows, columns, channels)
        Raw code values. May be a strided view, with negative strides too.
    """

    row0: int
    col0: int
    values: CodeValues


class BlockSource(Protocol):
    """Something that yields the blocks of a stored picture in the file's own orientation."""

    def blocks(self, channels: tuple[int, ...], rows: int) -> Iterator[Block]:
        """Yield blocks that cover the picture once, each about `rows` rows high."""
        ...


@dataclass(frozen=True)
class StoredScan:
    """What a format's reader found, in the file's own orientation.

    Attributes
    ----------
    height, width : int
        Size as stored [pixel].
    channels : int
        1 for grey, 3 for red, green, blue.
    bits : int
        Bits per code value, 8 or 16.
    source : BlockSource
        Where the pixels come from.
    orientation : int
        1 to 8, as TIFF 6.0 numbers them.
    resolution : tuple of float or None
        Resolution along stored rows and columns [pixel/mm], as far as the file states a credible one.
    profile : IccProfile or None
        Colour profile in the file.
    encoding : Transfer or None
        Encoding the file declares by other means than a profile.
    picture_only : str
        Why nothing may be measured from it; empty if it may.
    notes : tuple of str
        What was assumed, in plain sentences.
    """

    height: int
    width: int
    channels: int
    bits: int
    source: BlockSource
    orientation: int = 1
    resolution: tuple[float, float] | None = None
    profile: IccProfile | None = None
    encoding: Transfer | None = None
    picture_only: str = ""
    notes: tuple[str, ...] = field(default=())

    @property
    def upright_shape(self) -> tuple[int, int]:
        """Height and width once turned upright [pixel]."""
        sideways = self.orientation in _SIDEWAYS
        return (self.width, self.height) if sideways else (self.height, self.width)


def pick_channels(values: CodeValues, channels: tuple[int, ...]) -> CodeValues:
    """Return the wanted channels, as a view where they are neighbours."""
    first = channels[0]
    if channels == tuple(range(first, first + len(channels))):
        return values[..., first : first + len(channels)]
    return values[..., list(channels)]


def turn_resolution(resolution: tuple[float, float], orientation: int) -> tuple[float, float]:
    """Return the x and y resolution of the upright picture from that of the stored one."""
    x, y = resolution
    return (y, x) if orientation in _SIDEWAYS else (x, y)


def turn_upright(block: Block, orientation: int, height: int, width: int) -> Block:
    """Turn a block as the orientation asks, without copying.

    Parameters
    ----------
    block : Block
        Block in the stored picture.
    orientation : int
        1 to 8: where the stored first row and first column lie in the upright picture
        (TIFF Revision 6.0, 1992, section 8, tag 274).
    height, width : int
        Size of the stored picture [pixel].

    Returns
    -------
    Block
        The same pixels in the upright picture.
    """
    values, row, col = block.values, block.row0, block.col0
    rows, cols = values.shape[:2]
    if orientation in _ROWS_MIRRORED:
        values, row = values[::-1], height - row - rows
    if orientation in _COLUMNS_MIRRORED:
        values, col = values[:, ::-1], width - col - cols
    if orientation in _SIDEWAYS:
        values, row, col = values.transpose(1, 0, 2), col, row
    return Block(row, col, values)


def run_ahead(jobs: Iterator[Callable[[], _Item]], *, workers: int = 2, ahead: int = 3) -> Generator[_Item]:
    """Run jobs in threads and yield what they return, in order.

    Parameters
    ----------
    jobs : iterator of callables
        Jobs that release the interpreter while they work, as decoders do.
    workers : int
        Threads.
    ahead : int
        Jobs started before the first result is taken; bounds the memory in use.

    Yields
    ------
    object
        Result of each job.
    """
    waiting: deque[Future[_Item]] = deque()
    with ThreadPoolExecutor(workers, thread_name_prefix="firedeck-scan") as pool:
        try:
            waiting.extend(pool.submit(job) for job in islice(jobs, ahead))
            while waiting:
                result = waiting.popleft().result()
                waiting.extend(pool.submit(job) for job in islice(jobs, 1))
                yield result
        finally:
            for future in waiting:
                future.cancel()


def one_ahead(items: Generator[_Item]) -> Generator[_Item]:
    """Make each item in a background thread while the one before it is being used."""
    end = object()
    step: Callable[[], _Item | object] = partial(next, items, end)
    with closing(items), closing(run_ahead(repeat(step), workers=1, ahead=2)) as made:
        for item in made:
            if item is end:
                return
            yield cast("_Item", item)
