"""What settling takes from each seal of a predicted joint, and with which moduli it is hot."""

from __future__ import annotations

import re

import pytest

from firedeck.contact import profile
from firedeck.errors import FiredeckError
from firedeck.study.prediction.notes import prediction_assumptions
from firedeck.study.prediction.predicting import built
from firedeck.study.prediction.states import (
    carry_out,
    settling_shares,
    tightening_moves,
    warmed,
    warmth_of,
)
from tests.prediction_bench import write_bench

LAW = """
[[law]]
name = "bore line"
kind = "table"
table = "bore.csv"
width = "2.5 mm"
seals = ["full-bead"]
relaxation = { remaining = "%s", temperature = "150 degC", time = "100 h" }
"""
OWN = re.compile(r'\[\[law\]\]\nseals = \["full-bead"\]\ntable = "bore.csv"\nwidth = "2.5 mm"\n')


class Bodies(dict):
    """Condensed bodies in memory, shared by the joints of this file."""

    def put(self, key, arrays):
        self[key] = dict(arrays)


@pytest.fixture(scope="module")
def bodies():
    return Bodies()


def tightened(folder, bodies, remaining=None, share="2 %"):
    """Files, sizes and the joint as tightened, its bore law in the gasket file where it relaxes."""
    file = write_bench(folder) / "prediction.toml"
    with (folder / "fastening.toml").open("a", encoding="utf-8") as fastening:
        fastening.write(f'\n[settling]\nrelaxation = "{share}"\n')
    if remaining is not None:
        text, count = OWN.subn("", file.read_text(encoding="utf-8"))
        assert count == 1
        file.write_text(text, encoding="utf-8")
        with (folder / "gasket.toml").open("a", encoding="utf-8") as gasket:
            gasket.write(LAW % remaining)
    files, sizes, joint = built(file, bodies)
    return files, sizes, carry_out(joint, files, tightening_moves(files, last_round=True), "fast")[-1]


def test_a_seal_loses_what_its_law_states_and_the_others_the_fastenings_share(tmp_path, bodies):
    files, sizes, state = tightened(tmp_path, bodies, "60 %")
    shares = settling_shares(state, files)
    (bore,) = (name for name in shares if "bore" in name)
    others = [name for name in shares if name != bore]
    (common,) = {shares[name] for name in others}
    assert shares[bore] == pytest.approx(0.4)
    flat = files.fastening.fastening.settling.flattening
    alike, settled = (state.settle(embedding=flat, relaxation=one) for one in (common, shares))
    assert settled.certificate.sound
    laid = state.joint.laid
    for name in shares:
        assert settled.left[laid.patch[laid.part(name)]] == pytest.approx(1.0 - shares[name])
    # What all would lose alike takes the fastening's 2 % from the preloads, beside the flattening.
    flattened = state.settle(embedding=flat)
    lost = flattened.tension.sum() - alike.tension.sum()
    assert lost == pytest.approx(0.02 * state.tension.sum(), rel=0.005)
    # The bead that gives lets the faces come together, so the others carry more and the studs less.
    assert profile(settled, bore).mean < profile(alike, bore).mean
    for name in others:
        assert profile(settled, name).mean > profile(alike, name).mean
    assert settled.tension.sum() < alike.tension.sum()
    told = " ".join(prediction_assumptions(files, sizes, "", state.joint, shares))
    assert f"{bore[0].upper()}{bore[1:]}: 60 %" in told
    assert "after 100 h at 150 °C" in told
    assert "if every seal lost it" in told


def test_without_a_stated_relaxation_all_lose_alike_and_hot_metal_is_softer(tmp_path, bodies):
    files, sizes, state = tightened(tmp_path, bodies)
    shares = settling_shares(state, files)
    assert len(set(shares.values())) == 1
    same = state.settle(relaxation=next(iter(shares.values()))).tension
    assert state.settle(relaxation=shares).tension == pytest.approx(same)
    hot = warmed(state, files.prediction.hot, files)
    # A356-T6 between 72.4 GPa at 20 and 70 GPa at 100 degC, 66 at 200; steel 205 to 200 GPa at 100 degC.
    assert 66.0 / 72.4 < hot.joint.moduli[0] < 70.0 / 72.4
    stiffness = warmth_of(files.prediction.hot, files).fastener_stiffness
    assert all(200.0 / 205.0 < one < 1.0 for one in stiffness)
    told = " ".join(prediction_assumptions(files, sizes, "", state.joint, shares))
    assert "of its cold modulus: A356-T6 at" in told


def test_a_share_that_the_gasket_cannot_take_is_told(tmp_path, bodies):
    files, sizes, state = tightened(tmp_path, bodies, share="25 %")
    shares = settling_shares(state, files)
    assert set(shares.values()) == {0.6}
    told = " ".join(prediction_assumptions(files, sizes, "", state.joint, shares))
    assert "less from the fasteners than the fastening's 25 %" in told


def test_a_seal_that_is_not_there_does_not_settle(tmp_path, bodies):
    _, _, state = tightened(tmp_path, bodies)
    with pytest.raises(FiredeckError, match="no seal or land called 'ring'"):
        state.settle(relaxation={"ring": 0.1})
    with pytest.raises(FiredeckError, match=r"relaxation of 1\.2"):
        state.settle(relaxation=dict.fromkeys(state.joint.laid.names, 1.2))
