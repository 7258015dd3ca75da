"""A scan reduced to what reading a print needs, small whatever the scan's size."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["ScanPicture"]


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
    """

    name: str
    fine: npt.NDArray[np.float32]
    fine_mm: tuple[float, float]
    coarse: npt.NDArray[np.float32]
    factor: int

    @property
    def coarse_mm(self) -> tuple[float, float]:
        """Width and height of a coarse pixel [mm]."""
        return self.fine_mm[0] * self.factor, self.fine_mm[1] * self.factor
