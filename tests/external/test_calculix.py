"""The condensed joint against CalculiX 2.20 (G. Dhondt, K. Wittig; SPOOLES solver) on the same mesh.

Where the program ``ccx`` is installed it is run; its answers of one such run are kept beside this
file and stand in where it is not. ``python -m tests.external.test_calculix`` writes them anew.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

import numpy as np
import pytest

from firedeck.contact import CalculixDeck, JointState, Warmth, calculix_deck, tighten
from tests.contact_joints import square_joint

KEPT = Path(__file__).with_name("calculix_answers.json")
CCX = shutil.which("ccx")


def states() -> dict[str, JointState]:
    """Assembled, fired until the outer seal opens in places, warm, and warm and fired."""
    joint = square_joint(outer_gap=0.1)
    preloads = {seat.name: 12e3 for seat in joint.seats}
    assembled = tighten(joint, preloads, level="check", shares=(0.5, 1.0))[-1]
    # Even temperatures: the program takes an element's mean temperature, and so only with these
    # do both solve the same problem.
    warm = assembled.warm(Warmth([(0.0, 120.0)], [(0.0, 95.0)], 80.0))
    return {
        "assembled": assembled,
        "fired": assembled.fire({"bore": 16.0}),
        "warm": warm,
        "warm and fired": warm.fire({"bore": 16.0}),
    }


def run_ccx(deck: CalculixDeck) -> dict[int, float]:
    """Run the program on a deck and return upright displacements [mm] by node."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "joint.inp").write_text(deck.text, encoding="ascii")
        environment = {**os.environ, "OMP_NUM_THREADS": "1"}
        ended = subprocess.run(
            ["ccx", "joint"], cwd=folder, env=environment, capture_output=True, text=True, check=False
        )
        assert ended.returncode == 0, ended.stdout[-2000:]
        rows = [line.split() for line in Path(folder, "joint.dat").read_text(encoding="ascii").splitlines()]
    return {int(row[0]): float(row[3]) for row in rows if len(row) == 4 and row[0].isdigit()}


def answers_of(state: JointState) -> dict[str, list[float]]:
    """Closures of the gasket points and approach of the seats [mm] as the program finds them."""
    deck = calculix_deck(state)
    assert deck.cut_cells == 0
    lift = run_ccx(deck)
    closure = [deck.lowered + lift[block] - lift[head] for head, block in deck.points.tolist()]
    approach = [deck.lowered + lift[block] - lift[head] for head, block in deck.seats.tolist()]
    return {
        "closure": np.round(np.array(closure) - state.joint.laid.points.gap, 9).tolist(),
        "approach": np.round(approach, 9).tolist(),
    }


@pytest.fixture(scope="module")
def ours() -> dict[str, JointState]:
    return states()


@pytest.mark.parametrize("name", ["assembled", "fired", "warm", "warm and fired"])
def test_same_answer_as_calculix_on_the_same_mesh(ours, name):
    state = ours[name]
    theirs = answers_of(state) if CCX else json.loads(KEPT.read_text(encoding="utf-8"))[name]
    closure = np.array(theirs["closure"])
    points = state.joint.laid.points
    load = _loads(state, closure)
    pressure_scale = (state.balance.load / points.size).max()
    assert np.abs(load - state.balance.load / points.size).max() <= 1e-5 * pressure_scale
    # A point whose closure is within a thousandth of a micrometre of touching counts either way.
    apart = np.sign(closure) != np.sign(state.balance.closure)
    assert np.abs(closure[apart]).max(initial=0.0) <= 1e-6
    tension = state.joint.seats[0].stiffness * (state.advance - np.array(theirs["approach"]))
    assert tension == pytest.approx(state.tension, rel=1e-5)


def test_the_case_has_open_and_closed_points(ours):
    share_open = [np.mean(ours[name].balance.load == 0.0) for name in ("assembled", "fired")]
    assert 0.0 < share_open[0] < share_open[1] < 1.0


def _loads(state: JointState, closure: np.ndarray) -> np.ndarray:
    """Load per length [N/mm] that the laws give at closures, the history as before the step."""
    from firedeck.kernel.closure import point_loads

    points = state.joint.laid.points
    load, slope = np.zeros(len(closure)), np.zeros(len(closure))
    point_loads(closure, state.largest, points.law, state.left, points.tables, load, slope)
    return load


if __name__ == "__main__":
    kept = {name: answers_of(state) for name, state in states().items()}
    KEPT.write_text(json.dumps(kept) + "\n", encoding="utf-8")
