"""Areas masked by hand: the sectors that they cover are not shown, and the others stay as they were."""

from __future__ import annotations

import json

import numpy as np
import pytest

from firedeck.definition.film_test import FilmTest, Mask
from firedeck.errors import DefinitionError, FiredeckError
from firedeck.files.definition_file import read_definition, write_definition
from firedeck.files.scan_file import file_hash
from firedeck.study.prints.changes import changes_between
from firedeck.study.prints.output import write_reading
from firedeck.study.prints.reading import read_print
from firedeck.study.prints.record_edits import save_masks
from tests.support import small_print
from tests.support.undrawn import undrawn


@pytest.fixture(scope="module")
def masked(tmp_path_factory):
    """The small print read with a mask over the weakest place of its bore's ring."""
    folder = small_print.bench_files(tmp_path_factory.mktemp("masked") / "bench")
    whole = small_print.reading(1)
    x, y = whole.summaries[0].weakest.point
    corners = ((x - 6, y - 6), (x + 6, y - 6), (x + 6, y + 6), (x - 6, y + 6))
    record = folder / "print-1.toml"
    test = read_definition(record, FilmTest)
    write_definition(record, test.model_copy(update={"masks": (Mask(reason="tape", path=corners),)}))
    return whole, read_print(record, pitch=small_print.PITCH), (x, y)


def test_a_masked_sector_is_not_shown_and_the_reason_is_told(masked):
    whole, reading, _ = masked
    before, after = whole.profiles[0].sectors, reading.profiles[0].sectors
    gone = np.isfinite(before.line_load) & ~np.isfinite(after.line_load)
    assert 1 <= gone.sum() <= 0.2 * len(gone)
    assert reading.summaries[0].hidden > whole.summaries[0].hidden
    assert "Masked by hand: tape." in reading.notes


def test_the_rest_stays_as_it_was(masked):
    whole, reading, (x, y) = masked
    grid = reading.map.grid
    away = np.hypot(grid.x[None, :] - x, grid.y[:, None] - y) > 9.0
    assert np.array_equal(whole.map.value[away], reading.map.value[away], equal_nan=True)
    assert np.array_equal(whole.map.flags[away], reading.map.flags[away])
    before, after = whole.profiles[0].sectors, reading.profiles[0].sectors
    clear = np.isfinite(after.line_load)
    assert clear.sum() > 0.8 * len(clear)
    assert after.line_load[clear] == pytest.approx(before.line_load[clear], rel=0.01)


def test_a_second_report_tells_which_seals_moved_and_a_third_that_none_did(masked, tmp_path):
    whole, reading, _ = masked
    out = tmp_path / "report"
    with undrawn():
        assert write_reading(whole, out) == out / "report.html"
    first = json.loads((out / "reading.json").read_text(encoding="utf-8"))
    assert "changes" not in first
    write_reading(reading, out)
    second = json.loads((out / "reading.json").read_text(encoding="utf-8"))
    assert second["changes"]["given"][0] == "1 area left out (tape) instead of none"
    assert second["changes"]["count"] == len(whole.summaries)
    moved = {row["seal"]: row for row in second["changes"]["rows"]}
    for before, after in zip(first["seals"], second["seals"], strict=True):
        load = after["weakest"]["value"]
        high = before["weakest"]["high"]
        out_of = load < before["weakest"]["low"] or (high is not None and load > high)
        assert ("weakest place" in moved.get(after["name"], {"what": ""})["what"]) == out_of
        assert ("verdict" in moved.get(after["name"], {"what": ""})["what"]) == (
            before["state"] != after["state"]
        )
        apart = np.hypot(*np.subtract(before["weakest"]["point"], after["weakest"]["point"]))
        elsewhere = "where it is weakest" in moved.get(after["name"], {"what": ""})["what"]
        assert elsewhere == (apart > after["curve"]["window_mm"] / 2)
    # The weakest place itself was masked: its seal must be among those told.
    assert whole.summaries[0].name in moved
    with undrawn():
        write_reading(reading, out)
    third = json.loads((out / "reading.json").read_text(encoding="utf-8"))
    assert third["changes"] == {"given": [], "rows": [], "count": len(whole.summaries)}


def test_a_load_outside_its_old_interval_a_verdict_and_what_is_no_longer_shown_are_told():
    def record(state, value, low, high):
        load = None if value is None else {"value": value, "low": low, "high": high, "text": str(value)}
        load = load and {**load, "point": [0.0, 0.0]}
        mean = {"value": 50.0, "low": 45.0, "high": None, "text": "50"}
        seal = {"name": "bore", "state": state, "weakest": load, "mean": mean, "curve": {"window_mm": 5.0}}
        told = {"inputs": {}, "scans": {}, "firedeck": "1", "landmarks": 0, "masks": []}
        return {**told, "seals": [seal]}

    first = record("holds", 20.0, 18.0, 22.0)
    assert changes_between(first, record("holds", 21.9, 20.0, 24.0))["rows"] == []
    assert changes_between(first, record("holds", 22.1, 20.0, 24.0))["rows"][0]["what"] == "weakest place"
    assert (
        changes_between(first, record("gives", 17.0, 16.0, 18.0))["rows"][0]["what"]
        == "verdict, weakest place"
    )
    assert changes_between(first, record("holds", None, 0, 0))["rows"][0]["now"]["weakest"] == "not shown"
    open_end = record("holds", 20.0, 18.0, None)
    assert changes_between(open_end, record("holds", 90.0, 80.0, None))["rows"] == []


@pytest.mark.parametrize(
    "path",
    [
        [[0, 0], [10, 10], [10, 0], [0, 10]],
        [[0, 0], [10, 0], [5, 5], [10, 10], [0, 10], [5, 5]],
        [[0, 0], [5, 0], [10, 0]],
        [[0, 0], [5, 5], [0, 0]],
    ],
    ids=["crosses", "touches", "no area", "two corners"],
)
def test_an_outline_that_is_not_plain_is_refused_and_nothing_is_written(tmp_path, path):
    record = small_print.bench_files(tmp_path / "bench") / "print-1.toml"
    before = record.read_bytes()
    with pytest.raises(DefinitionError, match="crosses or touches itself, or holds no area"):
        save_masks(record, [{"reason": "tape", "path": path}], file_hash(record))
    assert record.read_bytes() == before


def test_saved_masks_leave_comments_and_all_other_keys(tmp_path):
    record = small_print.bench_files(tmp_path / "bench") / "print-1.toml"
    text = "# kept by hand\n" + record.read_text(encoding="utf-8")
    record.write_text(text, encoding="utf-8")
    before = read_definition(record, FilmTest)
    square = {"reason": "tape", "path": [[10.25, 20], [30, 20], [30, 40.5]]}
    save_masks(record, [square], file_hash(record))
    after = read_definition(record, FilmTest)
    assert after.masks == (Mask(reason="tape", path=((10.25, 20), (30, 20), (30, 40.5))),)
    assert after.model_copy(update={"masks": ()}) == before
    assert set(text.splitlines()) <= set(record.read_text(encoding="utf-8").splitlines())
    with pytest.raises(FiredeckError, match="changed since"):
        save_masks(record, [], "another")
    save_masks(record, [], file_hash(record))
    assert read_definition(record, FilmTest) == before
