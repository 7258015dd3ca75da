"""The bend of a conversion is the second derivative of its curve."""

import numpy as np

from firedeck.pressure_map import Conversion


def test_bend_of_a_parabola_is_its_second_derivative():
    signal = np.linspace(0, 1, 2001)
    conversion = Conversion(signal, 50 * signal**2, np.zeros((0, 2001)))
    np.testing.assert_allclose(conversion.bend(np.array([0.2, 0.5, 0.8])), 100.0, rtol=1e-3)
