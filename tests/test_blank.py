"""The blank surface: lamp, curl and fog found from border and land, tint and load left alone."""

import numpy as np

from firedeck.film.blank import fit_blank, signal_from_light
from firedeck.pressure_map import Grid

GRID = Grid(0.0, 0.0, 0.2, 600, 900)


def fields(seed, *, tint=0.0, loaded=0.0):
    rng = np.random.default_rng(seed)
    y, x = np.meshgrid(np.linspace(-1, 1, GRID.rows), np.linspace(-1, 1, GRID.cols), indexing="ij")
    blank = 0.8 * (1 - 0.02 * x**2) * (1 - 0.01 * (1 - y**2) * (1 - x**2)) * 10**-0.03
    border = (np.abs(x) > 0.95) | (np.abs(y) > 0.93)
    land = ~border & ~((np.hypot(x - 0.2, y) > 0.4) & (np.hypot(x - 0.2, y) < 0.5))
    signal = np.where(border, 0.0, tint * (rng.random(x.shape) < 0.6))
    signal = np.where(~border & ~land, 0.7, signal)
    signal = np.where(land & (x < -0.4), loaded, signal)
    light = blank * (1 - signal) + rng.normal(0, 0.01, x.shape)
    return light.astype(np.float32), blank, border, land


def error(seed, **more):
    light, blank, border, land = fields(seed, **more)
    surface = fit_blank(light, GRID, border, land)
    signal = signal_from_light(light.copy(), surface)
    fitted = light / (1 - signal)
    return np.log(fitted / blank), surface


def test_lamp_curl_and_fog_are_found_within_the_stated_uncertainty():
    for seed in range(3):
        miss, surface = error(seed)
        assert np.sqrt(np.mean(miss**2)) < 1.5 * surface.sd
        assert surface.sd < 0.008


def test_faint_tint_on_the_land_moves_the_surface_less_than_it_tints():
    miss, _ = error(5, tint=0.006)
    assert abs(float(miss.mean())) < 0.004


def test_a_loaded_part_of_the_land_is_not_taken_for_blank():
    miss, _ = error(6, loaded=0.15)
    assert np.max(np.abs(miss)) < 0.02


def test_without_a_border_the_surface_says_that_it_is_less_sure():
    light, _, border, land = fields(7)
    sure = fit_blank(light, GRID, border, land)
    unsure = fit_blank(light, GRID, np.zeros_like(border), land)
    assert unsure.sd > 2 * sure.sd
    assert unsure.border_tiles == 0
