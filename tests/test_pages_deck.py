"""Editing on the deck page, in a real browser."""

from __future__ import annotations

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from firedeck.scenario.engine import candidate_gasket, small_plan, write_text
from tests.support import chromium, pages

TEXT = "# kept\n" + write_text(small_plan(bores=1))


@pytest.fixture(scope="module")
def browser():
    with chromium.browser() as found:
        yield found


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "deck.toml").write_text(TEXT, encoding="utf-8")
    (tmp_path / "candidate.toml").write_text(write_text(candidate_gasket()), encoding="utf-8")
    return tmp_path


@pytest.fixture(scope="module")
def profile(browser):
    return chromium.Profile(browser)


@pytest.fixture
def address(folder):
    with pages.served(folder) as found:
        yield found


@pytest.fixture
def view(profile, address):
    """Return a function that opens the plan; what must not happen is told at the end."""

    def open_page(*, path="/deck/deck", ready="#deck[data-ready=yes]", **more):
        page = profile.page(**more)
        page.goto(f"{address}{path}")
        page.wait_for_selector(ready)
        return page

    yield open_page
    assert profile.clear() == []


def choose(page, name):
    page.locator("#features [role=option]", has_text=name).first.click()
    expect(page.locator("#entry-head")).to_have_text(name)


def stored(folder):
    return (folder / "deck.toml").read_text(encoding="utf-8")


def test_edit_undo_redo_write_and_the_history_survives_a_reload(view, folder):
    page = view()
    choose(page, "bore 1")
    page.get_by_label("Diameter").fill("2.5 in")
    page.keyboard.press("Enter")
    expect(page.locator("#text")).to_have_value(TEXT.replace('"62 mm"', '"2.5 in"'))
    expect(page.locator("#fields")).to_contain_text("= 63.500 mm")
    assert stored(folder) == TEXT
    page.locator("#features").focus()
    page.keyboard.press("Control+z")
    expect(page.locator("#text")).to_have_value(TEXT)
    page.keyboard.press("Control+Shift+z")
    expect(page.locator("#text")).not_to_have_value(TEXT)
    page.reload()
    page.wait_for_selector("#deck[data-ready=yes]")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#text")).to_have_value(TEXT)
    page.get_by_role("button", name="Redo").click()
    page.get_by_role("button", name="Write the file").click()
    expect(page.locator("#standing")).to_have_text("As in deck.toml.")
    assert stored(folder) == TEXT.replace('"62 mm"', '"2.5 in"')


def test_a_feature_is_dragged_and_moved_by_keys(view):
    page = view()
    choose(page, "oil feed")
    before = float(page.get_by_label("x", exact=True).input_value().split()[0])
    page.locator(".handle").scroll_into_view_if_needed()
    box = page.locator(".handle").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 12, y, steps=4)
    page.mouse.up()
    expect(page.get_by_role("button", name="Undo")).to_be_enabled()
    dragged = float(page.get_by_label("x", exact=True).input_value().split()[0])
    assert dragged > before + 0.5
    page.get_by_role("button", name="Move on the plan").click()
    for key in ("ArrowRight", "ArrowRight", "Shift+ArrowRight"):
        page.keyboard.press(key)
    wanted = f"{dragged + 1.2:.12g} mm"
    expect(page.get_by_label("x", exact=True)).to_have_value(wanted)
    assert "handle" in page.evaluate("document.activeElement.className")


def test_a_feature_is_chosen_by_clicking_the_plan_and_from_the_text(view):
    page = view()
    page.locator("path.kind-oil-feed").click()
    expect(page.locator("#entry-head")).to_have_text("oil feed")
    expect(page.locator("#where")).to_contain_text("diameter 7 mm")
    first = TEXT[: TEXT.index('name = "oil feed"')].count("\n")
    expect(page.locator(f'#bands [data-lines^="{first}-"]')).to_be_attached()
    page.locator("#text").evaluate(
        "(box, at) => { box.focus(); box.setSelectionRange(at, at); }", TEXT.index("bore 1")
    )
    page.keyboard.press("ArrowRight")
    expect(page.locator("#entry-head")).to_have_text("bore 1")


def test_a_plain_value_is_refused_beside_its_entry(view, folder):
    page = view(allowed=("422",))
    choose(page, "bore 1")
    page.get_by_label("Diameter").fill("62")
    page.keyboard.press("Enter")
    expect(page.locator("#fault-diameter")).to_contain_text("has no unit")
    expect(page.get_by_label("Diameter")).to_have_attribute("aria-invalid", "true")
    expect(page.locator("#text")).to_have_value(TEXT)


def test_a_fault_is_shown_on_the_plan_in_the_list_and_in_the_text_and_writing_asks(view, folder):
    page = view()
    choose(page, "oil feed")
    page.get_by_label("x", exact=True).fill("400 mm")
    page.keyboard.press("Enter")
    expect(page.locator("#entry-faults")).to_contain_text("beyond the outline")
    expect(page.locator("#entry-faults")).to_contain_text("To mend")
    expect(page.locator("path.spot.fault").first).to_be_attached()
    expect(page.locator("#bands .fault").first).to_be_attached()
    expect(page.locator("#features [aria-selected=true]")).to_contain_text("fault")
    page.get_by_role("button", name="Write the file").click()
    expect(page.locator("#ask")).to_contain_text("fault")
    assert stored(folder) == TEXT
    page.get_by_role("button", name="Write it with its faults").click()
    expect(page.locator("#standing")).to_have_text("As in deck.toml.")
    assert "400" in stored(folder)


def test_text_is_edited_with_faults_by_line_and_never_written_unreadable(view, folder):
    page = view()
    lines = TEXT.replace('diameter = "62 mm"', "diameter = 62 mm")
    page.locator("#text").fill(lines)
    expect(page.locator("#findings")).to_contain_text("a quantity must stand in quotes")
    number = lines.splitlines().index("diameter = 62 mm") + 1
    expect(page.locator("#findings")).to_contain_text(f"line {number}")
    expect(page.get_by_role("button", name="Write the file")).to_be_disabled()
    expect(page.locator("#where")).to_contain_text("last text")
    page.locator("#text").fill(TEXT.replace('"62 mm"', '"63 mm"'))
    page.get_by_role("button", name="Write the file").click()
    expect(page.locator("#standing")).to_have_text("As in deck.toml.")
    assert stored(folder) == TEXT.replace('"62 mm"', '"63 mm"')


def test_a_change_on_disk_appears_and_a_conflict_is_asked_about(view, folder):
    page = view()
    choose(page, "bore 1")
    (folder / "deck.toml").write_text(TEXT.replace('"62 mm"', '"64 mm"'), encoding="utf-8")
    expect(page.get_by_label("Diameter")).to_have_value("64 mm")
    page.get_by_label("Diameter").fill("65 mm")
    page.keyboard.press("Enter")
    expect(page.locator("#standing")).to_contain_text("Draft")
    (folder / "deck.toml").write_text(TEXT.replace('"62 mm"', '"66 mm"'), encoding="utf-8")
    expect(page.locator("#ask")).to_be_visible()
    expect(page.locator("#ask .differs")).to_contain_text(["65 mm"])
    expect(page.locator("#ask .differs")).to_contain_text(["66 mm"])
    expect(page.get_by_role("button", name="Write the file")).to_be_disabled()
    assert Axe().run(page).response["violations"] == []
    page.get_by_role("button", name="Go on with this page").click()
    expect(page.locator("#ask")).to_be_hidden()
    page.get_by_role("button", name="Write the file").click()
    expect(page.locator("#standing")).to_have_text("As in deck.toml.")
    assert '"65 mm"' in stored(folder)


def test_a_file_deleted_under_an_open_page_is_told_and_can_be_written_anew(view, folder):
    page = view()
    (folder / "deck.toml").unlink()
    expect(page.locator("#ask")).to_contain_text("The file is gone from the folder")
    expect(page.get_by_role("button", name="Write the file")).to_be_disabled()
    expect(page.locator("#text")).to_have_value(TEXT)
    page.get_by_role("button", name="Go on with this page").click()
    expect(page.locator("#standing")).to_contain_text("Draft, not yet in deck.toml")
    page.get_by_role("button", name="Write the file").click()
    expect(page.locator("#standing")).to_have_text("As in deck.toml.")
    assert stored(folder) == TEXT


@pytest.fixture
def touched(browser, address):
    """The plan on a screen that is touched."""
    context = browser.new_context(
        base_url=address, viewport={"width": 390, "height": 844}, reduced_motion="reduce", has_touch=True
    )
    bad = chromium.watched(context)
    page = context.new_page()
    page.goto("/deck/deck")
    page.wait_for_selector("#deck[data-ready=yes]")
    yield page
    context.close()
    assert bad == []


def test_a_feature_is_dragged_by_a_finger(touched):
    page = touched
    choose(page, "oil feed")
    before = float(page.get_by_label("x", exact=True).input_value().split()[0])
    page.locator(".handle").scroll_into_view_if_needed()
    box = page.locator(".handle").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    finger = page.context.new_cdp_session(page)

    def touch(what, *points):
        places = [{"x": at, "y": y} for at in points]
        finger.send("Input.dispatchTouchEvent", {"type": what, "touchPoints": places})

    touch("touchStart", x)
    for along in (4, 8, 12, 16):
        touch("touchMove", x + along)
    touch("touchEnd")
    expect(page.get_by_role("button", name="Undo")).to_be_enabled()
    assert float(page.get_by_label("x", exact=True).input_value().split()[0]) > before + 0.5


def test_the_bench_marks_drafts_and_begins_a_plan(view, address, folder):
    page = view()
    choose(page, "bore 1")
    page.get_by_label("Diameter").fill("63 mm")
    page.keyboard.press("Enter")
    expect(page.locator("#standing")).to_contain_text("Draft")
    bench = view(path="/", ready="h1")
    row = bench.locator("li", has_text="deck.toml")
    expect(row).to_contain_text("draft, not yet written")
    expect(bench.locator("li", has_text="candidate.toml")).not_to_contain_text("draft")
    (folder / "deck.toml").unlink()
    bench.reload()
    expect(bench.get_by_role("region", name="Drafts whose file is gone")).to_contain_text("deck.toml")
    bench.get_by_text("New deck plan").click()
    bench.get_by_label("Name of the new file").fill("third")
    bench.get_by_role("button", name="Make it").click()
    bench.wait_for_url("**/deck/third")
    expect(bench.locator("h1")).to_have_text("third")
    bench.goto(address)
    expect(bench.locator("li", has_text="third.toml")).not_to_contain_text("draft")


def test_the_buttons_of_the_map_follow_the_scheme(view):
    page = view(scheme="dark")
    dark = "one => { const look = getComputedStyle(one); return [look.color, look.backgroundColor]; }"
    ink, ground = page.locator(".leaflet-control-zoom-in").evaluate(dark)
    assert contrast(ink, ground) > 7
    assert lightness(ground) < 0.1
    page.emulate_media(color_scheme="light")
    ink, ground = page.locator(".leaflet-control-zoom-in").evaluate(dark)
    assert contrast(ink, ground) > 7
    assert lightness(ground) > 0.8


def lightness(colour):
    """Relative luminance [1]; WCAG 2.2, W3C Recommendation of 5 October 2023, section 'Terms'."""
    parts = [int(one) / 255 for one in re.findall(r"\d+", colour)[:3]]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first, second):
    """Contrast ratio [1]; the same section."""
    dark, light = sorted((lightness(first), lightness(second)))
    return (light + 0.05) / (dark + 0.05)


def test_names_that_other_files_use_are_told_before_anything_is_written(view, folder):
    page = view()
    choose(page, "bore 1")
    expect(page.locator("#entry-names")).to_contain_text("candidate.toml: seal[1].around")
    page.get_by_label("Name", exact=True).fill("first bore")
    page.keyboard.press("Enter")
    expect(page.locator("#entry-names")).to_contain_text("“bore 1” is gone from this draft")
    expect(page.locator("#entry-names")).to_contain_text("candidate.toml: seal[1].around")
    assert stored(folder) == TEXT
    page.get_by_role("button", name="Delete").click()
    expect(page.locator("#lost-names")).to_contain_text("“bore 1” is gone from this draft")
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#lost-names li")).to_have_count(0)


def test_features_are_added_and_deleted_by_keyboard(view):
    page = view()
    count = page.locator("#features [role=option]").count()
    page.locator("#add-what").select_option("port|coolant")
    page.get_by_role("button", name="Add").press("Enter")
    expect(page.locator("#features [role=option]")).to_have_count(count + 1)
    expect(page.locator("#fields input").first).to_be_focused()
    page.locator("#features").focus()
    page.keyboard.press("Delete")
    expect(page.locator("#features [role=option]")).to_have_count(count)
    page.keyboard.press("Home")
    page.keyboard.press("ArrowDown")
    expect(page.locator("#features [aria-selected=true]")).to_contain_text("outline")


def test_a_script_in_a_name_is_shown_as_text(view, folder):
    bad = "<img src=x onerror=\"document.title='taken'\"><script>document.title='taken'</script>"
    text = TEXT.replace('name = "bore 1"', f"name = '''{bad}'''")
    for key in ("name", "origin"):
        old = next(line for line in TEXT.splitlines() if line.startswith(f"{key} = "))
        text = text.replace(old, f"{key} = '''{bad}'''", 1)
    (folder / "deck.toml").write_text(text, encoding="utf-8")
    page = view()
    expect(page.locator("h1")).to_have_text(bad)
    page.locator("#features [role=option]", has_text="<script>").last.click()
    expect(page.locator("#value")).to_have_text(bad)
    expect(page.locator("#findings")).to_contain_text("<script>")
    page.wait_for_timeout(300)
    assert page.title() == "deck – firedeck"
    assert page.locator("img[src=x]").count() == 0


def test_a_copy_is_made_and_opened(view, folder):
    page = view()
    page.get_by_text("New plan").click()
    page.get_by_label("Name of the new file").fill("second")
    page.get_by_role("button", name="Make it").click()
    page.wait_for_url("**/deck/second")
    expect(page.locator("h1")).to_have_text("second")
    assert (folder / "second.toml").read_text(encoding="utf-8").startswith("# kept")


def test_no_rule_of_accessibility_is_broken_with_a_feature_chosen(view):
    page = view()
    choose(page, "oil feed")
    for width, height in ((1440, 900), (1024, 768), (390, 844)):
        page.set_viewport_size({"width": width, "height": height})
        chromium.drawn(page)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            found = Axe().run(page).response["violations"]
            told = [(one["id"], [node["html"][:120] for node in one["nodes"]][:3]) for one in found]
            assert told == [], (width, scheme)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
