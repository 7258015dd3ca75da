"""Sums of calibration modes through knot weights equal the sums place by place."""

import numpy as np

from firedeck.pressure_map import Conversion


def test_knot_weights_sum_modes_as_looking_up_every_place_does():
    rng = np.random.default_rng(1)
    signal = np.sort(rng.uniform(0, 1, 30))
    conversion = Conversion(signal, np.linspace(0, 100, 30), rng.normal(size=(4, 30)))
    places = rng.uniform(-0.1, 1.1, (20, 50))
    inside = rng.random((20, 50)) < 0.6
    expected = np.where(inside, conversion.mode_shifts(places), 0.0).sum(axis=-1)
    np.testing.assert_allclose(
        conversion.modes @ conversion.knot_weights(places, inside).T, expected, rtol=1e-9, atol=1e-9
    )


def test_bend_of_a_parabola_is_its_second_derivative():
    signal = np.linspace(0, 1, 2001)
    conversion = Conversion(signal, 50 * signal**2, np.zeros((0, 2001)))
    np.testing.assert_allclose(conversion.bend(np.array([0.2, 0.5, 0.8])), 100.0, rtol=1e-3)
