"""A film calibrated on its pages: the record from its form, the job, the curve and the pieces."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from firedeck.definition.calibration import FilmCalibration
from firedeck.definition.film import FilmBatch
from firedeck.drawing.pieces_picture import pieces_figure
from firedeck.files.definition_file import read_definition
from firedeck.study.prints.found_pieces import piece_marks, standings
from firedeck.web import worker
from tests.support import chromium, pages, small_print


@pytest.fixture
def folder(tmp_path):
    return pages.bench(tmp_path / "bench")


def test_a_film_is_calibrated_from_the_form_to_the_curve(folder):
    known = small_print.calibration()
    pressures = [piece.pressure for piece in known.pieces]
    with pages.served(folder) as address, chromium.browser() as browser:
        context = browser.new_context(base_url=address, viewport={"width": 1440, "height": 900})
        bad = chromium.watched(context, allowed=("422",))
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
        page.get_by_role("link", name="Open the result").click(timeout=chromium.PATIENCE)
        rows = page.locator("tbody tr")
        expect(rows).to_have_count(len(pressures))
        pieces = page.locator("svg [data-piece]")
        expect(pieces).to_have_count(len(pressures))
        heard = [pieces.nth(k).get_attribute("aria-label") for k in range(len(pressures))]
        told = [f"{one:g} MPa" if one else "blank" for one in pressures]
        assert heard == [f"Piece {k}, {level}" for k, level in enumerate(told, start=1)]
        pieces.nth(3).click()
        expect(page.locator("tr.chosen th")).to_contain_text("4")
        page.locator("[data-show='6']").click()
        expect(page.locator("svg .chosen")).to_have_attribute("data-piece", "6")
        for name in ("pieces.png", "pieces.svg", "pieces.csv"):
            expect(page.get_by_role("link", name=name)).to_be_visible()
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
    assert bad == []
    assert read_definition(folder / "film.toml", FilmBatch).response == known.batch.response


def test_a_scan_with_a_piece_too_few_is_refused_with_a_picture_that_says_why(folder):
    record = folder / "calibration.toml"
    text = record.read_text(encoding="utf-8")
    record.write_text(text[: text.rindex("[[piece]]")], encoding="utf-8")
    before = (folder / "film.toml").read_bytes()
    messages = []
    assert worker.work("calibrate", folder, ["calibration.toml"], messages.append) == 2
    assert [one["picture"] for one in messages if "picture" in one] == ["calibration-calibration-refused.png"]
    assert "18 pieces of film were found" in messages[-1]["fault"]["message"]
    assert (folder / "calibration-calibration-refused.png").read_bytes().startswith(b"\x89PNG")
    assert (folder / "film.toml").read_bytes() == before


def marked(pieces, **more):
    return [dataclasses.replace(one, **more) for one in pieces]


def test_pieces_refused_are_drawn_with_their_reasons():
    known = small_print.calibration()
    pressures = [piece.pressure for piece in known.pieces]
    assert len(known.found) >= len(pressures)
    whole = [one for one in known.found if one.counted]
    small = marked(whole[:1], counted=False, refused="3 mm² is too small")
    bare = marked(whole[1:2], refused="no blank film is left beside its stain")
    marks = piece_marks([whole[0], *bare, *whole[2:], *small], pressures)
    assert [one.label for one in marks] == [*(str(k + 1) for k in range(len(whole))), "a"]
    assert marks[1].refused.startswith("no blank film")
    assert [one.level for one in marks[:4]] == ["80 MPa", "blank", "blank", "80 MPa"]
    texts = [text.get_text() for text in pieces_figure(known.picture, marks).texts]
    assert any("2: no blank film is left" in text and "a: 3 mm²" in text for text in texts)
    # With another count no piece can be told its level.
    assert {one.level for one in piece_marks(whole[1:], pressures)} == {""}


def test_each_piece_says_whether_the_curve_rests_on_it():
    known = small_print.calibration()
    told = standings(known)
    lowest = known.batch.response.pressure[0]
    for piece, words in zip(known.pieces, told, strict=True):
        assert words.startswith("used") == (piece.pressure >= lowest * 0.9999), piece.pressure
        assert words.startswith("blank") == (piece.pressure == 0.0)


def test_a_record_that_names_files_elsewhere_is_not_written(folder):
    from firedeck.errors import FiredeckError
    from firedeck.study.bench import Bench
    from firedeck.study.prints.new_record import CALIBRATION, entries_of, write_record

    bench = Bench(folder)
    entries = {**entries_of(bench, CALIBRATION, "calibration.toml")[0], "film": "../film.toml"}
    with pytest.raises(FiredeckError, match="outside the folder"):
        write_record(bench, CALIBRATION, "stray", entries, ["calibration.tif"], like="calibration.toml")
    assert not (folder / "stray.toml").exists()
