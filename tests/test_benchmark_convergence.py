"""The convergence table: limits, errors at the default pitch, goals met and missed."""

from __future__ import annotations

import pytest

from benchmarks.convergence import PITCHES, WORDS, Row, limits, scatter, table, twin_plan
from firedeck.definition.shape import seal_line


def rows(slope):
    return [Row(h, (1, 2), 0.1, dict.fromkeys(WORDS, 10.0 + slope * h)) for h in PITCHES]


def test_a_straight_approach_is_followed_to_its_end():
    assert limits(rows(0.3))["mean"] == pytest.approx((10.0, 0.0), abs=1e-9)


def test_misses_are_shown_as_missed():
    assert table(rows(0.02)).count("met") == 4  # 1.2 % off at 6 mm
    text = table(rows(0.08))  # 4.8 % off at 6 mm
    assert "+4.8%" in text
    assert text.count("MISSED") == 1
    assert "3%: MISSED" in text


def test_a_limit_that_curves_says_how_far_it_is_open():
    bent = [Row(h, (1, 2), 0.1, dict.fromkeys(WORDS, 10.0 + 0.05 * h**2)) for h in PITCHES]
    assert limits(bent)["bow"][1] > 0.1


def test_scatter_is_told_beside_the_limit():
    up_and_down = [
        Row(h, (1, 2), 0.1, dict.fromkeys(WORDS, 10.0 + 0.2 * (-1) ** k)) for k, h in enumerate(PITCHES)
    ]
    assert scatter(up_and_down)["bow"] == pytest.approx(0.02, rel=0.05)
    assert scatter(rows(0.3))["bow"] == pytest.approx(0.0, abs=1e-12)
    assert "scatter about the line" in table(up_and_down)


def test_the_twin_plan_has_its_seals_round_what_they_enclose():
    plan = twin_plan()
    assert [seal.enclosed for seal in plan.seals] == [("bore 1",), ("bore 2",), ("bore 1", "bore 2")]
    assert seal_line(plan, plan.seals[0], step=1.0).length == pytest.approx(3.14159 * 91.0, rel=1e-3)
