"""Reading a piecewise straight curve at many places at once."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = [
    "guide_of",
    "interpolate_curve",
    "interpolate_curves",
    "interpolate_into",
    "slope_at",
    "slope_of_curve",
    "span_at",
]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

#: Equal steps to a span of the curve on average: from the step a place falls into it is rarely more
#: than one span to the right one.
_STEPS_PER_SPAN = 8


def guide_of(knots: FloatArray) -> IntArray:
    """Return, for equal steps between the first and last knot, the span in which each step begins.

    Parameters
    ----------
    knots : ndarray, shape (n,)
        Rising abscissae, two or more.

    Returns
    -------
    ndarray of int64, shape (8 * (n - 1),)
        Index of the knot at or before each step's beginning.
    """
    spans = len(knots) - 1
    begins = np.linspace(knots[0], knots[-1], spans * _STEPS_PER_SPAN, endpoint=False)
    return np.clip(np.searchsorted(knots, begins, side="right") - 1, 0, spans - 1).astype(np.int64)


@njit(cache=True, nogil=True, error_model="numpy")
def interpolate_into(
    x: npt.NDArray[np.floating], knots: FloatArray, ordinates: FloatArray, guide: IntArray, out: FloatArray
) -> None:
    """Write the curve's ordinate at every place to `out`, held at the curve's ends; NaN at NaN.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Places.
    knots, ordinates : ndarray, shape (k,)
        The curve.
    guide : ndarray of int64
        From `guide_of`.
    out : ndarray, shape (n,)
        Ordinates; may be `x` itself.
    """
    first, last = knots[0], knots[-1]
    scale, most = guide.size / (last - first), np.int64(guide.size - 1)
    # The search is written out here and below: a function called for every place would take longer
    # than the search itself. It chooses without a branch as far as it can, as places are often noise.
    for i in range(x.size):
        place = np.float64(x[i])
        held = place if place > first else first
        held = held if held < last else last
        span = guide[min(np.int64((held - first) * scale), most)]
        span += held >= knots[span + 1]
        while held < last and held >= knots[span + 1]:
            span += 1
        span = min(span, knots.size - 2)
        part = (held - knots[span]) / (knots[span + 1] - knots[span])
        found = ordinates[span] + part * (ordinates[span + 1] - ordinates[span])
        found = found if held < last else ordinates[-1]
        out[i] = np.nan if np.isnan(place) else found


def interpolate_curve(
    x: npt.NDArray[np.floating], knots: FloatArray, ordinates: FloatArray, guide: IntArray
) -> FloatArray:
    """Return the curve's ordinate at every place; see `interpolate_into`."""
    out = np.empty(x.shape)
    interpolate_into(x.ravel(), knots, ordinates, guide, out.ravel())
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def slope_at(x: float, knots: FloatArray, ordinates: FloatArray, guide: IntArray) -> float:
    """Return the slope of the span that holds a place; beyond the ends, and at NaN, that of an end span."""
    last = knots.size - 2
    step = (x - knots[0]) * (guide.size / (knots[last + 1] - knots[0]))
    span = np.int64(0)
    if step >= guide.size:
        span = np.int64(last)
    elif step > 0.0:
        span = guide[int(step)]
        while span < last and x >= knots[span + 1]:
            span += 1
    return float((ordinates[span + 1] - ordinates[span]) / (knots[span + 1] - knots[span]))


@njit(cache=True, nogil=True, error_model="numpy")
def _slopes_into(
    x: npt.NDArray[np.floating], knots: FloatArray, slopes: FloatArray, guide: IntArray, out: FloatArray
) -> None:
    first, last = knots[0], knots.size - 2
    scale = guide.size / (knots[-1] - first)
    for i in range(x.size):
        place = np.float64(x[i])
        step = (place - first) * scale
        span = np.int64(0)
        if step >= guide.size:
            span = np.int64(last)
        elif step > 0.0:
            span = guide[int(step)]
            while span < last and place >= knots[span + 1]:
                span += 1
        out[i] = slopes[span]


def slope_of_curve(
    x: npt.NDArray[np.floating], knots: FloatArray, ordinates: FloatArray, guide: IntArray
) -> FloatArray:
    """Return the slope at every place; see `slope_at`.

    Parameters
    ----------
    x : ndarray
        Places.
    knots, ordinates : ndarray, shape (k,)
        The curve.
    guide : ndarray of int64
        From `guide_of`.

    Returns
    -------
    ndarray, shape of `x`
        Slopes.
    """
    out = np.empty(x.shape)
    _slopes_into(x.ravel(), knots, np.diff(ordinates) / np.diff(knots), guide, out.ravel())
    return out


@njit(cache=True, nogil=True, inline="always", error_model="numpy")
def span_at(place: float, knots: FloatArray, guide: IntArray) -> tuple[np.int64, float]:
    """Return the span that holds a place and how far along it the place lies; held at the curve's ends.

    Parameters
    ----------
    place : float
        The place; at NaN the part is NaN.
    knots : ndarray, shape (k,)
        Rising abscissae.
    guide : ndarray of int64
        From `guide_of`.
    """
    first, last = knots[0], knots.size - 2
    held = place if place > first else first
    held = held if held < knots[last + 1] else knots[last + 1]
    step = (held - first) * (guide.size / (knots[last + 1] - first))
    span = guide[min(int(step), guide.size - 1)]
    while span < last and held >= knots[span + 1]:
        span += 1
    part = (held - knots[span]) / (knots[span + 1] - knots[span])
    return span, np.nan if np.isnan(place) else part


@njit(cache=True, nogil=True, error_model="numpy")
def interpolate_curves(x: FloatArray, knots: FloatArray, curves: FloatArray, guide: IntArray) -> FloatArray:
    """Return the ordinates of several curves over the same knots at every place; see `interpolate_into`.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Places.
    knots : ndarray, shape (k,)
        Rising abscissae.
    curves : ndarray, shape (c, k)
        Ordinates of every curve.
    guide : ndarray of int64
        From `guide_of`.

    Returns
    -------
    ndarray, shape (c, n)
        Ordinates.
    """
    out = np.empty((curves.shape[0], x.size))
    for i in range(x.size):
        span, part = span_at(x[i], knots, guide)
        for c in range(curves.shape[0]):
            out[c, i] = curves[c, span] + part * (curves[c, span + 1] - curves[c, span])
    return out
