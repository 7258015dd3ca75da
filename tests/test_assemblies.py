"""Thousands of assemblies side by side are what each would be by itself, whoever shares the work."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from firedeck.contact import (
    Course,
    Draws,
    Fire,
    Heat,
    Settle,
    Turn,
    TurnOn,
    Warmth,
    assemble_many,
    loose_joint,
    profile,
    profiles,
    typical_states,
)
from firedeck.errors import FiredeckError
from tests.contact_joints import square_joint

WARMTH = Warmth([(0.0, 160.0), (10.0, 120.0)], [(0.0, 110.0), (50.0, 90.0)], 95.0)
RELAXED = {"bead": 0.05, "outer": 0.2}


def course(kind="preload"):
    names = [seat.name for seat in square_joint().seats]
    if kind == "preload":
        turns = [Turn(name, share * 12e3) for share in (0.5, 1.0, 1.0) for name in names]
    else:
        # The snug stop comes first; the last turn of two fasteners ends where they yield.
        turns = [Turn(name, 5e3) for name in names]
        turns += [TurnOn(name, 0.08, 11e3 if k % 2 else np.inf) for k, name in enumerate(names)]
    cold = [Settle(0.001, RELAXED), Fire({"bore": 9.0}, "firing")]
    return Course((*turns, *cold, Heat(WARMTH), Fire({"bore": 9.0}, "hot firing")))


def draws(count, spread=0.25, seed=3):
    random = np.random.default_rng(seed)
    return Draws(
        np.exp(spread * random.standard_normal((count, 4))), np.exp(0.1 * random.standard_normal(count))
    )


def by_itself(steps, drawn, row):
    """One assembly through a course by the states that take one at a time."""
    joint, named = square_joint(), {}
    factor = dict(zip([seat.name for seat in joint.seats], drawn.preload[row], strict=True))
    state = loose_joint(joint)
    for place, step in enumerate(steps.steps):
        match step:
            case Turn():
                after = state.turn(step.fastener, step.preload * factor[step.fastener])
            case TurnOn():
                after = state.turn_on(step.fastener, step.advance * factor[step.fastener])
                most = step.most * factor[step.fastener]
                if after.tension[state.place_of(step.fastener)] > most:
                    after = state.turn(step.fastener, most)
            case Settle():
                after = state.settle(embedding=step.embedding, relaxation=step.relaxation)
            case Heat():
                after = state.warm(step.warmth)
            case Fire():
                after = state.fire({"bore": step.pressures["bore"] * drawn.gas[row]})
        if name := steps.name_of(place):
            named[name] = after
        state = state if isinstance(step, Fire) else after
    return named


@functools.cache
def whole(kind, count, workers):
    # A joint of its own: what one remembers of earlier steps shows in the last digits.
    joint = square_joint()
    return assemble_many(joint.with_gasket(joint.model), course(kind), draws(count), dict, workers=workers)


@pytest.mark.parametrize("kind", ["preload", "angle"])
def test_every_assembly_is_what_it_is_by_itself(kind):
    (states,) = whole(kind, 24, 1)
    assert list(states) == ["cold", "settled", "firing", "hot", "hot firing"]
    for row in range(0, 24, 5):
        for name, alone in by_itself(course(kind), draws(24), row).items():
            one = states[name].state(row)
            top = alone.balance.load.max()
            # Both are brought to rest to 1e-10 of the force; soft laws make more of it in closures.
            assert one.balance.load == pytest.approx(alone.balance.load, abs=1e-6 * top), (row, name)
            assert one.tension == pytest.approx(alone.tension, rel=1e-7)
            assert one.largest == pytest.approx(alone.largest, abs=1e-7)
            assert one.amounts == pytest.approx(alone.amounts)


@pytest.mark.parametrize("kind", ["preload", "angle"])
def test_every_assembly_is_certified(kind):
    (states,) = whole(kind, 24, 1)
    for rows in states.values():
        for row in range(len(rows)):
            certificate = rows.certificate(row)
            assert certificate.sound
            assert certificate.residual <= 1e-8
            assert certificate.force_error <= 1e-7
            assert certificate.moment_error <= 1e-7
        assert rows.tension.min() >= 0.0


def test_answers_do_not_depend_on_how_many_share_the_work():
    alone, shared = whole("preload", 150, 1), whole("preload", 150, 3)
    assert [len(lot["cold"]) for lot in shared] == [128, 22]
    for one, other in zip(alone, shared, strict=True):
        for name, rows in one.items():
            assert np.array_equal(rows.balances.load, other[name].balances.load)
            assert np.array_equal(rows.tension, other[name].tension)


def test_profiles_of_many_are_those_of_each():
    (states,) = whole("preload", 24, 1)
    rows = states["firing"]
    for seal in ("bead", "outer"):
        found = profiles(rows, seal)
        for row in (0, 7):
            alone = profile(rows.state(row), seal)
            assert found.line_load[row] == pytest.approx(alone.line_load, abs=1e-9 * alone.line_load.max())
            assert found.closure[row] == pytest.approx(alone.closure, abs=1e-12)
            assert found.line_load[row] / found.width == pytest.approx(alone.pressure, abs=1e-9)


def test_an_assembly_that_goes_its_own_way_is_still_found():
    names = [seat.name for seat in square_joint().seats]
    steps = Course((*(Turn(name, 10e3) for name in names), Fire({"bore": 12.0}, "firing")))
    drawn = Draws(
        np.array([[1.0, 1.0, 1.0, 1.0], [0.02, 1.0, 3.0, 0.1], [4.0, 4.0, 4.0, 4.0]]),
        np.array([1.0, 3.0, 0.0]),
    )
    (states,) = assemble_many(square_joint(), steps, drawn, dict)
    for row in range(3):
        alone = by_itself(steps, drawn, row)["firing"]
        one = states["firing"].state(row)
        assert one.certificate.sound
        assert one.balance.load == pytest.approx(
            alone.balance.load, abs=1e-6 * max(alone.balance.load.max(), 1.0)
        )


def test_the_typical_assembly_goes_the_same_way():
    alone = typical_states(square_joint(), course())
    even = Draws(np.ones((2, 4)), np.ones(2))
    (states,) = assemble_many(square_joint(), course(), even, dict)
    assert list(alone) == list(states)
    for name, state in alone.items():
        assert states[name].tension[1] == pytest.approx(state.tension, rel=1e-7)


def test_progress_is_told_and_can_end_the_work():
    told = []
    assemble_many(square_joint(), course(), draws(300), len, told=told.append)
    assert told == pytest.approx([1 / 3, 2 / 3, 1.0])

    def enough(share):
        raise KeyboardInterrupt

    looked = []
    with pytest.raises(KeyboardInterrupt):
        assemble_many(square_joint(), course(), draws(1300), looked.append, workers=1, told=enough)
    assert len(looked) < 10


def test_draws_that_do_not_fit_are_refused():
    with pytest.raises(FiredeckError, match="3 fasteners"):
        assemble_many(square_joint(), course(), Draws(np.ones((5, 3)), np.ones(5)), dict)
