"""Trace files as loggers write them: read when they say enough, asked about when they do not."""

import numpy as np
import pytest
from pydantic import ValidationError

from firedeck.definition.trace_mapping import PressureColumn, TraceMapping
from firedeck.duty.limits import DutyError
from firedeck.files.definition_file import read_definition, write_definition
from firedeck.files.trace_file import read_trace_file
from firedeck.files.trace_layout import inspect_trace_file
from firedeck.files.trace_questions import TraceQuestionsError, questions_about

ROWS = 10_000
ANGLE = np.arange(ROWS) * 0.5 % 720.0
BAR = np.round(1.0 + 80.0 * np.exp(-(((ANGLE - 372.0) / 25.0) ** 2)), 3)


def rows(*columns, delimiter=",", comma=False, digits=3, end=""):
    table = [
        delimiter.join(f"{value:.{digits}f}" for value in row) + end for row in zip(*columns, strict=True)
    ]
    text = "\n".join(table) + "\n"
    return text.replace(".", ",") if comma else text


def asked(path, mapping=None):
    with pytest.raises(TraceQuestionsError) as questions:
        read_trace_file(path, mapping)
    return [question.key for question in questions.value.questions]


def write(folder, text, name="trace.csv", encoding="utf-8"):
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


def test_three_unnamed_tab_columns_are_asked_about(tmp_path):
    angle, volts = np.arange(50_000) * 0.5 % 720.0, np.tile(BAR / 10.0, 5)
    path = write(tmp_path, rows(angle, volts, np.ones(50_000), delimiter="\t"))
    assert asked(path) == [
        "pressure[0].column",
        "pressure[0].unit",
        "base",
        "base_column",
        "base_unit",
        "speed",
    ]
    with pytest.raises(TraceQuestionsError, match=r"column 1 \(unnamed\) rises evenly by 0.5"):
        read_trace_file(path)


def test_answers_in_volts_are_turned_into_pressure(tmp_path):
    path = write(tmp_path, rows(ANGLE, BAR / 10.0, np.full(ROWS, 1.0), delimiter="\t", digits=5))
    mapping = TraceMapping(
        base="angle",
        base_column=1,
        base_unit="deg",
        speed="5000 rpm",
        pressure=[{"column": 2, "unit": "V", "gain": "10 bar", "offset": "-0.5 bar"}],
        reference_column=3,
        reference_unit="bar",
    )
    (record,) = read_trace_file(path, mapping)
    np.testing.assert_allclose(record.pressure, (BAR - 0.5) / 10.0, atol=1e-5)
    np.testing.assert_allclose(record.manifold_pressure, 0.1)
    assert record.speed == pytest.approx(5000.0)
    assert record.angle.size == ROWS


def test_volts_without_a_gain_are_refused():
    with pytest.raises(ValidationError, match="needs the sensor's gain"):
        PressureColumn(column=2, unit="V")


def test_header_in_volts_is_asked_about(tmp_path):
    path = write(tmp_path, "angle [deg],cyl1 [V]\n" + rows(ANGLE, BAR / 10.0))
    assert asked(path) == ["pressure[0].column", "pressure[0].unit", "speed"]
    with pytest.raises(TraceQuestionsError, match="gain is needed"):
        read_trace_file(path)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_semicolons_and_decimal_commas(tmp_path, encoding):
    text = "Kurbelwinkel [°KW];p_zyl1 [bar];Saugrohr [mbar];\n"
    text += rows(ANGLE, BAR, np.full(ROWS, 1000.0), delimiter=";", comma=True, end=";")
    (record,) = read_trace_file(write(tmp_path, text, encoding=encoding), TraceMapping(speed="3000 1/min"))
    np.testing.assert_allclose(record.pressure, BAR / 10.0)
    assert np.ptp(record.angle) == pytest.approx((ROWS - 1) * 0.5)
    assert any("p_zyl1" in note and "bar" in note for note in record.notes)
    assert any("counts angle in deg" in note for note in record.notes)


def test_names_row_units_row_and_settings_before_them(tmp_path):
    text = "logger;7\nrate;0,5\n\n# recorded on the bench\nangle;pcyl1;pcyl2;map\ndeg;bar;bar;kPa\n"
    text += rows(ANGLE, BAR, BAR / 2.0, np.full(ROWS, 101.3), delimiter=";", comma=True, digits=4)
    path = write(tmp_path, text)
    layout = inspect_trace_file(path)
    assert (layout.delimiter, layout.decimal, layout.first_row) == (";", ",", 7)
    assert [(column.name, column.unit) for column in layout.columns][1:3] == [
        ("pcyl1", "bar"),
        ("pcyl2", "bar"),
    ]
    first, second = read_trace_file(path, TraceMapping(speed="3000 1/min"))
    assert (first.cylinder, second.cylinder) == (1, 2)
    np.testing.assert_allclose(second.pressure * 2.0, first.pressure)


def test_blanks_and_comment_lines(tmp_path):
    text = "% from the rig\n% second line\n" + rows(ANGLE, BAR, delimiter="   ").replace("\n", "\n  ")
    mapping = TraceMapping(
        base="angle",
        base_column=1,
        base_unit="deg",
        speed="3000 rpm",
        pressure=[{"column": 2, "unit": "bar"}],
    )
    (record,) = read_trace_file(write(tmp_path, text), mapping)
    np.testing.assert_allclose(record.pressure, BAR / 10.0)


def test_time_in_milliseconds_and_psi(tmp_path):
    milliseconds = np.arange(ROWS) * 0.5 / (6.0 * 3000.0) * 1e3
    text = "time [ms],pressure [psi]\n" + rows(milliseconds, BAR * 14.5037738, digits=5)
    (record,) = read_trace_file(write(tmp_path, text), TraceMapping(speed="3000 rpm"))
    assert record.speed == pytest.approx(3000.0, rel=1e-3)
    np.testing.assert_allclose(record.pressure, BAR / 10.0, rtol=1e-4)


def test_radians(tmp_path):
    text = "crank [rad],pcyl [MPa]\n" + rows(np.radians(ANGLE), BAR / 10.0, digits=6)
    (record,) = read_trace_file(write(tmp_path, text), TraceMapping(speed="3000 rpm"))
    np.testing.assert_allclose(np.diff(record.angle), 0.5, atol=1e-3)


def test_commas_for_everything_are_asked_about(tmp_path):
    path = write(tmp_path, rows(ANGLE, BAR, comma=True))
    assert asked(path) == ["decimal"]
    with pytest.raises(DutyError, match="no table of numbers"):
        read_trace_file(path, TraceMapping(decimal=","))


def test_one_column_with_commas_is_asked_about(tmp_path):
    path = write(tmp_path, rows(BAR, comma=True))
    assert asked(path) == ["delimiter", "decimal"]
    mapping = TraceMapping(
        decimal=",",
        base="sample",
        samples_per_turn=720,
        speed="3000 rpm",
        pressure=[{"column": 1, "unit": "bar"}],
    )
    (record,) = read_trace_file(path, mapping)
    np.testing.assert_allclose(record.pressure, BAR / 10.0)


def test_two_pressures_are_never_chosen_between(tmp_path):
    text = "angle [deg],sensor A,sensor B\n" + rows(ANGLE, BAR, BAR / 2.0)
    assert asked(write(tmp_path, text)) == ["pressure[0].column", "pressure[0].unit", "speed"]


def test_manifold_is_not_taken_for_a_cylinder(tmp_path):
    text = "angle [deg],manifold pressure [bar]\n" + rows(ANGLE, BAR)
    assert asked(write(tmp_path, text))[:1] == ["pressure[0].column"]


@pytest.mark.parametrize("name", ["oil pressure", "fuel pressure", "p_exhaust", "coolant pressure", "p amb"])
def test_other_pressures_are_not_taken_for_a_cylinder(tmp_path, name):
    text = f"angle [deg],{name} [bar]\n" + rows(ANGLE, BAR)
    assert asked(write(tmp_path, text))[:1] == ["pressure[0].column"]


def test_one_of_two_plain_pressures_is_not_chosen(tmp_path):
    text = "angle [deg],pressure [bar],pressure [kPa]\n" + rows(ANGLE, BAR, BAR)
    assert asked(write(tmp_path, text))[:1] == ["pressure[0].column"]


def test_spark_advance_is_not_taken_for_the_crank(tmp_path):
    text = "ignition [deg],cyl1 [bar]\n" + rows(ANGLE, BAR)
    assert asked(write(tmp_path, text))[:1] == ["base"]


def test_cylinder_numbers_come_from_the_names(tmp_path):
    text = "CA [°CA],pcyl4 [bar],pcyl2 [bar]\n" + rows(ANGLE, BAR, BAR / 2.0)
    records = read_trace_file(write(tmp_path, text), TraceMapping(speed="3000 rpm"))
    assert [record.cylinder for record in records] == [4, 2]


def test_all_open_questions_come_at_once(tmp_path):
    path = write(tmp_path, "time,pcyl [bar],crank\n" + rows(np.arange(ROWS) * 1e-5, BAR, BAR, digits=6))
    mapping = TraceMapping(base="time", base_column=1, tooth_column=3, reference_column=2)
    assert asked(path, mapping) == ["base_unit", "teeth", "reference_unit"]
    assert questions_about(inspect_trace_file(path), mapping)[0].choices == ("s", "ms", "us")


def test_mapping_that_contradicts_the_header_is_refused(tmp_path):
    path = write(tmp_path, "angle [deg],cyl1 [psi]\n" + rows(ANGLE, BAR))
    mapping = TraceMapping(speed="3000 rpm", pressure=[{"column": 2, "unit": "bar"}])
    with pytest.raises(DutyError, match="in psi by its header, but in bar by the mapping"):
        read_trace_file(path, mapping)


def test_mapping_for_another_kind_of_file_is_refused(tmp_path):
    path = write(tmp_path, "angle [deg],cyl1 [bar]\n" + rows(ANGLE, BAR))
    with pytest.raises(DutyError, match="names column 5, but the file has 2"):
        read_trace_file(path, TraceMapping(speed="3000 rpm", pressure=[{"column": 5, "unit": "bar"}]))


def test_rows_without_numbers_are_left_out_and_told(tmp_path):
    lines = rows(ANGLE, BAR).splitlines()
    lines[1000:1003] = [f"{ANGLE[k]:.3f},NaN" for k in range(1000, 1003)]
    path = write(tmp_path, "angle [deg],cyl1 [bar]\n" + "\n".join(lines) + "\n317.0")
    (record,) = read_trace_file(path, TraceMapping(speed="3000 rpm"))
    assert record.angle.size == ROWS - 3
    assert any("3 rows without a number" in note for note in record.notes)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"hello\nworld\n", "no table of numbers"),
        (bytes(range(256)) * 10, "not text"),
        (b"", "no table of numbers"),
        (
            b"angle [deg],p1 [bar]\n" + b"1.0,2.0\n" * 500 + b"2.0,oops\n" + b"3.0,4.0\n" * 500,
            "line 502 is not numbers, but 500 lines above it are",
        ),
        (
            b"angle [deg],p1 [bar]\n" + b"1.0,2.0\n" * 9000 + b"2.0,oops\n" + b"3.0,4.0\n" * 9000,
            "cannot be read",
        ),
        (
            b"angle [deg],p1 [bar]\n" + b"1.0,2.0\n" * 9000 + b"2.0,3.0,4.0\n" * 500,
            "another number of columns",
        ),
    ],
)
def test_files_that_are_no_trace(tmp_path, content, words):
    path = tmp_path / "trace.csv"
    path.write_bytes(content)
    with pytest.raises(DutyError, match=words) as refusal:
        read_trace_file(path, TraceMapping(speed="3000 rpm"))
    assert str(path) in str(refusal.value)


def test_missing_file_is_said_plainly(tmp_path):
    with pytest.raises(DutyError, match="cannot be read"):
        read_trace_file(tmp_path / "nowhere.csv")


@pytest.mark.parametrize(
    "wrong", [{"pressure": [{"column": 2, "unit": "mm"}]}, {"reference_column": 3, "reference_unit": "V"}]
)
def test_unknown_unit_is_refused(wrong):
    with pytest.raises(ValidationError, match="is not a unit of pressure"):
        TraceMapping(base="angle", base_column=1, base_unit="deg", speed="3000 rpm", **wrong)


def test_mapping_is_saved_and_read_back(tmp_path):
    mapping = TraceMapping(
        delimiter="tab",
        base="angle",
        base_column=1,
        base_unit="deg",
        speed="5000 rpm",
        pressure=[{"column": 2, "unit": "V", "gain": "1 MPa", "cylinder": 3}],
    )
    path = tmp_path / "rig.toml"
    write_definition(path, mapping)
    assert read_definition(path, TraceMapping) == mapping
