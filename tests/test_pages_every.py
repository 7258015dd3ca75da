"""Every page there is, none left out: clean, accessible in light and dark, no wider than window or sheet."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from starlette.routing import Route

from firedeck.scenario.engine import candidate_gasket, write_text
from firedeck.study.prints.output import write_calibration, write_comparison
from firedeck.study.prints.reading import compare_readings
from firedeck.web import worker
from firedeck.web.app import create_app
from tests.support import chromium, pages, paper, small_print

#: Address as the application has it -> addresses of such pages on the bench of these tests.
PAGES = {
    "/": ["/"],
    "/cautions": ["/cautions"],
    "/new-test": ["/new-test", "/new-test?like=print-1.toml"],
    "/new-calibration": ["/new-calibration?like=calibration.toml"],
    "/film/{test}": ["/film/print-1", "/film/print-2", "/film/stray"],
    "/film/{test}/lay": ["/film/print-1/lay", "/film/print-2/lay"],
    "/film/{test}/report": ["/film/print-1/report"],
    "/calibration/{record}": ["/calibration/calibration", "/calibration/undone"],
    "/calibration/{record}/report": ["/calibration/calibration/report"],
    "/against/{first}/{second}": ["/against/print-1/print-1b", "/against/print-2/print-1"],
    "/against/{first}/{second}/report": ["/against/print-1/print-1b/report"],
    "/deck/{name}": ["/deck/deck", "/deck/deck?gasket=factory"],
    "/gasket/{name}": ["/gasket/candidate", "/gasket/faulty"],
    "/file/{name}": ["/file/film", "/file/print-1", "/file/broken"],
}

#: Pages that are checked where what they show is made.
ELSEWHERE = {"/clamp/{prediction}": "test_pages_clamp.py"}

#: Addresses that answer data, pictures and files; so do all below a predicted joint's page.
NO_PAGES = {
    "/refused/{name}",
    "/film/{test}/data",
    "/film/{test}/tile/{revision}/{pooling}/{level:int}/{column:int}/{row:int}",
    "/film/{test}/strip/{revision}/{seal:int}",
    "/film/{test}/curve/{revision}/{seal:int}",
    "/film/{test}/ways/{revision}",
    "/film/{test}/rules/{revision}",
    "/film/{test}/at",
    "/film/{test}/file/{name}",
    "/film/{test}/masks",
    "/film/{test}/lay/data",
    "/film/{test}/lay/sheet/{number:int}",
    "/calibration/{record}/file/{name}",
    "/calibration/{record}/scan",
    "/against/{first}/{second}/file/{name}",
    "/deck/{name}/data",
    *(f"/{place}/{{name}}/{what}" for place in ("deck", "gasket", "file") for what in ("state", "revision")),
    "/jobs",
    "/jobs/{key}",
}

#: What stands where something is wrong.
FAULTS = ["/nowhere", "/film/none", "/deck/print-1", "/file/none"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    found = pages.bench(tmp_path_factory.mktemp("every") / "bench")
    write_calibration(small_print.calibration(), found / "calibration-calibration")
    (found / "undone.toml").write_bytes((found / "calibration.toml").read_bytes())
    assert worker.work("lay", found, ["print-1.toml"], [].append) == 0
    gasket = write_text(candidate_gasket())
    (found / "candidate.toml").write_text(gasket, encoding="utf-8")
    (found / "faulty.toml").write_text(gasket.replace('"0.3 mm"', '"0.3"'), encoding="utf-8")
    (found / "broken.toml").write_text("kind = film", encoding="utf-8")
    text = (found / "print-1.toml").read_text(encoding="utf-8")
    (found / "stray.toml").write_text(text.replace('"deck.toml"', '"lost.toml"'), encoding="utf-8")
    again(found)
    return found


def again(folder):
    """Have print 1 in the bench under another name too, and both compared."""
    text = (folder / "print-1.toml").read_text(encoding="utf-8")
    (folder / "print-1b.toml").write_text(text, encoding="utf-8")
    shutil.copytree(folder / "print-1-report", folder / "print-1b-report")
    record = folder / "print-1b-report" / "reading.json"
    told = record.read_text(encoding="utf-8").replace('"record":"print-1.toml"', '"record":"print-1b.toml"')
    record.write_text(told, encoding="utf-8")
    compared = compare_readings(small_print.reading(1), small_print.reading(1))
    write_comparison(compared, folder / "print-1b-against-print-1")


@pytest.fixture(scope="module")
def address(folder):
    with pages.served(folder) as found:
        yield found


@pytest.fixture(scope="module")
def browser():
    with chromium.browser() as found:
        yield found


@pytest.fixture(scope="module")
def context(browser, address):
    found = browser.new_context(
        base_url=address, viewport={"width": 1440, "height": 900}, reduced_motion="reduce"
    )
    yield found
    found.close()


@pytest.fixture(scope="module")
def tab(context):
    """One page for all that are looked at, what must not have happened on it, and what may on the next."""
    allowed = []
    page = context.new_page()
    return page, chromium.watched_page(page, allowed=allowed), allowed


def test_no_page_is_left_out(folder):
    app = create_app(folder)
    known = {one.path for one in app.routes if isinstance(one, Route) and "GET" in (one.methods or ())}
    known = {path for path in known if not path.startswith("/clamp/{prediction}/")}
    assert known == set(PAGES) | set(ELSEWHERE) | NO_PAGES
    for file in ELSEWHERE.values():
        assert "Axe().run(page)" in (Path(__file__).parent / file).read_text(encoding="utf-8")


def checked(page):
    """Return what is wrong with a page as it stands, in both schemes and at three widths."""
    wrong = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        found = Axe().run(page).response["violations"]
        wrong += [(scheme, one["id"], [node["html"][:120] for node in one["nodes"]][:3]) for one in found]
    for width, height in ((1024, 768), (390, 844), (1440, 900)):
        page.set_viewport_size({"width": width, "height": height})
        chromium.drawn(page)
        wide = page.evaluate("document.documentElement.scrollWidth")
        if wide > width:
            wrong.append((width, wide))
    # The scheme is still dark, as on the screen of somebody who then prints.
    with paper.printed(page):
        return wrong + paper.faults_on_paper(page)


@pytest.mark.parametrize("path", [path for group in PAGES.values() for path in group] + FAULTS)
def test_it_is_clean_accessible_and_fits(tab, path):
    page, bad, allowed = tab
    bad.clear()
    allowed[:] = ("404", "422") if path in FAULTS else ()
    page.emulate_media(color_scheme="light")
    answer = page.goto(path, wait_until="networkidle")
    assert answer.status == (200 if path not in FAULTS else answer.status)
    assert (answer.status >= 400) == (path in FAULTS)
    if path.endswith("/report"):
        # A report's policy lets no script run, that of the check neither: its text is looked at without.
        text = answer.text()
        page.goto("about:blank")
        page.set_content(text)
    assert page.locator("h1").count() == 1
    assert checked(page) == []
    page.goto("about:blank")
    assert bad == []


def test_a_print_on_paper_keeps_its_map_its_scale_and_its_threshold(context, tmp_path):
    page = context.new_page()
    page.goto("/film/print-1?seal=1")
    page.wait_for_selector("#film[data-ready=yes]")
    page.wait_for_selector("#strip[data-seal='0']")
    page.emulate_media(color_scheme="dark")
    width = page.locator("#map").evaluate("one => one.offsetWidth")
    with paper.printed(page):
        assert paper.faults_on_paper(page) == []
        for part in (
            "#scale",
            "#ticks",
            "#limit-out",
            "#looks",
            "#strip",
            "#curve canvas",
            "#polar svg",
            "footer",
        ):
            assert page.locator(part).is_visible(), part
        assert page.locator("#leak-head ~ .scroll th[scope=row]").first.inner_text().strip().startswith("L")
        # Tiles as they are seen, scaled; others would come too late for the sheet.
        assert page.locator("#map").evaluate("one => one.offsetWidth") == width
        axis = page.locator("#curve canvas").evaluate(
            """one => { const all = one.getContext('2d').getImageData(0, 0, one.width, one.height).data;
            let dark = 0;
            for (let k = 0; k < all.length; k += 4)
              if (all[k + 3] > 200 && Math.max(all[k], all[k + 1], all[k + 2]) < 90) dark++;
            return dark; }"""
        )
        assert axis > 100, "axes of the curve are drawn for a dark screen"
    assert page.locator("#map").get_attribute("style").find("zoom") == -1
    assert 2 <= paper.sheets(page) <= 5
    page.goto("/film/print-1/report")
    assert 3 <= paper.sheets(page) <= 14
    page.close()


def test_an_empty_bench_and_one_without_gasket_or_plan(browser, tmp_path):
    with pages.served(tmp_path) as address:
        page = browser.new_page(base_url=address)
        bad = chromium.watched_page(page)
        page.goto("/", wait_until="networkidle")
        assert "Nothing here yet" in page.locator("main").inner_text()
        assert checked(page) == []
        (tmp_path / "candidate.toml").write_text(write_text(candidate_gasket()), encoding="utf-8")
        page.goto("/gasket/candidate", wait_until="networkidle")
        page.wait_for_selector("#deck[data-ready=yes]")
        assert page.locator("#map").count() == 0
        assert checked(page) == []
        page.close()
    assert bad == []
