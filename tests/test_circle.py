"""A circle through an edge, where part of the edge does not belong to it."""

import numpy as np
import pytest

from firedeck.kernel.circle import fit_circle


def _edge(count=160):
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.column_stack([10 + 4 * np.cos(angle), -3 + 4 * np.sin(angle)])


def test_points_of_a_circle_give_its_centre_and_no_residual():
    x, y, residual = fit_circle(_edge(), (9.0, -2.5, 3.0), 8)
    assert (x, y) == (pytest.approx(10, abs=1e-9), pytest.approx(-3, abs=1e-9))
    assert residual < 1e-6


def test_a_torn_stretch_moves_the_centre_little_and_shows_in_the_residual():
    edge = _edge()
    edge[:12] += [0.8, 0.0]
    x, y, residual = fit_circle(edge, (10.0, -3.0, 4.0), 8)
    assert abs(x - 10) < 0.01
    assert abs(y + 3) < 0.01
    assert residual > 0.1
