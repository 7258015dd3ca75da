"""Cylinder pressure traces from text files: what is not said is asked, and answers can be saved."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv
from numpy.typing import NDArray

from firedeck.definition.duty import PressureColumn, TraceMapping
from firedeck.duty.limits import DutyError
from firedeck.duty.record import (
    PressureRecord,
    record_by_angle,
    record_by_samples,
    record_by_teeth,
    record_by_time,
)
from firedeck.files.trace_layout import (
    ANGLE_UNITS,
    DELIMITERS,
    PRESSURE_UNITS,
    TIME_UNITS,
    VOLT_UNITS,
    Column,
    TraceLayout,
    inspect_trace_file,
)
from firedeck.units import UnitError, parse_quantity

__all__ = ["Question", "TraceQuestionsError", "questions_about", "read_trace_file"]

Floats = NDArray[np.float64]

_CYLINDER_WORDS = re.compile(r"p[ _-]?cyl|cyl|zyl|pressure|druck|p[ _-]?\d|^p$", re.IGNORECASE)
_MANIFOLD_WORDS = re.compile(r"map|manifold|boost|intake|inlet|saug|plenum", re.IGNORECASE)
_ANGLE_WORDS = re.compile(r"crank|angle|winkel|^ca$|cad", re.IGNORECASE)
_TIME_WORDS = re.compile(r"time|zeit|^t$", re.IGNORECASE)
_SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6}


@dataclass(frozen=True)
class Question:
    """Something a trace file does not say.

    Attributes
    ----------
    key : str
        Key of the mapping that answers it.
    text : str
        The question.
    choices : tuple of str
        Possible answers; empty when any will do.
    """

    key: str
    text: str
    choices: tuple[str, ...] = ()

    def __str__(self) -> str:
        choices = f" ({', '.join(self.choices)})" if self.choices else ""
        return f"{self.key}: {self.text}{choices}"


class TraceQuestionsError(DutyError):
    """A trace file that leaves questions open; `questions` has them all."""

    def __init__(self, where: str, questions: tuple[Question, ...]) -> None:
        self.questions = questions
        listed = "\n".join(f"  {question}" for question in questions)
        count = "1 thing" if len(questions) == 1 else f"{len(questions)} things"
        super().__init__(
            f"the file leaves {count} open:\n{listed}", where=where, remedy="answer them in a trace mapping"
        )


def read_trace_file(path: str | Path, mapping: TraceMapping | None = None) -> tuple[PressureRecord, ...]:
    """Read the cylinder pressures of a trace file.

    Parameters
    ----------
    path : str or Path
        Text file, one row per sample.
    mapping : TraceMapping, optional
        Answers to what the file does not say.

    Returns
    -------
    tuple of PressureRecord
        One for each cylinder; the notes of each say what was taken from the file's header.

    Raises
    ------
    TraceQuestionsError
        If something stays open.
    DutyError
        If the file cannot be read, or contradicts the mapping.
    """
    known = mapping or TraceMapping()
    mark = None if known.delimiter is None else DELIMITERS[known.delimiter]
    layout = inspect_trace_file(path, delimiter=mark, decimal=known.decimal, first_row=known.first_row)
    told = _take_from_header(layout, known)
    questions = questions_about(layout, told)
    if questions:
        raise TraceQuestionsError(str(path), questions)
    table = _load(Path(path), layout, _wanted(told))
    notes = _told(layout, known, told)
    return tuple(_record(told, layout, table, entry, notes) for entry in told.pressure)


def questions_about(layout: TraceLayout, mapping: TraceMapping) -> tuple[Question, ...]:
    """List everything that neither the file nor the mapping says.

    Parameters
    ----------
    layout : TraceLayout
        The file.
    mapping : TraceMapping
        Answers so far.

    Raises
    ------
    DutyError
        If the mapping names a column that the file does not have, or a unit that it contradicts.
    """
    if not layout.columns:
        return _separator_questions(layout)
    told = _take_from_header(layout, mapping)
    _check_columns(layout, told)
    return (*_pressure_questions(layout, told), *_base_questions(layout, told))


def _separator_questions(layout: TraceLayout) -> tuple[Question, ...]:
    shown = f'a line reads "{layout.example}"'
    questions = []
    if not layout.delimiter:
        questions.append(Question("delimiter", f"{shown}: what parts the columns?", tuple(DELIMITERS)))
    if not layout.decimal:
        questions.append(Question("decimal", f"{shown}: what is the decimal sign?", (".", ",")))
    return tuple(questions)


def _take_from_header(layout: TraceLayout, mapping: TraceMapping) -> TraceMapping:
    """Fill in what the file's own header says beyond doubt."""
    found: dict[str, object] = {}
    if not mapping.pressure:
        named = [column for column in layout.columns if _is_cylinder_pressure(column)]
        found["pressure"] = tuple(
            PressureColumn.model_construct(
                column=column.number,
                cylinder=k + 1,
                unit=PRESSURE_UNITS[column.unit.lower()],
                gain=None,
                offset=0.0,
                absolute=False,
            )
            for k, column in enumerate(named)
        )
    if mapping.base is None:
        found |= _base_from_header(layout, mapping)
    return mapping.model_copy(update=found)


def _is_cylinder_pressure(column: Column) -> bool:
    named = _CYLINDER_WORDS.search(column.name) and not _MANIFOLD_WORDS.search(column.name)
    return bool(named) and column.unit.lower() in PRESSURE_UNITS


def _base_from_header(layout: TraceLayout, mapping: TraceMapping) -> dict[str, object]:
    kinds = (("angle", _ANGLE_WORDS, ANGLE_UNITS), ("time", _TIME_WORDS, TIME_UNITS))
    for base, words, units in kinds:
        named = [
            column
            for column in layout.columns
            if column.unit.lower() in units and (words.search(column.name) or units is ANGLE_UNITS)
        ]
        if len(named) == 1:
            unit = mapping.base_unit or units[named[0].unit.lower()]
            return {"base": base, "base_column": mapping.base_column or named[0].number, "base_unit": unit}
    return {}


def _check_columns(layout: TraceLayout, told: TraceMapping) -> None:
    count = len(layout.columns)
    for number in _wanted(told):
        if number > count:
            raise DutyError(
                f"the mapping names column {number}, but the file has {count}",
                where=layout.file,
                remedy="check that this mapping is for this kind of file",
            )
    for entry in told.pressure:
        written = layout.columns[entry.column - 1].unit.lower()
        stated = PRESSURE_UNITS.get(written) or VOLT_UNITS.get(written)
        if stated and stated != entry.unit:
            raise DutyError(
                f"{layout.columns[entry.column - 1].label} is in {stated} by its header, "
                f"but in {entry.unit} by the mapping",
                where=layout.file,
                remedy="correct the mapping's unit, or the file's header",
            )


def _pressure_questions(layout: TraceLayout, told: TraceMapping) -> list[Question]:
    if told.pressure:
        return []
    seen = "; ".join(f"{column.label}{_unit_of(column)} {column.looks}" for column in layout.columns)
    choices = tuple(str(column.number) for column in layout.columns)
    questions = [Question("pressure[0].column", f"which column is the cylinder pressure? {seen}", choices)]
    volts = any(column.unit.lower() in VOLT_UNITS for column in layout.columns)
    hint = "; some columns are in volts, for which the sensor's gain is needed too" if volts else ""
    units = (*dict.fromkeys(PRESSURE_UNITS.values()), "V", "mV")
    return [*questions, Question("pressure[0].unit", f"what is the unit of that pressure{hint}?", units)]


def _unit_of(column: Column) -> str:
    return f" [{column.unit}]" if column.unit else ""


def _base_questions(layout: TraceLayout, told: TraceMapping) -> list[Question]:
    if told.base is None:
        seen = "; ".join(f"{column.label}{_unit_of(column)} {column.looks}" for column in layout.columns)
        return [
            Question(
                "base",
                f"do the rows count crank angle, time, or just samples? {seen}",
                ("angle", "time", "sample"),
            ),
            Question("base_column", "which column counts them? (none for samples)"),
            Question("base_unit", "in what unit? (none for samples)", ("deg", "rad", "s", "ms", "us")),
            Question("speed", "at what engine speed was it recorded?"),
        ]
    questions = []
    if told.base != "sample" and told.base_column is None:
        questions.append(Question("base_column", f"which column counts the {told.base}?"))
    units = {"angle": ("deg", "rad"), "time": ("s", "ms", "us"), "sample": ()}[told.base]
    if units and told.base_unit not in units:
        questions.append(Question("base_unit", f"in what unit is the {told.base}?", units))
    if told.base == "sample" and told.samples_per_turn is None:
        questions.append(Question("samples_per_turn", "how many samples make one crank turn?"))
    if told.tooth_column is not None and told.teeth is None:
        questions.append(Question("teeth", "how many teeth has the full crank wheel, missing ones counted?"))
    if told.reference_column is not None and told.reference_unit is None:
        questions.append(Question("reference_unit", "in what unit is the absolute manifold pressure?"))
    if told.speed is None and (told.base != "time" or told.tooth_column is None):
        questions.append(Question("speed", "at what engine speed was it recorded?"))
    return questions


def _wanted(told: TraceMapping) -> list[int]:
    others = (told.base_column, told.tooth_column, told.reference_column)
    numbers = {entry.column for entry in told.pressure} | {number for number in others if number}
    return sorted(numbers)


def _told(layout: TraceLayout, known: TraceMapping, told: TraceMapping) -> tuple[str, ...]:
    """Say what was taken from the header, so that nothing is assumed in silence."""
    notes = []
    if not known.pressure:
        names = ", ".join(
            f"{layout.columns[entry.column - 1].label} in {entry.unit} as cylinder {entry.cylinder}"
            for entry in told.pressure
        )
        notes.append(f"by the file's header: {names}")
    if known.base is None and told.base_column:
        column = layout.columns[told.base_column - 1]
        notes.append(f"by the file's header: {column.label} counts {told.base} in {told.base_unit}")
    return tuple(notes)


def _load(path: Path, layout: TraceLayout, wanted: Iterable[int]) -> dict[int, Floats]:
    """Read the wanted columns whole."""
    names = [f"c{column.number}" for column in layout.columns]
    source: io.BytesIO | str = str(path)
    delimiter = layout.delimiter
    if delimiter == " ":
        source, delimiter = (
            io.BytesIO(re.sub(rb"[ \t]+", b" ", path.read_bytes()).replace(b"\n ", b"\n")),
            " ",
        )
    skipped = 0

    def skip(_row: pa.csv.InvalidRow) -> str:
        nonlocal skipped
        # a trailing delimiter, and a last line cut short, are no reason to refuse a trace
        skipped += 1
        return "skip"

    keep = [f"c{number}" for number in wanted]
    try:
        table = pa.csv.read_csv(
            source,
            read_options=pa.csv.ReadOptions(
                skip_rows=layout.first_row - 1,
                column_names=[*names, *_tail(layout)],
                encoding=layout.encoding,
            ),
            parse_options=pa.csv.ParseOptions(delimiter=delimiter, invalid_row_handler=skip),
            convert_options=pa.csv.ConvertOptions(
                include_columns=keep,
                column_types={name: pa.float64() for name in keep},
                decimal_point=layout.decimal or ".",
                null_values=["", "nan", "NaN", "NAN", "-"],
            ),
        )
    except (pa.ArrowInvalid, OSError) as fault:
        raise DutyError(
            f"the numbers of the file cannot be read: {str(fault).splitlines()[0]}",
            where=str(path),
            remedy="mend or cut the rows that are not numbers",
        ) from fault
    if skipped > max(10, 0.001 * table.num_rows):
        raise DutyError(
            f"{skipped} rows of the file have another number of columns",
            where=str(path),
            remedy="export the trace again, or cut it into files of one layout",
        )
    return {number: table.column(f"c{number}").to_numpy() for number in wanted}


def _tail(layout: TraceLayout) -> list[str]:
    """Name of the empty column that a delimiter at the end of the line opens."""
    ends = layout.delimiter != " " and layout.example.rstrip(" ").endswith(layout.delimiter)
    return ["tail"] if ends else []


def _record(
    told: TraceMapping,
    layout: TraceLayout,
    table: dict[int, Floats],
    entry: PressureColumn,
    notes: tuple[str, ...],
) -> PressureRecord:
    pressure = _pressure(table[entry.column], entry, layout)
    manifold = None
    if told.reference_column and told.reference_unit:
        manifold = table[told.reference_column] * _factor(told.reference_unit, layout)
    sound, lost = _without_holes(pressure, table, told)
    pressure, base = pressure[sound], {number: values[sound] for number, values in table.items()}
    manifold = None if manifold is None else manifold[sound]
    found = _by_base(told, pressure, base, entry, manifold)
    lost_note = (f"{lost} rows without a number left out",) if lost else ()
    return PressureRecord(**{**vars(found), "notes": (*notes, *lost_note, *found.notes)})


def _without_holes(
    pressure: Floats, table: dict[int, Floats], told: TraceMapping
) -> tuple[NDArray[np.bool_], int]:
    sound = np.isfinite(pressure)
    for number in (told.base_column, told.tooth_column):
        if number:
            sound &= np.isfinite(table[number])
    return sound, int(np.count_nonzero(~sound))


def _by_base(
    told: TraceMapping,
    pressure: Floats,
    table: dict[int, Floats],
    entry: PressureColumn,
    manifold: Floats | None,
) -> PressureRecord:
    if told.base == "sample":
        return record_by_samples(
            pressure,
            told.samples_per_turn or 0.0,
            start_angle=told.start_angle,
            cylinder=entry.cylinder,
            absolute=entry.absolute,
            speed=told.speed,
            manifold_pressure=manifold,
        )
    base = table[told.base_column or 1]
    if told.base == "angle":
        angle = np.degrees(base) if told.base_unit == "rad" else base
        return record_by_angle(
            angle,
            pressure,
            cylinder=entry.cylinder,
            absolute=entry.absolute,
            speed=told.speed,
            manifold_pressure=manifold,
        )
    time = base * _SECONDS[told.base_unit or "s"]
    if told.tooth_column:
        return record_by_teeth(
            time,
            pressure,
            table[told.tooth_column],
            told.teeth or 0,
            told.missing_teeth,
            cylinder=entry.cylinder,
            absolute=entry.absolute,
            manifold_pressure=manifold,
        )
    return record_by_time(
        time,
        pressure,
        told.speed or 0.0,
        cylinder=entry.cylinder,
        absolute=entry.absolute,
        manifold_pressure=manifold,
    )


def _pressure(values: Floats, entry: PressureColumn, layout: TraceLayout) -> Floats:
    if entry.unit in ("V", "mV"):
        volts = values * (1e-3 if entry.unit == "mV" else 1.0)
        return volts * (entry.gain or 0.0) + entry.offset
    return values * _factor(entry.unit, layout) + entry.offset


def _factor(unit: str, layout: TraceLayout) -> float:
    """Return one `unit` in MPa."""
    try:
        return parse_quantity(f"1 {unit}", "pressure")
    except UnitError as fault:
        raise DutyError(
            f"{unit!r} is not a unit of pressure", where=layout.file, remedy="write bar, kPa, MPa or psi"
        ) from fault
