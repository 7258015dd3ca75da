"""Laws that every closure law from geometry obeys, whatever its sizes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firedeck.contact.bead import Bead, bead_law, bead_shape
from firedeck.contact.law import ClosureLaw, law_tables
from firedeck.contact.layers import coating_law, series_law, side_by_side, stopper_law
from firedeck.contact.ring import ring_law
from firedeck.kernel.closure import point_loads, stored_energy


@st.composite
def beads(draw):
    """Draw a bead of sizes that are made."""
    thickness = draw(st.floats(0.15, 0.35))
    span = draw(st.floats(0.9, 2.0))
    height = draw(st.floats(0.08, min(0.35, 0.25 * span)))
    largest = (span**2 + height**2) / (4.0 * height)
    return Bead(
        thickness, height, span, largest * draw(st.floats(0.5, 1.0)), draw(st.floats(0.4, 2.0)), 196e3, 0.28,
        draw(st.floats(500.0, 1400.0)), draw(st.floats(1000.0, 6000.0)), draw(st.booleans()),
    )  # fmt: skip


def loads_at(law, closures):
    """Return the loads of a point taken from closure to closure."""
    tables, met, found = law_tables([law]), np.zeros(1), []
    load, slope = np.zeros(1), np.zeros(1)
    for closure in closures:
        point_loads(np.array([closure]), met, np.zeros(1, np.int64), np.ones(1), tables, load, slope)
        met[0] = max(met[0], closure)
        found.append(float(load[0]))
    return np.array(found)


def assert_obeys(law):
    peak = 0.8 * float(law.closure[-1])
    up = np.linspace(0.0, peak, 60)
    loading, back = loads_at(law, up), loads_at(law, [peak, *up[::-1]])[1:]
    assert np.all(np.diff(loading) >= -1e-9)
    assert np.all(np.diff(back) <= 1e-9 * loading[-1])
    assert np.all(back <= loading[::-1] * (1.0 + 1e-9) + 1e-9)
    args = np.zeros(1, np.int64), np.ones(1), law_tables([law])
    put_in = stored_energy(np.array([peak]), np.zeros(1), np.zeros(1), *args)
    given_back = -stored_energy(np.zeros(1), np.array([peak]), np.array([peak]), *args)
    assert put_in >= given_back * (1.0 - 1e-3)


@settings(max_examples=12, deadline=None)
@given(beads())
def test_beads(bead):
    assert_obeys(bead_law("bead", bead, steps=40, elements=32))


@settings(max_examples=25, deadline=None)
@given(st.floats(0.5, 3.0), st.floats(150.0, 1200.0))
def test_rings(wire, strength):
    assert_obeys(ring_law("ring", wire, 200e3, 0.3, strength))


@settings(max_examples=20, deadline=None)
@given(st.floats(0.02, 0.15), st.floats(0.01, 0.06))
def test_stopper_beside_a_bead_under_a_coating(gap, coat):
    bead = ClosureLaw.from_table(
        "bead", [(0, 0), (0.1, 60), (0.2, 120)], [[(0.2, 120), (0.1, 0)], [(0.1, 60), (0.05, 0)]], width=1.0
    )
    both = side_by_side("both", [bead, stopper_law("stopper", 1.0, 1.0, 200e3, 0.3)], [0.0, gap])
    assert_obeys(both)
    assert_obeys(series_law("all", [both, coating_law("coat", coat, 150.0, 60.0, 2.0)]))


@pytest.mark.parametrize("arch", [True, False])
@pytest.mark.parametrize(("change", "factor"), [("modulus", 1.5), ("thickness", 1.2)])
def test_elastic_load_goes_with_modulus_and_cube_of_thickness(arch, change, factor):
    bead = Bead(0.2, 0.15, 1.5, 3.0, 1.0, 200e3, 0.3, 1e6, 1000.0, arch)
    other = replace(bead, **{change: factor * getattr(bead, change)})
    before, after = bead_law("a", bead), bead_law("b", other)
    ratio = np.interp(0.04, after.closure, after.load) / np.interp(0.04, before.closure, before.load)
    assert ratio == pytest.approx(factor if change == "modulus" else factor**3, rel=0.03)


def test_elastic_bead_of_twice_the_size_carries_twice_the_load_at_twice_the_closure():
    bead = Bead(0.2, 0.15, 1.5, 3.0, 1.0, 200e3, 0.3, 1000.0, 2000.0)
    sizes = {name: 2.0 * getattr(bead, name) for name in ("thickness", "height", "span", "radius", "flange")}
    small, large = bead_law("small", bead), bead_law("large", replace(bead, **sizes))
    at = np.linspace(0.02, 0.14, 7)
    twice = np.interp(2.0 * at, large.closure, large.load)
    assert twice == pytest.approx(2.0 * np.interp(at, small.closure, small.load), rel=5e-3)


@settings(max_examples=30, deadline=None)
@given(beads())
def test_free_bead_has_its_stated_shape(bead):
    place = bead_shape(bead)
    crown = place[0] if bead.arch else place[np.argmax(place[:, 0] >= 0.0)]
    assert crown == pytest.approx([0.0, bead.height], abs=1e-9)
    assert place[-1] == pytest.approx([bead.span + bead.flange, 0.0], abs=1e-9)
    slope = np.abs(np.diff(place[:, 1]) / np.diff(place[:, 0]))
    assert slope.max() <= 1.0


def test_finer_strip_says_the_same():
    bead = Bead(0.25, 0.2, 1.25, 2.0, 1.0, 196e3, 0.28, 965.0, 2000.0)
    coarse, fine = bead_law("48", bead), bead_law("96", bead, elements=96, steps=120)
    at = np.linspace(0.02, 0.18, 9)
    found = np.interp(at, coarse.closure, coarse.load)
    assert found == pytest.approx(np.interp(at, fine.closure, fine.load), rel=0.015)


def test_flat_bead_is_far_stiffer_than_a_free_one():
    law = bead_law("bead", Bead(0.25, 0.2, 1.25, 2.0, 1.0, 196e3, 0.28, 965.0, 2000.0))
    slopes = np.diff(law.load) / np.diff(law.closure)
    assert law.closure[-1] == pytest.approx(0.2)
    assert slopes[-1] > 20.0 * slopes[0]


def test_series_halves_and_side_by_side_doubles():
    law = ClosureLaw.linear("spring", 500.0, width=1.0)
    half = series_law("two", [law, law])
    both = side_by_side("both", [law, law], [0.0, 0.0])
    assert np.interp(0.1, half.closure, half.load) == pytest.approx(25.0)
    assert np.interp(0.1, both.closure, both.load) == pytest.approx(100.0)
