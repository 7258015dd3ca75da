"""Code values to light: every encoding, and what lies outside a wedge."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firedeck.errors import FiredeckError
from firedeck.kernel.transfer import Transfer, optical_density, reflectance_table


def srgb_code(light):
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


#: Scanners of known response: reflectance to code value as a fraction of full scale.
SCANNERS = {
    "linear": lambda r: r,
    "linear with veiling light": lambda r: 0.01 + 0.98 * r,
    "linear with black cut off": lambda r: np.maximum(r - 0.002, 0.0) / 0.998,
    "sRGB": srgb_code,
    "sRGB with veiling light": lambda r: srgb_code((r + 0.01) / 1.01),
    "power 2.2": lambda r: r ** (1 / 2.2),
    "power 1.8 with veiling light": lambda r: ((r + 0.005) / 1.005) ** (1 / 1.8),
}
#: Largest density error between steps 0.10 and 0.30 apart.
GOALS = {0.10: 2e-4, 0.30: 1e-3}


@pytest.mark.parametrize("step", GOALS)
@pytest.mark.parametrize("scanner", SCANNERS.values(), ids=SCANNERS)
def test_a_wedge_recovers_densities_between_its_steps(scanner, step):
    densities = np.arange(0.05, 1.96, step)
    codes = 65535 * scanner(10.0**-densities)
    table = reflectance_table(Transfer.from_wedge(codes, densities, full_scale=65535), 16)
    true = np.linspace(densities[0], densities[-1], 999)
    light = np.interp(65535 * scanner(10.0**-true), np.arange(65536), table.reflectance)
    # Half a code value of a 16-bit scan is itself up to 7e-4 density at density 1.95.
    np.testing.assert_allclose(optical_density(light), true, rtol=0, atol=GOALS[step])


def test_a_wedge_goes_through_its_steps_and_not_beyond():
    codes, densities = [20, 200, 90, 140, 50], [1.6, 0.1, 0.9, 0.5, 1.2]
    table = reflectance_table(Transfer.from_wedge(codes, densities, full_scale=255), 8)
    np.testing.assert_allclose(optical_density(table.reflectance[codes]), densities, atol=1e-6)
    assert np.all(np.diff(table.reflectance) >= 0.0)
    np.testing.assert_array_equal(np.flatnonzero(table.covered), np.arange(20, 201))
    np.testing.assert_allclose(optical_density(table.reflectance[:20]), 1.6, atol=1e-6)
    np.testing.assert_allclose(optical_density(table.reflectance[201:]), 0.1, atol=1e-6)


@pytest.mark.parametrize(
    ("codes", "densities", "message"),
    [
        ([10, 20, 30], [1.0, 0.5, 0.1], "at least 4"),
        ([10, 20, 30, 40], [1.0, 0.5, 0.1], "one density for each"),
        ([10, 20, 30, 40], [0.1, 0.5, 1.0, 1.5], "do not get lighter"),
        ([10, 20, 20, 40], [1.5, 1.0, 0.5, 0.1], "do not get lighter"),
        ([10, 20, 30, 40], [1.5, 1.0, 1.0, 0.1], "do not get lighter"),
        ([10, 20, 30, 400], [1.5, 1.0, 0.5, 0.1], "outside 0 to 255"),
        ([10, 20, 30, np.nan], [1.5, 1.0, 0.5, 0.1], "outside 0 to 255"),
        ([10, 20, 30, 40], [3, 10, 30, 80], "outside -0.1 to 6"),
        ([10, 20, 30, 40], [1.5, 1.0, np.nan, 0.1], "outside -0.1 to 6"),
    ],
)
def test_wedges_that_make_no_sense_are_refused(codes, densities, message):
    with pytest.raises(FiredeckError, match=message) as caught:
        Transfer.from_wedge(codes, densities, full_scale=255)
    assert caught.value.remedy


@given(st.lists(st.integers(0, 65535), min_size=4, max_size=30, unique=True), st.data())
def test_every_wedge_gives_a_rising_table_within_its_densities(codes, data):
    count = len(codes)
    densities = data.draw(st.lists(st.floats(0.0, 3.0), min_size=count, max_size=count, unique=True))
    if np.diff(sorted(densities)).min() < 1e-3:
        return
    wedge = Transfer.from_wedge(sorted(codes), sorted(densities, reverse=True), full_scale=65535)
    table = reflectance_table(wedge, 16)
    assert np.all(np.diff(table.reflectance) >= 0.0)
    assert optical_density(table.reflectance[0]) == pytest.approx(max(densities), abs=1e-5)
    assert optical_density(table.reflectance[-1]) == pytest.approx(min(densities), abs=1e-5)
    assert table.covered.sum() == max(codes) - min(codes) + 1


@pytest.mark.parametrize("bits", [8, 16])
def test_plain_encodings(bits):
    fraction = np.linspace(0.0, 1.0, 2**bits)
    for transfer, light in (
        (Transfer.linear(), fraction),
        (Transfer.from_gamma(2.2), fraction**2.2),
        (Transfer.from_table([0.0, 0.25, 1.0]), np.interp(fraction, [0, 0.5, 1], [0, 0.25, 1])),
    ):
        table = reflectance_table(transfer, bits)
        np.testing.assert_allclose(table.reflectance, light, rtol=1e-6, atol=1e-12)
        assert table.reflectance.dtype == np.float32
        assert table.covered.all()


@pytest.mark.parametrize(
    "build",
    [
        lambda: Transfer.from_gamma(0.0),
        lambda: Transfer.from_gamma(float("nan")),
        lambda: Transfer.from_table([0.5]),
        lambda: Transfer.from_table([0.0, 0.6, 0.5, 1.0]),
        lambda: Transfer.from_table([0.0, 2.0]),
        lambda: Transfer.from_table([0.0, float("nan")]),
        lambda: Transfer.from_parameters(2.4, -1.0, 1.0, 0.0, 0.0, 0.0, 0.0),
        lambda: Transfer.from_parameters(3e4, 3e4, 3e4, 0.0, 0.0, 0.0, 0.0),
    ],
)
def test_encodings_that_do_not_rise_are_refused(build):
    with pytest.raises(FiredeckError) as caught:
        build()
    assert caught.value.remedy


def test_density_needs_a_reference_and_knows_black():
    assert optical_density(0.0) == np.inf
    np.testing.assert_allclose(optical_density([0.08, 0.8], 0.8), [1.0, 0.0], atol=1e-12)
    with pytest.raises(ValueError, match="above zero"):
        optical_density(0.5, 0.0)
    with pytest.raises(ValueError, match="8 or 16"):
        reflectance_table(Transfer.linear(), 12)
