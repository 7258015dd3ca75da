"""Zones of a plan on a grid agree with the geometry library's own point-in-polygon."""

import numpy as np
import pytest
import shapely

from firedeck.definition.zones import band_zone, opening_labels, outline_zone, polygon_zone
from tests.support.exact_maps import ring_plan

X = np.arange(-31.95, 32.0, 0.1)
Y = np.arange(-31.95, 32.0, 0.1)


@pytest.mark.parametrize("seed", range(4))
def test_polygons_with_holes_are_filled_as_the_geometry_library_sees_them(seed):
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, 40))
    star = shapely.Polygon(np.column_stack([np.cos(angle), np.sin(angle)]) * rng.uniform(12, 40, 40)[:, None])
    shape = star.difference(shapely.Point(2, 3).buffer(5)).union(shapely.Point(-25, 25).buffer(4))
    found = polygon_zone(shape, X, Y)
    x, y = np.meshgrid(X, Y)
    assert np.array_equal(found, shapely.contains_xy(shape, x, y))


def test_nothing_is_an_empty_zone():
    assert not polygon_zone(shapely.Polygon(), X, Y).any()


def test_labels_tell_bore_outside_and_dry_holes_apart():
    plan = ring_plan()
    labels, holes = opening_labels(plan, X, Y)
    assert labels[320, 320] == 1
    assert labels[0, 0] == len(plan.media)
    assert holes.sum() * 0.01 == pytest.approx(4 * np.pi * 4**2, rel=0.01)
    assert not (holes & (labels > 0)).any()


def test_bands_and_outline_grow():
    plan = ring_plan()
    band = band_zone(plan, X, Y)
    assert band.sum() * 0.01 == pytest.approx(2 * np.pi * 20 * 6, rel=0.01)
    assert (band_zone(plan, X, Y, grow=0.5) & band).sum() == band.sum()
    assert outline_zone(plan, X, Y, grow=1.0).sum() > outline_zone(plan, X, Y).sum()
