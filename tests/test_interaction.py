"""Elastic interaction, sequences that end even, and clamp against gas load."""

from __future__ import annotations

import numpy as np
import pytest

from firedeck.errors import FiredeckError
from firedeck.loading.gas_load import (
    SHARING_SOURCE,
    Bores,
    CylinderPressure,
    PlacedPreloads,
    clamp_ratios,
    share_fasteners,
)
from firedeck.loading.interaction import Bed, Move, SharedJoint, tighten
from firedeck.loading.joint_diagram import GasketedJoint, LinearJoint, LoadingLine
from firedeck.loading.preload import preload_for_torque
from firedeck.loading.sequence import (
    centre_out,
    even_in_one_pass,
    moves_of,
    passes_until_even,
    staged_moves,
)
from tests.fasteners import stud, tightening

PITCH, HALF_WIDTH = 93.0, 48.0
#: Ten fasteners of an in-line four: five on each side, between and beside the bores.
TEN = [(PITCH * (k - 2), side * HALF_WIDTH) for side in (-1, 1) for k in range(5)]
BORES = Bores.build([(PITCH * (k - 1.5), 0.0) for k in range(4)], 90.0)
BED = Bed.from_rings(BORES.centres, BORES.seal_diameters, 4e3)


def four_cylinder(stiffness=150e3):
    return SharedJoint.build(BED.compliance(TEN), stiffness)


def test_neighbours_take_load_off_what_was_tightened_first():
    joint = four_cylinder()
    order = centre_out(TEN)
    history = tighten(joint, staged_moves(order, [20e3, 40e3, 60e3]))
    assert history.preload.shape == (30, 10)
    assert history.final[joint.index(order[-1])] == pytest.approx(60e3)
    assert history.final.min() < 60e3
    assert np.all(history.peak >= history.final)
    assert history.came_loose == ()


def test_an_even_plan_ends_even_in_one_pass():
    joint = four_cylinder()
    plain = tighten(joint, staged_moves(centre_out(TEN), [60e3]))
    plan = even_in_one_pass(joint, 60e3, centre_out(TEN))
    assert plan.history.final == pytest.approx(np.full(10, 60e3), rel=1e-9)
    assert plain.unevenness > 0.05
    assert plan.step_preload[0] > 60e3
    assert plan.step_preload[-1] == pytest.approx(60e3)
    # neighbours can be lifted above their own step for a while
    assert plan.highest >= plan.step_preload.max()


def test_an_even_plan_takes_any_preloads():
    wanted = np.linspace(50e3, 70e3, 10)
    plan = even_in_one_pass(four_cylinder(), wanted, centre_out(TEN))
    assert plan.history.final == pytest.approx(wanted, rel=1e-9)


def test_an_even_plan_starts_from_earlier_stages():
    joint, order = four_cylinder(), centre_out(TEN)
    before = staged_moves(order, [20e3, 40e3])
    plan = even_in_one_pass(joint, 60e3, order, before=before)
    assert plan.history.final == pytest.approx(np.full(10, 60e3), rel=1e-9)
    assert len(plan.history.moves) == 30
    # what the earlier stages took up no longer has to be taken up: the steps differ less
    at_once = even_in_one_pass(joint, 60e3, order)
    assert plan.step_preload.max() < at_once.step_preload.max()
    with pytest.raises(FiredeckError, match="further than its even end"):
        even_in_one_pass(joint, 30e3, order, before=before)


def test_repeated_passes_follow_earlier_stages_and_take_any_preloads():
    joint = SharedJoint.build(np.full((6, 6), 4e-7) + np.diag(np.full(6, 2e-7)), 150e3)
    setting = np.array([60e3, 40e3] * 3)
    before = staged_moves(joint.names, [30e3])
    found = passes_until_even(joint, setting, joint.names, unevenness=0.01, before=before)
    assert found.even
    assert found.history.final == pytest.approx(setting, rel=0.01)
    assert len(found.history.moves) == 6 + 6 * found.count
    from_nothing = passes_until_even(joint, setting, joint.names, unevenness=0.01)
    assert found.count <= from_nothing.count


def test_repeated_passes_converge_where_the_joint_only_gives():
    joint = SharedJoint.build(np.full((6, 6), 4e-7) + np.diag(np.full(6, 2e-7)), 150e3)
    found = passes_until_even(joint, 60e3, joint.names, unevenness=0.01)
    assert found.even
    assert 1 < found.count < 10
    assert found.above == ()
    assert found.history.unevenness <= 0.01
    assert len(found.history.moves) == 6 * found.count
    one_less = tighten(joint, staged_moves(joint.names, [60e3]) * (found.count - 1))
    assert one_less.unevenness > 0.01


def test_repeated_passes_cannot_take_load_off_where_the_head_rocks():
    found = passes_until_even(four_cylinder(), 60e3, centre_out(TEN), unevenness=0.01)
    assert not found.even
    assert found.history.final.min() == pytest.approx(60e3, rel=1e-6)
    assert set(found.above) == {
        name for name, force in zip(found.history.names, found.history.final, strict=True) if force > 60.001e3
    }
    assert passes_until_even(four_cylinder(), 60e3, centre_out(TEN), unevenness=1e-9, most=1).count == 1


def see_saw():
    """A head on a short bed: pulling one end down lifts it off the other."""
    bed = Bed.from_line(60.0, 8e3)
    return SharedJoint.build(bed.compliance([(-100.0, 0.0), (100.0, 0.0)]), 150e3, ["left", "right"])


def test_a_fastener_never_pushes():
    joint = four_cylinder()
    soft = SharedJoint.build(np.full((3, 3), 2e-5), 150e3)
    history = tighten(soft, [Move("1", preload=5e3), Move("2", preload=60e3), Move("3", preload=60e3)])
    assert history.preload.min() == 0.0
    assert history.came_loose == ("1",)
    # when the joint comes back, so does the load
    back = tighten(soft, [*history.moves, Move("2", loosen=True), Move("3", loosen=True)])
    assert back.final[0] == pytest.approx(5e3)
    assert tighten(joint, [Move("1", preload=0.0)]).final == pytest.approx(np.zeros(10))


def test_a_rocking_head_loads_the_far_fastener():
    history = tighten(see_saw(), [Move("left", preload=20e3), Move("right", preload=20e3)])
    assert history.final[0] > 20e3


def test_a_plan_that_would_need_a_fastener_to_push_is_refused():
    with pytest.raises(FiredeckError, match="away from left when its turn comes"):
        even_in_one_pass(see_saw(), [1e3, 60e3], ("left", "right"))
    plan = even_in_one_pass(see_saw(), [1e3, 60e3], ("right", "left"))
    assert plan.history.final == pytest.approx([1e3, 60e3])


def test_angle_and_loosening():
    joint = SharedJoint.build(np.array([[1e-6]]), 200e3)
    give = 1e-6 + 1.0 / 200e3
    history = tighten(
        joint,
        [Move("1", advance=0.1), Move("1", advance=0.1), Move("1", loosen=True), Move("1", advance=0.2)],
    )
    assert history.preload[:, 0] == pytest.approx([0.1 / give, 0.2 / give, 0.0, 0.2 / give])


def test_a_wrench_turns_no_fastener_that_holds_more():
    joint = four_cylinder()
    history = tighten(joint, [Move("1", preload=50e3), Move("1", preload=30e3)])
    assert np.array_equal(history.preload[0], history.preload[1])


def test_moves_follow_the_tightening():
    fastener = stud()
    plan = tightening({"torque": "40 N*m"}, {"torque": "80 N*m"}, retorque=1)
    moves = moves_of(plan, [fastener], ("b", "a"), ("a", "b"))
    assert [move.fastener for move in moves] == ["b", "a"] * 3
    mu = plan.lubricant.thread.middle
    assert moves[-1].preload == pytest.approx(preload_for_torque(fastener, 80e3, mu, mu))
    rough = moves_of(plan, [fastener], ("b", "a"), ("a", "b"), friction_factor=1.1)
    assert rough[-1].preload < moves[-1].preload
    own = moves_of(plan, [fastener], ("b", "a"), ("a", "b"), friction_factor=[1.0, 1.1])
    assert (own[1].preload, own[0].preload) == (moves[1].preload, rough[0].preload)
    mixed = tightening({"torque": "40 N*m"}, {"loosen": "360 deg"}, {"tension": "50 kN"}, {"angle": "90 deg"})
    kinds = moves_of(mixed, [fastener, fastener], ("a", "b"), ("a", "b"))
    assert kinds[2].loosen
    assert kinds[4].preload == pytest.approx(45e3)
    assert kinds[6].advance == pytest.approx(1.25 / 4.0)
    (stretched,) = moves_of(tightening({"stretch": "0.3 mm"}, sequence=("a",)), [fastener], ("x",), ("a",))
    assert stretched.fastener == "a"


def test_centre_out_starts_in_the_middle_and_ends_at_the_ends():
    order = centre_out(TEN)
    assert set(order[:2]) == {"3", "8"}
    assert set(order[-4:]) == {"1", "5", "6", "10"}
    assert sorted(order, key=int) == [str(k + 1) for k in range(10)]
    assert centre_out([(0.0, 0.0)], ["only"]) == ("only",)
    assert centre_out([(x + 500.0, y - 80.0) for x, y in TEN]) == order


@pytest.mark.parametrize(
    ("joint", "stiffness", "words"),
    [
        (np.array([[1e-6, 2e-7], [1e-7, 1e-6]]), 1e5, "not symmetric"),
        (np.array([[1e-7, 2e-6], [2e-6, 1e-7]]), 1e5, "give out work"),
        (np.array([[np.nan]]), 1e5, "not symmetric"),
        (np.eye(2) * 1e-6, -1e5, "compliance must be above zero"),
    ],
)
def test_a_joint_that_cannot_be_is_refused(joint, stiffness, words):
    with pytest.raises(FiredeckError, match=words):
        SharedJoint.build(joint, stiffness)


def test_bad_plans_are_refused():
    joint = four_cylinder()
    with pytest.raises(FiredeckError, match="no fastener is called '11'"):
        tighten(joint, [Move("11", preload=1.0)])
    with pytest.raises(FiredeckError, match="nothing to tighten"):
        tighten(joint, [])
    with pytest.raises(FiredeckError, match="needs one action"):
        Move("1")
    with pytest.raises(FiredeckError, match="needs one action"):
        Move("1", preload=-5.0)
    with pytest.raises(FiredeckError, match="names 2 of 10 fasteners"):
        even_in_one_pass(joint, 60e3, ("1", "2"))
    with pytest.raises(FiredeckError, match="above zero"):
        even_in_one_pass(joint, 0.0, centre_out(TEN))
    with pytest.raises(FiredeckError, match="2 fasteners need a joint compliance of 2 by 2"):
        SharedJoint(("a", "b"), np.eye(3), np.ones(2))
    with pytest.raises(FiredeckError, match="same name"):
        SharedJoint(("a", "a"), np.eye(2), np.ones(2))
    with pytest.raises(FiredeckError, match="resists no tilt across it"):
        Bed.from_line(400.0, 8e3).compliance([(0.0, 0.0), (10.0, 5.0)])


def test_inner_cylinders_own_two_fasteners_and_end_ones_three():
    # in-line four with ten fasteners: common knowledge of the trade
    for rule in ("nearest", "inverse distance"):
        share = share_fasteners(BORES, TEN, rule)
        assert share.sum(axis=0) == pytest.approx(np.ones(10))
        assert share.sum(axis=1) == pytest.approx([3.0, 2.0, 2.0, 3.0])


def test_clamp_ratio_ranks_the_worst_first():
    # 2.5 fasteners of 75 kN over a 90 mm seal at 160 bar give a ratio of 1.84; here 2 and 3 of them
    clamp = PlacedPreloads(
        np.array(TEN), np.full(10, 75e3), common=0.10, individual=0.08, friction_effect=0.92
    )
    found = clamp_ratios(BORES, clamp, CylinderPressure(16.0, 0.05))
    assert {row.cylinder for row in found[:2]} == {"2", "3"}
    assert found[0].ratio.value == pytest.approx(2 * 75e3 / 101_788.0, rel=1e-4)
    assert found[-1].ratio.value == pytest.approx(3 * 75e3 / 101_788.0, rel=1e-4)
    assert found[0].ratio.low < found[0].ratio.value < found[0].ratio.high
    assert found[0].ratio_more_friction == pytest.approx(0.92 * found[0].ratio.value)
    assert found[0].ratio_less_friction > found[0].ratio.value
    assert 0.0 < found[0].lifts < 0.01
    assert "common practice" in str(SHARING_SOURCE)


def test_clamp_ratio_of_one_hot_cylinder():
    clamp = PlacedPreloads(np.array(TEN), np.full(10, 75e3))
    found = clamp_ratios(BORES, clamp, CylinderPressure(np.array([30.0, 16.0, 16.0, 40.0])))
    assert found[0].cylinder == "4"
    assert found[0].lifts == 1.0
    assert found[-1].lifts == 0.0
    loose = clamp_ratios(BORES, PlacedPreloads(np.array(TEN), np.zeros(10)), CylinderPressure(16.0, 0.1))
    assert loose[0].lifts == 1.0


def test_clamp_ratio_refuses_what_cannot_be():
    clamp = PlacedPreloads(np.array(TEN), np.full(10, 75e3))
    with pytest.raises(FiredeckError, match="pressure must be above zero"):
        clamp_ratios(BORES, clamp, CylinderPressure(0.0))
    with pytest.raises(FiredeckError, match="stands inside a seal"):
        share_fasteners(BORES, [(PITCH / 2.0, 0.0)])
    with pytest.raises(FiredeckError, match="seal diameter above zero"):
        Bores.build([(0.0, 0.0)], 0.0)


def test_a_gasket_pressed_further_follows_its_loading_line():
    law = LoadingLine((0.10, 0.15), (200e3, 600e3), 10e6)
    joint = GasketedJoint(1.5e6, law, 100e3)
    # from 100 kN at 0.05 mm, 300 kN of extra clamp passes the knee at 0.10 mm
    state = joint.under(-300e3)
    assert state.clamp == pytest.approx(state.fastener + 300e3)
    assert law.closure_at(state.clamp) == pytest.approx(joint.closure - state.opening)
    assert state.fastener == pytest.approx(100e3 + 1.5e6 * state.opening)
    assert law.force_at(0.20) == pytest.approx(1000e3)
    gone = joint.under(joint.separation_load * 1.1)
    assert (gone.clamp, gone.fastener) == (0.0, pytest.approx(1.1 * joint.separation_load))
    with pytest.raises(FiredeckError, match="must rise from zero"):
        LoadingLine((0.1, 0.05), (1e3, 2e3), 1e6)


def test_separation_is_continuous():
    joint = LinearJoint(2e5, 4e5, 5e4)
    before, after = (joint.under(joint.separation_load * share) for share in (1.0 - 1e-9, 1.0 + 1e-9))
    assert before.fastener == pytest.approx(after.fastener, rel=1e-8)
    assert before.opening == pytest.approx(after.opening, rel=1e-7)
