"""Sums over a seal's line in windows equal the sums place by place."""

import numpy as np

from firedeck.kernel.across import curve_shifts
from firedeck.pressure_map import Conversion


def test_modes_summed_over_a_line_equal_those_looked_up_at_every_place():
    rng = np.random.default_rng(1)
    signal = np.sort(rng.uniform(0, 1, 30))
    conversion = Conversion(signal, np.linspace(0, 100, 30), rng.normal(size=(4, 30)))
    places = rng.uniform(-0.1, 1.1, (20, 50))
    extent = np.sort(rng.integers(0, 51, (20, 2)), axis=1)
    column = np.arange(50)
    inside = (column >= extent[:, :1]) & (column < extent[:, 1:])
    modes = np.ascontiguousarray(conversion.modes.T)
    by_mode, by_zero = curve_shifts(places, extent, conversion.curve, modes, 0.01)
    expected = np.where(inside, conversion.mode_shifts(places), 0.0).sum(axis=-1)
    np.testing.assert_allclose(by_mode, expected, rtol=1e-9, atol=1e-9)
    zero = conversion.slope(places) * (1 - np.clip(places, 0, 1)) * 0.01
    np.testing.assert_allclose(by_zero, np.where(inside, zero, 0.0).sum(axis=-1), rtol=1e-9)
