"""Line load, force, width and the film's clipping on closed-form contact fields.

The fields are Hertz line and point contact and the rigid flat punch (K. L. Johnson, Contact Mechanics,
1985, chapters 3 and 4; I. N. Sneddon for the punch; chapters from memory). The shares are derived from
them in closed form: with s = sqrt(1 - tau^2), the part of a Hertz line above tau p0 carries
(2/pi)(s sqrt(1 - s^2) + asin s); clipped at tau p0 it keeps (2/pi)(pi/2 - asin s + tau s); its width
shrinks to s. For a Hertz point: 1 - tau^3; tau^3 + 1.5 tau (1 - tau^2); area 1 - tau^2.
"""

import numpy as np
import pytest

from firedeck.seal.balance import printed_force
from firedeck.seal.profile import profile_seals
from tests.support.exact_maps import ring_map, ring_plan

HALF_WIDTH = 1.2
P0 = 80.0
LINE_LOAD = np.pi / 2 * P0 * HALF_WIDTH

TAU = [0.05, 0.1, 0.2, 0.3, 0.5]
LINE_KEPT = [0.999947, 0.999574, 0.996563, 0.988216, 0.942331]
LINE_WIDTH = [0.998749, 0.994987, 0.979796, 0.953939, 0.866025]
LINE_CLIPPED = [0.063635, 0.127111, 0.252940, 0.376162, 0.608998]
POINT_KEPT = [0.999875, 0.999, 0.992, 0.973, 0.875]
POINT_CLIPPED = [0.0749375, 0.1495, 0.296, 0.4365, 0.6875]


def hertz_line(distance, _angle):
    return P0 * np.sqrt(np.clip(1 - (distance / HALF_WIDTH) ** 2, 0, None))


def test_line_load_of_a_hertz_line_in_every_sector():
    plan = ring_plan()
    profile = profile_seals(plan, ring_map(plan, hertz_line))[0]
    np.testing.assert_allclose(profile.sectors.line_load, LINE_LOAD, rtol=3e-3)
    np.testing.assert_allclose(profile.sectors.peak, P0, rtol=2e-3)
    assert len(profile.sectors.at) == 72


@pytest.mark.parametrize(("tau", "kept", "width"), list(zip(TAU, LINE_KEPT, LINE_WIDTH, strict=True)))
def test_below_range_flanks_of_a_hertz_line_cost_what_theory_says_and_are_put_back(tau, kept, width):
    plan = ring_plan()
    pressure_map = ring_map(plan, hertz_line, lowest=tau * P0)
    table = profile_seals(plan, pressure_map)[0].sectors
    np.testing.assert_allclose(table.width, 2 * HALF_WIDTH * width, atol=0.08)
    read = table.line_load * (1 - table.inferred)
    np.testing.assert_allclose(read, kept * LINE_LOAD, rtol=4e-3)
    assert np.all((table.low <= LINE_LOAD) & (table.high >= LINE_LOAD))
    if tau <= 0.1:
        np.testing.assert_allclose(table.line_load, LINE_LOAD, rtol=6e-3)


@pytest.mark.parametrize(("tau", "clipped"), list(zip(TAU, LINE_CLIPPED, strict=True)))
def test_saturated_crown_of_a_hertz_line_is_a_lower_bound_and_says_so(tau, clipped):
    plan = ring_plan()
    table = profile_seals(plan, ring_map(plan, hertz_line, top=tau * P0))[0].sectors
    assert table.has("saturated").all()
    assert np.all(np.isinf(table.high))
    np.testing.assert_allclose(table.low, clipped * LINE_LOAD, rtol=2e-2)


def hertz_point(distance, angle):
    radius = np.hypot((distance + 20) * np.cos(angle) - 12, (distance + 20) * np.sin(angle) + 5)
    return P0 * np.sqrt(np.clip(1 - (radius / 8.0) ** 2, 0, None))


POINT_FORCE = 2 / 3 * np.pi * 8.0**2 * P0


@pytest.mark.parametrize(("tau", "kept", "clipped"), list(zip(TAU, POINT_KEPT, POINT_CLIPPED, strict=True)))
def test_force_of_a_hertz_point_below_and_above_range(tau, kept, clipped):
    plan = ring_plan()
    _, in_range, _, below = printed_force(ring_map(plan, hertz_point, lowest=tau * P0))
    assert in_range.value == pytest.approx(kept * POINT_FORCE, rel=1e-3)
    assert below > 0
    printed, _, saturated, _ = printed_force(ring_map(plan, hertz_point, top=tau * P0))
    assert printed.low == pytest.approx(clipped * POINT_FORCE, rel=1e-3)
    assert not printed.bounded_above
    assert saturated == pytest.approx((1 - tau**2) * np.pi * 8.0**2, rel=2e-3)


def test_force_inside_radii_of_a_rigid_flat_punch():
    """p = F / (2 pi a sqrt(a^2 - r^2)): 13.397 46 % of F within 0.5 a, 56.411 01 % within 0.9 a."""
    plan, a, force = ring_plan(), 5.0, 1000.0

    def punch(limit):
        def pressure(distance, angle):
            radius = np.hypot((distance + 20) * np.cos(angle), (distance + 20) * np.sin(angle))
            inside = radius < limit * a
            return np.where(
                inside, force / (2 * np.pi * a * np.sqrt(np.where(inside, a**2 - radius**2, 1))), 0
            )

        return pressure

    for limit, share in ((0.5, 0.1339746), (0.9, 0.5641101)):
        printed, _, _, _ = printed_force(ring_map(plan, punch(limit)))
        assert printed.value == pytest.approx(share * force, rel=5e-3)
