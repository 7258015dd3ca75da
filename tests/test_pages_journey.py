"""From an empty folder to a report, in the browser alone, from files on disk."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from playwright.sync_api import expect

from firedeck.scenario.engine import candidate_gasket, write_text
from tests.support import chromium, pages, small_print

#: Work in processes that start cold, on a slow machine [ms].
PATIENCE = 240_000


@pytest.fixture
def files(tmp_path):
    """What somebody has on disk who never ran firedeck: definitions, and scans of film and print."""
    made = small_print.bench_files(tmp_path / "disk")
    film = made / "film.toml"
    # As bought: the curve that the shared calibration wrote is taken out again.
    kept = film.read_text(encoding="utf-8").partition("\n[response]")[0]
    lines = [line for line in kept.splitlines() if not line.startswith("calibrated")]
    film.write_text("\n".join(lines) + "\n", encoding="utf-8")
    (made / "candidate.toml").write_text(write_text(candidate_gasket()), encoding="utf-8")
    return [path for path in sorted(made.iterdir()) if not path.name.startswith("print-2")]


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


def test_from_an_empty_bench_to_a_report(tmp_path, files):
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
        page.get_by_role("link", name="calibration", exact=True).click()
        page.get_by_role("button", name="Calibrate the film").click()
        page.get_by_role("link", name="Open the result").click(timeout=PATIENCE)
        expect(page.locator("svg [data-piece]")).to_have_count(len(small_print.LEVELS) * 2)
        page.get_by_role("link", name="Bench").click()
        page.get_by_role("button", name="Read this print").click()
        page.reload()
        page.get_by_role("link", name="Open the result").click(timeout=PATIENCE)
        page.wait_for_selector("#film[data-ready=yes]")
        page.wait_for_selector(".leaflet-tile-loaded")
        page.get_by_role("link", name="Open the report").click()
        expect(page.locator("h1")).to_contain_text("factory gasket")
        assert page.locator("img").first.evaluate("one => one.complete && one.naturalWidth > 0")
        context.close()
    assert bad == []
    told = json.loads((folder / "print-1-report" / "reading.json").read_text(encoding="utf-8"))
    assert told["seals"]
    assert Path(folder / "print-1-report" / "report.html").stat().st_size > 100_000
