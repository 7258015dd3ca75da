"""The duty from a measured trace: what is not said is asked for, the rest worked up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from firedeck.definition.duty import DutyDefinition, TraceSource
from firedeck.definition.trace_mapping import TraceMapping
from firedeck.duty.geometry import Cylinder
from firedeck.duty.indicator import PolytropicFit, indicated_pressure, polytropic_fits
from firedeck.duty.limits import DutyError
from firedeck.duty.measured import analyse_records
from firedeck.duty.record import PressureRecord
from firedeck.duty.result import Duty
from firedeck.duty.sources import duty_from_traces
from firedeck.duty.trace import TraceResult
from firedeck.errors import DefinitionError
from firedeck.evidence import Estimate
from firedeck.files.definition_faults import translate_faults
from firedeck.files.definition_file import read_definition
from firedeck.files.trace_answers import duty_text, mapping_text
from firedeck.files.trace_file import read_trace_file
from firedeck.files.trace_questions import Question, TraceQuestionsError
from firedeck.study.duty.file import duty_provenance, load_duty
from firedeck.study.progress import Progress, silent

__all__ = ["TraceOptions", "TraceReading", "UnclearTraceError", "read_trace", "read_trace_duty"]


@dataclass(frozen=True)
class TraceOptions:
    """What a user may say beside a trace file; None leaves it to the duty file.

    Attributes
    ----------
    duty_file, mapping_file, motored_file : Path or None
        Files that describe the engine, how to read the trace, and the motored trace.
    peg : str or None
        ``"intake"``, ``"polytropic"`` or ``"none"``.
    manifold_pressure : float or None
        Absolute manifold pressure to peg to [MPa].
    top_dead_centre : float or None
        Angle that the file gives firing top dead centre [deg].
    speed : float or None
        Engine speed of this trace [1/min], over the mapping's.
    cycles : int or None
        Cycles that the extreme is for.
    """

    duty_file: Path | None = None
    mapping_file: Path | None = None
    motored_file: Path | None = None
    peg: str | None = None
    manifold_pressure: float | None = None
    top_dead_centre: float | None = None
    speed: float | None = None
    cycles: int | None = None


@dataclass(frozen=True)
class TraceReading:
    """A duty by measured traces.

    Attributes
    ----------
    definition : DutyDefinition
        The engine, and how the trace was worked up.
    duty : Duty
        The duty.
    results : tuple of TraceResult
        What each measured cylinder showed.
    fits : tuple of tuple of PolytropicFit
        Polytropic lines of each.
    indicated : tuple of Estimate
        Gross indicated mean effective pressure of each [MPa].
    provenance : dict of str to str
        Version and hashes.
    """

    definition: DutyDefinition
    duty: Duty
    results: tuple[TraceResult, ...]
    fits: tuple[tuple[PolytropicFit, ...], ...]
    indicated: tuple[Estimate, ...]
    provenance: dict[str, str]


class UnclearTraceError(DutyError):
    """A trace that leaves something open.

    Attributes
    ----------
    questions : tuple of Question
        What is open.
    name : str
        Name of the file that would answer: ``mapping.toml`` or ``duty.toml``.
    text : str
        Its text with blanks, ready to copy.
    """

    def __init__(self, where: str, questions: tuple[Question, ...], name: str, text: str) -> None:
        self.questions, self.name, self.text = questions, name, text
        listed = "\n".join(f"  {question}" for question in questions)
        count = "1 thing is" if len(questions) == 1 else f"{len(questions)} things are"
        option = "--mapping" if name == "mapping.toml" else "--duty"
        super().__init__(
            f"{count} not said and must be stated:\n{listed}",
            where=where,
            remedy=f'save the text that follows as {name}, fill in each "?", and give {option} {name}',
        )


def read_trace(
    path: Path, options: TraceOptions | None = None, *, progress: Progress = silent
) -> TraceReading:
    """Read and work up a trace, by itself with what is said beside it, or by the duty file that names it.

    Parameters
    ----------
    path : Path
        Trace file, or duty file (``.toml``) whose source is a trace.
    options : TraceOptions, optional
        What is said beside it.
    progress : callable
        Told how far the work is.

    Raises
    ------
    UnclearTraceError
        If something must be stated first.
    FiredeckError
        If a file is faulty or the trace cannot be worked up.
    """
    said = options or TraceOptions()
    mapping = TraceMapping()
    if said.mapping_file is not None:
        mapping = read_definition(said.mapping_file, TraceMapping)
    if path.suffix.lower() == ".toml":
        definition = _amended(_with_trace(load_duty(path), path), said)
        return read_trace_duty(path, definition, mapping, speed=said.speed, progress=progress)
    if said.duty_file is None:
        _read(path, _with_speed(mapping, said.speed))  # whatever else is open is asked first
        names = path.name, "mapping.toml" if said.mapping_file is None else said.mapping_file.name
        raise UnclearTraceError(str(path), (_ENGINE_QUESTION,), "duty.toml", duty_text(*names))
    definition = _of_trace(load_duty(said.duty_file), path, said)
    return read_trace_duty(
        said.duty_file, definition, mapping, speed=said.speed, trace=path, progress=progress
    )


_ENGINE_QUESTION = Question(
    "engine", "bore, stroke, rod, compression ratio, valve events and firing order of the engine"
)


def _with_trace(definition: DutyDefinition, path: Path) -> DutyDefinition:
    """Return the definition if its source is a trace, else refuse it."""
    kind = definition.source.kind
    if kind == "trace":
        return definition
    raise DutyError(
        f"the duty's source is {kind!r}, not 'trace'",
        where=str(path),
        remedy=f"use firedeck duty {kind}, or name the trace file and give --duty {path.name}",
    )


def _amended(definition: DutyDefinition, said: TraceOptions) -> DutyDefinition:
    """Put what was said beside the file into the definition, checked like the file itself."""
    source = {
        "peg": said.peg,
        "manifold_pressure": _text(said.manifold_pressure, "MPa"),
        "top_dead_centre": _text(said.top_dead_centre, "deg"),
    }
    data = definition.model_dump(exclude_none=True)
    data["source"] |= {key: value for key, value in source.items() if value is not None}
    if said.motored_file is not None:
        data["source"]["motored_file"] = str(said.motored_file.resolve())
    if said.mapping_file is not None:
        data["source"] |= {"mapping_file": "", "mapping": {}}
    if said.cycles is not None:
        data["cycles"] = said.cycles
    try:
        return DutyDefinition.model_validate(data)
    except ValidationError as faults:
        errors = faults.errors(include_url=False)
        raise DefinitionError(
            translate_faults("said beside the trace", data, DutyDefinition, errors)
        ) from faults


def _text(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{value:.12g} {unit}"


def _of_trace(definition: DutyDefinition, path: Path, said: TraceOptions) -> DutyDefinition:
    """Take the engine of a duty, and its settings where its source is a trace, for another file."""
    file = str(path.resolve())
    if isinstance(definition.source, TraceSource):
        own = {"source": definition.source.model_copy(update={"file": file})}
        return _amended(definition.model_copy(update=own), said)
    other = {"source": TraceSource(kind="trace", file=file), "name": path.name, "knock_allowance": None}
    return _amended(definition.model_copy(update=other), said)


def read_trace_duty(
    path: Path,
    definition: DutyDefinition,
    mapping: TraceMapping,
    *,
    speed: float | None = None,
    trace: Path | None = None,
    progress: Progress = silent,
) -> TraceReading:
    """Work up the trace that a duty names.

    Parameters
    ----------
    path : Path
        The duty's file; names in it are relative to its folder.
    definition : DutyDefinition
        The duty, its source a trace.
    mapping : TraceMapping
        How to read the trace, where the duty does not say.
    speed : float, optional
        Engine speed of the trace [1/min], over the mapping's.
    trace : Path, optional
        The trace as the user named it, for messages.
    progress : callable
        Told how far the work is.

    Raises
    ------
    UnclearTraceError
        If something must be stated first.
    FiredeckError
        If a file is faulty or the trace cannot be worked up.
    """
    source = _with_trace(definition, path).source
    assert isinstance(source, TraceSource)
    known, used = _mapping(path.parent, source, mapping)
    file = trace or path.parent / source.file
    progress(f"reading {file.name}", 0.1)
    records = _read(file, _with_speed(known, speed))
    motored: tuple[PressureRecord, ...] = ()
    files = [path, *used, file]
    if source.motored_file:
        files.append(path.parent / source.motored_file)
        progress(f"reading {files[-1].name}", 0.4)
        motored = _read(files[-1], known)
    progress("working up the cycles", 0.5)
    results = analyse_records(definition, records, motored)
    cylinder = Cylinder.from_engine(definition.engine)
    fits = tuple(polytropic_fits(result, cylinder) for result in results)
    indicated = tuple(indicated_pressure(result, cylinder) for result in results)
    duty = duty_from_traces(definition, results)
    return TraceReading(definition, duty, results, fits, indicated, duty_provenance(files))


def _mapping(folder: Path, source: TraceSource, given: TraceMapping) -> tuple[TraceMapping, Sequence[Path]]:
    """Return the mapping that holds, and the file it is from."""
    if source.mapping_file:
        place = folder / source.mapping_file
        return read_definition(place, TraceMapping), (place,)
    return (source.mapping, ()) if source.mapping != TraceMapping() else (given, ())


def _with_speed(mapping: TraceMapping, speed: float | None) -> TraceMapping:
    return mapping if speed is None else mapping.model_copy(update={"speed": speed})


def _read(path: Path, mapping: TraceMapping) -> tuple[PressureRecord, ...]:
    try:
        return read_trace_file(path, mapping)
    except TraceQuestionsError as asked:
        text = mapping_text(path, asked.questions, mapping)
        raise UnclearTraceError(str(path), asked.questions, "mapping.toml", text) from asked
