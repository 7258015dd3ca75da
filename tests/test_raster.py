"""Pooling and resampling keep light where it belongs and lose none of it."""

import numpy as np
import pytest
from scipy import ndimage

from firedeck.film.picture import pool_scan, pooling_factor
from firedeck.kernel.box import box_mean
from firedeck.kernel.cells import settle_faint, weighted_normal
from firedeck.kernel.medians import tile_medians
from firedeck.kernel.raster import dilate, erode_diamond
from firedeck.kernel.resample import resample_mean
from firedeck.kernel.windows import (
    closed_window_means,
    closed_window_sums,
    fill_rows,
    highest_means,
    running_sums,
)


def shared_out(picture, film, matrix, pixel, shape):
    """Return each cell's sum of light and of shares, cell by pixel: overlaps of squares, one at a time."""
    total, cover = np.zeros(shape), np.zeros(shape)
    cells = [np.arange(size) - 0.5 for size in shape]
    for i, j in zip(*np.nonzero(film), strict=True):
        x, y = matrix @ (j, i, 1) - pixel / 2
        tall, broad = (
            np.clip(np.minimum(at + pixel, low + 1) - np.maximum(at, low), 0, None)
            for at, low in zip((y, x), cells, strict=True)
        )
        total += picture[i, j] * np.outer(tall, broad)
        cover += np.outer(tall, broad)
    return total, cover


@pytest.mark.parametrize("angle", [0.0, 7.0, 90.0, 213.0])
def test_resampling_hands_over_all_light_at_any_angle(angle):
    rng = np.random.default_rng(1)
    picture = rng.uniform(0.2, 0.9, (40, 50)).astype(np.float32)
    film = np.ones(picture.shape, bool)
    turn = np.radians(angle)
    scale = 0.85
    linear = scale * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    matrix = np.column_stack([linear, [60.0, 60.0]])
    mean = resample_mean(picture, film, 1, matrix, scale, (130, 130), 1e-6)
    cover = shared_out(picture, film, matrix, scale, (130, 130))[1]
    assert np.nansum(mean * cover) == pytest.approx(picture.sum() * scale**2, rel=1e-5)


@pytest.mark.parametrize("mirrored", [1, -1])
@pytest.mark.parametrize("pixel", [0.4, 0.85, 1.0, 1.7])
@pytest.mark.parametrize("angle", [0.0, 0.3, 33.0, 90.2, 179.0, 270.0, 310.0])
def test_every_cell_gets_its_share_of_every_pixel_on_it(angle, pixel, mirrored):
    rng = np.random.default_rng(4)
    picture = rng.uniform(0.2, 0.9, (40, 48)).astype(np.float32)
    film = rng.random((10, 12)) < 0.8
    turn = np.radians(angle)
    linear = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) * (
        pixel,
        mirrored * pixel,
    )
    matrix = np.column_stack([linear, [18.0, 22.0] - linear @ [24.0, 20.0]])  # some of it beyond the grid
    total, cover = shared_out(picture, np.kron(film, np.ones((4, 4), bool)), matrix, pixel, (46, 36))
    mean = resample_mean(picture, film, 4, matrix, pixel, (46, 36), 0.1)
    sure = np.abs(cover - 0.1) > 2e-5  # as near to the least cover as this, rounding decides
    np.testing.assert_array_equal(np.isfinite(mean)[sure], (cover > 0.1)[sure])
    known = np.isfinite(mean)
    np.testing.assert_allclose(mean[known], total[known] / cover[known], atol=2e-4)
    np.testing.assert_allclose((mean * cover)[known], total[known], atol=4e-5)


def test_resampling_a_flat_picture_gives_a_flat_map():
    picture = np.full((60, 60), 0.37, np.float32)
    matrix = np.array([[0.83, 0.02, 3.0], [-0.02, 0.83, 5.0]])
    mean = resample_mean(picture, np.ones(picture.shape, bool), 1, matrix, 0.83, (70, 70), 0.5)
    assert np.isfinite(mean).sum() == pytest.approx(60**2 * 0.83**2, rel=0.05)
    np.testing.assert_allclose(mean[np.isfinite(mean)], 0.37, rtol=1e-5)


def test_pixels_off_the_film_count_for_nothing():
    picture = np.full((20, 23), 0.5, np.float32)
    film = np.ones((5, 5), bool)  # does not reach the last three columns of the picture
    film[:, 3:] = False
    picture[:, 12:] = 0.9
    matrix = np.array([[1.0, 0.0, 2.0], [0.0, 1.0, 2.0]])
    mean = resample_mean(picture, film, 4, matrix, 1.0, (30, 30), 0.5)
    assert np.isfinite(mean).sum() == 20 * 12
    np.testing.assert_allclose(mean[np.isfinite(mean)], 0.5, rtol=1e-6)


def test_a_footprint_larger_than_a_cell_loses_nothing():
    picture = np.linspace(0.1, 0.9, 12 * 15, dtype=np.float32).reshape(12, 15)
    film = np.ones((12, 15), bool)
    matrix = np.array([[2.3, 0.1, 4.0], [-0.1, 2.3, 6.0]])
    pixel = float(np.sqrt(2.3**2 + 0.1**2))
    mean = resample_mean(picture, film, 1, matrix, pixel, (50, 50), 1e-6)
    cover = shared_out(picture, film, matrix, pixel, (50, 50))[1]
    assert np.nansum(mean * cover) == pytest.approx(picture.sum() * pixel**2, rel=1e-5)


@pytest.mark.parametrize(("dpi", "factor"), [(150, 1), (300, 1), (600, 2), (1200, 4)])
def test_fine_pixels_stay_below_the_limit_and_near_it(dpi, factor):
    assert pooling_factor((dpi / 25.4, dpi / 25.4)) == factor


def test_pooling_blocks_in_any_order_equals_pooling_the_whole():
    rng = np.random.default_rng(2)
    codes = rng.integers(0, 65536, (64, 96, 3)).astype(np.uint16)
    linear = np.linspace(0, 1, 65536, dtype=np.float32)
    blocks = [(r, c, codes[r : r + 17, c : c + 29]) for r in range(0, 64, 17) for c in range(0, 96, 29)]
    options = {
        "name": "x",
        "size": (64, 96),
        "channels": 3,
        "resolution_per_mm": (24.0, 24.0),
        "linear": linear,
        "measuring": 1,
    }
    shuffled = pool_scan(blocks[::-1], **options)
    expected = linear[codes].reshape(32, 2, 48, 2, 3).mean(axis=(1, 3))
    np.testing.assert_allclose(shuffled.fine, expected[..., 1], rtol=1e-5)
    blocks_of_eight = linear[codes].reshape(8, 8, 12, 8, 3)
    measured, rest = blocks_of_eight.mean(axis=(1, 3)), blocks_of_eight[:, ::2].mean(axis=(1, 3))
    np.testing.assert_allclose(shuffled.coarse[..., 1], measured[..., 1], rtol=1e-5)
    np.testing.assert_allclose(shuffled.coarse[..., ::2], rest[..., ::2], rtol=1e-5)


@pytest.mark.parametrize(("rows", "cols"), [(16, 96), (7, 96), (64, 24), (64, 13), (9, 11)])
def test_blocks_may_lie_anyhow_on_the_pixels_they_are_pooled_to(rows, cols):
    codes = np.random.default_rng(8).integers(0, 256, (67, 99, 3)).astype(np.uint8)
    linear = np.linspace(0.0, 1.0, 256, dtype=np.float32)
    options = {"name": "a.tif", "size": (67, 99), "channels": 3, "linear": linear, "measuring": 1}
    options["resolution_per_mm"] = (600 / 25.4, 600 / 25.4)
    corners = [(row, col) for row in range(0, 67, rows) for col in range(0, 99, cols)]
    pooled = pool_scan(((i, j, codes[i : i + rows, j : j + cols]) for i, j in corners), **options)
    whole = pool_scan([(0, 0, codes)], **options)
    np.testing.assert_allclose(pooled.fine, whole.fine, rtol=1e-5)
    np.testing.assert_allclose(pooled.coarse, whole.coarse, rtol=1e-5)
    expected = linear[codes[:66, :98, 1]].reshape(33, 2, 49, 2).mean(axis=(1, 3))
    np.testing.assert_allclose(whole.fine, expected, rtol=1e-5)


@pytest.mark.parametrize("radius", [1, 2, 3, 6, 9])
def test_dilation_is_the_same_as_the_librarys(radius):
    mask = np.random.default_rng(9).random((40, 50)) < 0.01
    square = np.ones((2 * radius + 1, 2 * radius + 1), bool)
    np.testing.assert_array_equal(dilate(mask, radius), ndimage.binary_dilation(mask, square))


def test_dilation_grows_by_a_square():
    mask = np.zeros((15, 17), bool)
    mask[7, 8] = True
    grown = dilate(mask, 3)
    assert grown.sum() == 49
    assert grown[4:11, 5:12].all()


@pytest.mark.parametrize("radius", [1, 3])
def test_eroding_takes_off_all_within_so_many_steps_of_the_edge(radius):
    mask = np.random.default_rng(3).random((60, 70)) > 0.01
    expected = ndimage.binary_erosion(mask, iterations=radius)
    assert expected.any()
    np.testing.assert_array_equal(erode_diamond(mask, radius), expected)


@pytest.mark.parametrize("levels", [3, 10_000])
def test_tile_medians_are_medians_whatever_is_equal_in_a_tile(levels):
    rng = np.random.default_rng(7)
    values = (rng.integers(0, levels, (45, 38)) / np.float32(levels)).astype(np.float32)
    usable = rng.random(values.shape) > 0.4
    values[3, 4] = np.nan
    medians = tile_medians(values, usable, 7, 1)
    counted = np.where(usable, values, np.nan)
    for row, col in np.ndindex(medians.shape):
        tile = counted[7 * row : 7 * row + 7, 7 * col : 7 * col + 7]
        assert medians[row, col] == pytest.approx(np.nanmedian(tile), rel=1e-6)


def test_tile_medians_skip_what_is_not_usable():
    values = np.arange(64, dtype=np.float32).reshape(8, 8)
    usable = np.ones((8, 8), bool)
    usable[:4, :4] = False
    medians = tile_medians(values, usable, 4, 4)
    assert np.isnan(medians[0, 0])
    assert medians[1, 1] == np.median(values[4:, 4:])


def test_box_mean_leaves_missing_cells_out():
    values = np.ones((9, 9), np.float32)
    values[4, 4] = np.nan
    np.testing.assert_allclose(box_mean(values, 2), 1.0, rtol=1e-6)


def test_faint_cells_take_their_tiles_mean_and_noise_cancels():
    rng = np.random.default_rng(3)
    signal = rng.normal(0.0, 0.02, (200, 200)).astype(np.float32)
    flags = np.ones((200, 200), np.uint16)
    value = np.full((200, 200), 99.0, np.float32)
    settle_faint(signal, flags, 1, 20, 300.0, value)
    assert value.mean() < 0.35


def test_window_sums_run_on_over_the_seam():
    values = np.arange(10, dtype=np.float32)[:, None]
    usable = np.ones((10, 1), bool)
    usable[9] = False
    sums, counts = closed_window_sums(values, usable, np.array([0, 5, 9]), 1)
    np.testing.assert_array_equal(counts[:, 0], [2, 3, 2])
    np.testing.assert_array_equal(sums[:, 0], [0 + 1, 4 + 5 + 6, 8 + 0])


def test_normal_matrix_equals_the_librarys():
    rng = np.random.default_rng(4)
    rows, values, weights = rng.normal(size=(300, 7)), rng.normal(size=300), rng.uniform(0, 2, 300)
    normal, right = weighted_normal(rows, values, weights)
    np.testing.assert_allclose(normal, rows.T @ (weights[:, None] * rows), rtol=1e-10)
    np.testing.assert_allclose(right, rows.T @ (weights * values), rtol=1e-9, atol=1e-12)


def test_missing_samples_of_a_row_are_filled_straight_and_level():
    nan = np.nan
    values = np.array([[nan, 1.0, nan, nan, 4.0, nan], [nan] * 6, [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]])
    fill_rows(values)
    np.testing.assert_allclose(values, [[1, 1, 2, 3, 4, 4], [0] * 6, [1, 2, 3, 4, 5, 6]])


@pytest.mark.parametrize("half", [0, 2, 7])
def test_means_from_running_sums_equal_those_added_up_window_by_window(half):
    rng = np.random.default_rng(5)
    first, second = rng.random((2, 15, 6), dtype=np.float32)
    usable = rng.random((15, 6)) > 0.3
    usable[:, 0] = False
    first[~usable] = second[~usable] = np.nan
    centres = np.array([0, 1, 7, 14])
    found = closed_window_means(running_sums(first, second, usable), centres, half)
    for values, means in zip((first, second), found, strict=False):
        sums, counts = closed_window_sums(values, usable, centres, half)
        expected = np.divide(sums, counts, out=np.full(sums.shape, np.nan), where=counts > 0)
        np.testing.assert_allclose(means, expected, rtol=1e-12)
    np.testing.assert_allclose(found[2], counts / (2 * half + 1))


@pytest.mark.parametrize("half", [0, 3, 7])
def test_the_highest_mean_of_a_row_is_that_of_its_window(half):
    rng = np.random.default_rng(6)
    values = rng.random((15, 6), dtype=np.float32) - np.float32(0.5)
    usable = rng.random((15, 6)) > 0.3
    sums, counts = closed_window_sums(values, usable, np.arange(15), half)
    expected = np.divide(sums, counts, out=np.zeros(sums.shape), where=counts > 0).max(axis=1)
    np.testing.assert_allclose(highest_means(values, usable, half), expected, rtol=1e-6, atol=1e-9)
