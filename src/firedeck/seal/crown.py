"""The crown of every seal, place by place: its doubt, and what reading it on film does to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from firedeck.pressure_map import FloatArray, PressureMap
from firedeck.seal.profile import LoadTable, SealProfile, load_table
from firedeck.seal.strip import window_means

__all__ = ["CrownPlace", "SealPlaces"]

#: Film spreads a line by a kernel whose standard deviation is about this share of its thickness
#: ("blooms about one thickness to either side" is shop knowledge: common practice, no source).
_SPREAD_SHARE = 0.55

#: Half width of the piece of crown whose bend is measured [mm].
_CROWN_HALF_MM = 0.3

_STEP_MM = 1.0
_REPLICATES = 64


@dataclass(frozen=True)
class CrownPlace:
    """The crown at one place of a seal.

    Attributes
    ----------
    seal : str
        Name of the seal.
    sd : float
        Standard uncertainty of the contact pressure there, averaged over the length scale [MPa].
    lift : float
        What must be added to the least crown pressure found along this seal, because the least of
        many noisy readings lies too low [MPa].
    spread : float
        What the film's spreading took from the crown there [MPa].
    """

    seal: str
    sd: float
    lift: float
    spread: float


@dataclass(frozen=True)
class SealPlaces:
    """Crowns of all seals, found by position."""

    profiles: tuple[SealProfile, ...]
    sd: tuple[FloatArray, ...]
    lift: tuple[float, ...]
    spread: tuple[FloatArray, ...]
    tree: cKDTree
    owner: FloatArray
    row: FloatArray

    @classmethod
    def of(
        cls, profiles: Sequence[SealProfile], pressure_map: PressureMap, length_scale: float
    ) -> SealPlaces:
        """Tabulate the crowns of all seals at steps of about 1 mm, averaged over `length_scale` [mm]."""
        tables = [_crown_table(profile, pressure_map, length_scale) for profile in profiles]
        points = [_points(profile, table) for profile, table in zip(profiles, tables, strict=True)]
        counts = [len(part) for part in points]
        return cls(
            tuple(profiles),
            tuple(table.peak_sd for table in tables),
            tuple(_lift(table, pressure_map, length_scale) for table in tables),
            tuple(
                _spread(profile, table, pressure_map, length_scale)
                for profile, table in zip(profiles, tables, strict=True)
            ),
            cKDTree(np.vstack(points) if points else np.zeros((0, 2))),
            np.repeat(np.arange(len(counts)), counts),
            np.concatenate([np.arange(count) for count in counts]) if counts else np.zeros(0),
        )

    def nearest(self, point: tuple[float, float]) -> CrownPlace | None:
        """Return the crown of the seal whose band holds a point of the deck [mm], or None on land."""
        if not self.profiles:
            return None
        distance, found = self.tree.query(point)
        which, row = int(self.owner[found]), int(self.row[found])
        profile = self.profiles[which]
        if distance > profile.strip.seal.band / 2 + _STEP_MM:
            return None
        return CrownPlace(
            profile.name, float(self.sd[which][row]), self.lift[which], float(self.spread[which][row])
        )


def _crown_table(profile: SealProfile, pressure_map: PressureMap, length_scale: float) -> LoadTable:
    rows = len(profile.strip.signal)
    centres = np.arange(0, rows, max(1, round(_STEP_MM / profile.strip.line.step)), dtype=np.int64)
    return load_table(profile.strip, pressure_map, centres, length_scale)


def _points(profile: SealProfile, table: LoadTable) -> FloatArray:
    rows = np.rint(table.at / profile.strip.line.step).astype(int) % len(profile.strip.line.points)
    return np.asarray(profile.strip.line.points[rows])


def _lift(table: LoadTable, pressure_map: PressureMap, length_scale: float) -> float:
    """Estimate by how much the least of the noisy crowns lies under the least true one.

    More noise of the same kind is added to the readings and the further fall of their least value
    is seen; the fall grows with the root of the noise's variance where the crown is even, so the
    fall from none to one helping follows from that from one to two helpings.
    """
    crown = table.peak[np.isfinite(table.peak)]
    if crown.size < 8:
        return 0.0
    width = max(1, round(length_scale / _STEP_MM))
    grain = table.peak_grain[np.isfinite(table.peak)] * np.sqrt(width)
    rng = np.random.default_rng(20)
    white = rng.standard_normal((_REPLICATES, crown.size))
    rolled = sum(np.roll(white, shift, axis=1) for shift in range(width)) / width
    fallen = crown.min() - (crown + rolled * grain).min(axis=1).mean()
    top = pressure_map.stated_range[1]
    return 0.0 if crown.min() >= top else float(max(fallen, 0.0) / (np.sqrt(2.0) - 1.0) * 0.7)


def _spread(
    profile: SealProfile, table: LoadTable, pressure_map: PressureMap, length_scale: float
) -> FloatArray:
    """Undo the film's spreading to first order: half the kernel's variance times the crown's bend."""
    if pressure_map.spread <= 0:
        return np.zeros(len(table.at))
    strip = profile.strip
    centres = np.rint(table.at / strip.line.step).astype(np.int64) % len(strip.signal)
    half = max(1, round((length_scale / strip.line.step - 1) / 2))
    mean, _ = window_means(strip.signal, strip.usable, centres, half)
    pressure = pressure_map.conversion.to_pressure(np.nan_to_num(mean))
    bend = _crown_bend(pressure, strip.step_across)
    variance = (_SPREAD_SHARE * pressure_map.spread) ** 2
    return np.asarray(np.clip(0.5 * variance * bend, 0.0, 0.35 * pressure.max(axis=1)))


def _crown_bend(pressure: FloatArray, step: float) -> FloatArray:
    """Return minus the second derivative across the crown [MPa/mm^2], by a local parabola."""
    half = max(2, round(_CROWN_HALF_MM / step))
    offset = np.arange(-half, half + 1) * step
    # Second derivative of the least-squares parabola through equally spaced points.
    centred = offset**2 - np.mean(offset**2)
    weight = 2.0 * centred / np.sum(centred**2)
    crown = np.clip(np.argmax(pressure, axis=1), half, pressure.shape[1] - 1 - half)
    window = pressure[np.arange(len(pressure))[:, None], crown[:, None] + np.arange(-half, half + 1)]
    return np.asarray(np.maximum(-(window @ weight), 0.0))
