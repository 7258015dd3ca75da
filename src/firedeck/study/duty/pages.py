"""The pages of a duty: from a trace, the cycle model or the rule, of a load, and of duties side by side."""

from __future__ import annotations

from matplotlib.figure import Figure

from firedeck.drawing.duty_picture import duties_figure, load_figure, model_figure
from firedeck.drawing.picture_file import to_png_bytes
from firedeck.drawing.trace_picture import fan_figure, peaks_figure, polytropic_figure
from firedeck.duty.geometry import Cylinder
from firedeck.duty.indicator import pressure_fan
from firedeck.duty.result import Duty
from firedeck.report.cautions import duty_limits_section
from firedeck.report.document import (
    Block,
    Document,
    Facts,
    Headline,
    Link,
    Notes,
    Paragraph,
    Picture,
    Section,
)
from firedeck.report.duty_tables import (
    contribution_table,
    count_of,
    cycle_facts,
    duty_facts,
    duty_table,
    load_facts,
    source_table,
    trace_facts,
)
from firedeck.report.duty_words import power, pressure
from firedeck.report.record_tables import provenance_table
from firedeck.study.duty.cases import DutyComparison, LoadReading, ModelReading, RuleReading
from firedeck.study.duty.trace import TraceReading

__all__ = [
    "comparison_headline",
    "duties_page",
    "duty_headline",
    "load_headline",
    "load_page",
    "model_page",
    "rule_page",
    "trace_page",
]


def duty_headline(duty: Duty) -> Headline:
    """Return the first line of a duty: what the joint must survive, and what that is made of."""
    hardest = duty.hardest
    knock = hardest.knock_allowance
    text = f"The joint must survive {pressure(hardest.design_pressure)}"
    made = (
        f"Cylinder {hardest.cylinder}, the hardest: largest peak of {count_of(duty.cycles)} cycles "
        f"{pressure(hardest.extreme)}; mean peak {pressure(hardest.mean)}."
    )
    lines = [made]
    if not knock.bounded_above:
        lines.append("Knock has no upper end: too few cycles rang to say how badly more of them would.")
    elif knock.value == 0.0 and knock.high > 0.0:
        lines.append(f"Knock is not in that value; it may add up to {pressure(knock.high)}.")
    return Headline(text, "", tuple(lines))


def _picture(name: str, figure: Figure, caption: str) -> Picture:
    return Picture(name, to_png_bytes(figure), caption)


def _duty_section(duty: Duty) -> Section:
    return Section("duty", "What the joint must survive", (duty_table(duty), duty_facts(duty)))


def _closing(notes: tuple[str, ...], provenance: dict[str, str]) -> tuple[Section, ...]:
    return (
        Section("assumptions", "Assumptions and doubts", (Notes(notes),)),
        Section("provenance", "Settings and provenance", (provenance_table(provenance),)),
        duty_limits_section(),
    )


def trace_page(reading: TraceReading, *, links: tuple[Link, ...] = ()) -> Document:
    """Put the report of a duty from measured traces together."""
    cylinder = Cylinder.from_engine(reading.definition.engine)
    sections = [_duty_section(reading.duty)]
    for result, fits, indicated in zip(reading.results, reading.fits, reading.indicated, strict=True):
        number = result.cylinder
        blocks: tuple[Block, ...] = (
            trace_facts(result, fits, indicated),
            _picture(f"fan-{number}", fan_figure(pressure_fan(result)), _FAN),
            _picture(f"peaks-{number}", peaks_figure(result), _PEAKS),
            _picture(f"log-p-log-v-{number}", polytropic_figure(result, cylinder, fits), _POLYTROPIC),
        )
        sections.append(Section(f"cylinder-{number}", f"Cylinder {number} as measured", blocks))
    sections += _closing(reading.duty.notes, reading.provenance)
    title = reading.definition.name or "Measured cylinder pressure"
    return Document(title, "Duty from a measured trace", duty_headline(reading.duty), tuple(sections), links)


_FAN = (
    "All cycles over each other, before the filter that the peaks are read behind: mean, middle half and 95 "
    "of 100 cycles angle by angle, and the cycle with the highest peak. Ringing after the peak is knock or "
    "the sensor's passage."
)
_PEAKS = (
    "Peak of each cycle behind the filter. Left: in the order recorded; a slope is drift. Right: how often, "
    "with the normal law. Orange: the largest to expect in the duty's cycles, with the band that holds it in "
    "95 of 100 such runs; nobody measured that far out."
)
_POLYTROPIC = (
    "Mean cycle as pressure over volume, both logarithmic. A straight compression with a usual exponent "
    "speaks for top dead centre, pegging and compression ratio; a crossed or bent tip speaks against them."
)


def model_page(reading: ModelReading, *, links: tuple[Link, ...] = ()) -> Document:
    """Put the report of a duty from the cycle model together."""
    worked = reading.worked
    blocks: list[Block] = [
        _picture(
            "model-cycle",
            model_figure(worked),
            "The cycle for the inputs as stated, between intake closing and exhaust opening, with the band "
            "of what the inputs may be off and of the model itself; beside it what each input alone moves.",
        ),
        cycle_facts(worked),
    ]
    if worked.contributions:
        blocks.append(contribution_table(worked))
    sections = (
        _duty_section(reading.duty),
        Section("cycle", "The modelled cycle", tuple(blocks)),
        *_closing(reading.duty.notes, reading.provenance),
    )
    title = reading.definition.name or "Cycle model"
    return Document(title, "Duty from the cycle model", duty_headline(reading.duty), sections, links)


def rule_page(reading: RuleReading, *, links: tuple[Link, ...] = ()) -> Document:
    """Put the report of a duty by rule of thumb together."""
    sections = (_duty_section(reading.duty), *_closing(reading.duty.notes, reading.provenance))
    title = reading.definition.name or "Rule of thumb"
    return Document(title, "Duty by rule of thumb", duty_headline(reading.duty), sections, links)


def load_headline(reading: LoadReading) -> Headline:
    """Return the first line of an inverse: the power, or mean pressure, at which a peak is reached."""
    load = reading.load
    asked = pressure(load.peak)
    if load.power is None:
        text = f"{asked} is reached at a brake mean effective pressure of {pressure(load.bmep)}"
    else:
        text = f"{asked} is reached at {power(load.power)}"
    lines = [f"Moved to get there: {', '.join(one.words for one in load.moved)}. {_capital(load.notes[0])}."]
    if load.boost is not None:
        lines.insert(0, f"Boost above ambient there: {pressure(load.boost)}.")
    return Headline(text, "", tuple(lines))


def load_page(reading: LoadReading, *, links: tuple[Link, ...] = ()) -> Document:
    """Put the report of the load at which a peak pressure is reached together."""
    picture = _picture(
        "load",
        load_figure(reading.load),
        "Peak pressure over load, the same input moved all along. Shaded upright: the loads at which the "
        "pressure asked for may be reached.",
    )
    sections = (
        Section("load", "Load at that pressure", (load_facts(reading.load), picture)),
        *_closing(reading.load.notes, reading.provenance),
    )
    title = reading.definition.name or "Load at a peak pressure"
    return Document(title, "Power for a peak pressure", load_headline(reading), sections, links)


def comparison_headline(comparison: DutyComparison) -> Headline:
    """Return the first line of duties side by side: which to trust, and whether the others contradict it."""
    best = comparison.duties[0]
    against = comparison.against
    apart = sum(not one.overlap for one in against)
    text = f"Trust “{comparison.names[0]}”: the joint must survive {pressure(best.hardest.design_pressure)}"
    state = (
        "No other duty contradicts it." if apart == 0 else f"{apart} of {len(against)} others contradict it."
    )
    return Headline(text, "", (state, *(f"{_capital(one.text)}." for one in against)))


def _capital(text: str) -> str:
    return (text[:1].upper() + text[1:]).rstrip(".")


def duties_page(comparison: DutyComparison, *, links: tuple[Link, ...] = ()) -> Document:
    """Put the report of duties side by side together."""
    named = list(zip(comparison.names, comparison.duties, strict=True))
    blocks: list[Block] = [
        source_table(named, comparison.against),
        _picture(
            "duties",
            duties_figure(named),
            "Hardest cylinder of each duty with its 95 % intervals, the most trusted on top.",
        ),
        Paragraph(_ORDER),
    ]
    notes = [Notes(comparison.notes)]
    sections = [Section("duties", "Side by side", tuple(blocks)), Section("doubts", "Doubts", tuple(notes))]
    for place, (name, reading) in enumerate(zip(comparison.names, comparison.readings, strict=True), start=1):
        own: tuple[Block, ...] = (
            duty_table(reading.duty),
            duty_facts(reading.duty),
            Notes(reading.duty.notes),
            Facts(tuple(reading.provenance.items())),
        )
        sections.append(Section(f"duty-{place}", name, own))
    sections.append(duty_limits_section())
    return Document(
        "Duties side by side",
        "Sources in order of trust",
        comparison_headline(comparison),
        tuple(sections),
        links,
    )


_ORDER = (
    "A measured trace is trusted before the cycle model, and the model before the rule of thumb. Intervals "
    "that overlap do not prove each other right."
)
