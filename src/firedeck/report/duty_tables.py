"""Tables and facts of a duty's report."""

from __future__ import annotations

from collections.abc import Sequence

from firedeck.duty.agreement import Disagreement
from firedeck.duty.geometry import ThicknessChange
from firedeck.duty.indicator import PolytropicFit
from firedeck.duty.inverse import LoadAtPeak
from firedeck.duty.modelled import Contribution, ModelledCycle, widened
from firedeck.duty.result import Duty
from firedeck.duty.statistics import Scatter
from firedeck.duty.trace import TraceResult
from firedeck.evidence import Estimate
from firedeck.report.document import Cell, Facts, Table
from firedeck.report.duty_words import change, in_unit, interval, power, pressure, pressure_in, speed
from firedeck.report.words import number, share
from firedeck.units import to_unit

__all__ = [
    "contribution_table",
    "count_of",
    "cycle_facts",
    "duty_facts",
    "duty_table",
    "load_facts",
    "source_table",
    "thickness_table",
    "trace_facts",
]


def count_of(cycles: int) -> str:
    """Return a number of cycles with its thousands apart."""
    return f"{cycles:,}".replace(",", " ")


def duty_table(duty: Duty) -> Table:
    """Return what each cylinder's joint must survive."""
    head = (
        "cylinder",
        "mean peak [bar]",
        "standard deviation [bar]",
        f"largest of {count_of(duty.cycles)} cycles [bar]",
        "knock may add [bar]",
        "joint must survive [bar]",
        "[MPa]",
        "[psi]",
    )
    alike: dict[tuple[str, ...], list[int]] = {}
    for one in duty.cylinders:
        row = (
            pressure_in(one.mean, "bar"),
            pressure_in(one.deviation, "bar"),
            pressure_in(one.extreme, "bar"),
            pressure_in(one.knock_allowance, "bar"),
            *(pressure_in(one.design_pressure, unit) for unit in ("bar", "MPa", "psi")),
        )
        alike.setdefault(row, []).append(one.cylinder)
    rows = tuple((", ".join(map(str, numbers)), *row) for row, numbers in alike.items())
    return Table(head, rows, "Peak cylinder pressure, absolute. Brackets: 95 % interval.")


def duty_facts(duty: Duty) -> Facts:
    """Return what a duty is for and rests on."""
    rows = [
        ("source", str(duty.basis)),
        ("engine speed", speed(duty.speed)),
        ("law of the largest", duty.law),
    ]
    if duty.power is not None:
        rows.append(("brake power", power(duty.power)))
    if duty.bmep is not None:
        rows.append(("brake mean effective pressure", pressure(duty.bmep)))
    return Facts(tuple(rows))


def trace_facts(result: TraceResult, fits: Sequence[PolytropicFit], indicated: Estimate) -> Facts:
    """Return how a trace was worked up and what it shows, with its `indicated` mean pressure [MPa]."""
    centre = result.top_dead_centre
    rows = [
        ("cycles used", str(result.peak.count)),
        ("engine speed", speed(result.speed)),
        ("top dead centre", f"{interval(centre.angle, '°')} in the file's angle, {centre.method}"),
        ("mean peak pressure", pressure(widened(result.peak.mean, result.gain_doubt))),
        ("scatter of the peak", _scatter(result.peak, "pressure", "bar")),
        ("angle of the peak", f"{interval(result.peak_angle.mean, '°')} after top dead centre"),
        ("indicated mean effective pressure, gross", pressure(indicated)),
        ("scatter of that", _scatter(result.imep, "pressure", "bar")),
        ("largest to expect, by law", _laws(result)),
        *((f"exponent of the {one.stretch}", _fit(one)) for one in fits),
        ("knock", _knock(result)),
    ]
    return Facts(tuple(rows))


def _scatter(one: Scatter, kind: str, unit: str) -> str:
    deviation = interval(in_unit(one.deviation, kind, unit), unit)
    return f"standard deviation {deviation}, COV {100 * one.coefficient:.1f} %"


def _laws(result: TraceResult) -> str:
    extreme = result.extreme
    others = ", ".join(f"{name} {pressure_in(value, 'bar')}" for name, value in extreme.others.items())
    own = f"{extreme.law} {pressure_in(extreme.estimate, 'bar')} bar (correlation {extreme.fit:.3f})"
    return f"{own}; others: {others}" if others else own


def _fit(one: PolytropicFit) -> str:
    span = f"{one.window[0]:.0f} to {one.window[1]:.0f}°".replace("-", "−")
    text = f"{one.exponent:.3f} from {span}, misfit {100 * one.misfit:.1f} %"
    return f"{text}; {one.note}" if one.note else text


def _knock(result: TraceResult) -> str:
    knock = result.knock
    if knock is None:
        return "not shown: the record is too coarse in time"
    loudest = pressure_in(float(knock.amplitude.max()), "bar")
    return (
        f"{share(knock.share)} of the cycles knock; loudest ringing {loudest} bar, noise "
        f"{pressure_in(knock.noise, 'bar')} bar, between {knock.band[0] / 1e3:.1f} and "
        f"{knock.band[1] / 1e3:.1f} kHz"
    )


def cycle_facts(worked: ModelledCycle) -> Facts:
    """Return the figures of the modelled cycle."""
    one = worked.nominal
    return Facts(
        (
            ("peak pressure of the cycle as stated", pressure(worked.peak)),
            ("angle of the peak", f"{number(one.peak_angle)}° after top dead centre"),
            ("indicated mean effective pressure, gross", pressure(worked.imep)),
            ("brake mean effective pressure", pressure(worked.bmep)),
            ("brake power", power(worked.power)),
            (
                "pumping and friction",
                f"{pressure_in(one.pmep, 'bar')} and {pressure_in(one.fmep, 'bar')} bar",
            ),
            ("heat to the walls", f"{_shares(worked)} of the heat released"),
            ("highest mean gas temperature", f"{number(one.peak_temperature)} °C"),
            ("gas temperature when the exhaust opens", f"{number(one.opening_temperature)} °C"),
            ("burnt gas left over", f"{100 * one.residual:.1f} %"),
            ("trapped charge", f"{number(1e6 * one.charge_mass)} mg"),
        )
    )


def _shares(worked: ModelledCycle) -> str:
    heat = worked.wall_heat
    return f"{100 * heat.value:.0f} % ({100 * heat.low:.0f} to {100 * heat.high:.0f} %)"


def contribution_table(worked: ModelledCycle) -> Table:
    """Return what the doubt of each input does to peak and mean pressure."""
    head = ("input", "may be off by", "moves the peak by [bar]", "moves bmep by [bar]")
    rows = tuple(
        (
            one.words,
            _half(one),
            number(to_unit(one.peak, "pressure", "bar"), 2),
            number(to_unit(one.bmep, "pressure", "bar"), 2),
        )
        for one in worked.contributions
    )
    return Table(head, rows, "Each input alone raised by its stated half width; strongest first.")


def _half(one: Contribution) -> str:
    if one.unit == "MPa":
        return f"{to_unit(one.half, 'pressure', 'bar'):.3g} bar"
    return f"{one.half:.3g}" if one.unit == "1" else f"{one.half:.3g} {one.unit}"


def load_facts(load: LoadAtPeak) -> Facts:
    """Return the load at which a peak pressure comes about."""
    which = "the mean peak" if load.statistic == "mean" else "the largest peak of the duty's cycles"
    rows = [("asked for", f"{which} of the hardest cylinder at {pressure(load.peak)}")]
    if load.power is not None:
        rows.append(("brake power", power(load.power)))
    rows.append(("brake mean effective pressure", pressure(load.bmep)))
    if load.manifold_pressure is not None:
        rows.append(("manifold pressure, absolute", pressure(load.manifold_pressure)))
    if load.boost is not None:
        rows.append(("boost above ambient", pressure(load.boost)))
    rows += [
        (
            f"moved: {one.words}",
            f"from {pressure_in(one.before, 'bar')} to {pressure_in(one.after, 'bar')} bar "
            f"({change(one.after / one.before)})",
        )
        for one in load.moved
    ]
    return Facts(tuple(rows))


def thickness_table(changes: Sequence[tuple[ThicknessChange, float | None]]) -> Table:
    """Return what gasket thicknesses do, with the peak pressure [MPa] by the model where there is one."""
    head = (
        "clamped thickness [mm]",
        "[in]",
        "compression ratio [1]",
        "quench gap [mm]",
        "[in]",
        "peak pressure of the cycle, all else equal [bar]",
        "to watch",
    )
    rows = tuple(
        (
            number(one.thickness),
            f"{one.thickness / 25.4:.3f}",
            f"{one.compression_ratio:.2f}",
            "not known" if one.quench is None else f"{one.quench:.2f}",
            "not known" if one.quench is None else f"{one.quench / 25.4:.3f}",
            "no model" if peak is None else pressure_in(peak, "bar"),
            "; ".join(one.notes),
        )
        for one, peak in changes
    )
    return Table(head, rows, "What the gasket's thickness does.")


def source_table(named: Sequence[tuple[str, Duty]], against: Sequence[Disagreement]) -> Table:
    """Return duties side by side in order of trust, for the hardest cylinder of each."""
    head = (
        "trust",
        "duty",
        "source",
        "mean peak [bar]",
        "largest peak [bar]",
        "joint must survive [bar]",
        "against the first",
    )
    words = {one.second: one for one in against}
    rows = tuple(
        (
            str(place + 1),
            name,
            duty.kind,
            pressure_in(duty.hardest.mean, "bar"),
            pressure_in(duty.hardest.extreme, "bar"),
            pressure_in(duty.hardest.design_pressure, "bar"),
            Cell("" if place not in words else _standing(words[place])),
        )
        for place, (name, duty) in enumerate(named)
    )
    return Table(head, rows, "Hardest cylinder of each duty; the first is the one to trust most.")


def _standing(one: Disagreement) -> str:
    return f"{change(one.ratio)}, intervals {'overlap' if one.overlap else 'do not overlap'}"
