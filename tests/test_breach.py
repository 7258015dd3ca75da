"""Leak paths on maps whose answer is plain to see."""

from __future__ import annotations

import numpy as np
import pytest

from firedeck.errors import FiredeckError
from firedeck.kernel.breach import saddle_matrix, trace_path
from tests.leak_maps import spiral_corridor, traced


def two_sides(shape):
    media = np.zeros(shape, np.int32)
    media[:, 0], media[:, -1] = 1, 2
    return media


def rings(gaps, radius_step=6, size=61):
    """Concentric walls of 50 MPa on land of 1 MPa, one gap in each; medium 1 within, 2 without."""
    y, x = np.mgrid[:size, :size] - size // 2
    distance, angle = np.hypot(x, y), np.arctan2(y, x)
    pressure = np.ones((size, size))
    for i, (height, at) in enumerate(gaps, start=1):
        wall = np.abs(distance - radius_step * i) <= 1.5
        pressure[wall] = 50.0
        pressure[wall & (np.abs(np.angle(np.exp(1j * (angle - at)))) < 0.25)] = height
    media = np.where(distance <= 2, 1, np.where(distance > radius_step * len(gaps) + 4, 2, 0))
    return pressure, media


def test_one_pass_over_a_ridge():
    rows, cols, low = 41, 61, 17
    y, x = np.mgrid[:rows, :cols]
    pressure = (20.0 + 0.05 * (y - low) ** 2) * np.exp(-(((x - 30) / 6.0) ** 2))
    media = two_sides(pressure.shape)
    saddles = saddle_matrix(pressure, media)
    assert saddles.heights.tolist() == [[0.0, 20.0], [20.0, 0.0]]
    assert saddles.cells[0, 1].tolist() == saddles.cells[1, 0].tolist() == [low, 30]
    path = traced(pressure, media, 1, 2, saddles)
    assert path.tolist() == [[low, col] for col in range(cols)]


def test_spiral_is_followed_to_its_end_unless_its_door_is_higher_than_the_wall():
    corridor = spiral_corridor(3)
    pressure = np.full((15, 15), 9.0)
    pressure[tuple(corridor.T)] = 1.0
    media = np.zeros(pressure.shape, np.int32)
    media[tuple(corridor[0])], media[tuple(corridor[-1])] = 1, 2
    saddles = saddle_matrix(pressure, media)
    assert saddles.heights[0, 1] == 1.0
    turns = np.any(np.diff(corridor, n=2, axis=0) != 0, axis=1).sum()
    assert turns > 8
    assert len(traced(pressure, media, 1, 2, saddles)) == len(corridor) - turns, "corners are cut"
    for door, height in ((4.0, 4.0), (12.0, 9.0)):
        pressure[tuple(corridor[40])] = door
        saddles = saddle_matrix(pressure, media)
        assert saddles.heights[0, 1] == height
        traced(pressure, media, 1, 2, saddles)


def test_comb_is_threaded_through_every_tooth():
    pressure = np.full((12, 33), 2.0)
    teeth = range(2, 32, 3)
    for i, col in enumerate(teeth):
        pressure[:, col] = 30.0
        pressure[0 if i % 2 else -1, col] = 3.0 + 0.5 * i
    media = two_sides(pressure.shape)
    saddles = saddle_matrix(pressure, media)
    last = len(teeth) - 1
    assert saddles.heights[0, 1] == 3.0 + 0.5 * last
    assert saddles.cells[0, 1].tolist() == [0 if last % 2 else 11, teeth[-1]]
    path = traced(pressure, media, 1, 2, saddles)
    assert [int(row) for row, col in path if col in teeth] == [0 if i % 2 else 11 for i in range(len(teeth))]


@pytest.mark.parametrize("heights", [(7.0, 3.0, 5.0), (3.0, 7.0, 5.0), (3.0, 5.0, 7.0)])
def test_rings_with_a_gap_each_are_as_tight_as_the_tightest(heights):
    pressure, media = rings(list(zip(heights, (0.3, 2.4, -1.5), strict=True)))
    saddles = saddle_matrix(pressure, media)
    assert saddles.heights[0, 1] == 7.0
    path = traced(pressure, media, 1, 2, saddles)
    assert set(heights) <= set(pressure[tuple(path.T)])


def test_way_through_a_third_medium_is_told_apart_from_the_direct_one():
    pressure = np.full((9, 30), 40.0)
    pressure[4, 1:14] = 5.0  # bore to coolant
    pressure[4, 17:29] = 8.0  # coolant to outside
    pressure[0, 1:29] = 12.0  # past the coolant
    media = two_sides(pressure.shape)
    media[3:6, 14:17] = 3
    saddles = saddle_matrix(pressure, media)
    assert saddles.direct_heights.tolist() == [[0, 12, 5], [12, 0, 8], [5, 8, 0]]
    assert saddles.heights.tolist() == [[0, 8, 5], [8, 0, 8], [5, 8, 0]]
    assert saddles.chain(1, 2) == (1, 3, 2)
    assert saddles.chain(2, 1) == (2, 3, 1)
    assert saddles.chain(1, 3) == (1, 3)
    assert saddles.chain(2, 2) == (2,)
    assert saddles.cells[0, 1].tolist() == saddles.direct_cells[1, 2].tolist()
    assert set(traced(pressure, media, 1, 2, saddles)[1:-1, 0]) <= {0, 1, 2, 3, 4}
    assert traced(pressure, media, 3, 2, saddles)[:, 0].tolist() == [4] * 14


def test_places_that_touch_the_same_medium_are_not_thereby_one():
    pressure = np.full((3, 9), 99.0)
    pressure[1, [3, 5]] = 0.5  # two doors to medium 1, each with its own room below
    pressure[2] = [0.0, 1.0, 3.0, 1.0, 5.0, 1.0, 4.0, 1.0, 0.0]
    media = np.zeros(pressure.shape, np.int32)
    media[0, [3, 5]], media[2, 0], media[2, 8] = 1, 2, 3
    saddles = saddle_matrix(pressure, media)
    assert saddles.direct_heights.tolist() == [[0, 3, 4], [3, 0, 5], [4, 5, 0]]
    assert saddles.heights.tolist() == [[0, 3, 4], [3, 0, 4], [4, 4, 0]]


def test_a_longer_chain_takes_the_fewest_legs_that_stay_below():
    media = np.array([[1, 0, 2, 0, 3, 0, 4]])
    saddles = saddle_matrix(np.array([[0.0, 2.0, 0.0, 6.0, 0.0, 4.0, 0.0]]), media)
    assert saddles.chain(1, 4) == (1, 2, 3, 4)
    assert saddles.heights[0].tolist() == [0, 2, 6, 6]
    assert np.isinf(saddles.direct_heights[0, 2:]).all()
    assert saddles.cells[0, 3].tolist() == [0, 3]


def test_parts_of_one_medium_are_one():
    media = np.array([[1, 0, 3, 9, 3, 0, 2]])
    saddles = saddle_matrix(
        np.array([[0.0, 2.0, 0.0, 50.0, 0.0, 4.0, 0.0]]), np.where(media == 9, 0, media), count=3
    )
    assert saddles.heights[0, 1] == 4.0
    assert saddles.chain(1, 2) == (1, 3, 2)


def test_a_gap_across_a_corner_is_open():
    y, x = np.mgrid[:5, :5]
    media = np.zeros((5, 5), np.int32)
    media[0, 0], media[4, 4] = 1, 2
    joined_at_corners = np.where(x + y == 4, 9.0, 1.0)
    joined_at_edges = np.where((x + y == 4) | (x + y == 3), 9.0, 1.0)
    assert saddle_matrix(joined_at_corners, media).heights[0, 1] == 1.0
    assert saddle_matrix(joined_at_edges, media).heights[0, 1] == 9.0


def test_holes_are_free_and_zero_of_either_sign_is_zero():
    pressure = np.full((5, 8), 30.0)
    pressure[2] = 0.0
    pressure[2, [1, 3, 6]] = -0.0
    media = two_sides(pressure.shape)
    saddles = saddle_matrix(pressure, media)
    assert saddles.heights[0, 1] == 0.0
    assert len(traced(pressure, media, 1, 2, saddles)) == 8


def test_media_that_touch_have_nothing_between_them():
    media = np.array([[1, 0, 0], [0, 2, 0], [0, 0, 3]])
    saddles = saddle_matrix(np.full((3, 3), 5.0), media)
    assert saddles.heights.tolist() == [[0, 0, 0], [0, 0, 0], [0, 0, 0]]
    assert saddles.direct_heights.tolist() == [[0, 0, 5], [0, 0, 0], [5, 0, 0]]
    path = trace_path(np.full((3, 3), 5.0), media, 2, 1, saddles.direct_cells[0, 1])
    assert path.tolist() == [[1, 1], [0, 0]]


def test_media_that_nothing_connects():
    pressure, media = np.ones((6, 7)), two_sides((6, 7))
    blocked = np.zeros(media.shape, bool)
    blocked[:, 3] = True
    for wall in ({"blocked": blocked}, {"pressure": np.where(blocked, np.inf, pressure)}):
        saddles = saddle_matrix(**({"pressure": pressure, "media": media} | wall))
        assert np.isinf(saddles.heights[0, 1])
        assert np.isinf(saddles.direct_heights[0, 1])
        assert saddles.cells[0, 1].tolist() == saddles.direct_cells[0, 1].tolist() == [-1, -1]
        assert saddles.chain(1, 2) == ()


def test_media_that_are_not_on_the_map_are_kept_in_the_table():
    media = np.array([[1, 0, 3]])
    saddles = saddle_matrix(np.ones((1, 3)), media, count=5)
    assert saddles.heights.shape == (5, 5)
    assert saddles.heights[0, 2] == 1.0
    assert np.isinf(saddles.heights[1, [0, 2, 3, 4]]).all()
    assert saddle_matrix(np.ones((4, 4)), np.zeros((4, 4), int)).heights.shape == (0, 0)


def test_a_cell_of_a_medium_belongs_to_it_even_where_blocked_and_may_hold_anything():
    pressure, media = np.full((3, 5), 4.0), two_sides((3, 5))
    blocked = media > 0
    pressure[blocked] = np.nan
    blocked[0], pressure[0, 1:4] = True, -7.0
    saddles = saddle_matrix(pressure, media, blocked=blocked)
    assert saddles.heights[0, 1] == 4.0
    assert len(traced(pressure, media, 1, 2, saddles, blocked=blocked)) == 5


@pytest.mark.parametrize("dtype", [np.float32, np.float16, np.uint16, np.float64])
def test_heights_are_values_of_the_map_whatever_its_type(dtype):
    rng = np.random.default_rng(5)
    pressure = (rng.random((40, 50)) * 60).astype(dtype)
    saddles = saddle_matrix(pressure, two_sides(pressure.shape))
    assert saddles.heights[0, 1] == float(pressure[tuple(saddles.cells[0, 1])]) > 0


def test_rows_taken_at_a_time_change_nothing():
    rng = np.random.default_rng(8)
    pressure = rng.random((600, 700)) + np.abs(np.sin(np.arange(700) / 40.0))
    media = np.zeros(pressure.shape, np.int32)
    for k in range(1, 16):
        row, col = rng.integers(0, 580), rng.integers(0, 680)
        media[row : row + 20, col : col + 20] = k
    whole = saddle_matrix(pressure, media, band_rows=600)
    for band_rows in (None, 1, 7, 599):
        parts = saddle_matrix(pressure, media, band_rows=band_rows)
        assert np.array_equal(parts.direct_heights, whole.direct_heights)
        assert np.array_equal(parts.heights, whole.heights)
        assert np.array_equal(parts.direct_cells, whole.direct_cells)


def test_path_is_the_shortest_that_stays_below():
    pressure = np.ones((21, 41))
    pressure[:, 20] = 9.0
    pressure[3, 20] = 5.0
    pressure[2:15, 30] = 5.5  # must be gone round
    media = np.zeros(pressure.shape, np.int32)
    media[3, 0], media[3, 40] = 1, 2
    saddles = saddle_matrix(pressure, media)
    path = traced(pressure, media, 1, 2, saddles)
    assert len(path) == 41
    assert path[30].tolist() == [1, 30]


def test_path_comes_to_no_cell_twice_where_two_passes_are_equal():
    # the upper pass decides, yet from there the shorter way to medium 2 runs back and over the lower one
    drawing = [
        " .2.......",
        " .       .",
        "A.  ......",
        " .  .     ",
        " .2B......",
    ]
    cells = np.array([list(row) for row in drawing])
    pressure = np.select([cells == ".", cells == "2"], [1.0, 2.0], 9.0)
    media = np.select([cells == "A", cells == "B"], [1, 2], 0)
    saddles = saddle_matrix(pressure, media)
    assert saddles.direct_cells[0, 1].tolist() == [0, 2]
    path = traced(pressure, media, 1, 2, saddles)
    assert path.tolist() == [[2, 0], [1, 1], [2, 1], [3, 1], [4, 2], [4, 3]]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"pressure": np.array([[1.0, np.nan, 1.0]])}, r"cell \(0, 1\) is nan MPa"),
        ({"pressure": np.array([[1.0, -0.5, 1.0]])}, r"cell \(0, 1\) is -0.5 MPa"),
        ({"pressure": np.ones(3)}, "rows and columns"),
        ({"pressure": np.ones((0, 3))}, "rows and columns"),
        ({"pressure": np.ones((1, 3), complex)}, "real numbers"),
        ({"pressure": np.ones((1, 3), np.longdouble)}, "real numbers"),
        ({"media": np.array([[1, 0]])}, r"media has shape \(1, 2\)"),
        ({"media": np.array([[1.0, 0.0, 2.0]])}, "needs integers"),
        ({"media": np.array([[1, 0, -2]])}, "negative number"),
        ({"media": np.array([[1, 0, 1001]])}, "1000 are possible"),
        ({"count": 1}, "holds medium 2, 1 media were announced"),
        ({"blocked": np.zeros((1, 3))}, "needs true or false"),
        ({"blocked": np.zeros((2, 3), bool)}, "blocked has shape"),
    ],
)
def test_what_cannot_be_read_is_refused_in_plain_words(change, words):
    sound = {"pressure": np.ones((1, 3)), "media": np.array([[1, 0, 2]])}
    with pytest.raises(FiredeckError, match=words):
        saddle_matrix(**(sound | change))


@pytest.mark.parametrize(
    ("a", "b", "cell", "words"),
    [
        (1, 2, (3, 0), "outside the map"),
        (1, 2, (-1, -1), "outside the map"),
        (1, 2, (0, 2), "No path from medium 1 to medium 2"),
        (1, 3, (0, 1), "No path from medium 1 to medium 3"),
        (1, 1, (0, 1), "No path from medium 1 to medium 1"),
    ],
)
def test_a_cell_that_connects_nothing_is_refused(a, b, cell, words):
    pressure, media = np.array([[0.0, 7.0, 1.0, 6.0, 0.0]]), np.array([[1, 0, 0, 0, 2]])
    with pytest.raises(FiredeckError, match=words):
        trace_path(pressure, media, a, b, cell)
