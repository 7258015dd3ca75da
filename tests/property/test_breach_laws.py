"""Laws of leak paths that hold on any map."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from firedeck.kernel.breach import saddle_matrix
from tests.leak_maps import traced

COUNT = 4
shapes = st.tuples(st.integers(1, 9), st.integers(1, 9))
pressures = st.one_of(
    st.integers(0, 3).map(float), st.floats(0.0, 300.0, width=32), st.sampled_from([0.0, 1e-30, 1e30, np.inf])
)


@st.composite
def maps(draw):
    shape = draw(shapes)
    pressure = draw(arrays.arrays(np.float64, shape, elements=pressures))
    media = draw(arrays.arrays(np.int8, shape, elements=st.sampled_from([0, 0, 0, 0, 1, 2, 3, COUNT])))
    return pressure, media, draw(arrays.arrays(bool, shape, elements=st.sampled_from([False] * 5 + [True])))


def solve(pressure, media, blocked, **options):
    return saddle_matrix(pressure, media, blocked=blocked, count=COUNT, **options)


@given(maps())
def test_tables_are_symmetric_and_chains_obey_the_ultrametric_inequality(case):
    saddles = solve(*case)
    for heights in (saddles.heights, saddles.direct_heights):
        assert np.array_equal(heights, heights.T)
        assert (np.diag(heights) == 0.0).all()
    assert np.array_equal(saddles.cells, saddles.cells.swapaxes(0, 1))
    through = np.maximum(saddles.heights[:, :, None], saddles.heights[None, :, :]).min(axis=1)
    assert (saddles.heights <= through).all()
    assert (saddles.heights <= saddles.direct_heights).all()
    as_low = saddles.heights == saddles.direct_heights
    assert np.array_equal(saddles.cells[as_low], saddles.direct_cells[as_low])


@given(maps())
def test_chains_are_the_lowest_that_direct_connections_make(case):
    saddles = solve(*case)
    lowest = saddles.direct_heights
    for k in range(COUNT):
        lowest = np.minimum(lowest, np.maximum(lowest[:, k, None], lowest[None, k, :]))
    assert np.array_equal(saddles.heights, lowest)
    for a, b in np.ndindex(COUNT, COUNT):
        chain = saddles.chain(a + 1, b + 1)
        if chain:
            legs = [saddles.direct_heights[i - 1, j - 1] for i, j in pairwise(chain)]
            assert (chain[0], chain[-1], max(legs, default=0.0)) == (a + 1, b + 1, saddles.heights[a, b])
        assert bool(chain) is bool(np.isfinite(saddles.heights[a, b]))


@given(maps())
def test_deciding_cell_holds_the_height_and_the_path_attains_it(case):
    pressure, media, blocked = case
    saddles = solve(*case)
    for heights, cells in (
        (saddles.heights, saddles.cells),
        (saddles.direct_heights, saddles.direct_cells),
    ):
        for a, b in np.argwhere(np.isfinite(heights) & ~np.eye(COUNT, dtype=bool)):
            cell = tuple(cells[a, b])
            assert heights[a, b] == (0.0 if media[cell] else pressure[cell])
    for a, b in np.argwhere(np.isfinite(saddles.direct_heights) & ~np.eye(COUNT, dtype=bool)) + 1:
        traced(pressure, media, a, b, saddles, blocked=blocked)


@given(maps(), st.data())
def test_more_pressure_never_lowers_a_saddle_nor_does_blocking(case, data):
    pressure, media, blocked = case
    base = solve(*case)
    more = pressure + data.draw(
        arrays.arrays(np.float64, pressure.shape, elements=st.sampled_from([0.0, 0.5, 9.0]))
    )
    shut = blocked | data.draw(arrays.arrays(bool, pressure.shape))
    for tighter in (solve(more, media, blocked), solve(pressure, media, shut)):
        assert (tighter.heights >= base.heights).all()
        assert (tighter.direct_heights >= base.direct_heights).all()


@given(maps(), st.sampled_from(["up", "left", "turn"]), st.integers(1, 9))
def test_turning_the_map_or_cutting_it_otherwise_changes_no_height(case, how, band_rows):
    turned = [{"up": np.flipud, "left": np.fliplr, "turn": np.transpose}[how](part) for part in case]
    base, other = solve(*case), solve(*turned, band_rows=band_rows)
    assert np.array_equal(base.heights, other.heights)
    assert np.array_equal(base.direct_heights, other.direct_heights)


@given(maps(), st.sampled_from([0.25, 2.0, 1024.0]), st.permutations(range(1, COUNT + 1)))
def test_units_scale_heights_and_names_of_media_only_order_the_table(case, factor, names):
    pressure, media, blocked = case
    base = solve(*case)
    other = solve(pressure * factor, np.array([0, *names])[media], blocked)
    place = np.ix_(np.array(names) - 1, np.array(names) - 1)
    assert np.array_equal(other.heights[place], base.heights * factor)
    assert np.array_equal(other.direct_heights[place], base.direct_heights * factor)
