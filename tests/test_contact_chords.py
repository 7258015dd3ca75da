"""What a joint remembers of earlier load steps makes later ones quicker and changes no answer."""

from __future__ import annotations

import numpy as np
import pytest

from firedeck.contact import JointState, tighten
from firedeck.kernel.press import Chords, Fasteners
from tests.contact_joints import square_gasket, square_joint


def fired(joint, level, preload, pressure) -> JointState:
    wanted = {seat.name: preload * (1.0 + 0.1 * k) for k, seat in enumerate(joint.seats)}
    return tighten(joint, wanted, level=level, shares=(0.5, 1.0))[-1].fire({"bore": pressure})


def anew():
    """The joint without anything remembered."""
    joint = square_joint()
    return joint.with_gasket(joint.model)


@pytest.mark.parametrize("level", ["fast", "check"])
def test_answers_do_not_depend_on_what_was_asked_before(level):
    used = anew()
    for preload, pressure in ((9e3, 20.0), (15e3, 3.0), (2e3, 9.0), (14e3, 12.0), (11e3, 5.0)):
        fired(used, level, preload, pressure)
    first, later = fired(anew(), level, 12e3, 10.0), fired(used, level, 12e3, 10.0)
    assert later.certificate.sound
    assert later.balance.load == pytest.approx(first.balance.load, abs=1e-6 * first.balance.load.max())
    assert later.tension == pytest.approx(first.tension, rel=1e-7)
    # Closures hang on the loads through soft laws: a tenth of a nanometre is below all that is measured.
    assert later.largest == pytest.approx(first.largest, abs=1e-7)


def test_a_step_asked_again_is_known_and_a_small_change_takes_fewer_steps():
    joint = anew()
    state = fired(joint, "check", 12e3, 0.0)
    first = state.fire({"bore": 10.0})
    again = state.fire({"bore": 10.0})
    assert first.certificate.steps > 1
    assert again.certificate.steps == 0
    assert state.fire({"bore": 10.2}).certificate.steps <= first.certificate.steps


def test_another_gasket_remembers_nothing():
    joint = anew()
    fired(joint, "fast", 12e3, 10.0)
    assert joint.with_gasket(square_gasket(joint.plan)).chords["fast"] is not joint.chords["fast"]


def test_chords_are_told_apart_by_what_is_held_and_let_go_beyond_their_room():
    kept, count = Chords(), 3
    free = np.full(count, np.nan)
    fasteners = Fasteners(np.ones(count), np.zeros(count), free)
    held = Fasteners(np.ones(count), np.zeros(count), np.array([5.0, np.nan, np.nan]))
    loose = Fasteners(np.ones(count), np.array([-np.inf, 0.0, 0.0]), free)
    found = [kept.at(one, (), 2000) for one in (fasteners, held)]
    assert found[0] is not found[1]
    assert kept.at(fasteners, (), 2000) is found[0]
    # Two have room at this size: the third sends off the one used longest ago.
    kept.at(loose, (), 2000)
    assert kept.at(fasteners, (), 2000) is found[0]
    assert kept.at(held, (), 2000) is not found[1]
