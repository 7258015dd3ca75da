"""Fits against certified results: NIST Statistical Reference Datasets and the GUM's own example."""

import numpy as np
import pytest

from firedeck.kernel.curve import fit_rising_curve
from firedeck.kernel.s_curve import fit_s_curve

# NIST StRD, nonlinear regression, dataset Rat43 (Ratkowsky, Nonlinear Regression Modeling, 1983),
# certified values.
RAT43_X = np.arange(1.0, 16.0)
RAT43_Y = np.array(
    [16.08, 33.83, 65.80, 97.20, 191.55, 326.20, 386.87, 520.53, 590.03, 651.92, 724.93, 699.56, 689.96,
     637.56, 717.41]
)  # fmt: skip
RAT43_B = [6.9964151270e02, 5.2771253025e00, 7.5962938329e-01, 1.2792483859e00]
RAT43_SD = [1.6302297817e01, 2.0828735829e00, 1.9566123451e-01, 6.8761936385e-01]
RAT43_RSS = 8.7864049080e03

# NIST StRD, nonlinear regression, dataset Rat42, certified values.
RAT42_X = np.array([9.0, 14.0, 21.0, 28.0, 42.0, 57.0, 63.0, 70.0, 79.0])
RAT42_Y = np.array([8.93, 10.80, 18.59, 22.33, 39.35, 56.11, 61.73, 64.62, 67.08])
RAT42_B = [7.2462237576e01, 2.6180768402e00, 6.7359200066e-02]
RAT42_SD = [1.7340283401, 8.8295217536e-02, 3.4465663377e-03]
RAT42_RSS = 8.0565229338


@pytest.mark.parametrize("start", [[100.0, 10.0, 1.0, 1.0], [700.0, 5.0, 0.75, 1.3]])
def test_s_curve_with_free_exponent_meets_rat43(start):
    fit = fit_s_curve(RAT43_X, RAT43_Y, np.array(start))
    np.testing.assert_allclose(fit.parameters, RAT43_B, rtol=1e-6)
    np.testing.assert_allclose(fit.sd, RAT43_SD, rtol=1e-5)
    assert fit.residual_squares == pytest.approx(RAT43_RSS, rel=1e-8)


@pytest.mark.parametrize("start", [[100.0, 1.0, 0.1], [75.0, 2.5, 0.07]])
def test_s_curve_without_exponent_meets_rat42(start):
    fit = fit_s_curve(RAT42_X, RAT42_Y, np.array(start))
    np.testing.assert_allclose(fit.parameters, RAT42_B, rtol=1e-6)
    np.testing.assert_allclose(fit.sd, RAT42_SD, rtol=1e-5)
    assert fit.residual_squares == pytest.approx(RAT42_RSS, rel=1e-8)


def test_rising_curve_becomes_the_gums_straight_line_where_the_data_are_straight():
    """JCGM 100:2008, H.3, calibration of a thermometer.

    The data were read from an example file of a public metrology library; the printed results
    (intercept at 20 degC -0.1712, u 0.0029; slope 0.00218, u 0.00067; r -0.930; s 0.0035) are from
    memory and agree with the full digits used here, which a second implementation confirmed.
    """
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    y1, y2, u1, u2, r, s = -0.17120379, 0.0021827, 0.0028776, 0.00066794, -0.930430, 0.00349756
    curve = fit_rising_curve(t, b, np.full(len(t), s))
    at = np.array([21.6, 23.0, 24.0, 25.5, 26.5])
    np.testing.assert_allclose(curve(at), y1 + y2 * (at - 20), atol=2e-6)
    expected = np.sqrt(u1**2 + (at - 20) ** 2 * u2**2 + 2 * (at - 20) * r * u1 * u2)
    basis = curve.basis(at)
    found = np.sqrt(np.einsum("ij,jk,ik->i", basis, curve.covariance, basis))
    np.testing.assert_allclose(found, expected, rtol=2e-3)


def test_a_falling_series_is_refused():
    x = np.linspace(1.0, 6.0, 6)
    with pytest.raises(ValueError, match="do not rise"):
        fit_rising_curve(x, -x, np.full(6, 0.01))
