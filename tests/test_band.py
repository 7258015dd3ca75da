"""A seal's band: sampled, searched for foreign bodies, averaged and laid back onto the map."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firedeck.kernel.band import DARKER, LIGHTER, drop_wide_parts, grow_marks, sample_band, stand_out
from firedeck.kernel.band_field import band_pressure, gaussian_taps, lay_band, least_crowns, smooth_rows
from firedeck.kernel.cells import flag_lighter, tally_cells
from firedeck.kernel.lookup import guide_of, interpolate_curve, slope_of_curve

KNOTS = np.linspace(0.0, 1.0, 11)
CURVE = (KNOTS, 100.0 * KNOTS, guide_of(KNOTS))
LIMITS = (5.0, 0.06, 2.0)


def test_sampling_between_cells_is_exact_on_a_plane_and_silent_off_the_map():
    y, x = np.mgrid[0:40, 0:50].astype(np.float32)
    plane, other = 2 * x - 3 * y + 1, x + y
    points = np.array([[1.5, 2.0], [2.5, 2.0], [9.0, 2.0]])
    normals = np.tile([0.0, 1.0], (3, 1))
    across = np.array([-0.5, 0.0, 0.5])
    signal, noise, row, col = sample_band(points, normals, across, (0.0, 0.0, 0.1), plane, other)
    column, line = points[:, :1] / 0.1 - 0.5, (points[:, 1:] + across) / 0.1 - 0.5
    np.testing.assert_allclose(signal[:2], (2 * column - 3 * line + 1)[:2], rtol=1e-5)
    np.testing.assert_allclose(noise[:2], (column + line)[:2], rtol=1e-5)
    assert np.isnan(signal[2]).all()
    assert (row[2] == -1).all()
    np.testing.assert_array_equal(row[0], np.round(line[0] + 1e-9))
    np.testing.assert_array_equal(col[1], np.round(column[1] + 1e-9).repeat(3))


def band(rows=200, cols=31):
    """A quiet band with a bump across it, the same all along."""
    bump = 0.5 * np.exp(-0.5 * ((np.arange(cols) - cols // 2) / 6) ** 2)
    return np.tile(bump, (rows, 1)).astype(np.float32)


def found_on(signal):
    noise = np.full(signal.shape, 0.5, np.float32)
    usable = np.isfinite(signal)
    return stand_out(signal, noise, usable, CURVE, np.zeros(signal.shape, np.int8), 25, LIMITS)


def test_dust_and_dark_specks_stand_out_and_the_seal_itself_does_not():
    signal = band()
    assert not found_on(signal).any()
    signal[60:64, 14:17] -= 0.4
    signal[198:, 5:8] += 0.3  # at the seam, whose neighbours lie at the other end
    codes = found_on(signal)
    assert (codes[60:64, 14:17] == LIGHTER).all()
    assert (codes[198:, 5:8] == DARKER).all()
    assert (codes != 0).sum() == 12 + 6
    assert grow_marks(codes, (1, 2)).sum() == 6 * 7 + 3 * 7


def test_a_lone_sample_and_grain_do_not_stand_out():
    rng = np.random.default_rng(5)
    signal = band() + rng.normal(0, 0.02, (200, 31)).astype(np.float32)
    signal[100, 15] += 0.4
    noise = np.full(signal.shape, 2.0, np.float32)
    codes = stand_out(
        signal, noise, np.ones(signal.shape, bool), CURVE, np.zeros(signal.shape, np.int8), 25, LIMITS
    )
    assert not codes.any()


def test_what_is_lighter_and_as_long_as_a_gap_is_never_taken_for_dust():
    codes = np.zeros((50, 20), np.int8)
    codes[5:8, 5:8] = LIGHTER
    codes[8, 8] = LIGHTER  # hangs on by a corner
    codes[20:30, 5:7] = LIGHTER
    codes[40:49, 5:7] = DARKER
    drop_wide_parts(codes, LIGHTER, (6, 6))
    assert codes[5:9, 5:9].astype(bool).sum() == 10
    assert not codes[20:30].any()
    assert (codes[40:49, 5:7] == DARKER).all()


def test_smoothing_equals_a_plain_convolution_and_runs_on_level_at_the_ends():
    rng = np.random.default_rng(6)
    rows, taps = rng.normal(size=(3, 40)), gaussian_taps(2.0)
    padded = np.pad(rows, ((0, 0), (8, 8)), mode="edge")
    expected = [np.convolve(row, taps, mode="valid") for row in padded]
    np.testing.assert_allclose(smooth_rows(rows, taps), expected, rtol=1e-12)


def averaged(signal, usable, hidden, short=5, long=20):
    return band_pressure(signal, usable, hidden, CURVE, (short, long), 1.0, gaussian_taps(0.1))


def test_a_band_is_averaged_along_itself_over_the_seam():
    rng = np.random.default_rng(7)
    signal = rng.uniform(0.2, 0.8, (80, 9)).astype(np.float32)
    usable, hidden = np.ones(signal.shape, bool), np.zeros(signal.shape, bool)
    expected = 100 * np.mean([np.roll(signal, shift, axis=0) for shift in range(-5, 6)], axis=0)
    np.testing.assert_allclose(averaged(signal, usable, hidden), expected, rtol=1e-4)


def test_a_hidden_stretch_borrows_from_a_longer_one_and_lets_no_path_through_where_that_is_hidden_too():
    signal = np.full((200, 7), 0.5, np.float32)
    usable, hidden = np.ones(signal.shape, bool), np.zeros(signal.shape, bool)
    hidden[10:22], usable[10:22] = True, False
    hidden[80:140], usable[80:140] = True, False
    value = averaged(signal, usable, hidden)
    np.testing.assert_allclose(value[10:22], 50.0, rtol=1e-5)
    assert np.isinf(value[100:120]).all()
    signal[80:140], hidden[80:140] = np.nan, False
    assert np.isnan(averaged(signal, usable, hidden)[100:120]).all()


def test_cells_take_the_mean_of_the_samples_that_fall_into_them():
    target = np.full((5, 6), 7.0, np.float32)
    value = np.array([[1.0, 3.0, np.nan], [5.0, 9.0, 2.0]], np.float32)
    row = np.array([[1, 1, 2], [3, 3, -1]], np.int32)
    col = np.array([[2, 2, 2], [4, 5, -1]], np.int32)
    scratch = np.zeros((*target.shape, 2), np.float32)
    for first, end in ((0, 2), (2, 5)):  # a map may be laid part by part
        lay_band(value, row, col, first, target[first:end], scratch[first:end])
    assert not scratch.any()
    assert (target[1, 2], target[3, 4], target[3, 5], target[2, 2]) == (2.0, 5.0, 9.0, 7.0)


def test_the_least_of_many_noisy_crowns_lies_lower_the_more_there_are():
    rng = np.random.default_rng(8)
    unit = rng.standard_normal((4096, 20))
    starts = np.arange(0, 4096, 256)
    falls = []
    for count in (10, 100, 1000):
        pressure = np.zeros((count, 1))
        falls.append(-least_crowns(pressure, np.ones((count, 1)), unit, starts).mean())
    # Expected extremes of standard normal samples of 10 and 100: 1.539 and 2.508 (from memory).
    assert falls[0] == pytest.approx(1.54, abs=0.3)
    assert falls[1] == pytest.approx(2.51, abs=0.3)
    assert falls[2] > falls[1]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(1e-3, 2.0), min_size=1, max_size=30),
    st.lists(st.floats(-5, 70, allow_nan=False), min_size=1, max_size=20),
    st.integers(0, 2**32 - 1),
)
def test_curves_are_read_as_the_library_reads_them(gaps, places, seed):
    knots = np.cumsum([0.0, *gaps])
    ordinates = np.random.default_rng(seed).normal(size=len(knots))
    at = np.array([*places, *knots, np.nan])
    guide = guide_of(knots)
    np.testing.assert_allclose(
        interpolate_curve(at, knots, ordinates, guide), np.interp(at, knots, ordinates), rtol=1e-9, atol=1e-9
    )
    slopes = np.diff(ordinates) / np.diff(knots)
    spans = np.clip(np.searchsorted(knots, at[:-1], side="right") - 1, 0, len(slopes) - 1)
    found = slope_of_curve(at[:-1], knots, ordinates, guide)
    np.testing.assert_array_equal(found, slopes[spans])


def test_lighter_cells_and_their_neighbours_are_flagged():
    signal = np.zeros((5, 5), np.float32)
    signal[0, 0], signal[3, 3], signal[2, 1] = -0.2, -0.2, np.nan
    flags = np.zeros((5, 5), np.uint16)
    for rows in ((0, 3), (3, 5)):  # a cell's neighbours may fall to another thread
        flag_lighter(signal, rows, -0.1, 4, flags)
    assert set(zip(*(axis.tolist() for axis in np.nonzero(flags == 4)), strict=True)) == {
        (0, 0), (0, 1), (1, 0), (3, 3), (2, 3), (4, 3), (3, 2), (3, 4),
    }  # fmt: skip


def test_cells_are_added_up_by_kind():
    value = np.array([[1, 2, 3, 4, 5, np.nan, 6]], np.float32)
    signal = np.array([[0.001, 0.1, 0.2, 0.3, 0.9, 0.5, 0.5]], np.float32)
    flags = np.array([[1, 1, 2, 0, 4, 0, 8]], np.uint16)
    sums, counts = tally_cells(value, signal, flags, 8, (1, 2, 4), 0.01)
    np.testing.assert_array_equal(sums, [1, 2, 3, 4, 5])
    np.testing.assert_array_equal(counts.sum(axis=1), 1)
    assert counts[3, int(signal[0, 3] * 256)] == 1
