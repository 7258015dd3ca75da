"""The crown of every seal, place by place: its doubt, and what reading it on film does to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from firedeck.kernel.band_field import gaussian_taps, least_crowns, smooth_rows
from firedeck.kernel.threads import for_each
from firedeck.pressure_map import FloatArray, PressureMap
from firedeck.seal.profile import LoadTable, SealProfile, load_table
from firedeck.seal.strip import Strip, window_means

__all__ = ["ACROSS_MM", "CrownPlace", "Crowns", "SealPlaces", "study_crowns"]

#: Standard deviation of the smoothing across a seal before leak paths are sought [mm]: without it a path
#: could weave from one noisy row to the next and find a gap that is not there.
ACROSS_MM = 0.1

#: Film spreads a line by a kernel whose standard deviation is about this share of its thickness
#: ("blooms about one thickness to either side" is shop knowledge: common practice, no source).
_SPREAD_SHARE = 0.55

#: Half width of the piece of crown whose bend is measured [mm].
_CROWN_HALF_MM = 0.2

#: Largest product of kernel variance and bend that is believed: a crown less than half lost [1].
_MOST_LOST = 0.6

_STEP_MM = 1.0
_REPLICATES = 24

#: Size of the field of noise that all seals are shaken with.
_NOISE_ROWS, _NOISE_CELLS = 4096, 96

#: From the change that a second helping of noise makes to that which the first has made.
_REPEAT_FACTOR = 1.7


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
    blur : float
        What the blur of light and smoothing across the seal took from the crown there [MPa].
    spread : float
        What the film's spreading took from the crown there [MPa].
    """

    seal: str
    sd: float
    lift: float
    blur: float
    spread: float


@dataclass(frozen=True)
class Crowns:
    """What a seal's strip alone tells of its crowns, at steps of about 1 mm.

    Attributes
    ----------
    lift : float
        What the least crown is too low by [MPa].
    crown : ndarray
        Crown pressure, averaged over the length scale [MPa].
    bend : ndarray
        Bend of every crown across the seal over its height [1/mm^2].
    """

    lift: float
    crown: FloatArray
    bend: FloatArray


def study_crowns(strips: Sequence[Strip], pressure_map: PressureMap, length_scale: float) -> list[Crowns]:
    """Study the crowns of all seals, averaged over `length_scale` [mm], from their strips."""
    return for_each(
        lambda strip: _study(strip, pressure_map, length_scale), strips, size=lambda strip: strip.signal.size
    )


@dataclass(frozen=True)
class SealPlaces:
    """Crowns of all seals, found by position.

    Attributes
    ----------
    profiles : tuple of SealProfile
        The seals.
    sd : tuple of ndarray
        Standard uncertainty of every crown [MPa], per seal.
    lift : tuple of float
        What the least crown of each seal is too low by [MPa].
    crown : tuple of ndarray
        Crown pressure, averaged over the length scale [MPa], per seal.
    bend : tuple of ndarray
        Bend of every crown across the seal over its height [1/mm^2], per seal.
    variance : tuple of float
        Variance of blur and smoothing, and of the film's spreading [mm^2].
    tree : cKDTree
        Places of all crowns on the deck [mm].
    owner : ndarray
        Index of the seal that each place belongs to [1].
    row : ndarray
        Row of each place in its seal's tables [1].
    """

    profiles: tuple[SealProfile, ...]
    sd: tuple[FloatArray, ...]
    lift: tuple[float, ...]
    crown: tuple[FloatArray, ...]
    bend: tuple[FloatArray, ...]
    variance: tuple[float, float]
    tree: cKDTree
    owner: FloatArray
    row: FloatArray

    @classmethod
    def of(
        cls,
        profiles: Sequence[SealProfile],
        pressure_map: PressureMap,
        length_scale: float,
        crowns: Sequence[Crowns] | None = None,
    ) -> SealPlaces:
        """Tabulate the crowns of all seals at steps of about 1 mm, averaged over `length_scale` [mm].

        `crowns` are those of `study_crowns`, if they are studied already.
        """
        if crowns is None:
            crowns = study_crowns([profile.strip for profile in profiles], pressure_map, length_scale)
        tables = [_crown_table(profile, pressure_map, length_scale) for profile in profiles]
        points = [_points(profile, table) for profile, table in zip(profiles, tables, strict=True)]
        counts = [len(part) for part in points]
        return cls(
            tuple(profiles),
            tuple(table.peak_sd for table in tables),
            tuple(one.lift for one in crowns),
            tuple(one.crown for one in crowns),
            tuple(one.bend for one in crowns),
            (pressure_map.blur**2 + ACROSS_MM**2, (_SPREAD_SHARE * pressure_map.spread) ** 2),
            cKDTree(np.vstack(points) if points else np.zeros((0, 2))),
            np.repeat(np.arange(len(counts)), counts),
            np.concatenate([np.arange(count) for count in counts]) if counts else np.zeros(0),
        )

    def nearest(self, points: FloatArray) -> list[CrownPlace | None]:
        """Return the crown of the seal whose band holds each point of the deck [mm], or None on land."""
        if not self.profiles or not len(points):
            return [None] * len(points)
        distances, found = self.tree.query(points)
        return [self._crown(*place) for place in zip(distances, found, strict=True)]

    def _crown(self, distance: float, found: int) -> CrownPlace | None:
        which, row = int(self.owner[found]), int(self.row[found])
        profile = self.profiles[which]
        if distance > profile.strip.seal.band / 2 + _STEP_MM:
            return None
        lost = self.crown[which][row] * _lost_share(self.bend[which][row], sum(self.variance))
        blur, spread = (float(lost) * variance / sum(self.variance) for variance in self.variance)
        return CrownPlace(profile.name, float(self.sd[which][row]), self.lift[which], blur, spread)


def _crown_table(profile: SealProfile, pressure_map: PressureMap, length_scale: float) -> LoadTable:
    centres, half = _stretches(profile.strip, length_scale)
    window = (2 * half + 1) * profile.strip.line.step
    if np.isclose(profile.fine.window, window) and len(profile.fine.at) == len(centres):
        return profile.fine
    return load_table(profile.strip, pressure_map, centres, length_scale)


def _stretches(strip: Strip, length_scale: float) -> tuple[npt.NDArray[np.int64], int]:
    """Return the middle rows of stretches about 1 mm apart, and the rows to either side of them."""
    step = strip.line.step
    centres = np.arange(0, len(strip.signal), max(1, round(_STEP_MM / step)), dtype=np.int64)
    return centres, max(1, round((length_scale / step - 1) / 2))


def _points(profile: SealProfile, table: LoadTable) -> FloatArray:
    rows = np.rint(table.at / profile.strip.line.step).astype(int) % len(profile.strip.line.points)
    return np.asarray(profile.strip.line.points[rows])


def _crown_windows(
    strip: Strip, pressure_map: PressureMap, length_scale: float
) -> tuple[FloatArray, FloatArray]:
    """Return pressure and its noise [MPa] across the seal, averaged over the length scale every 1 mm."""
    conversion = pressure_map.conversion
    centres, half = _stretches(strip, length_scale)
    signal, _ = window_means(strip.signal, strip.usable, centres, half)
    noise, _ = window_means(strip.noise, strip.usable, centres, half)
    averaged = np.sqrt(pressure_map.grid.pitch / ((2 * half + 1) * strip.line.step))
    pressure = conversion.to_pressure(np.nan_to_num(signal))
    smoothed = smooth_rows(pressure, gaussian_taps(ACROSS_MM / strip.step_across))
    return smoothed, np.nan_to_num(noise) * averaged


def _study(strip: Strip, pressure_map: PressureMap, length_scale: float) -> Crowns:
    pressure, noise = _crown_windows(strip, pressure_map, length_scale)
    crown = pressure.max(axis=1)
    bend = _crown_bend(pressure, strip.step_across) / np.maximum(crown, 1e-9)
    return Crowns(_lift(strip, pressure_map, length_scale, pressure, noise), crown, bend)


def _lift(
    strip: Strip,
    pressure_map: PressureMap,
    length_scale: float,
    pressure: FloatArray,
    noise: FloatArray,
) -> float:
    """Estimate by how much the least of the noisy crowns lies under the least true one.

    Each crown is the highest of noisy places across the seal, and so too high; the least of many
    crowns is too low. More noise of the same kind is added and the further change seen. Such biases
    grow between with the root of the noise's variance and in proportion to it, so the change from
    none to one helping is 1 to 2.4 times the change from one to two; the middle is taken.
    """
    count = len(pressure)
    least = float(pressure.max(axis=1).min())
    if count < 8 or least >= pressure_map.stated_range[1] or least < pressure_map.lowest:
        return 0.0
    between = max(1, round(pressure_map.grid.pitch / strip.step_across))
    unit = _unit_noise(
        between, round(ACROSS_MM / strip.step_across, 1), max(1, round(length_scale / _STEP_MM))
    )
    helpings = np.linspace(0, len(unit), _REPLICATES, endpoint=False).astype(np.int64)
    reached = least_crowns(pressure, noise, _wide_enough(unit, pressure.shape[1]), helpings)
    return _REPEAT_FACTOR * float(np.mean(least - reached))


@lru_cache(maxsize=8)
def _unit_noise(between: int, across: float, along: int) -> FloatArray:
    """Return noise as the crowns have it: independent cell by cell, averaged along, smoothed across.

    Parameters
    ----------
    between : int
        Samples to a cell, across the seal.
    across : float
        Standard deviation of the smoothing [samples].
    along : int
        Rows that one average runs over.
    """
    rng = np.random.default_rng(20)
    white = rng.standard_normal((_NOISE_ROWS, _NOISE_CELLS)).repeat(between, axis=1)
    averaged = sum(np.roll(white, shift, axis=0) for shift in range(along)) / np.sqrt(along)
    return smooth_rows(averaged, gaussian_taps(across))


def _wide_enough(unit: FloatArray, samples: int) -> FloatArray:
    """Repeat noise across until it is as wide as a band; so far apart nobody sees the repeat."""
    return np.tile(unit, -(-samples // unit.shape[1])) if samples > unit.shape[1] else unit


def _lost_share(bend: float, variance: float) -> float:
    """Return what kernels of a variance [mm^2] took from a crown, as a share of what is left.

    For a bell-shaped crown seen through bell-shaped kernels the true peak is the seen one over
    the root of 1 - variance * bend; for a flatter one this is right to first order.
    """
    return float(1.0 / np.sqrt(1.0 - min(variance * bend, _MOST_LOST)) - 1.0)


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
