"""Folders of results: whole or not at all, never over somebody's work."""

from __future__ import annotations

import csv
import math
import os
from xml.etree import ElementTree

import numpy as np
import pytest
import xarray
from PIL import Image

from firedeck.errors import FiredeckError
from firedeck.files.map_file import read_map
from firedeck.study.folders import check_folder, write_folder
from firedeck.study.prints.output import write_calibration, write_comparison
from firedeck.study.prints.reading import compare_readings
from tests.support import small_print


def fill(name="page.txt", text="new"):
    return lambda draft: (draft / name).write_text(text)


@pytest.fixture(scope="module")
def written():
    return small_print.report()


def rows(path):
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def test_a_reading_is_written_whole(written):
    names = {path.name for path in written.iterdir()}
    assert names >= {"report.html", "map.png", "leaks.png", "polar.png", "curves.png", "response.png"}
    assert names >= {"map.nc", "map.tif"}
    assert names >= {
        f"{stem}.{kind}" for stem in ("seals", "sectors", "leaks", "rules") for kind in ("csv", "parquet")
    }
    assert [path.name for path in written.parent.iterdir()] == ["report"]


def test_every_picture_of_a_report_is_there_in_lines_too(written):
    pictures = [path for path in written.glob("*.png") if path.name != "thumbnail.png"]
    assert len(pictures) > 5
    for path in pictures:
        root = ElementTree.parse(path.with_suffix(".svg")).getroot()
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        wide, high = (float(root.get(side).removesuffix("pt")) for side in ("width", "height"))
        with Image.open(path) as picture:
            assert wide / high == pytest.approx(picture.width / picture.height, rel=0.01)


def test_every_rule_that_was_applied_stands_in_a_table(written):
    judged = small_print.reading(1).verdict.seals
    told = [(row["seal"], row["rule"], row["leads_to"]) for row in rows(written / "rules.csv")]
    assert told == [(one.seal, why.rule, str(why.state)) for one in judged for why in one.reasons]


def test_tables_hold_the_numbers_of_the_reading(written):
    reading = small_print.reading(1)
    for row, summary in zip(rows(written / "seals.csv"), reading.summaries, strict=True):
        assert row["seal"] == summary.name
        assert math.isclose(float(row["weakest_N_per_mm"]), summary.weakest.line_load.value)
    assert len(rows(written / "leaks.csv")) == len(reading.leaks)
    assert len(rows(written / "sectors.csv")) == sum(len(one.sectors.at) for one in reading.profiles)


def test_the_map_comes_back_as_it_was(written):
    reading = small_print.reading(1)
    again = read_map(written / "map.nc")
    assert again.grid == reading.map.grid
    np.testing.assert_array_equal(again.value, reading.map.value)
    np.testing.assert_array_equal(again.flags, reading.map.flags)


def test_the_map_opens_as_any_other_dataset_with_its_units_and_its_frame(written):
    reading = small_print.reading(1)
    with xarray.open_dataset(written / "map.nc", engine="h5netcdf") as data:
        assert data["pressure"].dims == ("y", "x")
        assert {name: data[name].units for name in ("pressure", "noise", "signal", "x", "y")} == {
            "pressure": "MPa", "noise": "MPa", "signal": "1", "x": "mm", "y": "mm",
        }  # fmt: skip
        np.testing.assert_array_equal(data["pressure"], reading.map.value)
        np.testing.assert_allclose(data["x"], reading.map.grid.x)
        np.testing.assert_allclose(data["y"], reading.map.grid.y)
        assert len(data["flags"].flag_masks) == len(data["flags"].flag_meanings.split())


def test_a_comparison_and_a_calibration_are_written(tmp_path):
    comparison = compare_readings(small_print.reading(1), small_print.reading(2))
    write_comparison(comparison, tmp_path / "comparison")
    names = {path.name for path in (tmp_path / "comparison").iterdir()}
    assert names >= {"report.html", "difference.png", "differences.csv", "differences.parquet"}
    write_calibration(small_print.calibration(), tmp_path / "film")
    seals = rows(tmp_path / "comparison" / "seals.csv")
    assert [row["seal"] for row in seals] == [one.name for one in comparison.seals]
    result = small_print.calibration()
    assert (tmp_path / "film" / "response.png").read_bytes().startswith(b"\x89PNG")
    assert [float(row["pressure_MPa"]) for row in rows(tmp_path / "film" / "pieces.csv")] == [
        piece.pressure for piece in result.pieces
    ]
    for row in rows(tmp_path / "film" / "curve.csv"):
        low, middle, high = (float(row[f"pressure{end}_MPa"]) for end in ("_low", "", "_high"))
        assert low < middle < high
        assert low * high == pytest.approx(middle**2)


def test_an_earlier_output_is_replaced(tmp_path):
    folder = tmp_path / "out"
    write_folder(folder, fill("old.txt"))
    write_folder(folder, fill("new.txt"))
    assert {path.name for path in folder.iterdir()} == {"new.txt", ".firedeck-output.json"}
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_an_empty_folder_is_taken(tmp_path):
    write_folder(tmp_path / "made" / "deeper", fill())
    (tmp_path / "empty").mkdir()
    write_folder(tmp_path / "empty", fill())
    assert (tmp_path / "empty" / "page.txt").read_text() == "new"


@pytest.mark.parametrize("before", [False, True])
def test_somebody_s_work_is_not_replaced(tmp_path, before):
    folder = tmp_path / "out"
    if before:
        write_folder(folder, fill())
    folder.mkdir(exist_ok=True)
    (folder / "notes.txt").write_text("mine")
    for attempt in (lambda: check_folder(folder), lambda: write_folder(folder, fill())):
        with pytest.raises(FiredeckError, match=r"notes\.txt") as refusal:
            attempt()
        assert "--overwrite" in refusal.value.remedy
    assert (folder / "notes.txt").read_text() == "mine"
    write_folder(folder, fill(), overwrite=True)
    assert not (folder / "notes.txt").exists()


def test_a_file_changed_since_is_somebody_s_work(tmp_path):
    folder = tmp_path / "out"
    write_folder(folder, fill())
    later = (folder / ".firedeck-output.json").stat().st_mtime + 60
    os.utime(folder / "page.txt", (later, later))
    with pytest.raises(FiredeckError, match=r"page\.txt"):
        check_folder(folder)


def test_a_file_in_the_folder_s_place_is_refused(tmp_path):
    (tmp_path / "out").write_text("a file")
    with pytest.raises(FiredeckError, match="not a folder"):
        write_folder(tmp_path / "out", fill(), overwrite=True)


@pytest.mark.parametrize(
    "fault", [OSError(28, "No space left on device"), FiredeckError("no"), KeyError("own")]
)
def test_a_failure_leaves_the_earlier_output(tmp_path, fault):
    folder = tmp_path / "out"
    write_folder(folder, fill(text="first"))

    def fail(draft):
        (draft / "half.txt").write_text("half")
        raise fault

    with pytest.raises(FiredeckError if isinstance(fault, OSError) else type(fault)):
        write_folder(folder, fail)
    assert (folder / "page.txt").read_text() == "first"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
