"""A scan reduced to what reading a print needs, small whatever the scan's size."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.kernel.raster import average_pools, pool_block

__all__ = ["CodeBlock", "ScanPicture", "pool_scan", "pooling_factor"]

#: Fine pixels are pooled up to this size [mm]: well under the deck grid's default pitch and a bead's width.
_FINE_LIMIT_MM = 0.09

#: Fine pixels to one coarse pixel.
_COARSE_FACTOR = 4

#: Of the channels that are not measured every second row is enough.
_THINNED = 2

#: Threads that pool, and blocks that wait for them at most: they must not wait for the next one to be read.
_THREADS, _AHEAD = 2, 1

#: First row, first column, and code values of shape (rows, cols, channels).
CodeBlock = tuple[int, int, npt.NDArray[np.uint16]]


@dataclass(frozen=True)
class ScanPicture:
    """Linear reflectance of a scan, pooled to pixels of about 0.085 mm, upright, row 0 on top.

    Attributes
    ----------
    name : str
        Name of the scan, for messages.
    fine : ndarray of float32, shape (rows, cols)
        Reflectance [1] in the measuring channel.
    fine_mm : tuple of float
        Width and height of a fine pixel [mm].
    coarse : ndarray of float32, shape (rows / factor, cols / factor, channels)
        Reflectance in all channels, red, green, blue or grey.
    factor : int
        Fine pixels to one coarse pixel, each way.
    pooled : int
        Scan pixels to one fine pixel, each way.
    """

    name: str
    fine: npt.NDArray[np.float32]
    fine_mm: tuple[float, float]
    coarse: npt.NDArray[np.float32]
    factor: int
    pooled: int = 1

    @property
    def coarse_mm(self) -> tuple[float, float]:
        """Width and height of a coarse pixel [mm]."""
        return self.fine_mm[0] * self.factor, self.fine_mm[1] * self.factor


def pooling_factor(resolution_per_mm: tuple[float, float]) -> int:
    """Return how many scan pixels make one fine pixel, for a resolution in x and y [pixels/mm]."""
    return max(1, int(_FINE_LIMIT_MM * min(resolution_per_mm) + 1e-6))


def pool_scan(
    blocks: Iterable[CodeBlock],
    *,
    name: str,
    size: tuple[int, int],
    channels: int,
    resolution_per_mm: tuple[float, float],
    linear: npt.NDArray[np.float32],
    measuring: int,
) -> ScanPicture:
    """Reduce a scan, block by block, to its picture of linear reflectance.

    Parameters
    ----------
    blocks : iterable of CodeBlock
        Parts of the upright scan in any order, covering it once.
    name : str
        Name of the scan, for messages.
    size : tuple of int
        Rows and columns of the upright scan.
    channels : int
        Channels in every block.
    resolution_per_mm : tuple of float
        Pixels per mm in x and y.
    linear : ndarray of float32
        Reflectance [1] of every code value.
    measuring : int
        Index of the channel that is measured.

    Returns
    -------
    ScanPicture
        The picture; a remainder of less than one pixel at the right and lower edge is left out.
    """
    factor = pooling_factor(resolution_per_mm)
    high, wide = size[0] // factor, size[1] // factor
    group = factor * _COARSE_FACTOR
    fine = np.zeros((high, wide), np.float32)
    coarse = np.zeros((size[0] // group, size[1] // group, channels), np.float32)

    def pool(row0: int, col0: int, codes: npt.NDArray[np.uint16]) -> None:
        pool_block(codes, linear, (row0, col0), measuring, (factor, group), _THINNED, fine, coarse)

    at_work: deque[Future[None]] = deque()
    with ThreadPoolExecutor(_THREADS) as threads:
        for row0, col0, codes in blocks:
            apart = _stands_apart((row0, col0), codes.shape, size, group)
            middle = len(codes) if apart else _parting(row0, len(codes), group)
            while len(at_work) > (_AHEAD if apart else 0):
                at_work.popleft().result()
            at_work.append(threads.submit(pool, row0, col0, codes[:middle]))
            if not apart:
                at_work.append(threads.submit(pool, row0 + middle, col0, codes[middle:]))
        for one in at_work:
            one.result()
    coarse /= np.float32(group**2 // _THINNED)
    average_pools(fine, factor**2, _COARSE_FACTOR, coarse[:, :, measuring])
    pixel = factor / resolution_per_mm[0], factor / resolution_per_mm[1]
    return ScanPicture(name, fine, pixel, coarse, _COARSE_FACTOR, factor)


def _stands_apart(place: tuple[int, int], shape: tuple[int, ...], size: tuple[int, int], group: int) -> bool:
    """Tell whether a block shares no pixel with another one: it begins and ends with a pixel each way."""
    return all(
        begin % group == 0 and (end % group == 0 or end >= whole)
        for begin, end, whole in zip(place, np.add(place, shape[:2]), size, strict=True)
    )


def _parting(row0: int, rows: int, group: int) -> int:
    """Return after how many rows of a block two threads may part it: no pixel has codes on both sides."""
    middle = (row0 + rows // 2) // group * group - row0
    return max(middle, 0)
