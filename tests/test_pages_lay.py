"""The page of landmarks: what was found on the scans, landmarks set by hand, the reading that uses them."""

from __future__ import annotations

import json

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from firedeck.definition.film_test import FilmTest
from firedeck.errors import DefinitionError, FiredeckError
from firedeck.files.definition_file import read_definition
from firedeck.files.scan_file import file_hash
from firedeck.study.prints.laying import look_at_scans
from firedeck.study.prints.reading import read_print
from firedeck.study.prints.record_edits import save_landmarks
from firedeck.web import worker
from tests.support import chromium, held, pages


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    found = pages.bench(tmp_path_factory.mktemp("laid") / "bench")
    assert worker.work("lay", found, ["print-1.toml"], [].append) == 0
    return found


@pytest.fixture
def told(folder):
    return json.loads((folder / "print-1-laying" / "laying.json").read_text(encoding="utf-8"))


def test_the_misses_make_up_the_rms_of_the_registration(folder, told):
    (sheet,) = told["sheets"]
    registration = look_at_scans(folder / "print-1.toml").sheets[0].registration
    far = np.array([row["far"] for row in sheet["misses"]])
    assert len(far) == registration.hole_count > 3
    assert np.sqrt(np.mean(far**2)) == pytest.approx(registration.hole_rms, rel=1e-6)
    assert list(far) == sorted(far, reverse=True)


def landmarks(told, count):
    (sheet,) = told["sheets"]
    middles = {one["name"]: one["middle"] for one in told["plan"]["openings"]}
    rows = sorted(sheet["misses"], key=lambda row: middles[row["opening"]])
    picked = rows[:: max(1, (len(rows) - 1) // (count - 1))][:count]
    return [
        {
            "scan": sheet["scan"],
            "pixel": [part / size - 0.5 for part, size in zip(row["hole"], sheet["pixel_mm"], strict=True)],
            "plan": middles[row["opening"]],
        }
        for row in picked
    ]


def test_saved_landmarks_are_used_and_nothing_else_of_the_record_changes(folder, told, tmp_path):
    folder = pages.bench(tmp_path / "own")
    record = folder / "print-1.toml"
    record.write_text("# kept by hand\n" + record.read_text(encoding="utf-8"), encoding="utf-8")
    before = read_definition(record, FilmTest)
    marks = landmarks(told, 3)
    save_landmarks(record, marks, file_hash(record))
    after = read_definition(record, FilmTest)
    assert after.model_copy(update={"landmarks": ()}) == before
    assert len(after.landmarks) == 3
    assert record.read_text(encoding="utf-8").startswith("# kept by hand")
    notes = read_print(record, pitch=0.2).notes
    assert any("laid by 3 landmarks" in note for note in notes)
    save_landmarks(record, [], file_hash(record))
    assert read_definition(record, FilmTest) == before


def test_a_record_that_changed_meanwhile_or_faulty_landmarks_are_not_written(folder, told):
    record = folder / "print-1.toml"
    before = record.read_bytes()
    with pytest.raises(FiredeckError, match="changed since"):
        save_landmarks(record, landmarks(told, 3), "another")
    with pytest.raises(DefinitionError, match="not a scan here"):
        save_landmarks(record, [{"scan": "other.tif", "pixel": [1, 2], "plan": [3, 4]}], file_hash(record))
    with pytest.raises(DefinitionError):
        save_landmarks(record, [{"scan": "print-1.tif", "pixel": "no"}], file_hash(record))
    assert record.read_bytes() == before


def test_landmarks_are_added_moved_undone_and_saved_by_keyboard(folder, tmp_path):
    folder = pages.bench(tmp_path / "own")
    assert worker.work("lay", folder, ["print-1.toml"], [].append) == 0
    with pages.served(folder) as address, chromium.browser() as browser:
        context = browser.new_context(base_url=address, viewport={"width": 1440, "height": 900})
        bad = chromium.watched(context)
        page = context.new_page()
        page.goto("/film/print-1/lay")
        page.wait_for_selector("#lay[data-ready=yes]")
        page.locator("#add").focus()
        page.keyboard.press("Enter")
        entry = page.locator("[data-landmark]")
        expect(entry).to_have_count(1)
        first = entry.inner_text()
        page.locator(".mark[aria-label^='Landmark 1']").focus()
        page.keyboard.press("ArrowRight")
        page.keyboard.press("Shift+ArrowDown")
        moved = [float(part) for part in entry.inner_text().split("scan ")[1].split(" mm")[0].split(",")]
        was = [float(part) for part in first.split("scan ")[1].split(" mm")[0].split(",")]
        assert np.subtract(moved, was) == pytest.approx([0.1, 1.0], abs=0.011)
        page.locator("#undo").click()
        page.locator("#undo").click()
        expect(entry).to_have_text(first)
        page.locator("#redo").click()
        page.locator("#redo").click()
        page.locator("#undo").click()
        page.locator("#undo").click()
        box = page.locator(".mark[aria-label^='Landmark 1']").bounding_box()
        middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(*middle)
        page.mouse.down()
        page.mouse.move(middle[0] + 20, middle[1] + 10, steps=5)
        page.mouse.up()
        expect(entry).not_to_have_text(first)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert [one["id"] for one in Axe().run(page).response["violations"]] == [], scheme
        for width, height in ((1024, 768), (390, 844), (1440, 900)):
            page.set_viewport_size({"width": width, "height": height})
            assert page.evaluate("document.documentElement.scrollWidth") <= width
        with held.jobs():
            page.locator("#save").click()
            expect(page.locator("#told")).to_contain_text("stand in the record")
            expect(page.locator(".job")).to_have_count(1)
            page.get_by_role("button", name="Cancel").click()
            expect(page.locator(".job.cancelled")).to_have_count(1)
        page.screenshot(path=tmp_path / "lay.png")
    assert bad == []
    assert len(read_definition(folder / "print-1.toml", FilmTest).landmarks) == 1
