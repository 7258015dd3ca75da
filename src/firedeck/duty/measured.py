"""From the records of a trace file to worked-up cylinders, the way the duty's definition asks."""

from __future__ import annotations

from collections.abc import Sequence

from firedeck.definition.duty import DutyDefinition, TraceSource
from firedeck.duty.geometry import Cylinder, firing_offset
from firedeck.duty.limits import DutyError
from firedeck.duty.phasing import TopDeadCentre, motored_top_dead_centre, stated_top_dead_centre
from firedeck.duty.record import PressureRecord
from firedeck.duty.trace import TraceResult, TraceSettings, analyse_trace

__all__ = ["analyse_records"]


def analyse_records(
    definition: DutyDefinition, records: Sequence[PressureRecord], motored: Sequence[PressureRecord] = ()
) -> tuple[TraceResult, ...]:
    """Work up the records of a duty's trace.

    Parameters
    ----------
    definition : DutyDefinition
        With a trace as its source.
    records : sequence of PressureRecord
        Fired records, one per cylinder.
    motored : sequence of PressureRecord
        Motored records of some of the cylinders, to find top dead centre by.

    Returns
    -------
    tuple of TraceResult
        One per record, for `firedeck.duty.sources.duty_from_traces`.

    Raises
    ------
    DutyError
        If the source is no trace, or a record cannot be worked up.
    """
    source = definition.source
    if not isinstance(source, TraceSource):
        raise DutyError("the duty's source is not a trace", where="source", remedy='write kind = "trace"')
    cylinder = Cylinder.from_engine(definition.engine)
    settings = TraceSettings(
        peg=source.peg,
        manifold_pressure=source.manifold_pressure,
        exponent=source.polytropic_exponent,
        cycles=definition.cycles,
    )
    centres = _centres(definition, source, cylinder, motored)
    return tuple(
        analyse_trace(
            record,
            cylinder,
            top_dead_centre=_centre_for(definition, centres, record),
            settings=settings,
        )
        for record in records
    )


def _centres(
    definition: DutyDefinition, source: TraceSource, cylinder: Cylinder, motored: Sequence[PressureRecord]
) -> dict[int, TopDeadCentre]:
    """Top dead centres that are known, by cylinder."""
    if source.top_dead_centre is not None:
        first = definition.engine.firing_order[0] if definition.engine.firing_order else 1
        return {first: stated_top_dead_centre(source.top_dead_centre)}
    return {record.cylinder: motored_top_dead_centre(record, cylinder) for record in motored}


def _centre_for(
    definition: DutyDefinition, centres: dict[int, TopDeadCentre], record: PressureRecord
) -> TopDeadCentre | None:
    """Top dead centre of the record's cylinder, carried over from another by the firing order if need be."""
    if not centres or record.cylinder in centres:
        return centres.get(record.cylinder)
    known, centre = next(iter(centres.items()))
    engine = definition.engine
    offset = firing_offset(engine, record.cylinder) - firing_offset(engine, known)
    return centre.moved(offset, f"top dead centre carried over from cylinder {known}, even firing taken")
