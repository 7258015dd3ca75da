"""The pages in a real browser: every journey with a clean console and no request to anywhere else."""

from __future__ import annotations

import contextlib
import json
import re
import time
from pathlib import Path

import numpy as np
import psutil
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from firedeck.files.map_file import read_map
from tests.support import chromium, held, pages


@pytest.fixture(scope="module")
def browser():
    with chromium.browser() as found:
        yield found


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return pages.bench(tmp_path_factory.mktemp("browsed") / "bench")


@pytest.fixture(scope="module")
def address(folder):
    with pages.served(folder) as found:
        yield found


@pytest.fixture(scope="module")
def profile(browser):
    return chromium.Profile(browser)


@pytest.fixture
def view(profile, address):
    """Return a function that opens a page; the watch speaks up at the end."""

    def open_page(path, *, size=(1440, 900), scheme="light", expect_bad=()):
        page = profile.page(size=size, scheme=scheme, allowed=expect_bad)
        page.goto(f"{address}{path}")
        return page

    yield open_page
    assert profile.clear() == []


def opened(view, *, query="", **how):
    page = view(f"/film/print-1{query}", **how)
    page.wait_for_selector("#film[data-ready=yes]")
    page.wait_for_function("() => document.querySelectorAll('.leaflet-tile-loaded').length > 0")
    return page


# --- the watch itself ------------------------------------------------------------------------------------


def test_the_watch_sees_errors_and_strangers(browser, address):
    context = browser.new_context(base_url=address)
    bad = chromium.watched(context)
    page = context.new_page()
    page.goto("/cautions")
    page.evaluate("console.error('seen')")
    page.evaluate("const image = new Image(); image.src = 'http://elsewhere.example/x.png'")
    end = time.monotonic() + 60
    while not any("elsewhere.example" in line for line in bad):
        assert time.monotonic() < end, "the page's policy refuses it aloud"
        page.wait_for_timeout(20)
    context.close()
    assert "seen" in bad


# --- film page ----------------------------------------------------------------------------------------


def test_hovering_tells_the_map_files_value(view, folder):
    stored = read_map(folder / "print-1-report" / "map.nc")
    read = np.argwhere((stored.flags == 0) & np.isfinite(stored.value))
    for row, col in read[len(read) // 6 :: len(read) // 3][:3]:
        page = opened(view, query=f"?view={stored.grid.x[col]:.3f},{stored.grid.y[row]:.3f},2")
        box = page.locator("#map").bounding_box()
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.wait_for_function("() => document.getElementById('readout').dataset.shown")
        x, y = (float(part) for part in page.locator("#readout").get_attribute("data-shown").split(","))
        assert np.hypot(x - stored.grid.x[col], y - stored.grid.y[row]) < 2 * stored.grid.pitch
        at_row = int(np.floor((y - stored.grid.y0) / stored.grid.pitch))
        at_col = int(np.floor((x - stored.grid.x0) / stored.grid.pitch))
        expect(page.locator("#value")).to_contain_text("MPa")
        told = float(re.search(r"[\d.]+", page.locator("#value").inner_text())[0])
        # The address carries the point to 0.001 mm, so the neighbouring cells may answer.
        near = stored.value[max(0, at_row - 1) : at_row + 2, max(0, at_col - 1) : at_col + 2]
        assert np.nanmin(np.abs(near - told)) <= 0.051


def test_the_map_reads_its_middle_by_keyboard(view):
    page = opened(view)
    page.locator("#map").focus()
    page.keyboard.press("ArrowRight")
    page.wait_for_function("() => document.getElementById('readout').dataset.shown")
    first = page.locator("#readout").get_attribute("data-shown")
    page.keyboard.press("ArrowRight")
    page.wait_for_function("before => document.getElementById('readout').dataset.shown !== before", arg=first)
    second = page.locator("#readout").get_attribute("data-shown")
    assert float(second.split(",")[0]) > float(first.split(",")[0])


def colours(page):
    return page.evaluate(
        """() => [...document.querySelectorAll('canvas.value-tile')].map((tile) => {
          const data = tile.getContext('2d').getImageData(0, 0, tile.width, tile.height).data;
          let sum = 0;
          for (let k = 0; k < data.length; k += 4) sum += data[k] + 3 * data[k + 1] + 7 * data[k + 2];
          return sum;
        }).reduce((a, b) => a + b, 0)"""
    )


def test_the_scale_is_changed_without_asking_the_server(view):
    page = opened(view)
    page.wait_for_load_state("networkidle")
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    before = colours(page)
    page.locator("#top").focus()
    for _ in range(5):
        page.keyboard.press("ArrowLeft")
    assert colours(page) != before
    again = colours(page)
    page.locator("#limit").focus()
    page.keyboard.press("End")
    assert colours(page) != again
    assert [url for url in asked if "/tile/" in url] == []
    assert page.locator("#top-out").inner_text().endswith("MPa")


def test_pooling_changes_what_is_shown_and_says_so(view):
    page = opened(view, size=(700, 500))
    page.wait_for_load_state("networkidle")
    before = colours(page)
    page.get_by_label("the highest").check()
    page.wait_for_function("() => document.querySelectorAll('.leaflet-tile-loaded').length > 0")
    page.wait_for_load_state("networkidle")
    assert "cell" in page.locator("#pooled").inner_text()
    assert colours(page) != before


def test_the_weakest_place_is_shown_on_the_map_and_kept_in_the_address(view, folder):
    record = json.loads((folder / "print-1-report" / "reading.json").read_text(encoding="utf-8"))
    index = next(k for k, seal in enumerate(record["seals"]) if seal["weakest"])
    page = opened(view)
    page.locator("#seal").select_option(str(index))
    page.locator("#to-weakest").click()
    x, y = record["seals"][index]["weakest"]["point"]
    page.wait_for_function(
        "([x, y]) => { const shown = document.getElementById('readout').dataset.shown || '';"
        " const at = shown.split(',').map(Number); return Math.hypot(at[0] - x, at[1] - y) < 0.01; }",
        arg=[x, y],
    )
    assert f"seal={index + 1}" in page.url
    page.wait_for_url(re.compile("view="))
    view_at = re.search(r"view=([^&]+)", page.url)[1].replace("%2C", ",").split(",")
    assert abs(float(view_at[0]) - x) < 0.5
    assert abs(float(view_at[1]) - y) < 0.5
    again = page.context.new_page()
    again.goto(page.url)
    again.wait_for_selector("#film[data-ready=yes]")
    assert again.locator("#seal").input_value() == str(index)


def test_strip_and_curve_stand_over_one_another(view, folder):
    page = opened(view)
    page.wait_for_selector("#strip[data-seal]")
    strip = page.locator("#strip").bounding_box()
    plot = page.locator("#curve .u-over").bounding_box()
    assert abs(strip["x"] - plot["x"]) <= 2
    assert abs(strip["x"] + strip["width"] - plot["x"] - plot["width"]) <= 2
    assert page.locator("#polar svg").count() == 1
    expect(page.locator("#save-polar")).to_be_visible()
    ways = json.loads((folder / "print-1-report" / "reading.json").read_text(encoding="utf-8"))["seals"]
    page.locator("#seal").select_option(str(next(k for k, seal in enumerate(ways) if not seal["round"])))
    expect(page.locator("#save-polar")).to_be_hidden()
    expect(page.locator("#polar svg")).to_have_count(0)


def test_every_rule_is_shown_when_asked_for(view, folder):
    record = json.loads((folder / "print-1-report" / "reading.json").read_text(encoding="utf-8"))
    page = opened(view)
    rows = page.locator("#rules tbody tr")
    expect(rows).to_have_count(0)
    page.locator("#rules summary").click()
    expect(rows).to_have_count(sum(len(seal["reasons"]) for seal in record["seals"]))
    expect(rows.first).to_contain_text(record["seals"][0]["reasons"][0]["text"])
    page.locator("#rules summary").click()
    page.locator("#rules summary").click()
    expect(page.locator("#rules table")).to_have_count(1)
    assert [one["id"] for one in Axe().run(page).response["violations"]] == []


def test_a_leak_path_is_shown(view, folder):
    record = json.loads((folder / "print-1-report" / "reading.json").read_text(encoding="utf-8"))
    assert record["leaks"], "the small print has leak paths"
    page = opened(view)
    page.locator("button[data-leak]").first.click()
    expect(page.locator(".mark.leak").first).to_be_attached()
    assert page.locator("input[value=leaks]").is_checked()
    ways = [leak for leak in record["leaks"] if leak["way"]]
    expect(page.locator("path.leak-way")).to_have_count(len(ways))


def test_tables_pictures_and_report_can_be_had(view, folder):
    page = opened(view)
    with page.expect_download() as caught:
        page.get_by_role("link", name="sectors.csv").click()
    own = (folder / "print-1-report" / "sectors.csv").read_bytes()
    assert Path(caught.value.path()).read_bytes() == own
    assert "firedeck film read print-1.toml --out print-1-report" in page.content()
    page.get_by_role("link", name="Open the report").click()
    expect(page.locator("h1")).to_contain_text("on")
    assert page.locator("img").first.evaluate("one => one.complete && one.naturalWidth > 0")


# --- bench, jobs, import ----------------------------------------------------------------------------------


def workers():
    """Return the processes that do jobs and have not ended: children of the one that all are begun from."""
    here = psutil.Process()
    found = []
    for one in here.children(recursive=True):
        # One that has ended since it was listed has no command line any more.
        with contextlib.suppress(psutil.NoSuchProcess):
            if one.ppid() != here.pid and any("multiprocessing.forkserver" in word for word in one.cmdline()):
                found.append(one)
    return found


def test_a_job_is_cancelled_and_leaves_nothing(view, folder):
    before = sorted(path.name for path in folder.iterdir())
    page = view("/")
    with held.jobs():
        page.get_by_role("button", name="Read again").first.click()
        page.get_by_role("button", name="Cancel").click()
        expect(page.locator(".job.cancelled")).to_have_count(1)
    # The server runs in this process: its worker descends from it, and clears away what it began.
    _, alive = psutil.wait_procs(workers(), timeout=60)
    assert alive == []
    assert sorted(path.name for path in folder.iterdir()) == before


def test_a_job_that_cannot_be_done_says_why(view, folder):
    text = (folder / "print-2.toml").read_text(encoding="utf-8")
    record = folder / "broken.toml"
    record.write_text(text.replace('deck = "deck.toml"', 'deck = "lost.toml"'), encoding="utf-8")
    try:
        page = view("/film/broken")
        page.get_by_role("button", name="Read this print").click()
        expect(page.locator(".job .fault")).to_contain_text("lost.toml", timeout=chromium.PATIENCE)
    finally:
        record.unlink()


def test_what_is_refused_is_told_beside_its_name(view, tmp_path):
    page = view("/", expect_bad=("422",))
    stray = tmp_path / "page.html"
    stray.write_text("<script>document.title = 'taken'</script>")
    page.locator("#files").set_input_files(str(stray))
    expect(page.locator("#uploads .fault")).to_contain_text("firedeck reads no such files")


def test_text_from_files_is_never_markup(view, folder):
    bad = "<img src=x onerror=\"document.title='taken'\"><script>document.title='taken'</script>"
    text = (folder / "print-2.toml").read_text(encoding="utf-8")
    name = re.search(r'^name = "(.*)"$', text, flags=re.MULTILINE)[0]
    record = folder / "script.toml"
    record.write_text(text.replace(name, f"name = '''{bad}'''", 1), encoding="utf-8")
    stored = folder / "print-1-report" / "reading.json"
    before = stored.read_bytes()
    told = json.loads(before)
    told["test"]["name"] = told["headline"]["text"] = bad
    told["seals"][0]["name"] = told["seals"][0]["governing"] = bad
    told["leaks"][0]["a"] = bad
    try:
        page = view("/")
        expect(page.get_by_text("<script>").first).to_be_visible()
        assert page.title() == "Bench – firedeck"
        stored.write_text(json.dumps(told), encoding="utf-8")
        page = opened(view)
        page.locator("#seal").select_option("0")
        expect(page.locator("#seal-words")).to_contain_text("<script>")
        page.wait_for_timeout(300)
        assert "taken" not in (page.title().replace(bad, ""))
        assert page.locator("img[src=x]").count() == 0
    finally:
        stored.write_bytes(before)
        record.unlink()


# --- record form -------------------------------------------------------------------------------------------


def test_a_record_is_begun_from_another_and_faults_stand_beside_their_entry(view, folder):
    page = view("/new-test?like=print-1.toml", expect_bad=("422",))
    page.get_by_label("Name of the file").fill("print-1-again")
    page.get_by_label("Temperature").fill("22 bananas")
    page.get_by_label("print-1-1.tif").or_(page.locator("input[name=scan]").first).first.check()
    page.get_by_role("button", name="Write the record").click()
    expect(page.locator("#fault-climate-temperature")).to_be_visible()
    assert not (folder / "print-1-again.toml").exists()
    page.get_by_label("Temperature").fill("22 degC")
    page.get_by_role("button", name="Write the record").click()
    page.wait_for_url("**/film/print-1-again")
    written = folder / "print-1-again.toml"
    try:
        assert 'kind = "film-test"' in written.read_text(encoding="utf-8")
        expect(page.get_by_role("button", name="Read this print")).to_be_visible()
    finally:
        written.unlink()


# --- everywhere -------------------------------------------------------------------------------------------


def test_focus_can_be_seen_and_the_content_reached_by_keyboard(view):
    page = view("/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"
    page.keyboard.press("Enter")
    assert page.evaluate("location.hash") == "#content"


def test_a_page_that_is_not_there_says_so_in_words(view):
    page = view("/film/none", expect_bad=("404", "422"))
    expect(page.locator("h1")).to_have_text("That is not possible")
    expect(page.locator(".fault")).to_contain_text("none.toml")
