"""The whole round in the browser alone, from an empty bench and files on disk to the report on two prints."""

from __future__ import annotations

import json

import pytest
from playwright.sync_api import expect

from firedeck.definition.film_test import FilmTest
from firedeck.files.definition_file import read_definition
from firedeck.scenario.engine import candidate_gasket, write_text
from tests.support import chromium, held, pages, small_print

#: Work in processes that start cold, on a slow machine [ms].
PATIENCE = 240_000


@pytest.fixture
def files(tmp_path):
    """What somebody has on disk: definitions with a calibrated film, and scans of two prints."""
    made = small_print.bench_files(tmp_path / "disk")
    (made / "candidate.toml").write_text(write_text(candidate_gasket()), encoding="utf-8")
    return sorted(made.iterdir())


def dropped(page, paths):
    """Drop files from disk onto the bench page."""
    page.evaluate(
        "() => { const box = document.createElement('input'); box.type = 'file'; box.multiple = true;"
        " box.id = 'from-disk'; document.body.append(box); }"
    )
    page.locator("#from-disk").set_input_files([str(path) for path in paths])
    page.evaluate(
        """() => { const data = new DataTransfer();
        for (const file of document.getElementById('from-disk').files) data.items.add(file);
        document.getElementById('drop').dispatchEvent(
          new DragEvent('drop', { bubbles: true, cancelable: true, dataTransfer: data })); }"""
    )


def read(page, record):
    """Read a print from the bench, as a job that outlives the page, and open what it led to."""
    page.goto("/")
    page.locator(".test", has_text=record).get_by_role("button", name="Read this print").click()
    page.locator(".job").wait_for()
    page.goto("/cautions")
    page.goto("/")
    expect(page.locator(".job")).to_have_count(1)
    page.get_by_role("link", name="Open the result").click(timeout=PATIENCE)
    page.wait_for_selector("#film[data-ready=yes]")
    page.wait_for_selector(".leaflet-tile-loaded")


def leave_out(page):
    """Draw an area out of the reading; the new reading waits for the landmarks."""
    page.goto("/film/print-1?view=60,60,0")
    page.wait_for_selector("#masks[data-ready=yes]", state="attached")
    page.locator(".masks summary").click()
    page.locator("#mask-reason").fill("tape")
    page.locator("#mask-draw").click()
    chromium.drag(page, [(-60, -40), (60, -40), (60, 40), (-50, 40), (-50, -60)])
    expect(page.locator("[data-mask]")).to_have_count(1)
    with held.jobs():
        page.locator("#mask-save").click()
        page.get_by_role("button", name="Cancel").click()
        expect(page.locator(".job.cancelled")).to_have_count(1)


def move_landmarks(page):
    """Set three landmarks, move one by a key, and have the print read again."""
    page.get_by_role("link", name="How it lies on the plan").click()
    page.wait_for_selector("#lay[data-ready=yes]")
    names = page.locator("#opening option").all_inner_texts()
    for name in [name for name in names if "fastener" in name][:3]:
        page.locator("#opening").select_option(label=name)
        page.locator("#add").click()
    marks = page.locator("[data-landmark]")
    expect(marks).to_have_count(3)
    before = marks.first.inner_text()
    page.locator(".mark[aria-label^='Landmark 1']").focus()
    page.keyboard.press("ArrowRight")
    expect(marks.first).not_to_have_text(before)
    page.locator("#save").click()
    page.get_by_role("link", name="Open the result").click(timeout=PATIENCE)
    page.wait_for_selector("#film[data-ready=yes]")


def see_both(page):
    """Look at both maps under one pointer, and have the prints compared."""
    page.goto("/")
    page.locator("select[name=first]").select_option("print-1")
    page.locator("select[name=second]").select_option("print-2")
    page.get_by_role("button", name="Second against first").click()
    page.wait_for_selector("#against[data-ready=yes]")
    outlines = page.locator("#against .deck-outline")
    page.locator("#map-a").hover()
    page.mouse.wheel(0, -480)
    expect(page.locator("#apart")).to_contain_text("At x")
    first, second = outlines.nth(0).bounding_box(), outlines.nth(1).bounding_box()
    assert first["width"] == pytest.approx(second["width"], rel=0.01), "one is zoomed with the other"
    page.get_by_role("button", name="Compare them").click()
    page.get_by_role("link", name="Open the result").click(timeout=PATIENCE)


def test_from_an_empty_bench_to_the_report_on_two_prints(tmp_path, files):
    folder = tmp_path / "bench"
    folder.mkdir()
    with pages.served(folder) as address, chromium.browser() as browser:
        context = browser.new_context(base_url=address, viewport={"width": 1440, "height": 900})
        bad = chromium.watched(context)
        page = context.new_page()
        page.goto("/")
        expect(page.locator("main")).to_contain_text("Nothing here yet")
        with page.expect_navigation(timeout=PATIENCE):
            dropped(page, files)
        assert {path.name for path in folder.iterdir() if path.name[0] != "."} == {one.name for one in files}
        read(page, "print-1.toml")
        leave_out(page)
        move_landmarks(page)
        changes = page.locator(".changes")
        expect(changes).to_contain_text("3 landmarks instead of 0")
        expect(changes).to_contain_text("1 area left out (tape) instead of none")
        page.get_by_role("link", name="Open the report").click()
        expect(page.locator("h1")).to_contain_text("factory gasket")
        assert page.locator("img").first.evaluate("one => one.complete && one.naturalWidth > 0")
        read(page, "print-2.toml")
        see_both(page)
        with page.expect_download() as caught:
            page.locator("ul.files a", has_text=".csv").first.click()
        assert caught.value.path().read_text(encoding="utf-8-sig").startswith('"seal",')
        page.get_by_role("link", name="Open the comparison").click()
        expect(page.locator("h1")).to_contain_text("print-2")
        context.close()
    assert bad == []
    record = read_definition(folder / "print-1.toml", FilmTest)
    assert [one.reason for one in record.masks] == ["tape"]
    assert len(record.landmarks) == 3
    for number in (1, 2):
        text = (folder / f"print-{number}-report" / "reading.json").read_text(encoding="utf-8")
        assert json.loads(text)["seals"]
    assert (folder / "print-2-against-print-1" / "report.html").stat().st_size > 100_000
