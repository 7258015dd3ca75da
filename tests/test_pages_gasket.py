"""A gasket edited on its page, in a real browser; and two prints under one view."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from firedeck.scenario.engine import candidate_gasket, engine_plan, write_text
from tests.support import chromium, pages

TEXT = "# from the second batch\n" + write_text(candidate_gasket())


@pytest.fixture(scope="module")
def browser():
    with chromium.browser() as found:
        yield found


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "deck.toml").write_text(write_text(engine_plan()), encoding="utf-8")
    (tmp_path / "candidate.toml").write_text(TEXT, encoding="utf-8")
    return tmp_path


@pytest.fixture(scope="module")
def profile(browser):
    return chromium.Profile(browser)


@pytest.fixture
def page(profile, folder):
    with pages.served(folder) as address:
        found = profile.page(allowed=("422",))
        found.goto(address)
        found.get_by_role("link", name="candidate gasket B2").click()
        found.wait_for_selector("#deck[data-ready=yes]")
        yield found
        assert profile.clear() == []


def choose(page, name):
    page.locator("#features [role=option]", has_text=name).first.click()
    expect(page.locator("#entry-head")).to_have_text(name)


def stored(folder):
    return (folder / "candidate.toml").read_text(encoding="utf-8")


def test_layers_beads_and_seals_are_changed_undone_and_written(page, folder):
    expect(page.locator("#facts")).to_contain_text("1 mm in 3 layers")
    choose(page, "distance layer")
    page.get_by_label("Thickness").fill("0.020 in")
    page.keyboard.press("Enter")
    expect(page.locator("#facts")).to_contain_text("1.11 mm in 3 layers")
    page.get_by_label("Thickness").fill("0.5")
    page.keyboard.press("Enter")
    expect(page.locator("#fault-thickness")).to_contain_text("unit")
    choose(page, "full beads")
    page.get_by_label("Height").fill("0.22 mm")
    page.keyboard.press("Enter")
    expect(page.locator("#text")).to_have_value(re.compile('height = "0.22 mm"'))
    page.locator("path.hit").first.dispatch_event("click")
    expect(page.locator("#entry-head")).to_have_text("bore 1 bead")
    line = page.locator("path.seal-line.chosen").get_attribute("d")
    page.get_by_label("Offset from its edge").fill("4.5 mm")
    page.keyboard.press("Enter")
    expect(page.locator("path.seal-line.chosen")).not_to_have_attribute("d", line)
    page.get_by_label("Lies around").select_option("bore 2")
    expect(page.locator("#standing")).to_contain_text("Draft")
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="Write the file").click()
    expect(page.locator("#standing")).to_have_text("As in candidate.toml.")
    wanted = TEXT.replace('"0.4 mm"', '"0.020 in"', 1).replace('height = "0.2 mm"', 'height = "0.22 mm"', 1)
    assert stored(folder) == wanted.replace('offset = "3.1 mm"', 'offset = "4.5 mm"', 1)


def test_a_fault_stands_where_it_is_and_a_change_on_disk_is_asked_about(page, folder):
    page.locator("#text").fill(TEXT.replace('around = "bore 3"', 'around = "bore 9"'))
    expect(page.locator("#findings")).to_contain_text("bore 9")
    expect(page.locator("#features .fault")).to_contain_text("bore 3 bead")
    (folder / "candidate.toml").write_text(TEXT.replace("B2", "B3"), encoding="utf-8")
    expect(page.locator("#ask")).to_be_visible()
    expect(page.locator("#ask .differs")).to_contain_text(["bore 9"])
    page.get_by_role("button", name="Take the file").click()
    expect(page.locator("#standing")).to_have_text("As in candidate.toml.")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#text")).to_have_value(re.compile("bore 9"))
    assert stored(folder) == TEXT.replace("B2", "B3")


def test_two_prints_share_view_scale_and_pointer(profile, tmp_path):
    folder = pages.bench(tmp_path / "bench")
    with pages.served(folder) as address:
        page = profile.page()
        # A print beside itself: every place must read alike, and nothing may differ.
        page.goto(f"{address}/against/print-1/print-1")
        page.wait_for_selector("#against[data-ready=yes]")
        shape = "letter => { const one = document.querySelector(`#map-${letter} path.deck-outline`)"
        shape += ".getBoundingClientRect(); const own = document.getElementById(`map-${letter}`)"
        shape += ".getBoundingClientRect(); return [one.left - own.left, one.top - own.top, one.width]; }"
        page.wait_for_function("() => document.querySelectorAll('.leaflet-tile-loaded').length >= 2")
        for letter in "ab":
            tiles, plan = f"#map-{letter} canvas.value-tile", f"#map-{letter} path.deck-outline"
            assert chromium.covers(page, tiles, plan)
        first = page.evaluate(shape, "a")
        box = page.locator("#map-b").bounding_box()
        page.mouse.move(box["x"] + 0.4 * box["width"], box["y"] + 0.4 * box["height"])
        for _ in range(4):
            page.mouse.wheel(0, -120)
        page.wait_for_function(
            "before => document.querySelector('#map-b path.deck-outline').getBoundingClientRect().width"
            " > 1.5 * before",
            arg=first[2],
        )
        assert page.evaluate(shape, "a") == pytest.approx(page.evaluate(shape, "b"), abs=1.5)
        page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"])
        page.wait_for_function("() => document.getElementById('apart').dataset.shown")
        # Both at one moment: answers to the pointer's earlier places may still come in.
        values = page.evaluate(
            "() => ['a', 'b'].map(one => document.getElementById(`value-${one}`).innerText)"
        )
        assert values[0] == values[1] != ""
        expect(page.locator("#apart")).to_contain_text(re.compile(r"\+0\.0 MPa|no difference"))
        assert profile.clear() == []
