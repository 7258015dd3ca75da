"""Quantities as text: both unit systems read, and nothing guessed."""

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firedeck import units
from firedeck.units import INNER_UNITS, UnitError, parse_quantity, show_quantity, to_unit

GOOD = [
    ("80 lbf*ft", "torque", 108465.43586651), ("80 lb.ft", "torque", 108465.43586651),
    ("80 ft-lb", "torque", 108465.43586651), ("110 N*m", "torque", 110e3), ("110 Nm", "torque", 110e3),
    ("110 N·m", "torque", 110e3), ("0.043 in", "length", 1.0922), ("7/16 in", "length", 11.1125),
    ("5 thou", "length", 0.127), ("20 um", "length", 0.02), ("20 µm", "length", 0.02),
    ("86mm", "length", 86.0),
    ("45 %", "fraction", 0.45), (0.3, "fraction", 0.3), ("23 degC", "temperature", 23.0),
    ("73.4 °F", "temperature", 23.0), ("-5 degC", "temperature", -5.0), ("600 dpi", "resolution", 600 / 25.4),
    ("25 bar", "pressure", 2.5), ("3600 psi", "pressure", 24.821126255), ("90 deg", "angle", 90.0),
    ("90°", "angle", 90.0), ("12 N/mm", "line_load", 12.0), ("10 min", "duration", 600.0),
    ("12e-6 1/K", "expansion", 12e-6), ("5 K", "temperature_difference", 5.0), ("1.5 kN", "force", 1500.0),
    ("6000 rpm", "rotational_speed", 6000.0),
    ("6000 1/min", "rotational_speed", 6000.0), ("84.3 mm**2", "area", 84.3), ("84.3 mm^2", "area", 84.3),
    ("84.3 mm²", "area", 84.3), ("1998 cm^3", "volume", 1998e3), ("300 kW", "power", 300.0),
    ("100 hp", "power", 74.5699871582), ("100 bhp", "power", 74.5699871582), ("100 PS", "power", 73.549875),
    ("8 N/mm", "stiffness", 8.0), ("10 Hz", "frequency", 10.0), ("0.5 degree", "angle", 0.5),
]  # fmt: skip

BAD = [
    ("80", "torque"), (80, "torque"), ("80 kg", "torque"), ("abc", "length"), ("1e999 mm", "length"),
    ("", "length"), ("nan mm", "length"), ("3,5 mm", "length"), ("0,043 in", "length"), ("mm", "length"),
    ("1 2 mm", "length"), ("3.5.2 mm", "length"), ("3|mm", "length"), ("3;mm", "length"),
    ("3 & mm", "length"), ("3 mm # c", "length"), ("3 mm 4 mm", "length"), ("3 mm + 4 mm", "length"),
    ("2*3 mm", "length"), ("1/0 in", "length"), ("__import__('os')", "length"), (True, "length"),
    (None, "length"), ([1], "length"),
    ("10 MPa", "length"), ("10 mm", "pressure"), ("21/mm", "resolution"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "kind", "value"), GOOD)
def test_text_with_a_unit_is_read(text, kind, value):
    assert parse_quantity(text, kind) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize("kind", INNER_UNITS)
def test_everyday_units_are_what_the_units_library_says(kind):
    library = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    library.define("dpi = 1 / inch")
    for unit, slope in units._EVERYDAY.get(kind, {}).items():
        zero, one = (library.Quantity(number, unit).to(INNER_UNITS[kind]).magnitude for number in (0.0, 1.0))
        assert zero == 0.0, unit
        assert slope == pytest.approx(one, rel=1e-15), unit
        assert to_unit(1.0, kind, unit) == pytest.approx(1.0 / one, rel=1e-14), unit


@pytest.mark.parametrize(("text", "kind"), BAD)
def test_anything_else_is_refused_with_a_remedy(text, kind):
    with pytest.raises(UnitError) as caught:
        parse_quantity(text, kind)
    assert "write it with its unit" in caught.value.remedy


@given(st.text(max_size=20), st.sampled_from(sorted(INNER_UNITS)))
def test_no_text_does_anything_but_be_read_or_refused(text, kind):
    try:
        value = parse_quantity(text, kind)
    except UnitError:
        return
    assert value == value


@given(st.floats(1e-6, 1e6))
def test_a_length_survives_being_shown_in_inches(value):
    inches = to_unit(value, "length", "inch")
    assert parse_quantity(f"{inches:.15g} in", "length") == pytest.approx(value, rel=1e-12)


def test_numbers_are_shown_without_exponents_and_unknown_ones_in_words():
    assert show_quantity(123.456, "N/mm") == "123 N/mm"
    assert show_quantity(0.012345, "mm") == "0.0123 mm"
    assert show_quantity(0.0, "mm") == "0 mm"
    assert show_quantity(float("nan"), "mm") == "not shown"
