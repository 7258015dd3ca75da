"""A rising curve through scattered calibration levels, with its covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.interpolate import BSpline

__all__ = ["SmoothCurve", "fit_rising_curve"]

FloatArray = npt.NDArray[np.float64]

_DEGREE = 3


@dataclass(frozen=True)
class SmoothCurve:
    """A cubic spline y(x) with the covariance of its coefficients."""

    knots: FloatArray
    coefficients: FloatArray
    covariance: FloatArray
    chi_squared: float
    freedom: float

    def basis(self, x: npt.ArrayLike) -> FloatArray:
        """Return the value of every basis function at `x`, shape (len(x), number of coefficients)."""
        return _basis(np.atleast_1d(np.asarray(x, dtype=float)), self.knots)

    def __call__(self, x: npt.ArrayLike) -> FloatArray:
        """Return y at `x`."""
        return np.asarray(BSpline(self.knots, self.coefficients, _DEGREE)(x), dtype=float)

    def slope(self, x: npt.ArrayLike) -> FloatArray:
        """Return dy/dx at `x`."""
        return np.asarray(BSpline(self.knots, self.coefficients, _DEGREE).derivative()(x), dtype=float)


def _basis(x: FloatArray, knots: FloatArray) -> FloatArray:
    inside = np.clip(x, knots[_DEGREE], knots[-_DEGREE - 1])
    return np.asarray(BSpline.design_matrix(inside, knots, _DEGREE).toarray(), dtype=float)


def _slope_basis(x: FloatArray, knots: FloatArray) -> FloatArray:
    count = len(knots) - _DEGREE - 1
    slopes = [BSpline(knots, unit, _DEGREE).derivative()(x) for unit in np.eye(count)]
    return np.asarray(np.column_stack(slopes), dtype=float)


def _roughness(knots: FloatArray) -> FloatArray:
    """Return the matrix of the integral of y'' squared, exact for cubics (two Gauss points a span)."""
    count = len(knots) - _DEGREE - 1
    spans = np.unique(knots)
    middle, half = (spans[1:] + spans[:-1]) / 2, np.diff(spans) / 2
    places = np.concatenate([middle - half / np.sqrt(3), middle + half / np.sqrt(3)])
    weights = np.concatenate([half, half])
    bend = np.column_stack(
        [BSpline(knots, unit, _DEGREE).derivative(2)(places) for unit in np.eye(count)],
    )
    return np.asarray(bend.T @ (weights[:, None] * bend))


def fit_rising_curve(x: FloatArray, y: FloatArray, sd: FloatArray) -> SmoothCurve:
    """Fit the smoothest rising curve that the scatter of the points allows.

    The penalty on curvature is the largest for which the weighted misfit does not exceed what the
    stated standard deviations lead one to expect (discrepancy principle); it is raised further
    until the curve rises everywhere.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Rising abscissae.
    y : ndarray, shape (n,)
        Observed ordinates.
    sd : ndarray, shape (n,)
        Standard deviation of each ordinate.

    Returns
    -------
    SmoothCurve
        The curve; its covariance is that of the penalised least squares seen as a prior on smoothness.

    Raises
    ------
    ValueError
        If fewer than four points are given or no rising curve fits.

    Notes
    -----
    Penalised splines: Eilers and Marx, Statistical Science 11 (1996) 89; Bayesian covariance: Wahba,
    J. R. Statist. Soc. B 45 (1983) 133 (both cited from memory).
    """
    if len(x) < 4:
        raise ValueError("a response curve needs at least four levels that answer")
    knots = np.concatenate([np.full(_DEGREE, x[0]), x, np.full(_DEGREE, x[-1])])
    basis, weight = _basis(x, knots), 1.0 / sd**2
    normal = basis.T @ (weight[:, None] * basis)
    rough = _roughness(knots)
    scale = np.trace(normal) / np.trace(rough)
    rise = _slope_basis(np.linspace(x[0], x[-1], 400), knots)
    best: SmoothCurve | None = None
    for strength in scale * np.logspace(-7, 8, 61):
        curve = _solve(knots, basis, weight, y, normal, strength * rough)
        allowed = len(x) - curve.freedom
        rising = bool(np.all(rise @ curve.coefficients > 0))
        if rising and (best is None or curve.chi_squared <= 1.001 * max(allowed, 1.0)):
            best = curve
    if best is None:
        raise ValueError("the levels do not rise with pressure")
    return best


def _solve(
    knots: FloatArray,
    basis: FloatArray,
    weight: FloatArray,
    y: FloatArray,
    normal: FloatArray,
    penalty: FloatArray,
) -> SmoothCurve:
    covariance = np.linalg.inv(normal + penalty + 1e-12 * np.trace(normal) * np.eye(len(normal)))
    coefficients = covariance @ (basis.T @ (weight * y))
    misfit = y - basis @ coefficients
    freedom = float(np.trace(covariance @ normal))
    return SmoothCurve(knots, coefficients, covariance, float(np.sum(weight * misfit**2)), freedom)
