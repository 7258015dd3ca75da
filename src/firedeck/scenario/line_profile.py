"""How a seal presses across its line, and how its load changes along it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from firedeck.definition.shape import SealLine
from firedeck.scenario.compiled import FloatArray, MapArray

__all__ = ["TABLE_STEPS", "Family", "LineDesign", "WeakPlace", "profile_table"]

#: Shapes across a seal. ``elliptic`` is Hertz's line contact, ``double-foot`` an arch standing on its feet.
Family = Literal["elliptic", "parabolic", "raised-cosine", "super-gaussian", "double-foot"]

#: Steps of the table that holds a shape.
TABLE_STEPS = 4000

#: Reach [mm] of the fasteners' pull along a seal; about half of common fastener spacings.
_FASTENER_REACH = 42.0


@dataclass(frozen=True)
class WeakPlace:
    """A stretch where a seal carries less.

    Attributes
    ----------
    near : tuple of float
        Point of the plan [mm]; the seal's nearest point is the middle of the stretch.
    depth : float
        Share of the load that is missing in the middle [1].
    length : float
        Length at half depth [mm].
    """

    near: tuple[float, float]
    depth: float
    length: float


@dataclass(frozen=True)
class LineDesign:
    """What a seal is meant to carry, before the tightening has its say.

    Attributes
    ----------
    mean : float
        Mean line load [N/mm], weak places left aside.
    width : float
        Full width of the pressed strip [mm]; a super-Gaussian's where it falls to 1/e.
    family : Family
        Shape across.
    swing : float
        Greatest relative rise near fasteners and fall between them [1].
    ripple : float
        Standard deviation of a smooth random variation [1].
    crown : float
        Largest distance of the crown from the nominal line [mm].
    weak : tuple of WeakPlace
        Local losses.
    """

    mean: float
    width: float
    family: Family = "elliptic"
    swing: float = 0.18
    ripple: float = 0.02
    crown: float = 0.05
    weak: tuple[WeakPlace, ...] = ()

    @property
    def reach(self) -> float:
        """Distance from the crown beyond which nothing presses [mm]."""
        return self.width / 2 * (1.4 if self.family == "super-gaussian" else 1.0)

    @property
    def unit_peak(self) -> float:
        """Pressure at the crown for 1 N/mm [1/mm]; the feet's, for an arch on its feet."""
        return float(profile_table(self).max())

    def load_along(self, line: SealLine, fasteners: FloatArray, rng: np.random.Generator) -> FloatArray:
        """Return the line load [N/mm] at every point of `line`, fasteners at the points given [mm]."""
        relative = 1 + self.swing * _pull(line, fasteners) + self.ripple * _smooth_noise(line, 30.0, rng)
        load = self.mean * relative / relative.mean()
        for place in self.weak:
            load = load * (1 - place.depth * _dip(line, place))
        return np.asarray(np.maximum(load, 0.0))

    def crown_along(self, line: SealLine, rng: np.random.Generator) -> FloatArray:
        """Return how far outside the line the crown runs [mm].

        On tight curves it runs closer, so that load per length of the line and load per length of
        the crown stay within 0.2 %.
        """
        largest = min(self.crown, 0.002 * line.length / (2 * np.pi))
        noise = _smooth_noise(line, 60.0, rng)
        return np.asarray(largest * noise / max(float(np.abs(noise).max()), 1.0))


def _pull(line: SealLine, fasteners: FloatArray) -> FloatArray:
    """Return -1 to 1: how much more or less than its mean the fasteners' nearness is along a line."""
    if len(fasteners) == 0:
        return np.zeros(len(line.points))
    away = np.hypot(*(line.points[:, None, :] - fasteners[None, :, :]).transpose(2, 0, 1))
    near = np.exp(-0.5 * (away / _FASTENER_REACH) ** 2).sum(axis=1)
    relative = near / near.mean() - 1
    return np.asarray(relative / max(float(np.abs(relative).max()), 0.2))


def _smooth_noise(line: SealLine, shortest: float, rng: np.random.Generator) -> FloatArray:
    """Return a closed random curve of unit standard deviation without waves under `shortest` [mm]."""
    turn = 2 * np.pi * np.arange(len(line.points)) / len(line.points)
    orders = np.arange(1, max(2, int(line.length / shortest)) + 1)
    size = rng.standard_normal(len(orders)) / np.sqrt(orders)
    phase = rng.uniform(0, 2 * np.pi, len(orders))
    curve = (size[:, None] * np.cos(orders[:, None] * turn + phase[:, None])).sum(axis=0)
    return np.asarray(curve / max(float(curve.std()), 1e-12))


def _dip(line: SealLine, place: WeakPlace) -> FloatArray:
    middle = int(np.argmin(np.hypot(*(line.points - place.near).T)))
    steps = np.abs(np.arange(len(line.points)) - middle)
    away = np.minimum(steps, len(line.points) - steps) * line.step
    return np.asarray(np.exp(-np.log(2) * (away / (place.length / 2)) ** 4))


def _shape(family: Family, u: FloatArray) -> npt.NDArray[np.float64]:
    """Return the shape, not yet scaled, at distances in half widths."""
    inside = np.abs(u) <= 1
    if family == "elliptic":
        return np.sqrt(np.clip(1 - u**2, 0, None))
    if family == "parabolic":
        return np.clip(1 - u**2, 0, None)
    if family == "raised-cosine":
        return np.where(inside, 1 + np.cos(np.pi * u), 0)
    if family == "super-gaussian":
        return np.exp(-(u**4))
    feet = sum(
        np.where(np.abs(u - at) < 0.45, 1 + np.cos(np.pi * (u - at) / 0.45), 0) for at in (-0.55, 0.55)
    )
    return np.asarray(feet + np.where(inside, 0.35 * np.clip(1 - u**2, 0, None), 0))


def profile_table(design: LineDesign) -> MapArray:
    """Return the pressure [MPa] of 1 N/mm at `TABLE_STEPS` + 1 places from -reach to reach of the crown."""
    off = np.linspace(-design.reach, design.reach, TABLE_STEPS + 1)
    height = _shape(design.family, off / (design.width / 2))
    area = float(np.sum((height[1:] + height[:-1]) / 2)) * (off[1] - off[0])
    return np.asarray(height / area, np.float32)
