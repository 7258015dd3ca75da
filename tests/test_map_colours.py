"""Colours of the map: what is no pressure can be told from every pressure, with and without colour vision."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from firedeck.drawing.map_cells import SATURATED_COLOUR, THRESHOLD_COLOUR, CellState, state_look
from firedeck.drawing.style import INK, PRESSURE_MAP

#: Seen without one kind of cone: linear red, green and blue to those that look the same. Machado, Oliveira,
#: Fernandes, "A physiologically-based model for simulation of color vision deficiency", IEEE Transactions
#: on Visualization and Computer Graphics 15 (2009), severity 1.0.
EYES = {
    "full": np.eye(3),
    "no long": [
        [0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998],
    ],
    "no middle": [
        [0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881],
    ],
    "no short": [
        [1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900],
    ],
}  # fmt: skip

#: IEC 61966-2-1: linear sRGB to tristimulus values, white at D65.
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])

PRESSURES = [PRESSURE_MAP(share)[:3] for share in np.linspace(0.0, 1.0, 60)]


def linear(colour):
    value = np.asarray(to_rgb(colour))
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def contrast(one, other):
    """Return the contrast ratio of WCAG 2.2: 3 is asked of what is no text."""
    low, high = sorted(float(TO_XYZ[1] @ linear(colour)) for colour in (one, other))
    return (high + 0.05) / (low + 0.05)


def lab(colour, eye):
    """Return CIE 1976 L*, a* and b* of a colour as an eye sees it."""
    white = TO_XYZ @ np.ones(3)
    parts = TO_XYZ @ np.clip(np.asarray(EYES[eye]) @ linear(colour), 0.0, 1.0) / white
    x, y, z = np.where(parts > (6 / 29) ** 3, np.cbrt(parts), parts / 3 * (29 / 6) ** 2 + 4 / 29)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def apart(one, other, eye):
    return float(np.linalg.norm(lab(one, eye) - lab(other, eye)))


def test_black_and_white_are_as_far_apart_as_the_measures_say():
    assert contrast("black", "white") == pytest.approx(21.0, rel=1e-3)
    assert all(apart("black", "white", eye) == pytest.approx(100.0, rel=1e-3) for eye in EYES)
    # What these eyes are known to mix up must come out nearer than to the full eye.
    assert apart("red", "green", "no middle") < 0.6 * apart("red", "green", "full")


def test_the_threshold_line_stands_out_from_both_ends_of_the_map():
    assert contrast(THRESHOLD_COLOUR, PRESSURES[0]) >= 3.0
    assert contrast(THRESHOLD_COLOUR, PRESSURES[-1]) >= 3.0
    assert contrast(THRESHOLD_COLOUR, state_look(CellState.BELOW)["ground"]) >= 3.0


def test_saturated_cells_stand_out_from_the_quarter_of_the_map_that_they_lie_beyond():
    assert all(contrast(SATURATED_COLOUR, one) >= 3.0 for one in PRESSURES[-len(PRESSURES) // 4 :])


@pytest.mark.parametrize("eye", EYES)
def test_no_eye_takes_one_for_the_other(eye):
    others = [THRESHOLD_COLOUR, SATURATED_COLOUR, state_look(CellState.BELOW)["ground"], INK]
    for one, other in itertools.combinations(others, 2):
        assert apart(one, other, eye) > 40.0, (one, other)
    for colour in (THRESHOLD_COLOUR, SATURATED_COLOUR):
        assert min(apart(colour, one, eye) for one in PRESSURES) > 40.0, colour
