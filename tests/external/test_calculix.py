"""The condensed joint against CalculiX 2.20 (G. Dhondt, K. Wittig; SPOOLES solver) on the same mesh.

The program is run on every state. It knows no contact with a memory, so where a gasket yields, the
deck has one nonlinear spring to each of its points. Over load, heat, gas and cooling the springs
get new tables from the closures that the program itself has found before: it follows the history on
its own, and what is shared is the law alone. That the law is a gasket's is not shown here. The
contact of faces is the program's own in the case of an elastic bed.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from firedeck.contact import JointState, Warmth, calculix_deck, tighten
from firedeck.contact.mesh import body_mesh
from firedeck.pressure_map import Grid
from tests.calculix import bed_joint, closures_of, face_contact_deck, loads_at
from tests.contact_joints import square_joint, square_sections
from tests.solid_meshes import bricks, irregular, joint_of, read_section, round_sections


def assembled() -> JointState:
    joint = square_joint(outer_gap=0.1)
    preloads = {seat.name: 12e3 for seat in joint.seats}
    return tighten(joint, preloads, level="check", shares=(0.5, 1.0))[-1]


@pytest.fixture(scope="module")
def ours() -> dict[str, JointState]:
    """Assembled; fired until the outer seal opens in places; warm; warm and fired; cold again."""
    cold = assembled()
    # 40 K through the fire deck's lower layers, 30 K through the block's top deck.
    warm = cold.warm(Warmth([(0.0, 150.0), (10.0, 110.0), (50.0, 90.0)], [(0.0, 125.0), (20.0, 95.0)], 80.0))
    hot = warm.fire({"bore": 16.0})
    after = hot.fire({}).warm(Warmth([(0.0, 20.0)], [(0.0, 20.0)], 20.0))
    return {
        "assembled": cold,
        "fired": cold.fire({"bore": 16.0}),
        "warm": warm,
        "warm and fired": hot,
        "cold again": after,
    }


def alike(state: JointState, closure: np.ndarray, approach: np.ndarray, largest: np.ndarray) -> None:
    """Compare pressures, open points and fasteners with what the program found, within 0.1 %."""
    mine = state.balance.load / state.joint.laid.points.size
    theirs = loads_at(state, closure, largest)
    assert np.abs(theirs - mine).max() <= 1e-3 * mine.max()
    # A point within a ten-thousandth of the greatest closure of touching counts either way.
    apart = np.sign(closure) != np.sign(state.balance.closure)
    assert np.abs(closure[apart]).max(initial=0.0) <= 1e-4 * np.abs(closure).max()
    tension = state.joint.seats[0].stiffness * (state.advance - approach)
    assert tension == pytest.approx(state.tension, rel=1e-3)


@pytest.mark.parametrize("name", ["assembled", "fired", "warm", "warm and fired", "cold again"])
def test_same_answer_as_calculix_on_the_same_mesh(ours, name):
    state = ours[name]
    closure, approach = closures_of(calculix_deck(state), state)
    alike(state, closure, approach, state.largest)


def test_load_unloading_and_cooling_with_a_memory_that_the_program_follows_itself(ours):
    largest = None
    for name in ("assembled", "warm", "warm and fired", "cold again"):
        state = ours[name]
        closure, approach = closures_of(calculix_deck(state, largest), state)
        before = state.largest if largest is None else largest
        alike(state, closure, approach, before)
        largest = np.maximum(before, closure)


def test_the_memory_is_at_work_in_these_states(ours):
    # Without it, the first loading would carry far more at the closures under gas, and nothing would be
    # left of the heat once it is gone.
    fired = ours["fired"]
    forgetful = loads_at(fired, fired.balance.closure, np.zeros(len(fired.largest)))
    assert forgetful.sum() > 1.2 * loads_at(fired, fired.balance.closure, fired.largest).sum()
    changed = ours["cold again"].balance.load - ours["assembled"].balance.load
    assert np.abs(changed).max() > 0.03 * ours["assembled"].balance.load.max()


def test_the_case_has_open_and_closed_points(ours):
    share_open = [np.mean(ours[name].balance.load == 0.0) for name in ("assembled", "fired")]
    assert 0.0 < share_open[0] < share_open[1] < 1.0


def test_heat_bends_what_it_meets(ours):
    moved = ours["warm"].balance.closure - ours["assembled"].balance.closure
    assert np.ptp(moved) > 0.1 * np.ptp(ours["assembled"].balance.closure)


def test_same_answer_as_the_programs_own_contact_of_faces():
    # Face-to-face contact without tension on an elastic bed of 300 MPa/mm; fired until a tenth of the
    # points is open.
    joint = bed_joint(300.0)
    held = tighten(joint, {seat.name: 12e3 for seat in joint.seats}, level="check", shares=(1.0,))[-1]
    state = held.fire({"bore": 20.0})
    closure, approach = closures_of(face_contact_deck(state, 300.0), state)
    alike(state, closure, approach, np.zeros(len(closure)))
    assert 0.05 < np.mean(state.balance.load == 0.0) < 0.3
    assert np.array_equal(closure > 0.0, state.balance.load > 0.0)


def with_head(kind: str, folder: Path) -> JointState:
    """Return a joint, tight, whose head is somebody's own mesh from a file, and the block in one case."""
    head, block = square_sections()
    if kind == "bricks":
        solid = bricks(body_mesh(head, Grid(0.0, 0.0, 6.0, 16, 20)))
    else:
        head, round_block = round_sections()
        solid = irregular(head, 13.0) if kind == "quadratic" else irregular(head, 5.5, nodes=4)
    if kind == "linear":
        block = read_section(round_block, irregular(round_block, 5.5, nodes=4), folder)
    joint = joint_of((read_section(head, solid, folder), block), outer_gap=0.1)
    return tighten(joint, {seat.name: 12e3 for seat in joint.seats}, level="check", shares=(0.5, 1.0))[-1]


@pytest.mark.parametrize("kind", ["quadratic", "linear", "bricks"])
def test_same_answer_with_a_volume_mesh_of_somebodys_own(kind, tmp_path):
    # Preload and pressure in all; heat, which goes by the elements' own integration points, in one.
    cold = with_head(kind, tmp_path)
    warm = Warmth([(0.0, 150.0), (10.0, 110.0), (50.0, 90.0)], [(0.0, 125.0), (20.0, 95.0)], 80.0)
    state = (cold.warm(warm) if kind == "quadratic" else cold).fire({"bore": 16.0})
    assert 0.0 < np.mean(state.balance.load == 0.0) < 1.0
    closure, approach = closures_of(calculix_deck(state), state)
    alike(state, closure, approach, state.largest)
