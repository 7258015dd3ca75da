"""Closure laws from geometry against closed forms and published figures."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firedeck.contact.bead import Bead, bead_law
from firedeck.contact.ring import mean_pressure, ring_law, yield_load


def bead(**changes):
    """Return an arch whose strip yields only if asked to."""
    sizes = {
        "thickness": 0.25, "height": 0.1, "span": 1.5, "flange": 0.5, "modulus": 200e3, "poisson": 0.3,
        "yield_strength": 1e6, "hardening": 2000.0, **changes,
    }  # fmt: skip
    largest = (sizes["span"] ** 2 + sizes["height"] ** 2) / (4.0 * sizes["height"])
    return Bead(**{"radius": largest, **sizes})


def slope(law, closure: float) -> float:
    return float(np.interp(closure, law.closure, law.load)) / closure


def test_shallow_arch_on_rolling_feet_is_a_beam_on_two_supports():
    """A beam on two supports with a load in the middle gives ``48 E I / L^3``.

    Young and Budynas, Roark's Formulas for Stress and Strain, 7th edition, table 8.1 case 1e (case
    number from memory; the formula stands in every beam table). A strip held in plane strain has
    ``E / (1 - nu^2)`` for E. Sharply bent feet keep the supports where they are while they turn.
    """
    one = bead(height=0.02, radius=0.5)
    section = 200e3 / (1.0 - 0.3**2) * 0.25**3 / 12.0
    law = bead_law("arch", one, steps=200, elements=96)
    assert slope(law, 0.002) == pytest.approx(48.0 * section / 3.0**3, rel=0.02)


def test_small_closure_of_an_arch_on_rolling_feet():
    """The same, of a bead of usual height at a closure of a fiftieth of it."""
    section = 200e3 / (1.0 - 0.3**2) * 0.25**3 / 12.0
    law = bead_law("arch", bead(height=0.15, span=1.25), steps=100)
    assert slope(law, 0.006) == pytest.approx(48.0 * section / 2.5**3, rel=0.05)


def test_plastic_hinge_of_an_arch():
    """A beam on two supports collapses at ``4 Mp / L``, ``Mp = Y t^2 / 4``; Y is ``2 / sqrt 3`` higher.

    J. Baker and J. Heyman, Plastic Design of Frames 1, Cambridge 1969 (from memory; the formula
    stands in every text on plastic design). Nearly without hardening the strip comes near it before
    its flange touches the upper face.
    """
    one = bead(height=0.2, span=1.25, yield_strength=965.0, radius=0.4, hardening=100.0, flange=0.3)
    law = bead_law("arch", one, steps=120)
    collapse = 4.0 * (2.0 / math.sqrt(3.0)) * 965.0 * 0.25**2 / 4.0 / 2.5
    assert float(np.interp(0.06, law.closure, law.load)) == pytest.approx(collapse, rel=0.06)


def test_first_yield_of_an_arch_is_the_elastic_limit():
    """Below ``Y t^2 / 6 * 4 / L`` the outer fibre of the middle section stays elastic: nothing is left."""
    one = bead(height=0.2, span=1.25, yield_strength=965.0)
    law = bead_law("arch", one, steps=100)
    first = 4.0 * (2.0 / math.sqrt(3.0)) * 965.0 * 0.25**2 / 6.0 / 2.5
    at = float(np.interp(first, law.load, law.closure))
    assert law.unloaded(0.9 * at) < 1e-3 * at
    assert law.unloaded(2.0 * at) > 0.1 * at


def test_line_contact_of_a_wire_is_that_of_hertz():
    """Half width and greatest pressure of a cylinder on a rigid flat, ``sqrt(4 P R / pi E*)`` and
    ``sqrt(P E* / pi R)``: K. L. Johnson, Contact Mechanics, Cambridge 1985, section 4.2.
    """
    radius, stiff, load = 2.0, 210e3 / (1.0 - 0.3**2), 200.0
    half_width = math.sqrt(4.0 * load * radius / (math.pi * stiff))
    greatest = math.sqrt(load * stiff / (math.pi * radius))
    found = float(mean_pressure(np.array([half_width]), radius, stiff, 1e6)[0])
    assert found == pytest.approx(load / (2.0 * half_width), rel=1e-12)
    assert found == pytest.approx(0.25 * math.pi * greatest, rel=1e-12)


def test_elastic_wire_between_two_flats():
    """``2 P / (pi E*) (2 ln(4 R / a) - 1)``, Johnson 1985, section 5.6 (from memory)."""
    law = ring_law("wire", 4.0, 210e3, 0.3, 1e5)
    stiff, load = 210e3 / (1.0 - 0.3**2), 200.0
    half_width = math.sqrt(4.0 * load * 2.0 / (math.pi * stiff))
    wanted = 2.0 * load / (math.pi * stiff) * (2.0 * math.log(8.0 / half_width) - 1.0)
    assert float(np.interp(load, law.load, law.closure)) == pytest.approx(wanted, rel=5e-3)
    assert law.unloaded(wanted) == pytest.approx(0.0, abs=1e-9)


def test_wire_yields_first_at_its_stated_load_and_then_flattens():
    """First yield at a pressure of 1.79 Y, fully plastic near 3 Y: Johnson 1985, sections 6.1, 6.3."""
    stiff = 200e3 / (1.0 - 0.3**2)
    law = ring_law("wire", 1.2, 200e3, 0.3, 250.0)
    load = yield_load(0.6, stiff, 250.0)
    assert math.sqrt(load * stiff / (math.pi * 0.6)) == pytest.approx(1.79 * 250.0, rel=1e-12)
    at = float(np.interp(load, law.load, law.closure))
    assert law.unloaded(0.95 * at) == pytest.approx(0.0, abs=1e-6)
    assert law.unloaded(100.0 * at) > 70.0 * at
    wide = np.array([0.3])
    assert float(mean_pressure(wide, 0.6, stiff, 250.0)[0]) == pytest.approx(3.0 * 250.0, rel=0.02)
