"""Density and encodings against published values and definitions.

The sRGB figures are those of IEC 61966-2-1:1999 as computed by colour-science 0.4.7
(``colour.models.eotf_sRGB``, ``eotf_inverse_sRGB``), the Munsell figures those of the ASTM D1535
polynomial as computed by the same library (``colour.colorimetry.luminance_ASTMD1535``).
"""

from __future__ import annotations

import numpy as np
import pytest

from firedeck.kernel.transfer import Transfer, optical_density, reflectance_table


@pytest.mark.parametrize(
    ("reflectance", "density"),
    # Definition D = -log10 R, ISO 5-1 and ISO 5-4 (editions from memory); values follow from it.
    [
        (1.0, 0.0),
        (0.9, 0.045757),
        (0.5, 0.301030),
        (0.18, 0.744727),
        (0.1, 1.0),
        (0.05, 1.301030),
        (0.02, 1.698970),
        (0.01, 2.0),
    ],
)
def test_density_is_the_logarithm_of_reflectance(reflectance, density):
    assert optical_density(reflectance) == pytest.approx(density, abs=5e-7)


@pytest.mark.parametrize(
    ("code", "linear", "density"),
    # colour-science 0.4.7, eotf_sRGB (IEC 61966-2-1:1999), code / 255; density from the definition.
    [
        (1, 0.00030353, 3.51780),
        (10, 0.00303527, 2.51780),
        (11, 0.00334654, 2.47540),
        (64, 0.05126946, 1.29014),
        (118, 0.18116424, 0.74193),
        (128, 0.21586050, 0.66583),
        (188, 0.50288646, 0.29853),
        (200, 0.57758044, 0.23839),
        (254, 0.99110210, 0.00388),
    ],
)
def test_srgb_codes(code, linear, density):
    table = reflectance_table(Transfer.srgb(), 8).reflectance
    assert table[code] == pytest.approx(linear, abs=1e-7)
    assert optical_density(table[code]) == pytest.approx(density, abs=1e-5)
    # The same fraction of full scale in 16 bits: 65535 = 257 x 255.
    assert reflectance_table(Transfer.srgb(), 16).reflectance[257 * code] == table[code]


def test_a_grey_of_18_percent():
    """colour-science 0.4.7, eotf_inverse_sRGB(0.18) = 0.461356129500442 (in its own doctests)."""
    table = reflectance_table(Transfer.srgb(), 16).reflectance.astype(float)
    light = np.interp(0.461356129500442 * 65535, np.arange(65536), table)
    assert light == pytest.approx(0.18, abs=1e-7)
    assert optical_density(light) == pytest.approx(0.744727, abs=1e-6)


@pytest.mark.parametrize(
    ("munsell_percent", "density"),
    # colour-science 0.4.7, luminance_ASTMD1535 of Munsell values 9.5, 8, 6.5, 5, 3.5, 2 (ASTM D1535).
    [
        (87.75585, 0.0567),
        (57.61963, 0.2394),
        (35.29642, 0.4523),
        (19.27184, 0.7151),
        (8.77826, 1.0566),
        (3.04812, 1.5160),
    ],
)
def test_density_of_neutral_greys(munsell_percent, density):
    assert optical_density(munsell_percent, 100.0) == pytest.approx(density, abs=5e-5)


def test_the_mean_of_densities_is_not_the_density_of_the_mean():
    """Half of a patch at D 0.10, half at 1.50: follows from the definition of density."""
    halves = 10.0 ** -np.array([0.10, 1.50])
    assert optical_density(halves).mean() == pytest.approx(0.80)
    assert optical_density(halves.mean()) == pytest.approx(0.384076, abs=5e-7)


@pytest.mark.parametrize(
    ("code", "step"),
    # From this code to the next one, out of IEC 61966-2-1:1999 and the definition of density.
    [(10, 0.042398), (30, 0.023410), (60, 0.013986), (128, 0.007313), (200, 0.004859), (250, 0.003940)],
)
def test_density_of_one_count_of_8_bit_srgb(code, step):
    density = optical_density(reflectance_table(Transfer.srgb(), 8).reflectance)
    assert density[code] - density[code + 1] == pytest.approx(step, abs=2e-6)


def test_steps_of_a_wedge():
    """A tenth of a density, one stop and a third of a stop: follow from the definition."""
    assert optical_density(0.794328) == pytest.approx(0.1, abs=1e-6)
    assert optical_density(0.5) == pytest.approx(0.301030, abs=5e-7)
    assert optical_density(2.0 ** (-1 / 3)) == pytest.approx(0.100343, abs=5e-7)


def test_encoded_values_read_as_linear_are_far_off():
    """The trap that makes the declared encoding matter: 18 % grey, sRGB code 118."""
    as_linear = optical_density(reflectance_table(Transfer.linear(), 8).reflectance[118])
    as_srgb = optical_density(reflectance_table(Transfer.srgb(), 8).reflectance[118])
    assert as_linear == pytest.approx(0.334658, abs=5e-7)  # -log10(118/255), by definition
    assert as_srgb == pytest.approx(0.74193, abs=5e-6)
