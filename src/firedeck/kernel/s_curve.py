"""The S-curve of growth with free or fixed asymmetry, as a second opinion on a response curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

__all__ = ["SCurve", "fit_s_curve", "s_curve"]

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class SCurve:
    """A fitted S-curve.

    Attributes
    ----------
    parameters : ndarray, shape (3,) or (4,)
        Top, shift, rate and, where free, the asymmetry exponent.
    sd : ndarray
        Standard deviation of each parameter, scaled by the residuals.
    residual_squares : float
        Sum of squared residuals.
    """

    parameters: FloatArray
    sd: FloatArray
    residual_squares: float

    def __call__(self, x: npt.ArrayLike) -> FloatArray:
        """Return y at `x`."""
        return s_curve(np.asarray(x, dtype=float), self.parameters)


def s_curve(x: FloatArray, parameters: FloatArray) -> FloatArray:
    """Return b1 / (1 + exp(b2 - b3 x))^(1/b4), b4 = 1 where three parameters are given.

    Parameters
    ----------
    x : ndarray
        Abscissae.
    parameters : ndarray, shape (3,) or (4,)
        b1 to b3, or b1 to b4.
    """
    power = 1.0 / parameters[3] if len(parameters) == 4 else 1.0
    return np.asarray(parameters[0] / (1.0 + np.exp(parameters[1] - parameters[2] * x)) ** power)


def fit_s_curve(x: FloatArray, y: FloatArray, start: FloatArray) -> SCurve:
    """Fit an S-curve by least squares (Levenberg-Marquardt).

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Points.
    start : ndarray, shape (3,) or (4,)
        First guess; three values hold the exponent at 1.

    Returns
    -------
    SCurve
        Parameters with their standard deviations.

    Raises
    ------
    ValueError
        If there are not more points than parameters, or no fit is found.
    """
    if len(x) <= len(start):
        raise ValueError("more points than parameters are needed")
    found = least_squares(
        lambda b: s_curve(x, b) - y, start, method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=20_000
    )
    if not np.all(np.isfinite(found.x)):
        raise ValueError("no S-curve fits these points")
    squares = float(np.sum(found.fun**2))
    covariance = np.linalg.inv(found.jac.T @ found.jac) * squares / (len(x) - len(start))
    return SCurve(found.x, np.sqrt(np.diag(covariance)), squares)
