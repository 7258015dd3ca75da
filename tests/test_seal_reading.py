"""Seals read from maps of known pressure: weakest place, gaps, verdicts, leak paths, comparison."""

import numpy as np
import pytest

from firedeck.compare import compare_seals, difference_map
from firedeck.definition.criteria import default_criteria
from firedeck.errors import FiredeckError
from firedeck.seal.balance import clamp_balance
from firedeck.seal.leak import find_leaks, leak_field, trace_leak
from firedeck.seal.profile import profile_seals
from firedeck.seal.summary import longest_stretch, summarise_seal
from firedeck.verdict import State, judge
from tests.support.exact_maps import ring_map, ring_plan

HALF = 1.2


def bead(peak=80.0, *, dip=0.0, at=0.0, width=0.25):
    """A round Hertz-like bead, weaker by the share `dip` around the angle `at` [rad]."""

    def pressure(distance, angle):
        off = np.angle(np.exp(1j * (angle - at)))
        along = peak * (1 - dip * np.exp(-0.5 * (off / width) ** 2))
        return along * np.sqrt(np.clip(1 - (distance / HALF) ** 2, 0, None))

    return pressure


@pytest.fixture(scope="module")
def plan():
    return ring_plan()


def read(plan, pressure, **more):
    pressure_map = ring_map(plan, pressure, pitch=0.1, **more)
    profiles = profile_seals(plan, pressure_map)
    return pressure_map, profiles, [summarise_seal(plan, profile) for profile in profiles]


def verdict_on(plan, pressure, *, balance=None, **more):
    pressure_map, profiles, summaries = read(plan, pressure, **more)
    field = leak_field(plan, pressure_map, [profile.strip for profile in profiles])
    leaks = find_leaks(plan, pressure_map, profiles, field)
    return judge(plan, default_criteria(), profiles, summaries, leaks, balance), leaks, pressure_map, field


@pytest.mark.parametrize("angle", [0.0, 1.0, 3.1, -2.0])
def test_weakest_place_is_found_and_named_by_angle_and_nearest_fastener(plan, angle):
    _, _, (summary,) = read(plan, bead(dip=0.5, at=angle))
    assert summary.weakest is not None
    miss = (summary.weakest.angle - np.degrees(angle) + 180) % 360 - 180
    assert abs(miss) < 3
    place = np.array(summary.weakest.point)
    centres = {hole.name: np.array(hole.centre) for hole in plan.fastener_holes}
    nearest = min(centres, key=lambda name: np.hypot(*(centres[name] - place)))
    assert summary.weakest.fastener == nearest
    assert summary.evenness < 0.6


def test_an_even_bead_is_even(plan):
    _, _, (summary,) = read(plan, bead())
    assert summary.evenness == pytest.approx(1.0, abs=0.01)
    assert summary.mean.value == pytest.approx(np.pi / 2 * 80 * HALF, rel=0.01)


def test_a_strong_even_bead_holds(plan):
    verdict, leaks, _, _ = verdict_on(plan, bead())
    assert verdict.state is State.HOLDS
    assert all(reason.state is State.HOLDS for seal in verdict.seals for reason in seal.reasons)
    bore = next(path for path in leaks if {path.a, path.b} == {"bore 1", "outside"})
    assert bore.joint.value == pytest.approx(80.0, rel=0.02)
    assert bore.seal == "ring 1"


def test_a_bead_with_a_hole_in_it_gives_and_the_path_runs_through_the_hole(plan):
    verdict, leaks, pressure_map, field = verdict_on(plan, bead(dip=0.95, at=0.7, width=0.15))
    assert verdict.state is State.GIVES
    assert any("leak path" in reason.rule for seal in verdict.seals for reason in seal.reasons)
    path = next(path for path in leaks if {path.a, path.b} == {"bore 1", "outside"})
    assert np.arctan2(path.point[1], path.point[0]) == pytest.approx(0.7, abs=0.1)
    way = trace_leak(plan, pressure_map, field, path)
    radius = np.hypot(*way.T)
    assert radius[0] < 17
    assert radius[-1] > 25
    crossing = way[np.argmin(np.abs(radius - 20))]
    assert np.arctan2(crossing[1], crossing[0]) == pytest.approx(0.7, abs=0.1)


def test_a_small_reserve_is_marginal(plan):
    # 65 N/mm against the 60 asked for: holds, with less than the 20 % reserve.
    verdict, _, _, _ = verdict_on(plan, bead(peak=65 / (np.pi / 2 * HALF)))
    assert verdict.state is State.MARGINAL


def test_saturation_all_round_is_never_a_pass(plan):
    verdict, leaks, _, _ = verdict_on(plan, bead(), top=70.0)
    assert verdict.state is State.NOT_SHOWN
    assert all(not np.isfinite(path.joint.high) for path in leaks if path.seal)


def test_a_print_that_does_not_balance_is_not_shown_and_says_so_first(plan):
    pressure_map, _, _ = read(plan, bead())
    force = float(np.nansum(pressure_map.value)) * 0.01
    fitting = clamp_balance(pressure_map, force, 0.05, "measured stretch")
    assert fitting.fits
    wrong = clamp_balance(pressure_map, 2 * force, 0.05, "measured stretch")
    assert not wrong.fits
    verdict, _, _, _ = verdict_on(plan, bead(), balance=wrong)
    assert verdict.state is State.NOT_SHOWN
    assert "NOT" in verdict.remarks[0]


def test_a_seal_off_the_film_is_not_shown(plan):
    pressure_map, _, _ = read(plan, bead())
    value = pressure_map.value.copy()
    signal = pressure_map.signal.copy()
    value[:, : value.shape[1] // 2] = np.nan
    signal[:, : value.shape[1] // 2] = np.nan
    from dataclasses import replace

    torn = replace(pressure_map, value=value, signal=signal)
    profile = profile_seals(plan, torn)[0]
    summary = summarise_seal(plan, profile)
    assert summary.hidden == pytest.approx(0.5, abs=0.05)


def test_a_hidden_stretch_longer_than_the_allowed_gap_is_never_a_pass(plan):
    """5 mm of 126 mm hidden: little of the length, and more than the 2 mm that may be a gap."""
    from dataclasses import replace

    whole = ring_map(plan, bead(), pitch=0.1)
    x, y = np.meshgrid(whole.grid.x, whole.grid.y)
    torn = (np.abs(np.arctan2(y, x)) < 2.5 / 20) & (np.hypot(x, y) > 16)
    signal = np.where(torn, np.nan, whole.signal).astype(np.float32)
    pressure_map = replace(whole, value=signal, signal=signal)
    profiles = profile_seals(plan, pressure_map)
    summaries = [summarise_seal(plan, profile) for profile in profiles]
    verdict = judge(plan, default_criteria(), profiles, summaries, [], None)
    assert summaries[0].hidden < 0.05
    assert verdict.state is State.NOT_SHOWN
    assert "in a row" in verdict.seals[0].governing.text


def test_a_strip_cut_short_beside_the_line_still_shows_the_line(plan):
    """Half the band inside the line is off the film, as beside a hole cut too large."""
    from dataclasses import replace

    whole = ring_map(plan, bead(), pitch=0.1)
    x, y = np.meshgrid(whole.grid.x, whole.grid.y)
    cut = np.hypot(x, y) < 20 - 1.5
    signal = np.where(cut, np.nan, whole.signal).astype(np.float32)
    blurred = replace(whole, value=signal, signal=signal, blur=0.07)
    table = profile_seals(plan, blurred)[0].sectors
    assert np.isfinite(table.line_load).all()
    np.testing.assert_allclose(table.line_load, np.pi / 2 * 80 * HALF, rtol=0.02)


def test_longest_stretch_runs_over_the_seam(plan):
    _, (profile,), _ = read(plan, bead())
    table = profile.fine
    wanted = np.zeros(len(table.at), bool)
    wanted[:3] = wanted[-4:] = True
    step = table.at[1] - table.at[0]
    assert longest_stretch(table, wanted) == pytest.approx(7 * step)
    assert longest_stretch(table, ~wanted & wanted) == 0.0


def test_difference_of_two_prints_is_second_minus_first_and_zero_with_itself(plan):
    first_map, first, _ = read(plan, bead(80))
    second_map, second, _ = read(plan, bead(88))
    (same,) = compare_seals(first, first, one_calibration=True)
    assert np.nanmax(np.abs(same.difference)) < 1e-9
    assert not same.shown.any()
    (more,) = compare_seals(first, second, one_calibration=True)
    assert more.mean.value == pytest.approx(np.pi / 2 * 8 * HALF, rel=0.03)
    assert more.shown.all()
    assert np.nanmax(difference_map(first_map, second_map).value) == pytest.approx(8.0, rel=0.02)


def test_a_difference_against_a_saturated_print_has_no_upper_end(plan):
    _, first, _ = read(plan, bead(60))
    _, second, _ = read(plan, bead(80), top=70.0)
    (difference,) = compare_seals(first, second, one_calibration=True)
    assert not difference.mean.bounded_above
    assert np.isinf(difference.high).all()


def test_maps_on_other_grids_are_not_subtracted(plan):
    one = ring_map(plan, bead(), pitch=0.1)
    other = ring_map(plan, bead(), pitch=0.2)
    with pytest.raises(FiredeckError, match="one grid"):
        difference_map(one, other)
