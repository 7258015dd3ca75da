"""Fastener and tightening definitions: what a user writes, and what is refused in plain words."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from firedeck.definition.fastener import Fastener
from firedeck.definition.material import Material, MaterialError, builtin_material, builtin_names
from firedeck.definition.tightening import (
    FRICTION_CLASSES,
    METHOD_SCATTER,
    Lubricant,
    Settling,
    Tightening,
    Tool,
)
from firedeck.evidence import Basis, Source
from firedeck.loading.compliance import fastener_compliance
from firedeck.loading.strength import SHEAR_RATIO
from firedeck.loading.yielding import RESIDUAL_TWIST
from tests.fasteners import stud, tightening


def test_a_waisted_stud_with_two_threads():
    fastener = stud(
        nut_thread="7/16-20",
        hole={"thread": "1/2-13", "engagement": "25 mm", "material": "A356-T6"},
        segment=[{"length": "90 mm", "diameter": "10 mm"}, {"length": "1 in", "thread": "7/16-20"}],
    )
    assert fastener.turned_thread.designation == "7/16-20"
    assert fastener.grip == pytest.approx(115.4)
    # the 7/16-20 end, 76.6 mm^2, is smaller than the waist of 78.5 mm^2
    assert fastener.smallest_area == pytest.approx(fastener.turned_thread.stress_area)
    slim = fastener.model_copy(
        update={"segments": (fastener.segments[0].model_copy(update={"diameter": 9.0}),)}
    )
    assert slim.smallest_area == pytest.approx(63.617, abs=1e-3)


def test_a_definition_goes_out_as_it_came_in():
    fastener = stud(washer={"thickness": "3 mm", "outer_diameter": "24 mm", "hole_diameter": "13 mm"})
    assert Fastener.model_validate(fastener.model_dump(by_alias=True)) == fastener
    plan = tightening({"torque": "80 N*m"}, {"angle": "90 deg"}, sequence=("1", "2"))
    assert Tightening.model_validate(plan.model_dump(by_alias=True)) == plan


def test_end_allowances_lengthen_the_fastener():
    bare = stud(allowances={"engaged": 0.0, "nut": 0.0, "tapped": 0.0})
    assert fastener_compliance(stud()) > fastener_compliance(bare)
    assert fastener_compliance(stud(), 200.0) > fastener_compliance(stud())


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"nut_thread": None}, "a stud needs the thread of its nut"),
        ({"kind": "bolt"}, "a bolt has no nut"),
        ({"segment": [{"length": "80 mm"}]}, "either a diameter or a thread"),
        (
            {"segment": [{"length": "80 mm", "diameter": "9 mm", "thread": "M9"}]},
            "either a diameter or a thread",
        ),
        ({"segment": [{"length": "80 mm", "diameter": "14 mm"}]}, "does not pass a hole of 13.5 mm"),
        ({"bearing": {"outer_diameter": "12 mm", "hole_diameter": "13 mm"}}, "no larger than its hole"),
        ({"bearing": {"outer_diameter": 18.0, "hole_diameter": "13 mm"}}, "has no unit"),
        ({"segment": [{"length": "80 N", "diameter": "9 mm"}]}, "'80 N' is not a length"),
        ({"material": "9.9"}, "'9.9' is not a material"),
        ({"nut_thread": "M12-20"}, "mixes inch and metric"),
        ({"colour": "black"}, "Extra inputs are not permitted"),
    ],
)
def test_a_fastener_that_cannot_be_is_refused(changes, words):
    with pytest.raises(ValidationError, match=words):
        stud(**changes)


@pytest.mark.parametrize(
    ("stages", "changes", "words"),
    [
        ([{"torque": "110 N"}], {}, "'110 N' is not a torque"),
        ([{"torque": "110 N*m", "angle": "90 deg"}], {}, "exactly one action"),
        ([{}], {}, "exactly one action"),
        ([{"torque": "110 N*m"}, {"loosen": "360 deg"}], {}, "leaves every fastener loose"),
        ([{"torque": "110 N*m"}], {"to_yield": True}, "only an angle as last stage"),
        ([{"stretch": "0.3 mm"}], {"retorque": 1}, "a retorque needs a torque"),
        ([{"torque": "110 N*m"}], {"sequence": ("1", "1")}, "names a fastener twice"),
        ([{"torque": "110 N*m"}], {"lubricant": "class Z"}, "'class Z' is not a friction class"),
        ([], {}, "at least 1 item"),
    ],
)
def test_a_tightening_that_cannot_be_is_refused(stages, changes, words):
    with pytest.raises(ValidationError, match=words):
        tightening(*stages, **changes)


@pytest.mark.parametrize(
    ("friction", "words"),
    [
        ({"low": 0.0, "high": 0.1}, "above zero; without friction nothing would stay tight"),
        ({"low": 0.1, "high": 0.0}, "above zero; without friction nothing would stay tight"),
        ({"low": 0.12, "high": 0.1}, "low, typical, high"),
        ({"low": 0.1, "high": 0.2, "typical": 0.3}, "low, typical, high"),
        ({"low": 0.1, "high": 1.2}, "less than 1"),
        ({"low": "10 mm", "high": "1 mm"}, "is not a fraction"),
    ],
)
def test_friction_that_cannot_be_is_refused(friction, words):
    good = {"low": 0.1, "high": 0.14}
    for pair in ({"thread": friction, "bearing": good}, {"thread": good, "bearing": friction}):
        with pytest.raises(ValidationError, match=words):
            Lubricant.model_validate({"name": "paste", **pair})


def test_methods_are_named_by_their_last_stage():
    names = [
        tightening({"torque": "60 N*m"}).method,
        tightening({"torque": "60 N*m"}, {"angle": "90 deg"}).method,
        tightening({"torque": "60 N*m"}, {"angle": "90 deg"}, to_yield=True).method,
        tightening({"stretch": "0.3 mm"}).method,
        tightening({"tension": "80 kN"}).method,
    ]
    assert names == ["torque", "torque and angle", "yield-controlled", "stretch", "hydraulic"]


def test_materials_by_table_and_by_temperature():
    table = {
        "name": "mine",
        "expansion": "12e-6 1/K",
        "modulus": [["20 degC", "200 GPa"], ["120 degC", "190 GPa"]],
    }
    mine = Material.model_validate(table)
    assert mine.modulus.at(70.0) == pytest.approx(195e3)
    assert mine.modulus.at(0.0) == pytest.approx(200e3)
    assert mine.free_strain(120.0) == pytest.approx(1.2e-3)
    with pytest.raises(
        MaterialError, match="asked for at 150 degC, but the material's table ends at 120 degC"
    ):
        mine.modulus.at(150.0)
    with pytest.raises(MaterialError, match="mine states no yield strength"):
        mine.needed("yield_strength")
    with pytest.raises(MaterialError, match="'cheese' is not a material"):
        builtin_material("cheese")


@pytest.mark.parametrize(
    "curve",
    [[], [["20 degC"]], [["20 degC", "1 mm"]], [["90 degC", "2 GPa"], ["20 degC", "1 GPa"]], "200 mm"],
)
def test_a_property_table_that_cannot_be_is_refused(curve):
    with pytest.raises(ValidationError):
        Material.model_validate({"name": "mine", "expansion": "12e-6 1/K", "modulus": curve})


def test_class_8_8_is_stronger_above_16_mm():
    assert builtin_material("8.8 above 16 mm").needed("yield_strength") == pytest.approx(660.0)
    assert builtin_material("8.8").needed("yield_strength") == pytest.approx(640.0)


def test_every_default_carries_its_source():
    defaults = [
        Tool().source,
        tightening({"torque": "1 N*m"}).spread_source,
        RESIDUAL_TWIST[1],
        SHEAR_RATIO[1],
    ]
    defaults += [Settling().embedding_source, Settling().relaxation_source, stud().allowances.source]
    defaults += [row[2] for row in METHOD_SCATTER.values()]
    for grade in FRICTION_CLASSES:
        lubricant = tightening({"torque": "1 N*m"}, lubricant=grade).lubricant
        defaults += [lubricant.source, lubricant.sharing_source]
    for name in builtin_names():
        material = builtin_material(name)
        stated = [field for field in Material.model_fields if getattr(material, field) is not None]
        defaults += [material.source_of(field) for field in stated]
    for source in defaults:
        assert isinstance(source, Source)
        # anything not published says so in its basis; anything published names its document
        assert source.document or source.basis in (Basis.MEMORY, Basis.COMMON_PRACTICE)


def test_a_modulus_against_temperature_owns_up_to_memory():
    curves = [builtin_material(name) for name in builtin_names()]
    hot = [material for material in curves if len(material.modulus.points) > 1]
    assert {"A356-T6", "steel", "class 12.9"} <= {material.name for material in hot}
    assert {material.source_of("modulus").basis for material in hot} == {Basis.MEMORY}
