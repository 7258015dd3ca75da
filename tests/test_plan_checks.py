"""Checks of a deck plan as a whole: each slip is found, named and placed; a sound plan is left alone."""

from __future__ import annotations

from typing import Any

import pytest

from firedeck.definition.deck import DeckPlan
from firedeck.definition.gasket import plan_with_gasket
from firedeck.definition.plan_checks import PlanFinding, check_plan
from firedeck.scenario.engine import candidate_gasket, engine_plan

Tables = dict[str, Any]


def circle(name: str, x: float, y: float, diameter: str, **more: object) -> Tables:
    return {"name": name, "centre": [x, y], "diameter": diameter, **more}


def seal(name: str, around: str, offset: str = "2 mm", band: str = "3 mm", **more: object) -> Tables:
    return {"name": name, "kind": "ring", "around": around, "offset": offset, "band": band, **more}


def tables(**changes: object) -> Tables:
    """One bore on a square deck of 140 mm with four fasteners, a dowel and two ports: sound."""
    corners = [(10, 10), (130, 10), (130, 130), (10, 130)]
    return {
        "kind": "deck-plan",
        "name": "bench",
        "outline": [[0, 0], [140, 0], [140, 140], [0, 140]],
        "bore": [circle("bore", 70, 70, "86 mm")],
        "fastener-hole": [circle(f"stud {n}", x, y, "11 mm") for n, (x, y) in enumerate(corners, start=1)],
        "dowel": [circle("dowel", 70, 8, "8 mm")],
        "port": [
            circle("coolant", 12, 70, "8 mm", kind="coolant"),
            circle("oil", 128, 70, "8 mm", kind="oil-feed"),
        ],
        "seal": [seal("ring", "bore"), seal("bead c", "coolant"), seal("bead o", "oil")],
        **changes,
    }


def check(**changes: object) -> tuple[PlanFinding, ...]:
    return check_plan(DeckPlan.model_validate(tables(**changes)))


def path_seal(points: list[list[float]], inside: list[str], **more: object) -> Tables:
    return {"name": "loop", "kind": "half-bead", "path": points, "inside": inside, "band": "1 mm", **more}


def square(x: float, y: float, half: float) -> list[list[float]]:
    return [[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]]


def test_a_sound_plan_is_left_alone():
    assert check() == ()


def test_the_invented_engine_has_no_faults():
    for plan in (engine_plan(), plan_with_gasket(engine_plan(), candidate_gasket())):
        assert [finding for finding in check_plan(plan) if finding.severity == "fault"] == []


def test_faults_come_first_and_all_at_once():
    found = check(
        outline=[[0, 0], [140, 0], [0, 140], [140, 140]],
        **{"fastener-hole": []},
        port=[circle("bore", 70, 90, "8 mm", kind="coolant")],
        seal=[seal("ring", "bre"), seal("ring", "bore")],
    )
    assert [finding.severity for finding in found] == ["fault"] * 5 + ["doubt"]
    keys = [finding.key for finding in found]
    assert keys == ["port[1].name", "seal[2].name", "seal[1].around", "outline", "port[1]", "fastener-hole"]


OUT = {"name": "oil", "kind": "oil-feed", "path": [[120, 60], [150, 60], [150, 70], [120, 70]]}
TWISTED = {"name": "oil", "kind": "oil-feed", "path": [[124, 60], [132, 70], [132, 60], [124, 70]]}


@pytest.mark.parametrize(
    ("changes", "key", "words"),
    [
        ({"dowel": [circle("outside", 70, 8, "8 mm")]}, "dowel[1].name", "beyond the outline"),
        ({"dowel": [circle("stud 2", 70, 8, "8 mm")]}, "dowel[1].name", "is taken by fastener-hole[2]"),
        ({"seal": [seal("a", "bore", inside=["bor"])]}, "seal[1].inside", "no bore or port"),
        ({"seal": [seal("a", "bore", outside=["stud 1"])]}, "seal[1].outside", "no bore or port"),
        ({"dowel": [circle("dowel", 70, 1, "8 mm")]}, "dowel[1]", "3.00 mm beyond the outline"),
        ({"port": [OUT], "seal": []}, "port[1]", "10.00 mm beyond the outline"),
        ({"port": [TWISTED], "seal": []}, "port[1].path", "crosses or touches itself"),
        ({"dowel": [circle("dowel", 16, 10, "8 mm")]}, "dowel[1]", 'overlaps fastener hole "stud 1"'),
        ({"seal": [seal("a", "bore", offset="30 mm")]}, "seal[1]", "3.00 mm beyond the outline"),
        ({"seal": [seal("a", "bore", offset="-50 mm")]}, "seal[1].offset", "leaves no line"),
        ({"seal": [seal("a", "bore", offset="12 mm")]}, "seal[1]", 'runs across port "coolant"'),
        ({"seal": [seal("a", "bore", offset="-1 mm")]}, "seal[1]", 'runs across bore "bore"'),
        ({"seal": [path_seal(square(12, 70, 6), ["oil"])]}, "seal[1].inside", "lies outside its line"),
        (
            {"seal": [path_seal(square(12, 70, 6), ["coolant"], outside=["coolant"])]},
            "seal[1].outside",
            "its line goes round it",
        ),
        ({"seal": [path_seal([[5, 60], [20, 80], [20, 60], [5, 80]], ["oil"])]}, "seal[1].path", "itself"),
        ({"outline": [[0, 0], [140, 140], [70, 70]], "port": []}, "outline", "encloses no area"),
    ],
)
def test_faults(changes, key, words):
    found = [finding for finding in check(**changes) if finding.severity == "fault" and finding.key == key]
    assert any(words in finding.message for finding in found)
    assert all(finding.remedy for finding in found)


@pytest.mark.parametrize(
    ("changes", "key", "words"),
    [
        ({"seal": [seal("a", "bore", offset="1 mm")]}, "seal[1].band", 'reaches 0.50 mm into bore "bore"'),
        ({"seal": [seal("a", "bore", "10 mm", "3 mm")]}, "seal[1].band", '0.50 mm into port "coolant"'),
        (
            {"seal": [seal("a", "bore"), seal("b", "bore", offset="4 mm")]},
            "seal[2].band",
            'seal "a" and seal "b" overlap by 1.00 mm',
        ),
        (
            {"seal": [seal("a", "coolant"), path_seal(square(21, 70, 8), ["oil"])]},
            "seal[2].band",
            'crosses the line of seal "a"',
        ),
        ({"seal": [seal("a", "outline", "1 mm", "3 mm")]}, "seal[1].band", "reaches beyond the outline"),
        ({"seal": [path_seal(square(70, 70, 66), ["bore"])]}, "seal[1].inside", "without naming it"),
        ({"fastener-hole": [circle("stud 1", 10, 10, "11 mm")]}, "fastener-hole", "4 or more"),
    ],
)
def test_doubts(changes, key, words):
    found = [finding for finding in check(**changes) if finding.severity == "doubt" and finding.key == key]
    assert any(words in finding.message for finding in found)


def test_a_bead_along_the_outline_goes_round_everything_by_its_nature():
    assert check(seal=[seal("outer", "outline", "1.6 mm")]) == ()


def test_a_hollow_dowel_shares_its_place_with_a_fastener():
    assert check(dowel=[circle("dowel", 10, 10.2, "14 mm")]) == ()
    assert check(dowel=[circle("dowel", 10, 12, "14 mm")]) != ()


def test_findings_say_where_they_are():
    (overlap,) = check(dowel=[circle("dowel", 20, 10, "10 mm")])
    assert overlap.at == pytest.approx((15.25, 10), abs=0.5)
    (crossing,) = check(outline=[[0, 0], [140, 0], [0, 140], [140, 140]], port=[], dowel=[], seal=[], bore=[
        circle("bore", 70, 70, "86 mm")
    ])  # fmt: skip
    assert crossing.at == pytest.approx((70, 70))


def scaled(factor: float) -> list[list[float]]:
    return [[factor * x, factor * y] for x, y in tables()["outline"]]


@pytest.mark.parametrize(
    ("factor", "slip"),
    [(1 / 25.4, "inches"), (0.1, "centimetres"), (0.001, "metres"), (25.4, "millimetres though marked")],
)
def test_coordinates_in_another_unit_than_the_diameters(factor, slip):
    found = check(outline=scaled(factor), **{"fastener-hole": []}, port=[], seal=[], dowel=[])
    challenged = [finding for finding in found if finding.key == "coordinates" and slip in finding.message]
    assert len(challenged) == 1
    assert challenged[0].severity == ("fault" if factor < 1 else "doubt")


@pytest.mark.parametrize("factor", [1 / 25.4, 25.4, 1000])
def test_everything_in_another_unit(factor):
    bore = circle("bore", 70 * factor, 70 * factor, f"{86 * factor} mm")
    found = check(outline=scaled(factor), bore=[bore], **{"fastener-hole": []}, port=[], seal=[], dowel=[])
    assert {"bore[1].diameter", "coordinates"} & {finding.key for finding in found}
    assert any(" in) across" in finding.message for finding in found)
