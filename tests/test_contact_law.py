"""Closure laws from rows of text and tables; every fault is named."""

from __future__ import annotations

import numpy as np
import pytest

from firedeck.contact import ClosureLaw, law_from_rows
from firedeck.errors import FiredeckError

ROWS = """closure_mm,load,branch
0,0,0
0.05,60,0
0.10,200,0
0.10,200,1
0.09,80,1
0.07,0,1
"""


def test_rows_make_the_law_they_say():
    law = law_from_rows(ROWS, "bead", width=1.2, spread=0.2)
    assert (law.name, law.width, law.spread) == ("bead", 1.2, 0.2)
    assert np.interp(0.075, law.closure, law.load) == pytest.approx(130.0)
    assert law.unloaded(0.10) == pytest.approx(0.07)
    closure, recovery = law.at_load(np.array([200.0]))
    assert closure[0] == pytest.approx(0.10)
    # At half the load: straight from 200 at 0.10 to 80 at 0.09.
    assert recovery[0][8] == pytest.approx(0.01 * 100.0 / 120.0, rel=1e-6)


def test_order_of_rows_does_not_matter():
    head, *lines = ROWS.strip().splitlines()
    turned = law_from_rows("\n".join([head, *reversed(lines)]), "bead")
    straight = law_from_rows(ROWS, "bead")
    assert turned.load == pytest.approx(straight.load)
    assert turned.recovery == pytest.approx(straight.recovery)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("closure_mm,load\n0,0\n", "line 2 of the law 'bead'"),
        (ROWS.replace("0.09,80,1", "0.09,eighty,1"), "line 6 of the law 'bead'"),
        (ROWS.replace("0.09,80,1", "0.09,nan,1"), "line 6 of the law 'bead'"),
        (ROWS.replace("0.05,60,0", "inf,60,0"), "line 3 of the law 'bead'"),
        (ROWS.replace("0.09,80,1", "0.09,80"), "line 6 of the law 'bead'"),
        ("closure_mm,load,branch\n0.10,200,1\n0.07,0,1\n", "no first loading"),
        ("", "no first loading"),
        ("closure_mm,load,branch\n0,0,0\n0.1,200,0\n", "about the way back"),
        (ROWS.replace("0.05,60,0", "0.05,260,0"), "the load falls on first loading"),
        (ROWS.replace("0,0,0\n", "0,5,0\n"), "must start at no closure and no load"),
        (ROWS.replace("0.05,60,0", "0.10,60,0"), "closures must rise"),
        (ROWS.replace("0.10,200,1", "0.10,120,1"), "does not begin on the first loading"),
    ],
)
def test_faulty_rows_are_refused_by_name(text, words):
    with pytest.raises(FiredeckError, match=words) as refused:
        law_from_rows(text, "bead")
    assert refused.value.remedy


def test_an_elastic_law_goes_back_as_it_came():
    law = ClosureLaw.from_table("spring", [(0.0, 0.0), (0.1, 50.0), (0.2, 150.0)], elastic=True)
    assert law.unloaded(0.2) == pytest.approx(0.0)
    closure, recovery = law.at_load(np.array([150.0]))
    assert closure[0] - recovery[0][8] == pytest.approx(0.125)  # 75 of 150 N/mm


def test_a_layer_in_series_adds_its_give():
    law = law_from_rows(ROWS, "bead")
    soft = law.plus_compliance(1e-4)
    assert soft.at_load(np.array([150.0]))[0] == pytest.approx(law.at_load(np.array([150.0]))[0] + 0.015)
