"""Hot preload with materials that change with temperature."""

from __future__ import annotations

import pytest

from firedeck.definition.fastener import ClampedPart
from firedeck.errors import FiredeckError
from firedeck.loading.compliance import (
    ClampedStack,
    PressureCone,
    fastener_compliance,
    member_compliance,
)
from firedeck.loading.thermal import Warmth, hot_preload, thermal_misfit
from tests.fasteners import stud

HEAD = ClampedPart.model_validate({"name": "head", "material": "A356-T6", "thickness": "119 mm"})
GASKET = ClampedPart.model_validate({"name": "gasket", "material": "301 full hard", "thickness": "1 mm"})
CONE = PressureCone(16.63, 13.5, limit_diameter=28.0, both_faces=False)


def hot(fastener_at, head_at, preload=50e3, **more):
    stack = ClampedStack((HEAD, GASKET), CONE)
    return hot_preload(stud(), stack, Warmth(fastener_at, (head_at, head_at)), preload, **more)


def test_an_aluminium_head_tightens_a_steel_stud():
    warm = hot(100.0, 100.0)
    # 119 mm of head and 1 mm of gasket on a steel stud of 120 mm: the mismatch the trade knows
    assert warm.misfit == pytest.approx(119e0 * 80.0 * 9.1e-6 + 1e0 * 80.0 * 4.3e-6, rel=1e-9)
    assert 52e3 < warm.preload < 62e3
    assert warm.softening > 1.0


def test_nothing_happens_at_room_temperature():
    cold = hot(20.0, 20.0)
    assert cold.preload == pytest.approx(50e3, rel=1e-12)
    assert cold.softening == pytest.approx(1.0, rel=1e-12)


def test_total_closure_is_conserved():
    # the condition that EN 1591-1 is built on (from memory): F1 delta1 - F0 delta0 = misfit
    parts, warmth = [HEAD, GASKET], Warmth(90.0, (110.0, 110.0))
    result = hot_preload(stud(), ClampedStack(tuple(parts), CONE), warmth, 50e3)
    cold = fastener_compliance(stud()) + member_compliance(parts, CONE)
    warm = fastener_compliance(stud(), 90.0) + member_compliance(parts, CONE, [110.0, 110.0])
    residual = result.preload * warm - 50e3 * cold - thermal_misfit(stud(), parts, warmth)
    assert abs(residual) < 1e-9 * 50e3 * cold


def test_a_soft_gasket_blunts_the_change():
    assert hot(100.0, 100.0, other_compliance=2e-6).preload < hot(100.0, 100.0).preload


def test_a_hot_stud_in_a_cold_head_can_go_loose_but_never_pushes():
    assert hot(240.0, 20.0, preload=2e3).preload == 0.0


def test_parts_must_fit_the_grip():
    with pytest.raises(FiredeckError, match="2 clamped parts have 1 temperatures"):
        thermal_misfit(stud(), [HEAD, GASKET], Warmth(20.0, (20.0,)))
    with pytest.raises(FiredeckError, match="a grip of 120 mm"):
        thermal_misfit(stud(), [GASKET], Warmth(20.0, (20.0,)))


def test_the_pressure_cone():
    through = PressureCone(16.63, 13.5, both_faces=True)
    tapped = PressureCone(16.63, 13.5, both_faces=False)
    # the widening cone of a tapped joint is stiffer than one that narrows again
    assert member_compliance([HEAD], tapped) < member_compliance([HEAD], through)
    # a boss keeps the cone from growing
    assert member_compliance([HEAD], CONE) > member_compliance([HEAD], tapped)
    # cutting a layer in two changes nothing
    halves = [HEAD.model_copy(update={"thickness": share}) for share in (40.0, 79.0)]
    assert member_compliance(halves, CONE) == pytest.approx(member_compliance([HEAD], CONE), rel=1e-12)
    tube = PressureCone(16.63, 13.5, limit_diameter=16.63)
    expected = 119.0 / (72.4e3 * 0.25 * 3.141592653589793 * (16.63**2 - 13.5**2))
    assert member_compliance([HEAD], tube) == pytest.approx(expected, rel=1e-12)
    with pytest.raises(FiredeckError, match="no larger than its hole"):
        member_compliance([HEAD], PressureCone(13.0, 13.5))


def test_a_stated_compliance_softens_as_the_cone_does():
    cone, stated = ClampedStack((HEAD, GASKET), CONE), ClampedStack((HEAD, GASKET), CONE, stated=3e-6)
    assert stated.compliance() == pytest.approx(3e-6)
    hot = (150.0, 150.0)
    assert stated.compliance(hot) / 3e-6 == pytest.approx(cone.compliance(hot) / cone.compliance())
    assert stated.compliance(hot) > 3e-6
