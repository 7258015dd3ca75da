"""Filled squares of cells: pieces as a general library labels them, nothing of the covered area lost."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import ndimage

from firedeck.kernel.filling import parts_covered, tallied, told_apart

SIDE, FINE = 8, 2
COVERS = arrays(np.float64, (3, SIDE, SIDE), elements=st.sampled_from([0.0, 0.25, 0.75, 1.0]))


@given(COVERS)
def test_pieces_are_what_hangs_together_by_edges_within_a_cell(cover):
    labels, count = told_apart(cover)
    before = 0
    for cell, own in enumerate(labels):
        theirs, more = ndimage.label(cover[cell] > 0.5)
        assert np.array_equal(own > 0, theirs > 0)
        # The same squares lie together under the same number, whichever it is.
        pairs = np.unique(np.column_stack([own[own > 0], theirs[own > 0]]), axis=0)
        assert len(pairs) == more
        assert sorted(pairs[:, 0].tolist()) == list(range(before + 1, before + more + 1))
        before += more
    assert count == before


@given(COVERS)
def test_every_filled_square_is_told_once_and_shares_keep_the_area(cover):
    labels, count = told_apart(cover)
    cells, squares = tallied(labels, count, FINE)
    filled = np.bincount(cells, squares.sum(axis=1), minlength=len(cover))
    assert np.array_equal(filled, (cover > 0.5).sum(axis=(1, 2)))
    shares = parts_covered(cover, FINE)
    assert shares.sum() * FINE**2 == pytest.approx(cover.sum())
    # The first index of a square runs fastest.
    assert shares[0, 1] == pytest.approx(cover[0, FINE : 2 * FINE, :FINE].mean())
