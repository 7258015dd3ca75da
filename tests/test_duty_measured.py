"""From trace files to the duty of the whole engine."""

import numpy as np
import pytest

from firedeck.definition.duty import DutyDefinition
from firedeck.definition.trace_mapping import TraceMapping
from firedeck.duty.geometry import firing_offset
from firedeck.duty.limits import DutyError
from firedeck.duty.measured import analyse_records
from firedeck.duty.record import record_by_angle, record_by_time
from firedeck.duty.sources import duty_from_traces
from firedeck.evidence import Basis
from firedeck.files.trace_file import read_trace_file
from tests.support import cylinder_trace as maker

ENGINE = {
    "bore": "86 mm",
    "stroke": "86 mm",
    "rod": "143 mm",
    "compression_ratio": 9.5,
    "cylinders": 4,
    "firing_order": [1, 3, 4, 2],
    "valves": {"intake_closes": "50 deg", "exhaust_opens": "50 deg"},
}
LEAD = 3.3


def definition(**source):
    return DutyDefinition(
        engine=ENGINE, source={"kind": "trace", "file": "trace.csv", **source}, cycles=10_000
    )


@pytest.fixture(scope="module")
def fired():
    return maker.cycles(81)


@pytest.fixture(scope="module")
def turned():
    return maker.cycles(8, fired=False, manifold=0.1, gamma=1.39)


def record_of(truth, cylinder=1, lag=0.0, **faults):
    """Record of a cylinder that fires `lag` [deg] later."""
    angle, pressure, _ = maker.record(truth, lead=LEAD + lag, **faults)
    return record_by_angle(angle % 720.0, pressure, cylinder=cylinder, speed=truth.speed)


def test_files_to_duty(tmp_path, fired, turned):
    for name, truth in (("fired", fired), ("turned", turned)):
        angle, pressure, _ = maker.record(truth, lead=LEAD, offset=-0.2, noise=0.005)
        table = np.column_stack([angle % 720.0, 10.0 * pressure])
        np.savetxt(
            tmp_path / name, table, fmt="%.4f", delimiter=";", header="crank [deg];p1 [bar]", comments=""
        )
    mapping = TraceMapping(speed="5000 1/min")
    records = read_trace_file(tmp_path / "fired", mapping)
    motored = read_trace_file(tmp_path / "turned", mapping)
    duty = duty_from_traces(definition(), analyse_records(definition(), records, motored))
    first = duty.cylinder(1)
    assert first.mean.value == pytest.approx(fired.peaks[:-1].mean(), rel=3e-3)
    assert first.mean.low < fired.peaks[:-1].mean() < first.mean.high
    assert first.deviation.value == pytest.approx(fired.peaks[:-1].std(ddof=1), rel=0.05)
    assert first.extreme.value > fired.peaks.max()
    assert duty.basis.basis is Basis.MEASURED
    assert (duty.kind, duty.cycles, duty.speed) == ("trace", 10_000, 5000.0)
    assert any("loss" in note or "leads top dead centre" in note for note in duty.notes)
    assert any("p1" in note for note in duty.notes)


def test_unmeasured_cylinders_take_after_the_hardest(fired):
    weak, strong = record_of(fired), record_of(fired, cylinder=3, lag=180.0)
    strong = record_by_angle(strong.angle, 1.1 * strong.pressure, cylinder=3, speed=5000.0)
    source = definition(top_dead_centre=f"{LEAD} deg")
    duty = duty_from_traces(source, analyse_records(source, [weak, strong]))
    assert duty.hardest.cylinder == 2
    assert duty.cylinder(4).mean.value == duty.cylinder(3).mean.value
    assert duty.cylinder(4).mean.high > duty.cylinder(3).mean.high
    assert duty.cylinder(1).mean.value < duty.cylinder(3).mean.value
    assert any("cylinders 2, 4 were not measured and take after cylinder 3" in note for note in duty.notes)


def test_top_dead_centre_is_carried_over_by_the_firing_order(fired):
    source = definition(top_dead_centre=f"{LEAD} deg")
    for cylinder, lag in ((1, 0.0), (3, 180.0), (4, 360.0), (2, 540.0)):
        assert firing_offset(source.engine, cylinder) == lag
        (result,) = analyse_records(source, [record_of(fired, cylinder, lag)])
        assert result.peak_angle.mean.value == pytest.approx(fired.peak_angles.mean(), abs=0.4)


def test_motored_trace_beats_the_compression_line(fired, turned):
    (result,) = analyse_records(definition(), [record_of(fired)], [record_of(turned)])
    assert result.top_dead_centre.method == "motored fit"
    assert result.top_dead_centre.angle.value == pytest.approx(LEAD, abs=0.2)
    (alone,) = analyse_records(definition(), [record_of(fired)])
    assert alone.top_dead_centre.method == "compression line"


def test_few_knocking_cycles_leave_the_allowance_open(fired):
    angle, pressure, _ = maker.record(fired, lead=LEAD, noise=0.005)
    rung = np.where((angle - LEAD > 720.0 * 9) & (angle - LEAD < 720.0 * 9 + 60.0), 1.0, 0.0)
    seconds = (angle - LEAD - 720.0 * 9) / (6.0 * 5000.0)
    noisy = pressure + rung * np.sin(2 * np.pi * 6500.0 * seconds) * np.exp(
        -np.clip(seconds, 0.0, None) / 5e-4
    )
    record = record_by_angle(angle % 720.0, noisy, speed=5000.0)
    source = definition(top_dead_centre=f"{LEAD} deg")
    duty = duty_from_traces(source, analyse_records(source, [record]))
    allowance = duty.cylinder(1).knock_allowance
    assert allowance.value > 0.3
    assert not allowance.bounded_above
    assert any("too few to say how badly" in note for note in duty.notes)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda r: analyse_records(definition(top_dead_centre="3 deg"), [r(5)]), "cylinder 5 fires"),
        (lambda r: duty_from_traces(definition(), analyse_records(definition(), [r(7)])), "of cylinder 7"),
    ],
)
def test_strange_cylinders_are_refused(fired, call, words):
    with pytest.raises(DutyError, match=words):
        call(lambda number: record_of(fired, number))


def test_source_must_be_a_trace(fired):
    rule = DutyDefinition(engine=ENGINE, source={"kind": "rule", "bmep": "25 bar"})
    with pytest.raises(DutyError, match="not a trace"):
        analyse_records(rule, [record_of(fired)])


def test_motored_trace_without_a_crank_mark_is_refused(fired, turned):
    angle, pressure, _ = maker.record(turned)
    beat = record_by_time(angle / (6.0 * turned.speed), pressure, speed=turned.speed)
    with pytest.raises(DutyError, match="no angle from a mark"):
        analyse_records(definition(), [record_of(fired)], [beat])
