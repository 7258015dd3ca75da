"""Records with known truth: sensor zero, drift, wrong top dead centre, noise, gaps and knock."""

import math

import numpy as np
import pytest

from firedeck.duty.geometry import Cylinder
from firedeck.duty.knock import first_mode_frequency
from firedeck.duty.limits import DutyError
from firedeck.duty.phasing import (
    compression_top_dead_centre,
    loss_angle,
    motored_top_dead_centre,
    stated_top_dead_centre,
)
from firedeck.duty.record import record_by_angle, record_by_samples, record_by_teeth, record_by_time
from firedeck.duty.trace import TraceSettings, analyse_trace
from tests.support import cylinder_trace as maker

CYLINDER = Cylinder(maker.BORE, maker.STROKE, maker.ROD, maker.RATIO, maker.CLOSES, maker.OPENS)
LEAD = 3.3


@pytest.fixture(scope="module")
def truth():
    return maker.cycles(121)


@pytest.fixture(scope="module")
def motored():
    return {
        (speed, cooling): maker.cycles(
            10, fired=False, speed=speed, manifold=0.1, gamma=1.39, cooling=cooling
        )
        for speed, cooling in ((1500.0, 1.0), (3000.0, 0.7), (3000.0, 1.3), (6000.0, 1.0))
    }


def analysed(truth, *, settings=None, tdc=LEAD, **faults):
    angle, pressure, _ = maker.record(truth, lead=LEAD, **faults)
    record = record_by_angle(angle % 720.0, pressure, speed=truth.speed)
    return analyse_trace(record, CYLINDER, top_dead_centre=stated_top_dead_centre(tdc), settings=settings)


def whole(truth):
    """Peaks of the cycles that are recorded whole: the last one ends a sample early."""
    return truth.peaks[:-1]


@pytest.mark.parametrize(
    "faults",
    [
        {},
        {"offset": -0.5},
        {"offset": 0.3, "drift": 0.01},
        {"noise": 0.03},
        {"offset": -0.4, "drift": -0.005, "noise": 0.02, "step": 0.25},
        {"step": 1.0, "noise": 0.01},
    ],
)
def test_every_peak_within_half_a_percent(truth, faults):
    result = analysed(truth, **faults)
    np.testing.assert_allclose(result.cycles.peak, whole(truth), rtol=5e-3)
    assert result.peak.mean.value == pytest.approx(whole(truth).mean(), rel=2e-3)
    assert result.peak.deviation.value == pytest.approx(whole(truth).std(ddof=1), rel=0.03)
    assert result.peak_angle.mean.value == pytest.approx(truth.peak_angles[:-1].mean(), abs=0.3)


def test_pegging_finds_zero_and_drift(truth):
    result = analysed(truth, offset=-0.5, drift=0.004)
    expected = 0.5 - 0.004 * np.arange(result.cycles.shift.size)
    np.testing.assert_allclose(result.cycles.shift, expected, atol=0.03)


def test_pegging_to_the_intake(truth):
    settings = TraceSettings(peg="intake", manifold_pressure=truth.manifold)
    result = analysed(truth, offset=-0.5, drift=0.004, settings=settings)
    np.testing.assert_allclose(result.cycles.peak, whole(truth), rtol=2e-3)
    np.testing.assert_allclose(result.cycles.shift, 0.5 - 0.004 * np.arange(120), atol=2e-3)


def test_mean_pressure_and_work(truth):
    result = analysed(truth, offset=0.2)
    volumes = maker.volume(truth.angle)
    closed = (truth.angle >= -180.0) & (truth.angle <= 180.0)
    swept = math.pi / 4 * maker.BORE**2 * maker.STROKE
    gross = np.array([np.trapezoid(row[closed], volumes[closed]) for row in truth.pressure[:-1]]) / swept
    np.testing.assert_allclose(result.cycles.imep_gross, gross, rtol=5e-3)
    mean = np.interp(result.angle, truth.angle, truth.pressure[:-1].mean(axis=0))
    near = np.abs(result.angle) < 100.0
    np.testing.assert_allclose(result.mean_pressure[near], mean[near], atol=0.06)


def test_top_dead_centre_error_shows_in_work_not_in_peak(truth):
    right, wrong = analysed(truth), analysed(truth, tdc=LEAD + 1.0)
    assert wrong.peak.mean.value == pytest.approx(right.peak.mean.value, rel=0.01)
    assert abs(wrong.imep.mean.value / right.imep.mean.value - 1.0) > 0.02


@pytest.mark.parametrize("noise", [0.0, 0.01])
def test_motored_trace_gives_top_dead_centre(motored, noise):
    for (speed, _), turned in motored.items():
        angle, pressure, _ = maker.record(turned, lead=LEAD, offset=-0.2, noise=noise)
        record = record_by_angle(angle % 720.0, pressure, speed=speed)
        found = motored_top_dead_centre(record, CYLINDER)
        assert found.angle.value == pytest.approx(LEAD, abs=0.2)
        assert found.angle.low < LEAD < found.angle.high
        assert found.loss_angle > 0.0


@pytest.mark.parametrize("method", ["peak", "symmetry"])
def test_known_loss_angle_gives_top_dead_centre(motored, method):
    turned = motored[(3000.0, 1.3)]
    fine = np.arange(-2.0, 2.0, 0.01)
    peak = fine[np.argmax(np.polyval(np.polyfit(*near(turned), 4), fine))]
    angle, pressure, _ = maker.record(turned, lead=LEAD, noise=0.005)
    record = record_by_angle(angle % 720.0, pressure, speed=3000.0)
    found = motored_top_dead_centre(record, CYLINDER, method=method, loss=-float(peak))
    assert found.angle.value == pytest.approx(LEAD, abs=0.2)


def near(turned):
    """Angles and mean pressures about the motored peak."""
    close = np.abs(turned.angle) < 8.0
    return turned.angle[close], turned.pressure.mean(axis=0)[close]


def test_loss_angle_falls_with_speed():
    angles = [loss_angle(CYLINDER, speed) for speed in (1000.0, 3000.0, 6000.0)]
    assert angles == sorted(angles, reverse=True)


def test_fired_trace_is_refused_as_motored(truth):
    angle, pressure, _ = maker.record(truth)
    with pytest.raises(DutyError, match="not motored"):
        motored_top_dead_centre(record_by_angle(angle % 720.0, pressure, speed=5000.0), CYLINDER)


def test_compression_line_gives_top_dead_centre_roughly(truth):
    angle, pressure, _ = maker.record(truth, lead=LEAD, offset=-0.5, noise=0.02)
    found = compression_top_dead_centre(record_by_angle(angle % 720.0, pressure, speed=5000.0), CYLINDER)
    assert found.angle.low < LEAD < found.angle.high
    result = analyse_trace(record_by_angle(angle % 720.0, pressure, speed=5000.0), CYLINDER)
    assert result.peak.mean.value == pytest.approx(whole(truth).mean(), rel=5e-3)
    assert any("better motored" in note for note in result.notes)


def test_knock_is_counted_and_kept_out_of_the_peak(truth):
    quiet, ringing = analysed(truth, noise=0.01), analysed(truth, noise=0.01, knock=1.0)
    assert quiet.knock.share == 0.0
    assert quiet.knock.allowance.value == 0.0
    assert ringing.knock.share == pytest.approx(1 / 3, abs=0.02)
    # the ringing's first half wave has decayed by exp(-1/(4 f 0.4 ms)) when it peaks
    decayed = math.exp(-1.0 / (4.0 * first_mode_frequency(maker.BORE) * 4e-4))
    assert ringing.knock.allowance.value == pytest.approx(decayed, rel=0.35)
    assert ringing.peak.mean.value == pytest.approx(whole(truth).mean(), rel=5e-3)
    assert ringing.cycles.raw_peak.mean() > ringing.cycles.peak.mean()


def test_first_mode_of_the_cylinder():
    # 1.8412 c/(pi B): first root of J1', Abramowitz and Stegun, Handbook of Mathematical Functions,
    # table 9.5; 86 mm and 950 m/s
    assert first_mode_frequency(86.0) == pytest.approx(1.8412 * 950.0 / (math.pi * 0.086))


def test_coarse_record_cannot_show_knock():
    slow = maker.cycles(30, speed=1000.0, heat=1.6e6)
    angle, pressure, _ = maker.record(slow, step=1.0)
    record = record_by_angle(angle % 720.0, pressure, speed=1000.0)
    result = analyse_trace(record, CYLINDER, top_dead_centre=stated_top_dead_centre(0.0))
    assert result.knock is None
    assert any("knock not shown" in note for note in result.notes)
    assert any("only 29 cycles" in note for note in result.notes)


def test_gaps_in_the_crank_angle_are_bridged_and_told(truth):
    angle, pressure, _ = maker.record(truth, lead=LEAD)
    within = angle % 360.0
    kept = ~((within > 100.0) & (within < 106.0))
    record = record_by_angle(angle[kept] % 720.0, pressure[kept], speed=5000.0)
    result = analyse_trace(record, CYLINDER, top_dead_centre=stated_top_dead_centre(LEAD))
    np.testing.assert_allclose(result.cycles.peak, whole(truth), rtol=5e-3)
    assert any("gaps in the crank angle" in note for note in result.notes)


def test_cycles_with_a_hole_are_left_out(truth):
    angle, pressure, _ = maker.record(truth, lead=LEAD)
    hole = (angle > 720.0 * 5 - 30.0) & (angle < 720.0 * 5 + 30.0)
    record = record_by_angle(angle[~hole] % 720.0, pressure[~hole], speed=5000.0)
    result = analyse_trace(record, CYLINDER, top_dead_centre=stated_top_dead_centre(LEAD))
    assert result.cycles.peak.size == 119
    assert any("1 of 120 cycles left out" in note for note in result.notes)


def test_angle_that_starts_over_every_turn(truth):
    angle, pressure, _ = maker.record(truth, lead=LEAD)
    record = record_by_angle(angle % 360.0, pressure, speed=5000.0)
    assert record.period == 360.0
    for tdc in (LEAD, LEAD + 360.0):
        result = analyse_trace(record, CYLINDER, top_dead_centre=stated_top_dead_centre(tdc % 360.0))
        np.testing.assert_allclose(result.cycles.peak, whole(truth), rtol=5e-3)


def test_wheel_with_missing_teeth_gives_the_crank_angle(truth):
    angle, pressure, _ = maker.record(truth, step=0.25)
    # speed swings by 3 % twice a turn, so time and angle are not proportional
    slow = 1.0 + 0.03 * np.sin(np.radians(2.0 * angle))
    time = np.concatenate([[0.0], np.cumsum(0.25 * slow[1:] / (6.0 * truth.speed))])
    tooth = np.floor(angle % 360.0 / 6.0)
    wheel = np.where((angle % 6.0 < 3.0) & (tooth < 58), 5.0, 0.1)
    record = record_by_teeth(time, pressure, wheel, 60, 2)
    assert record.speed == pytest.approx(truth.speed, rel=5e-3)
    inside = slice(4000, -4000)
    lag = (record.angle - angle)[inside]
    assert np.ptp(lag) < 0.6
    result = analyse_trace(
        record, CYLINDER, top_dead_centre=stated_top_dead_centre(float(np.median(lag)) % 360.0)
    )
    assert result.peak.mean.value == pytest.approx(truth.peaks.mean(), rel=5e-3)


def test_wrong_tooth_count_is_refused(truth):
    angle, pressure, _ = maker.record(truth, step=0.25)
    wheel = np.where((angle % 6.0 < 3.0) & (angle % 360.0 < 348.0), 5.0, 0.1)
    with pytest.raises(DutyError, match="does not show 36 teeth with 1 missing"):
        record_by_teeth(angle / 3e4, pressure, wheel, 36, 1)


def test_time_alone_keeps_the_beat(truth):
    angle, pressure, _ = maker.record(truth, noise=0.01)
    record = record_by_time(angle / (6.0 * truth.speed), pressure, speed=4800.0)
    assert record.speed == pytest.approx(truth.speed, rel=2e-3)
    assert not record.anchored
    result = analyse_trace(record, CYLINDER)
    assert result.peak.mean.value == pytest.approx(truth.peaks.mean(), rel=5e-3)
    with pytest.raises(DutyError, match="not at 3000"):
        record_by_time(angle / (6.0 * truth.speed), pressure, speed=3000.0)


def test_samples_alone(truth):
    _, pressure, _ = maker.record(truth)
    record = record_by_samples(pressure, 720.0, speed=5000.0)
    result = analyse_trace(record, CYLINDER)
    assert result.peak.mean.value == pytest.approx(truth.peaks.mean(), rel=5e-3)


def test_filtering_does_not_cut_a_steep_peak():
    steep = maker.cycles(24, speed=8000.0, heat=3.0e6)
    angle, pressure, _ = maker.record(steep)
    record = record_by_angle(angle % 720.0, pressure, speed=8000.0)
    result = analyse_trace(record, CYLINDER, top_dead_centre=stated_top_dead_centre(0.0))
    np.testing.assert_allclose(result.cycles.peak, whole(steep), rtol=5e-3)


def test_wrong_sign_of_the_sensor_is_refused(truth):
    angle, pressure, _ = maker.record(truth)
    record = record_by_angle(angle % 720.0, -pressure, speed=5000.0)
    with pytest.raises(DutyError, match="below vacuum"):
        analyse_trace(record, CYLINDER, top_dead_centre=stated_top_dead_centre(0.0))


def test_gauge_sensor_called_absolute_is_refused(truth):
    angle, pressure, _ = maker.record(truth, offset=-0.4)
    record = record_by_angle(angle % 720.0, pressure, speed=5000.0, absolute=True)
    with pytest.raises(DutyError, match="below vacuum"):
        analyse_trace(
            record, CYLINDER, top_dead_centre=stated_top_dead_centre(0.0), settings=TraceSettings(peg="none")
        )


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        (TraceSettings(peg="guess"), "no pegging is called"),
        (TraceSettings(peg="none"), "must be pegged"),
        (TraceSettings(peg="intake"), "needs the absolute manifold pressure"),
        (TraceSettings(peg="intake", manifold_pressure=-0.02), "does not exist"),
        (TraceSettings(peg_window=(-110.0, -115.0)), "too little compression"),
    ],
)
def test_settings_that_cannot_be(truth, settings, words):
    with pytest.raises(DutyError, match=words):
        analysed(truth, settings=settings)


def test_boost_gauge_beside_the_trace_is_refused(truth):
    angle, pressure, _ = maker.record(truth)
    gauge = np.full(angle.size, -0.01)
    record = record_by_angle(angle % 720.0, pressure, speed=5000.0, manifold_pressure=gauge)
    with pytest.raises(DutyError, match="not absolute"):
        analyse_trace(record, CYLINDER, settings=TraceSettings(peg="intake"))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda a, p: record_by_angle(a[:50], p[:50]), "50 samples are no trace"),
        (lambda a, p: record_by_angle(a, p[:-1]), "differ in length"),
        (lambda a, p: record_by_angle(a[::-1], p), "does not rise"),
        (lambda a, p: record_by_angle(a % 500.0, p), "neither a turn nor a cycle"),
        (lambda a, p: record_by_angle(a, np.where(a > 1e4, np.nan, p)), "holes"),
        (lambda a, p: record_by_time(-a, p, 5000.0), "time does not rise"),
        (lambda a, p: record_by_angle(a, p, speed=0.0), "engine speed"),
        (lambda a, p: analyse_trace(record_by_angle(a, p), CYLINDER), "speed is not known"),
        (
            lambda a, p: analyse_trace(record_by_angle(a[:2000], p[:2000], speed=5e3), CYLINDER),
            "no whole compression",
        ),
    ],
)
def test_records_that_cannot_be(truth, call, words):
    angle, pressure, _ = maker.record(truth)
    with pytest.raises(DutyError, match=words):
        call(angle, pressure)
