"""Reports: what stands on the page, in which order, and what may never stand there."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from firedeck.compare import ONE_ASSEMBLY_EACH
from firedeck.definition.deck import OUTSIDE
from firedeck.evidence import FLAGS, Estimate
from firedeck.report.document import Cautions, Cell, Document, Headline, Link, Links, Section, Table
from firedeck.report.render import render_html
from firedeck.report.seal_tables import first_leaks
from firedeck.report.words import difference, estimate, number, percent, share
from firedeck.seal.leak import LeakPath, crossing_leaks
from firedeck.study.prints.pages import calibration_page, comparison_page, reading_page
from firedeck.study.prints.reading import compare_readings
from firedeck.verdict import judge
from tests.support import small_print

INFINITE, UNKNOWN = float("inf"), float("nan")


@pytest.fixture(scope="module")
def reading():
    return small_print.reading(1)


@pytest.fixture(scope="module")
def page(reading):
    return render_html(reading_page(reading))


class Outline(HTMLParser):
    """Text, headings and addresses of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self.headings: list[str] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.addresses += [value for name, value in attrs if name in ("src", "href", "srcset", "action")]

    def handle_data(self, data):
        if self.tags and self.tags[-1] != "style":
            self.text += data
        if self.tags and self.tags[-1] == "h2" and data.strip():
            self.headings.append(data.strip())


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (Estimate(118.4, 104.2, 132.6), "118 (104 to 133)"),
        (Estimate(24.5, 24.0, 25.0), "24.5 (24.0 to 25.0)"),
        (Estimate(0.0123, 0.0101, 0.0145), "0.012 (0.010 to 0.015)"),
        (Estimate(230.0, 221.4, INFINITE, ("saturated",)), "at least 221"),
        (Estimate(0.0, 0.0, 6.03, ("below-range",)), "at most 6.03"),
        (Estimate(UNKNOWN, 0.0, INFINITE), "not shown"),
    ],
)
def test_estimates_in_words(value, expected):
    assert estimate(value) == expected


def test_numbers_in_words():
    assert (number(2.0), number(1234.5), number(0.04567), number(UNKNOWN)) == (
        "2.00",
        "1234",
        "0.0457",
        "not shown",
    )
    assert (share(0.0), share(0.004), share(0.216), share(UNKNOWN)) == ("0 %", "< 1 %", "22 %", "not shown")
    assert (percent(-0.00213), percent(UNKNOWN)) == ("−0.21 %", "not shown")
    assert difference(Estimate(-97.2, -103.1, -91.3)) == "−97 (−103 to −91)"
    assert difference(Estimate(13.0, -INFINITE, INFINITE)) == "+13 (no lower end to no upper end)"


def test_the_verdict_is_the_first_line(page, reading):
    body = page[page.index("<body>") :]
    first = re.search(r">([^<>]*\w[^<>]*)<", body)
    assert first
    assert first[1].startswith(f"Verdict: {reading.verdict.state}")


def test_parts_stand_in_order(page):
    assert Outline(page).headings == [
        "What was tested",
        "Seals",
        "Pressure map",
        "Line load along the seals",
        "Leak paths",
        "Clamp balance",
        "Film and its calibration",
        "How the print lies on the plan",
        "Measured against",
        "Assumptions and notes",
        "Settings and provenance",
        "What this does not see, and cautions",
        "Flags",
    ]


def test_a_page_asks_nothing_of_anyone(page):
    outline = Outline(page)
    assert "script" not in outline.tags
    assert not re.search(r"@import|url\(|https?://", page)
    outside = [to for to in outline.addresses if not to.startswith(("#", "data:image/png;base64,"))]
    assert outside == []
    assert {to[1:] for to in outline.addresses if to.startswith("#")} <= set(
        re.findall(r'id="([^"]+)"', page)
    )


def test_no_number_without_a_value_reaches_the_reader(page):
    assert re.findall(r"\b(?:nan|inf|None|NaN)\b", Outline(page).text) == []


def test_every_seal_stands_with_its_weakest_place_and_nearest_fastener(page, reading):
    text = Outline(page).text
    for summary in reading.summaries:
        weakest = summary.weakest
        assert summary.name in text
        assert estimate(weakest.line_load) in text
        assert f"{weakest.fastener}, {weakest.fastener_distance:.0f} mm" in text


def test_limits_cautions_sources_and_flags_are_told(page, reading):
    text = Outline(page).text
    for words in (
        "no proof of hot sealing",
        "common practice, no source",
        "averaged over 2 mm",
        "stretched stud",
    ):
        assert words in text
    for note in (*reading.notes, *reading.verdict.remarks):
        assert note in text
    for flag in FLAGS.values():
        assert flag.meaning in text
    for digest in reading.map.provenance.values():
        assert digest in text


def test_a_clamp_balance_that_fails_is_told_at_once(reading):
    balance = replace(reading.balance, expected=Estimate(1.0, 0.9, 1.1))
    files = reading.files
    verdict = judge(files.plan, files.criteria, reading.profiles, reading.summaries, reading.leaks, balance)
    document = reading_page(replace(reading, balance=balance, verdict=verdict))
    assert document.headline.state == "not shown"
    assert document.headline.lines[0] == balance.text
    assert "does NOT fit" in balance.text


def test_names_cannot_break_out_of_the_page():
    nasty = '<script>alert("x")</script>'
    document = Document(
        nasty,
        "page",
        Headline(nasty),
        (
            Section("a", nasty, (Table(("head",), ((Cell(nasty, "holds"),),), nasty), Cautions((nasty,)))),
            Section("b", "ways", (Links((Link(nasty, "next.html", nasty),)),)),
        ),
    )
    assert "<script" not in render_html(document)


def test_rows_fit_their_heads():
    with pytest.raises(ValueError, match="under 2 heads"):
        Table(("a", "b"), (("1",),))


def test_a_path_beside_a_seal_is_not_across_it(reading):
    plan = reading.files.plan
    seal = next(one for one in plan.seals if one.enclosed == ("bore 1",))
    value = Estimate(10.0, 9.0, 11.0)
    across = LeakPath("bore 1", OUTSIDE, value, value, seal.name, (1.0, 1.0), (3, 4))
    beside = replace(across, a="oil feed")
    assert crossing_leaks(plan, [beside, across]) == [across]


def test_of_paths_that_share_their_place_the_shortest_is_shown(reading):
    plan = reading.files.plan
    names = [path.seal for path in first_leaks(plan, reading.leaks)]
    assert len(names) == len(set(names))
    for path in first_leaks(plan, reading.leaks):
        rivals = [one for one in crossing_leaks(plan, reading.leaks) if one.seal == path.seal]
        assert path.joint.value == min(one.joint.value for one in rivals)


def test_a_print_compared_with_itself_shows_no_difference(reading):
    document = comparison_page(compare_readings(reading, reading))
    assert document.headline.lines[0] == ONE_ASSEMBLY_EACH
    assert f"differs on 0 of {len(reading.summaries)} seals" in document.headline.text
    (table,) = [block for block in document.sections[0].blocks if isinstance(block, Table)]
    for row in table.rows:
        states = [cell.state for cell in row if isinstance(cell, Cell)]
        assert states == ["not shown", "not shown"]


def test_two_prints_are_told_apart_by_name():
    document = comparison_page(compare_readings(small_print.reading(1), small_print.reading(2)))
    page = render_html(document)
    for number_ in (1, 2):
        assert f"factory gasket, print-{number_}" in page
    assert {picture.name for picture in document.pictures} >= {"difference", "overlay-bore-1-bead"}


def test_the_calibration_page_lists_every_piece():
    result = small_print.calibration()
    document = calibration_page(result)
    tables = [block for section in document.sections for block in section.blocks if isinstance(block, Table)]
    assert len(tables[-1].rows) == len(result.pieces)
    assert [picture.name for picture in document.pictures] == ["response", "pieces"]
