"""Line loads laid onto a map: force, place, spread and bloom, and what reads the map afterwards."""

from __future__ import annotations

import numpy as np
import pytest

from firedeck.definition.shape import seal_line
from firedeck.scenario.engine import small_plan
from firedeck.seal.laid import LaidLine, lay_lines
from firedeck.seal.leak import crossing_leaks, find_leaks, leak_field
from firedeck.seal.profile import profile_seals
from firedeck.seal.summary import summarise_seal

PLAN = small_plan(bores=1)
WIDTH = 2.0


def lines(*, dip=0.0, doubt=0.1):
    """Every seal at 50 N/mm, the bore's bead at 200 with a dip towards 90 degrees."""
    found = {}
    for seal in PLAN.seals:
        line = seal_line(PLAN, seal, step=1.0)
        at = np.arange(len(line.points)) * line.step
        load = np.full(len(at), 50.0)
        if seal.name == "bore 1 bead":
            away = (line.angles - 90.0 + 180.0) % 360.0 - 180.0
            load = 200.0 * (1.0 - dip * np.exp(-0.5 * (away / 8.0) ** 2))
        found[seal.name] = LaidLine(at, load, WIDTH, doubt)
    return found


@pytest.mark.parametrize("shape", ["even", "ellipse"])
@pytest.mark.parametrize("bloom", [0.0, 0.1])
def test_the_force_of_the_lines_is_on_the_map(shape, bloom):
    laid = lay_lines(PLAN, lines(), 0.1, shape=shape, bloom=bloom)
    force = sum(
        float(one.line_load.mean()) * seal_line(PLAN, seal, step=1.0).length
        for seal, one in zip(PLAN.seals, lines().values(), strict=True)
    )
    assert float(np.nansum(laid.map.value)) * laid.map.grid.cell_area == pytest.approx(force, rel=0.015)
    assert laid.map.kind == "predicted"


def test_even_spread_has_the_mean_pressure_and_an_ellipse_a_higher_crown():
    even, ellipse = (lay_lines(PLAN, lines(), 0.1, shape=shape) for shape in ("even", "ellipse"))
    crowns = [float(np.median(laid.strips[0].crown_signal)) for laid in (even, ellipse)]
    assert crowns[0] == pytest.approx(200.0 / WIDTH, rel=0.02)
    assert crowns[1] == pytest.approx(4.0 / np.pi * 200.0 / WIDTH, rel=0.02)  # Hertz: 4/pi of the mean


def test_bloom_widens_a_line_by_itself_on_either_side_and_lowers_narrow_crowns():
    narrow = {name: LaidLine(one.at, one.line_load, 0.4, one.doubt) for name, one in lines().items()}
    bare, bloomed = (lay_lines(PLAN, narrow, 0.05, shape="ellipse", bloom=b) for b in (0.0, 0.1))
    pressed = [np.mean(np.nan_to_num(laid.strips[0].signal) > 1.0, axis=1).mean() for laid in (bare, bloomed)]
    band = PLAN.seals[0].band
    assert (pressed[1] - pressed[0]) * band == pytest.approx(0.2, abs=0.06)
    assert bloomed.strips[0].crown_signal.mean() < 0.975 * bare.strips[0].crown_signal.mean()


def test_a_reader_of_maps_finds_the_line_load_the_dip_and_the_way_through_it():
    laid = lay_lines(PLAN, lines(dip=0.6), 0.1)
    read = profile_seals(PLAN, laid.map, laid.strips)[0]
    assert read.sliding.line_load.mean() == pytest.approx(laid.profiles[0].sliding.line_load.mean(), rel=0.03)
    weakest = summarise_seal(PLAN, laid.profiles[0]).weakest
    assert weakest is not None
    assert weakest.angle == pytest.approx(90.0, abs=2.0)
    assert weakest.line_load.value == pytest.approx(80.0, rel=0.02)
    assert weakest.line_load.low < 80.0 < weakest.line_load.high
    leaks = find_leaks(PLAN, laid.map, laid.profiles, leak_field(PLAN, laid.map, laid.strips))
    first = next(one for one in crossing_leaks(PLAN, leaks) if "bore 1" in (one.a, one.b))
    assert first.seal == "bore 1 bead"
    assert first.felt.value == pytest.approx(80.0 / WIDTH, rel=0.06)
    bore = PLAN.bores[0].centre
    assert abs(first.point[0] - bore[0]) < 6.0
    assert first.point[1] > bore[1]
