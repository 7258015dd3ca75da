"""Bodies and fasteners that are softer hot, against joints built with the hot moduli."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firedeck.contact import Joint, Warmth, profile, tighten
from firedeck.contact.warmth import mean_temperature
from firedeck.definition.material import Material
from firedeck.errors import FiredeckError
from tests.contact_bodies import box, material
from tests.contact_joints import square_gasket, square_plan, square_seats, square_sections

#: Even temperature of both bodies [degC] and moduli there and at 20 degC [GPa]; invented.
WARM, COLD, HOT = 150.0, (70.0, 110.0), (56.0, 99.0)
EVEN = Warmth([(0.0, WARM)], [(0.0, WARM)], 120.0)


def metal(name, modulus):
    return Material.model_validate(
        {"name": name, "modulus": modulus, "poisson": 0.3, "expansion": "15e-6 1/K"}
    )


def softening(cold, hot):
    return [["20 degC", f"{cold} GPa"], [f"{WARM} degC", f"{hot} GPa"]]


def joint_of(head, block, stiffness=1.0):
    """The square joint of two materials, its studs so many times as stiff."""
    plan = square_plan()
    sections = tuple(
        replace(section, material=metal(section.side, modulus))
        for section, modulus in zip(square_sections(), (head, block), strict=True)
    )
    seats = [replace(seat, stiffness=stiffness * seat.stiffness) for seat in square_seats(plan)]
    return Joint.build(plan, sections, square_gasket(plan), seats, pitch=12.0, reach=20.0, depths=(10.0,))


def tight(joint, level):
    steps = tighten(joint, {seat.name: 12e3 for seat in joint.seats}, level=level, shares=(0.5, 1.0))
    return steps[-1].settle(embedding=0.001, relaxation=0.05)


@pytest.fixture(scope="module")
def tabled():
    return joint_of(softening(COLD[0], HOT[0]), softening(COLD[1], HOT[1]))


@pytest.mark.parametrize("level", ["fast", "check"])
def test_hot_states_are_those_of_a_joint_built_with_the_hot_moduli(tabled, level):
    # Faces give way under a narrow line as they do at 20 degC, in every state.
    built_hot = replace(joint_of(f"{HOT[0]} GPa", f"{HOT[1]} GPa", stiffness=0.9), laid=tabled.laid)
    cold = tight(tabled, level)
    warmth = replace(EVEN, fastener_stiffness=[0.9] * 4)
    found, wanted = cold.warm(warmth), replace(cold, joint=built_hot).warm(EVEN)
    assert found.certificate.sound
    for gas in ({}, {"bore": 10.0}):
        one, other = found.fire(gas), wanted.fire(gas)
        assert one.tension == pytest.approx(other.tension, rel=1e-7)
        for seal in ("bead", "outer"):
            assert profile(one, seal).line_load == pytest.approx(
                profile(other, seal).line_load, rel=1e-6, abs=1e-6
            )
    stiff = replace(cold, joint=joint_of(f"{COLD[0]} GPa", f"{COLD[1]} GPa")).warm(EVEN)
    assert found.tension.sum() < 0.98 * stiff.tension.sum()


def test_a_material_of_one_modulus_changes_nothing():
    joint = joint_of("70 GPa", "110 GPa")
    warm = tight(joint, "fast").warm(EVEN)
    assert warm.joint is joint


def test_cold_again_is_the_cold_joint_and_states_at_one_temperature_share_theirs(tabled):
    settled = tight(tabled, "check")
    warm = settled.warm(EVEN)
    assert warm.joint is not tabled
    assert warm.fire({"bore": 5.0}).warm(EVEN).joint is warm.joint
    assert warm.warm(Warmth([(0.0, 20.0)], [(0.0, 20.0)], 20.0)).joint is tabled
    # Studs that grow with the bodies: all that is left is that softer bodies hold less of the stretch.
    mild = settled.warm(Warmth([(0.0, WARM)], [(0.0, WARM)], WARM, 15e-6))
    assert mild.tension.sum() < settled.tension.sum()


def test_the_mean_temperature_is_that_of_the_material():
    mesh = box((40.0, 40.0, 30.0), (4, 4, 3), material(70e3, 0.3))
    assert mean_temperature(mesh, [(0.0, 200.0), (30.0, 80.0)]) == pytest.approx(140.0)
    # 200 to 80 degC over the lowest 10 mm, 80 degC above.
    assert mean_temperature(mesh, [(0.0, 200.0), (10.0, 80.0)]) == pytest.approx((140.0 + 160.0) / 3.0)


def test_a_table_that_ends_below_the_temperature_is_named(tabled):
    with pytest.raises(FiredeckError, match=r"head, of the head: .* at 190 degC, but .* ends at 150") as told:
        tight(tabled, "fast").warm(Warmth([(0.0, 190.0)], [(0.0, 90.0)], 90.0))
    assert "add a point" in str(told.value)


def test_a_stiffness_for_other_fasteners_is_refused(tabled):
    with pytest.raises(FiredeckError, match="for 2 of 4 fasteners"):
        tight(tabled, "fast").warm(replace(EVEN, fastener_stiffness=[0.9, 0.9]))
