"""The clamp page in a real browser: its numbers are the contact model's, whatever is changed."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect, sync_playwright

from firedeck.study.cache import cache_store
from firedeck.study.clamp.answer import answer_of
from firedeck.study.clamp.opened import open_joint
from firedeck.study.clamp.setting import read_setting
from tests import prediction_bench
from tests.support import pages
from tests.test_pages_browser import CHROMIUM, QUIET, Watch

PATIENCE = 120_000


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("clamped")
    (place / "bench").mkdir()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FIREDECK_CACHE", str(place / "cache"))
        yield prediction_bench.write_bench(place / "bench")


@pytest.fixture(scope="module")
def address(folder):
    with pages.served(folder) as found:
        yield found


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield found
        found.close()


@pytest.fixture
def page(browser, address):
    context = browser.new_context(base_url=address, reduced_motion="reduce")
    watch = Watch(context, address)
    yield context.new_page()
    context.close()
    assert watch.bad == []


@pytest.fixture(scope="module")
def condensed(browser, address):
    """Have the bodies condensed as a job, from the bench on, over a reload."""
    context = browser.new_context(base_url=address)
    one = context.new_page()
    one.goto("/")
    one.get_by_role("link", name="small joint").click()
    one.get_by_role("button", name="Condense head and block").click(timeout=PATIENCE)
    one.reload()  # at once: what was asked for is not lost
    one.wait_for_selector("#clamp[data-ready=yes], .job.failed", timeout=PATIENCE)
    assert one.locator(".job.failed").all_inner_texts() == []
    context.close()


def opened(page, query=""):
    page.goto(f"/clamp/prediction{query}")
    page.wait_for_selector("#clamp[data-ready=yes]", timeout=PATIENCE)
    page.wait_for_function(
        "() => (document.getElementById('clamp').dataset.shown || '').startsWith('check')", timeout=PATIENCE
    )
    return page


def lowest_of(page):
    cells = page.locator("#seals tr").evaluate_all(
        "rows => rows.map(r => [r.querySelector('th').textContent, r.querySelectorAll('td')[1].textContent])"
    )
    return {name: float(text.split()[0]) for name, text in cells}


def truth(folder, text, *, step=None):
    joint = open_joint(folder / "prediction.toml", store=cache_store())
    answer = answer_of(joint, read_setting(joint.files, joint.gas, text), level="check", step=step)
    return answer, {one.seal: round(one.lowest, 1) for one in answer.seals}


def test_the_slider_shows_what_the_model_says(page, condensed, folder):
    opened(page)
    page.locator("#gas").fill("14")
    page.wait_for_function(
        "() => document.getElementById('clamp').dataset.shown === 'check 14 MPa '", timeout=PATIENCE
    )
    answer, lowest = truth(folder, {"pressure": "14 MPa"})
    assert lowest_of(page) == pytest.approx(lowest, abs=0.101)
    tensions = page.locator("#tensions tr td:nth-child(2)").all_inner_texts()
    assert [float(one) for one in tensions] == pytest.approx(answer.state.tension / 1e3, abs=0.011)
    assert "off by" in page.locator("#level").inner_text()
    assert "sound" in page.locator("#certificate").inner_text()


def test_the_address_holds_the_setting_in_units_of_the_user(page, condensed, folder):
    opened(page, "?stages=20+lbf*ft,40+lbf*ft&pressure=1500+psi&state=hot")
    _, lowest = truth(folder, {"stages": "20 lbf*ft, 40 lbf*ft", "pressure": "1500 psi", "state": "hot"})
    assert lowest_of(page) == pytest.approx(lowest, abs=0.101)


def test_the_tightening_is_stepped_through(page, condensed, folder):
    opened(page)
    page.get_by_role("button", name="Step on").click()
    expect(page.locator("#step-out")).to_have_text("step 1 of 8")
    page.wait_for_function("() => /^check .* 1$/.test(document.getElementById('clamp').dataset.shown)")
    answer, _ = truth(folder, {}, step=1)
    tensions = page.locator("#tensions tr td:nth-child(2)").all_inner_texts()
    assert [float(one) for one in tensions] == pytest.approx(answer.state.tension / 1e3, abs=0.011)
    assert "step=1" in page.url


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("pressure", "12 N*m", "not a pressure"),
        ("stages", "60 bananas", "no stage"),
        ("pressure", "900 MPa", "out of range"),
    ],
)
def test_a_bad_entry_is_told_beside_it_and_nothing_is_lost(page, condensed, name, text, words):
    opened(page)
    before = lowest_of(page)
    page.locator(f"input[name={name}]").fill(text)
    page.locator(f"input[name={name}]").press("Enter")
    expect(page.locator(f"#fault-{name}")).to_contain_text(words)
    expect(page.locator(f"#fault-{name}")).to_contain_text("To mend")
    assert lowest_of(page) == before


def test_a_quick_answer_after_a_change_of_friction_is_near_the_whole_tightening(condensed, folder):
    joint = open_joint(folder / "prediction.toml", store=cache_store())
    answer_of(joint, read_setting(joint.files, joint.gas, {}))
    changed = read_setting(joint.files, joint.gas, {"thread": "0.15"})
    quick, whole = answer_of(joint, changed, quick=True), answer_of(joint, changed)
    assert (quick.quick, whole.quick) == (True, False)
    assert quick.state.certificate.sound
    # A fifth more friction; the reckoning by fasteners alone knows the neighbours only roughly.
    assert quick.state.tension == pytest.approx(whole.state.tension, rel=0.02)
    assert not answer_of(joint, changed, quick=True).quick


def test_a_gasket_that_does_not_fit_leaves_the_page_as_it_was(page, condensed, folder):
    wrong = (
        'kind = "gasket"\nname = "of another deck"\nrole = "candidate"\n[[seal]]\nname = "bore 9 bead"\n'
        'kind = "full-bead"\naround = "bore 9"\noffset = "3 mm"\nband = "6 mm"\n'
    )
    (folder / "wrong.toml").write_text(wrong, encoding="utf-8")
    try:
        opened(page)
        before = lowest_of(page)
        page.locator("select[name=gasket]").select_option("wrong.toml")
        expect(page.locator("#fault-gasket")).to_contain_text("To mend", timeout=PATIENCE)
        assert lowest_of(page) == before
        assert page.locator("select[name=gasket]").input_value() == "gasket.toml"
    finally:
        (folder / "wrong.toml").unlink()


def test_the_print_is_made_when_asked_for(page, condensed):
    opened(page)
    page.get_by_role("button", name="Predict the print").click()
    page.wait_for_selector("#prints[data-made=yes]", timeout=PATIENCE)
    assert page.locator("a[data-print=print-map] img").evaluate("one => one.naturalWidth") > 300
    assert "30 N*m, 60 N*m" in page.locator("#print-told").inner_text()


def test_no_rule_of_accessibility_is_broken_and_no_page_wider_than_its_window(page, condensed):
    opened(page)
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        found = Axe().run(page).response["violations"]
        assert [(one["id"], [node["html"][:120] for node in one["nodes"]][:3]) for one in found] == [], scheme
    for width, height in ((1024, 768), (390, 844), (1440, 900)):
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(150)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
