"""Reading thread designations: every usual spelling, and plain words for what cannot be."""

from __future__ import annotations

import pytest
from pydantic import TypeAdapter, ValidationError

from firedeck.definition.thread import ThreadError, ThreadText, parse_thread


@pytest.mark.parametrize(
    ("text", "diameter", "pitch", "fit"),
    [
        ("M12", 12.0, 1.75, "6g"),
        ("M11x1.5", 11.0, 1.5, "6g"),
        ("M12×1.25", 12.0, 1.25, "6g"),
        ("m12 x 1.25", 12.0, 1.25, "6g"),
        ("M10x1.5-6h", 10.0, 1.5, "6h"),
        ("M10x1.25-6H/6g", 10.0, 1.25, "6g"),
        ("7/16-20", 11.1125, 1.27, "2A"),
        ("1/2-13 UNC", 12.7, 25.4 / 13, "2A"),
        ("1/2-20 UNF-3A", 12.7, 1.27, "3A"),
        ("7/16-20 UNRF-3A", 11.1125, 1.27, "3A"),
        ("0.4375-20", 11.1125, 1.27, "2A"),
    ],
)
def test_designations(text, diameter, pitch, fit):
    thread = parse_thread(text)
    assert thread.diameter == pytest.approx(diameter)
    assert thread.pitch == pytest.approx(pitch)
    assert thread.fit == fit
    assert str(thread) == text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("M12-20", "mixes inch and metric"),
        ("7/16x1.25", "mixes inch and metric"),
        ("M10x12", "cannot be cut"),
        ("M10x0.01", "cannot be cut"),
        ("1/2-1", "cannot be cut"),
        ("M200x3", "2 to 64 mm"),
        ("M13", "no coarse pitch"),
        ("1/2-20 UNC", "1/2 UNC has 13 threads per inch"),
        ("M12x1.25-9q", "tolerance class"),
        ("1/2-13 UNC-1A", "thread class"),
        ("1/0-20", "is no thread"),
        ("1/2-0", "is no thread"),
        ("a stud", "not a thread designation"),
        (12.5, "thread designation is expected"),
    ],
)
def test_impossible_threads_are_named(text, words):
    with pytest.raises(ThreadError, match=words) as caught:
        parse_thread(text)
    assert caught.value.remedy


def test_a_misprinted_stress_area_is_refused():
    # One table in circulation prints 0.0163 in^2 for 7/16-14; ASME B1.1 has 0.1063 in^2.
    field = TypeAdapter(ThreadText)
    assert field.validate_python({"designation": "7/16-14", "stress_area": "0.1063 in**2"}).pitch
    assert field.validate_python({"designation": "M8"}).pitch == 1.25
    with pytest.raises(ValidationError, match=r"0\.1063 in\^2"):
        field.validate_python({"designation": "7/16-14", "stress_area": "0.0163 in**2"})
    with pytest.raises(ValidationError, match="no key 'area'"):
        field.validate_python({"designation": "7/16-14", "area": "0.1063 in**2"})


def test_a_thread_goes_out_as_it_came_in():
    field = TypeAdapter(ThreadText)
    thread = field.validate_python("M11x1.5")
    assert field.validate_python(field.dump_python(thread)) == thread


def test_tighter_classes_leave_more_thread():
    loose, tight = parse_thread("1/2-20 UNF-2A").limits, parse_thread("1/2-20 UNF-3A").limits
    assert tight.external_major_min > loose.external_major_min
    assert tight.internal_pitch_max < loose.internal_pitch_max
    assert (
        parse_thread("M12x1.25-6h").limits.external_major_min
        > parse_thread("M12x1.25").limits.external_major_min
    )
