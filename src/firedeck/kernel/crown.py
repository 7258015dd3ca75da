"""Profiles of density across lines, and the centre of the mark in each."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["crown_centres", "sample_profiles"]

FloatArray = npt.NDArray[np.float64]

#: A mark ends within its profile if its surroundings rise over blank film by less than this share of it.
_CUT_OFF = 0.6


@njit(cache=True, nogil=True)
def sample_profiles(
    light: npt.NDArray[np.float32],
    usable: npt.NDArray[np.bool_],
    factor: int,
    places: FloatArray,
    across: FloatArray,
    along: FloatArray,
    half: npt.NDArray[np.int64],
    spread: int,
) -> FloatArray:
    """Density across a line at each of its places, averaged over neighbouring crossings.

    Parameters
    ----------
    light : ndarray of float32, shape (h, w)
        Reflectance [1].
    usable : ndarray of bool, shape (h / factor, w / factor)
        Where the picture shows film well away from cuts.
    factor : int
        Pixels of `light` to one of `usable`, each way.
    places : ndarray, shape (n, 2)
        Column and row of the places on the line [pixels], centres at whole numbers.
    across, along : ndarray, shape (n, 2)
        Steps in column and row from sample to sample across the line, and from crossing to crossing
        along it [pixels].
    half : ndarray of int, shape (n,)
        Samples on each side of the line.
    spread : int
        Crossings averaged on each side of the place.

    Returns
    -------
    ndarray, shape (n, 2 largest half + 1)
        -log10 of the mean reflectance, the line in the middle; NaN beyond `half` and where film is
        not usable at any of the crossings.
    """
    high, wide = light.shape
    middle = half.max()
    out = np.full((places.shape[0], 2 * middle + 1), np.nan)
    # Looked up: two whole divisions for every crossing would take a sixth of the time.
    coarse_row, coarse_col = np.arange(high) // factor, np.arange(wide) // factor
    for k in range(places.shape[0]):
        for m in range(-half[k], half[k] + 1):
            total = 0.0
            for q in range(-spread, spread + 1):
                x = places[k, 0] + m * across[k, 0] + q * along[k, 0]
                y = places[k, 1] + m * across[k, 1] + q * along[k, 1]
                j, i = int(np.floor(x)), int(np.floor(y))
                if i < 0 or j < 0 or i + 1 >= high or j + 1 >= wide:
                    total = -1.0
                    break
                ci, cj = coarse_row[i], coarse_col[j]
                if ci >= usable.shape[0] or cj >= usable.shape[1] or not usable[ci, cj]:
                    total = -1.0
                    break
                u, v = x - j, y - i
                total += (1 - v) * ((1 - u) * light[i, j] + u * light[i, j + 1]) + v * (
                    (1 - u) * light[i + 1, j] + u * light[i + 1, j + 1]
                )
            if total > 0:
                out[k, middle + m] = -np.log10(total / (2 * spread + 1))
    return out


@njit(cache=True, nogil=True)
def _noise(profile: FloatArray, first: int, last: int) -> float:
    """Noise of single samples from third differences, NaN beside an unknown sample."""
    total = 0.0
    for m in range(first + 3, last + 1):
        third = profile[m] - 3 * profile[m - 1] + 3 * profile[m - 2] - profile[m - 3]
        total += third * third
    # Third differences of white noise have 20 times its variance.
    return float(np.sqrt(total / (20.0 * (last - first - 2))))


@njit(cache=True, nogil=True)
def _lightest(profile: FloatArray, first: int, last: int, step: int) -> tuple[int, float]:
    """Place and value of the least three-sample mean, nearest to `first` among equals."""
    least, at = np.inf, first
    for m in range(first, last, step):
        mean = (profile[m - 1] + profile[m] + profile[m + 1]) / 3.0
        if mean < least:
            least, at = mean, m
    return at, least


@njit(cache=True, nogil=True)
def _agreement(mark: FloatArray, twice: int) -> float:
    """Product of a mark with its mirror image about the place `twice` / 2."""
    total = 0.0
    for m in range(max(0, twice - mark.size + 1), min(mark.size - 1, twice) + 1):
        total += mark[m] * mark[twice - m]
    return total


@njit(cache=True, nogil=True)
def _symmetry_centre(mark: FloatArray, reach: int) -> float:
    """Distance of the centre of symmetry from the middle, NaN where it is not within reach."""
    middle = mark.size // 2
    r = min(2 * reach, mark.size - 4)
    best, at = 0.0, 0
    for lag in range(-r, r + 1):
        agreement = _agreement(mark, 2 * middle + lag)
        if agreement > best:
            best, at = agreement, lag
    if best <= 0.0 or at <= -r or at >= r:
        return np.nan
    before = _agreement(mark, 2 * middle + at - 1)
    after = _agreement(mark, 2 * middle + at + 1)
    bend = before - 2 * best + after
    shift = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return 0.5 * (at + shift)


@njit(cache=True, nogil=True)
def _known_half(profile: FloatArray, half: int) -> int:
    """Return the samples on each side of the middle up to the first unknown one, `half` at most."""
    middle = profile.size // 2
    for m in range(half + 1):
        if np.isnan(profile[middle - m]) or np.isnan(profile[middle + m]):
            return m - 1
    return half


@njit(cache=True, nogil=True)
def crown_centres(
    profiles: FloatArray,
    half: npt.NDArray[np.int64],
    least: int,
    reach: npt.NDArray[np.int64],
    blank: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Centre of symmetry of the mark in each profile.

    The mark is what rises above a straight line between the lightest places on either side. Its
    centre is where the mark agrees best with its own mirror image: the peak of the convolution of
    the mark with itself. That holds for a single crown, a flat saturated one and a pair of feet. A
    mark whose flanks the profile cuts off has no centre.

    Parameters
    ----------
    profiles : ndarray, shape (n, 2 c + 1)
        Density across the line [1], the line at index c; NaN where unknown.
    half : ndarray of int, shape (n,)
        Samples to look at on each side of the line, where they are known.
    least : int
        Fewest known samples on each side, at least 6.
    reach : ndarray of int, shape (n,)
        Largest distance of the centre from the line [samples].
    blank : float
        Density of film without a mark [1].

    Returns
    -------
    centre, height, noise : ndarray, shape (n,)
        Distance of the centre from the line [samples], NaN where there is none; height of the mark
        over its surroundings, and noise of single samples [density].
    """
    n = profiles.shape[0]
    c = profiles.shape[1] // 2
    centre = np.full(n, np.nan)
    height, noise = np.zeros(n), np.zeros(n)
    for k in range(n):
        h = _known_half(profiles[k], half[k])
        if h < least:
            continue
        profile = profiles[k, c - h : c + h + 1]
        noise[k] = _noise(profile, 0, 2 * h)
        left, low = _lightest(profile, 1, h - h // 2, 1)
        right, high = _lightest(profile, 2 * h - 1, h + h // 2, -1)
        mark = np.zeros(2 * h + 1)
        for m in range(left, right + 1):
            mark[m] = max(0.0, profile[m] - (low + (high - low) * (m - left) / (right - left)))
        height[k] = mark.max()
        if max(low, high) - blank < _CUT_OFF * height[k]:
            centre[k] = _symmetry_centre(mark, min(reach[k], h - 4))
    return centre, height, noise
