"""Duty by model and by rule, its inverse, and what gasket thickness does."""

import pytest
from pydantic import ValidationError

from firedeck.definition.duty import DutyDefinition, EngineGeometry
from firedeck.duty.geometry import Cylinder, bmep_from_power, change_thickness, power_from_bmep
from firedeck.duty.inverse import load_at_peak
from firedeck.duty.limits import DutyError
from firedeck.duty.rule import bmep_for_peak, peak_from_bmep, peak_from_compression
from firedeck.duty.sources import duty_from_model, duty_from_rule, duty_from_traces
from firedeck.evidence import Basis

ENGINE = {
    "bore": "86 mm",
    "stroke": "86 mm",
    "rod": "143 mm",
    "compression_ratio": 9.0,
    "cylinders": 4,
    "firing_order": [1, 3, 4, 2],
    "valves": {"intake_closes": "50 deg", "exhaust_opens": "50 deg"},
    "gasket_thickness": "1.2 mm",
    "deck_clearance": "-0.1 mm",
}
MODEL = {
    "kind": "model",
    "boost": "1.5 bar",
    "charge_temperature": "50 degC",
    "speed": "6500 rpm",
    "air_ratio": 0.85,
    "burn_50": "12 deg",
    "burn_duration": "25 deg",
}
RULE = {"kind": "rule", "power": "300 kW", "speed": "7000 rpm"}


def definition(source, **more):
    return DutyDefinition(engine=ENGINE, source=source, **more)


@pytest.fixture(scope="module")
def model_duty():
    return duty_from_model(definition(MODEL))


def test_model_duty_is_whole(model_duty):
    assert model_duty.kind == "model"
    assert [entry.cylinder for entry in model_duty.cylinders] == [1, 2, 3, 4]
    entry = model_duty.cylinder(2)
    assert 8.0 < entry.mean.value < 15.0
    # cyclic scatter of peak pressure of 5 to 10 % is usual (from memory)
    assert 0.03 < entry.deviation.value / entry.mean.value < 0.12
    assert entry.mean.low < entry.mean.value < entry.extreme.value < entry.extreme.high
    assert entry.mean.high / entry.mean.value - 1.0 == pytest.approx(0.10, abs=0.01)
    assert model_duty.power.value == pytest.approx(
        power_from_bmep(
            model_duty.bmep.value, 4 * Cylinder.from_engine(definition(MODEL).engine).swept_volume, 6500.0
        )
    )
    assert any("no knock allowance" in note for note in model_duty.notes)
    assert any("manifold pressure 0.251 MPa" in note for note in model_duty.notes)


def test_unknown_knock_only_raises_the_upper_end(model_duty):
    pressure = model_duty.hardest.design_pressure
    assert pressure.value == model_duty.hardest.extreme.value
    assert pressure.high == pytest.approx(model_duty.hardest.extreme.high + 5.0)


def test_given_knock_adds():
    duty = duty_from_rule(definition(RULE, knock_allowance="20 bar"))
    assert duty.hardest.design_pressure.value == pytest.approx(duty.hardest.extreme.value + 2.0)


def test_cylinder_factors_pick_the_hardest():
    duty = duty_from_rule(definition(RULE, cylinder_factors=[1.0, 1.06, 0.98, 0.96]))
    assert duty.hardest.cylinder == 2
    assert duty.cylinder(2).mean.value == pytest.approx(1.06 * duty.cylinder(1).mean.value)


@pytest.mark.parametrize(
    ("power", "litres", "speed", "bar"),
    # four-stroke identity bmep = 1200 P/(V n) in bar, kW, L, 1/min
    [(200.0, 2.0, 5500.0, 21.8), (300.0, 2.0, 7000.0, 25.7), (600.0, 2.0, 8500.0, 42.4)],
)
def test_bmep_from_power(power, litres, speed, bar):
    assert bmep_from_power(power, litres * 1e6, speed) * 10.0 == pytest.approx(bar, abs=0.05)


def test_rule_gives_a_wide_band_and_says_it_is_from_memory():
    duty = duty_from_rule(definition(RULE))
    bmep = duty.bmep.value
    mean = duty.hardest.mean
    # peak over bmep 4.5 to 6 near best timing, 3.5 to 4.5 retarded (from memory)
    assert (mean.low, mean.high) == pytest.approx((3.5 * bmep, 6.0 * bmep))
    assert duty.basis.basis is Basis.MEMORY
    best, late = (peak_from_bmep(2.5, timing) for timing in ("best", "retarded"))
    assert best.low >= late.high


def test_model_lies_within_the_rule():
    model = duty_from_model(definition(MODEL))
    band = peak_from_bmep(model.bmep.value, "unknown")
    assert band.low < model.hardest.mean.value < band.high


def test_rule_from_boost_brackets_the_model():
    cylinder = Cylinder.from_engine(definition(MODEL).engine)
    band = peak_from_compression(cylinder, 0.2513)
    assert band.low < duty_from_model(definition(MODEL)).hardest.mean.value < band.high
    # 3 bar absolute at 9:1 is squeezed to about 52 bar by n 1.3: 3 x 9^1.3
    assert peak_from_compression(cylinder, 0.3).low == pytest.approx(2.0 * 0.3 * 9.0**1.3)


def test_inverse_of_the_model_comes_back():
    load = load_at_peak(definition(MODEL), 13.0, statistic="mean")
    again = dict(MODEL, boost=f"{load.boost.value} MPa")
    assert duty_from_model(definition(again)).hardest.mean.value == pytest.approx(13.0, rel=5e-3)
    assert load.power.low < load.power.value < load.power.high


def test_extreme_is_reached_at_less_power_than_the_mean():
    mean, extreme = (load_at_peak(definition(MODEL), 13.0, statistic=which) for which in ("mean", "extreme"))
    assert extreme.power.value < mean.power.value
    assert extreme.boost.value < mean.boost.value


def test_inverse_of_the_rule_comes_back():
    load = load_at_peak(definition(RULE), 16.0)
    again = dict(RULE, power=f"{load.power.value} kW")
    assert duty_from_rule(definition(again)).hardest.extreme.value == pytest.approx(16.0, rel=1e-6)
    assert bmep_for_peak(16.0).low == pytest.approx(16.0 / 6.0)


def test_thickness_changes_compression_and_quench():
    # 86 x 86 mm at 9.0:1, derived: +0.1 mm 8.93, +0.25 mm 8.82, +0.5 mm 8.64
    engine = EngineGeometry.model_validate(ENGINE)
    for added, ratio in ((0.1, 8.926), (0.25, 8.818), (0.5, 8.645)):
        change = change_thickness(engine, 1.2 + added)
        assert change.compression_ratio == pytest.approx(ratio, abs=1e-3)
        assert change.quench == pytest.approx(1.1 + added)
    assert "slower burning" in change.notes[0]
    assert "touch the head" in change_thickness(engine, 0.8).notes[0]
    assert change_thickness(engine, 1.2).compression_ratio == pytest.approx(9.0)


def test_wider_gasket_bore_changes_compression_more():
    narrow = EngineGeometry.model_validate(ENGINE)
    wide = EngineGeometry.model_validate({**ENGINE, "gasket_bore": "88 mm"})
    assert change_thickness(wide, 2.0).compression_ratio < change_thickness(narrow, 2.0).compression_ratio


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: load_at_peak(definition(MODEL), 49.0, statistic="mean"), "no manifold pressure"),
        (lambda: load_at_peak(definition(MODEL), 160.0), "peak cylinder pressure is 160 MPa"),
        (lambda: load_at_peak(definition(MODEL), 16.0, statistic="worst"), "no statistic"),
        (lambda: load_at_peak(definition({"kind": "trace", "file": "a.csv"}), 16.0), "its own load"),
        (lambda: duty_from_rule(definition(MODEL)), "not the rule"),
        (lambda: duty_from_model(definition(RULE)), "not the cycle model"),
        (lambda: duty_from_traces(definition({"kind": "trace", "file": "a.csv"}), []), "no trace"),
        (
            lambda: duty_from_rule(definition({"kind": "rule", "bmep": "300 bar"})),
            "brake mean effective pressure",
        ),
        (lambda: duty_from_rule(definition(RULE)).cylinder(7), "no cylinder 7"),
        (lambda: peak_from_bmep(2.0, "late"), "not known to the rule"),
        (lambda: change_thickness(EngineGeometry.model_validate(ENGINE), 0.0), "thicker than nothing"),
    ],
)
def test_refusals_in_plain_words(call, words):
    with pytest.raises(DutyError, match=words) as refusal:
        call()
    assert "Traceback" not in str(refusal.value)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"compression_ratio": 0.9}, "greater than 1"),
        ({"bore": "86"}, "has no unit"),
        ({"bore": "86 bar"}, "is not a length"),
        ({"rod": "40 mm"}, "crank radius"),
        ({"firing_order": [1, 3, 3, 2]}, "each cylinder once"),
        ({"gasket_bore": "80 mm"}, "smaller than the cylinder bore"),
    ],
)
def test_engine_faults(change, words):
    with pytest.raises(ValidationError, match=words):
        EngineGeometry.model_validate({**ENGINE, **change})


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ({**MODEL, "manifold_pressure": "2.5 bar"}, "not both"),
        ({key: value for key, value in MODEL.items() if key != "boost"}, "must be given"),
        ({"kind": "rule", "power": "300 kW"}, "without the speed"),
        ({"kind": "rule", "power": "300 kW", "bmep": "20 bar", "speed": "7000 rpm"}, "exactly one"),
        ({**MODEL, "speed": "6500 mm"}, "is not a rotational speed"),
    ],
)
def test_source_faults(source, words):
    with pytest.raises(ValidationError, match=words):
        definition(source)


def test_cylinder_factors_must_be_complete():
    with pytest.raises(ValidationError, match="one factor for each"):
        definition(RULE, cylinder_factors=[1.0, 1.1])
