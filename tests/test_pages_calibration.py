"""A film calibrated on its pages: the record from its form, the job, the curve and the pieces."""

from __future__ import annotations

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect, sync_playwright

from firedeck.definition.calibration import FilmCalibration
from firedeck.definition.film import FilmBatch
from firedeck.files.definition_file import read_definition
from tests.support import pages, small_print
from tests.test_pages_browser import CHROMIUM, PATIENCE, QUIET, Watch


@pytest.fixture
def folder(tmp_path):
    return pages.bench(tmp_path / "bench")


def test_a_film_is_calibrated_from_the_form_to_the_curve(folder):
    known = small_print.calibration()
    pressures = [piece.pressure for piece in known.pieces]
    with pages.served(folder) as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        context = browser.new_context(base_url=address, viewport={"width": 1440, "height": 900})
        watch = Watch(context, address)
        page = context.new_page()
        page.goto("/new-calibration?like=calibration.toml")
        page.get_by_label("Name of the file").fill("again")
        page.locator("input[name=scan][value='calibration.tif']").check()
        page.locator("textarea[name=piece]").fill("8 MPa\n14 bananas")
        page.get_by_role("button", name="Write the record").click()
        expect(page.locator("#fault-piece")).to_be_visible()
        assert not (folder / "again.toml").exists()
        assert [one["id"] for one in Axe().run(page).response["violations"]] == []
        page.locator("textarea[name=piece]").fill("\n".join(f"{one:g} MPa" for one in pressures))
        page.get_by_role("button", name="Write the record").click()
        page.wait_for_url("**/calibration/again")
        written = read_definition(folder / "again.toml", FilmCalibration)
        assert [piece.pressure for piece in written.pieces] == pytest.approx(pressures)
        page.get_by_role("button", name="Calibrate the film").click()
        page.get_by_role("link", name="Open the result").click(timeout=PATIENCE)
        rows = page.locator("tbody tr")
        expect(rows).to_have_count(len(pressures))
        shown = [float(rows.nth(k).locator("td").nth(2).inner_text()) for k in range(len(pressures))]
        wanted = [-np.log10(1 - piece.signal[known.channel]) for piece in known.pieces]
        assert shown == pytest.approx(wanted, abs=1e-4)
        assert page.locator(".sheet img").evaluate("one => one.naturalWidth") > 100
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert [one["id"] for one in Axe().run(page).response["violations"]] == [], scheme
        for width, height in ((1024, 768), (390, 844)):
            page.set_viewport_size({"width": width, "height": height})
            assert page.evaluate("document.documentElement.scrollWidth") <= width
        browser.close()
    assert [line for line in watch.bad if "422" not in line] == []
    assert read_definition(folder / "film.toml", FilmBatch).response == known.batch.response


def test_a_record_that_names_files_elsewhere_is_not_written(folder):
    from firedeck.errors import FiredeckError
    from firedeck.study.bench import Bench
    from firedeck.study.prints.new_record import CALIBRATION, entries_of, write_record

    bench = Bench(folder)
    entries = {**entries_of(bench, CALIBRATION, "calibration.toml")[0], "film": "../film.toml"}
    with pytest.raises(FiredeckError, match="outside the folder"):
        write_record(bench, CALIBRATION, "stray", entries, ["calibration.tif"], like="calibration.toml")
    assert not (folder / "stray.toml").exists()
