"""The centre of a mark across a seal: single, saturated, double, unequal, cut off."""

from __future__ import annotations

import numpy as np
import pytest

from firedeck.kernel.crown import crown_centres

PITCH = 0.06
PLACE = (np.arange(83) - 41) * PITCH
BLANK = 0.09


def bell(centre: float, width: float = 0.35) -> np.ndarray:
    return np.exp(-(((PLACE - centre) / width) ** 2) / 2)


def centre_of(profile: np.ndarray, reach: float = 0.9) -> float:
    half = np.array([41])
    found, _, _ = crown_centres((BLANK + profile)[None, :], half, 12, np.array([round(reach / PITCH)]), BLANK)
    return float(found[0]) * PITCH


@pytest.mark.parametrize("at", [-0.63, -0.1, 0.0, 0.34, 0.7])
@pytest.mark.parametrize(
    "shape",
    [
        lambda at: 0.8 * bell(at),
        lambda at: np.minimum(1.5 * bell(at, 0.5), 0.9),
        lambda at: 0.8 * bell(at - 0.75, 0.2) + 0.8 * bell(at + 0.75, 0.2),
        lambda at: 0.8 * bell(at - 0.75, 0.2) + 0.5 * bell(at + 0.75, 0.2),
    ],
    ids=["single", "saturated", "feet", "unequal-feet"],
)
def test_centre_is_found_for_every_kind_of_mark(shape, at):
    assert centre_of(shape(at)) == pytest.approx(at, abs=0.012)


def test_background_that_slopes_does_not_pull_the_centre():
    assert centre_of(0.8 * bell(0.2) + 0.05 * (PLACE + 2.5)) == pytest.approx(0.2, abs=0.012)


def test_mark_out_of_reach_or_cut_off_has_no_centre():
    assert np.isnan(centre_of(0.8 * bell(1.4), reach=0.5))
    profile = 0.8 * bell(0.0, 1.2)
    profile[np.abs(PLACE) > 0.9] = np.nan
    assert np.isnan(centre_of(profile))


def test_profile_known_on_one_side_only_has_no_centre():
    profile = 0.8 * bell(0.0)
    profile[PLACE > 0.4] = np.nan
    assert np.isnan(centre_of(profile))


def test_noise_is_measured_apart_from_the_mark():
    rng = np.random.default_rng(2)
    noisy = BLANK + 0.8 * bell(0.1)[None, :] + 0.02 * rng.standard_normal((200, 83))
    half, reach = np.full(200, 41), np.full(200, 10)
    centre, height, noise = crown_centres(noisy, half, 12, reach, BLANK)
    assert np.mean(noise) == pytest.approx(0.02, rel=0.06)
    assert np.mean(height) == pytest.approx(0.8, abs=0.06)
    assert np.mean(centre * PITCH) == pytest.approx(0.1, abs=0.005)
