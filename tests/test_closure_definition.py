"""Closure laws in a gasket file: faults told with their place, laws for seals, command, tables."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
from typer.testing import CliRunner

from firedeck.cli import app
from firedeck.contact.closure import closure_laws
from firedeck.contact.law import law_from_rows
from firedeck.definition.gasket import Gasket
from firedeck.errors import DefinitionError, FiredeckError
from firedeck.files.definition_file import read_definition, write_definition
from firedeck.scenario.engine import candidate_gasket, factory_gasket, small_plan
from firedeck.study.closure import load_laws

TABLE = "closure_mm,load,branch\n0,0,0\n0.1,60,0\n0.2,90,0\n0.2,90,1\n0.12,0,1\n"
GASKET = """\
kind = "gasket"
name = "bench gasket"
role = "candidate"

[[law]]
name = "bead"
kind = "table"
table = "bead.csv"
width = "1 mm"
height = "0.2 mm"
seals = ["half-bead"]

[[law]]
name = "stopper"
kind = "stopper"
excess = "0.1 mm"
width = "1 mm"
thickness = "1 mm"
modulus = "200 GPa"

[[law]]
name = "bore line"
kind = "parallel"
of = ["bead", "stopper"]
seals = ["full-bead"]
gap = "0.03 mm"
relaxation = { remaining = "90 %", temperature = "150 degC", time = "100 h" }
"""


@pytest.fixture
def file(tmp_path):
    (tmp_path / "bead.csv").write_text(TABLE)
    (tmp_path / "gasket.toml").write_text(GASKET)
    return tmp_path / "gasket.toml"


def run(*arguments):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def test_every_seal_gets_the_law_of_its_name_or_kind(file):
    seals = small_plan().seals
    found = load_laws(file, seals)
    kinds = {seal.name: str(seal.kind) for seal in seals}
    wanted = {name: {"full-bead": "bore line", "half-bead": "bead"}[kind] for name, kind in kinds.items()}
    assert {name: law.name for name, law in found.of_seals.items()} == wanted
    assert {found.gaps[name] for name, kind in kinds.items() if kind == "full-bead"} == {0.03}
    assert found.relaxations["bore 1 bead"].remaining == 0.9
    assert found.relaxations["bore 1 bead"].time == 360_000.0


def test_stopper_takes_over_when_the_bead_has_come_down_to_it(file):
    law = load_laws(file).laws["bore line"]
    assert float(np.interp(0.1, law.closure, law.load)) == pytest.approx(60.0)
    more = 200e3 / (1.0 - 0.3**2) * 0.001
    assert float(np.interp(0.101, law.closure, law.load)) == pytest.approx(60.3 + more, rel=1e-3)


@pytest.mark.parametrize(
    ("before", "after", "key", "words"),
    [
        ('kind = "stopper"', 'kind = "stop"', "law[2]", "kind of this entry"),
        ('width = "1 mm"\nthickness', 'width = "1"\nthickness', "law[2].width", "unit"),
        ('of = ["bead", "stopper"]', 'of = ["bead", "wire"]', "law[3].of", "no law called 'wire'"),
        ('of = ["bead", "stopper"]', 'of = ["bead", "bore line"]', "law[3].of", "part of itself"),
        ('name = "stopper"', 'name = "bead"', "law[2].name", "two laws"),
        ('seals = ["full-bead"]', 'seals = ["half-bead"]', "law[3].seals", "already"),
        ('table = "bead.csv"', 'table = "none.csv"', "law[1].table", "no such file"),
    ],
)
def test_check_tells_where_the_fault_is(file, before, after, key, words):
    assert before in GASKET
    file.write_text(GASKET.replace(before, after, 1))
    result = run("joint", "check", file, "--json")
    assert result.exit_code != 0
    faults = json.loads(result.output)["files"][0]["faults"]
    assert [fault for fault in faults if fault["key"].startswith(key) and words in fault["message"]]
    assert all(fault["remedy"] for fault in faults)


def test_table_that_makes_no_law_is_a_fault_of_the_gasket_file(file):
    (file.parent / "bead.csv").write_text(TABLE.replace("90,0", "ninety,0"))
    with pytest.raises(DefinitionError) as caught:
        load_laws(file)
    assert caught.value.faults[0].key == "law[1].table"
    assert "line 4" in caught.value.faults[0].message


def test_seal_that_the_deck_plan_does_not_have(file):
    write_definition(file.with_name("deck.toml"), small_plan())
    file.write_text(GASKET.replace('["full-bead"]', '["bore 9 bead"]'))
    result = run("joint", "check", file.with_name("deck.toml"), file)
    assert "there is no seal called 'bore 9 bead'" in result.output


def test_bead_too_steep_or_radius_too_large_is_refused(file):
    bead = '[[law]]\nname = "x"\nkind = "full-bead"\nthickness = "0.25 mm"\nwidth = "2 mm"\n'
    for line, words in (
        ('height = "0.6 mm"', "too steep"),
        ('height = "0.2 mm"\nradius = "4 mm"', "at most"),
    ):
        file.write_text(GASKET + bead + line)
        with pytest.raises(DefinitionError, match=words):
            read_definition(file, Gasket)


def test_strip_that_snaps_through_is_refused_with_words():
    law = {
        "name": "held", "kind": "full-bead", "thickness": "0.25 mm", "height": "0.2 mm", "width": "2.5 mm",
        "feet": "held", "seals": ["ring"],
    }  # fmt: skip
    gasket = Gasket.model_validate({"kind": "gasket", "name": "g", "role": "candidate", "law": [law]})
    with pytest.raises(FiredeckError, match="gives way") as caught:
        closure_laws(gasket, {}, ())
    assert caught.value.where == "law[1]"


def test_command_writes_tables_that_read_back_as_the_law(file):
    result = run("joint", "laws", file, "--out", file.parent / "laws")
    assert result.exit_code == 0, result.output
    law = load_laws(file).laws["bead"]
    back = law_from_rows((file.parent / "laws" / "01-bead.csv").read_text(), "bead", width=1.0)
    at = np.linspace(0.0, 0.2, 9)
    assert np.interp(at, back.closure, back.load) == pytest.approx(np.interp(at, law.closure, law.load))
    assert back.unloaded(0.2) == pytest.approx(law.unloaded(0.2), abs=1e-6)
    assert (file.parent / "laws" / "03-bore-line.png").stat().st_size > 5000
    assert re.search(r"bore line\s+N/mm", result.output)


def test_beads_of_the_demonstration_carry_what_such_beads_carry():
    """Full bead 50 to 150 N/mm well pressed, half bead 10 to 40: common practice, no source."""
    for gasket in (factory_gasket(), candidate_gasket()):
        laws = closure_laws(gasket, {}, small_plan().seals)
        full, half = laws["bore 1 bead"], next(law for law in laws.values() if law.name == "half beads")
        assert 50.0 < float(np.interp(0.7 * full.closure[-1], full.closure, full.load)) < 150.0
        assert 10.0 < float(np.interp(0.6 * half.closure[-1], half.closure, half.load)) < 40.0
