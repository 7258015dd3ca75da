"""What a trace file says of itself, and the questions about what it does not."""

from __future__ import annotations

import re
from dataclasses import dataclass

from firedeck.definition.trace_mapping import PressureColumn, TraceMapping
from firedeck.duty.limits import DutyError
from firedeck.files.trace_layout import (
    ANGLE_UNITS,
    DELIMITERS,
    PRESSURE_UNITS,
    TIME_UNITS,
    VOLT_UNITS,
    Column,
    TraceLayout,
)

__all__ = ["Question", "TraceQuestionsError", "questions_about", "take_from_header", "wanted_columns"]

_CYLINDER_WORDS = re.compile(r"cyl|zyl|^p[ _-]?\d+$", re.IGNORECASE)
_PLAIN_PRESSURE = re.compile(r"p|pressure|druck", re.IGNORECASE)
# a spark advance is in degrees too, but not in these
_CRANK_UNITS = {"°ca", "degca", "deg ca", "cad", "°kw", "ca"}
_ANGLE_WORDS = re.compile(r"crank|angle|winkel|^ca$|cad", re.IGNORECASE)
_TIME_WORDS = re.compile(r"time|zeit|^t$", re.IGNORECASE)


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
    told = take_from_header(layout, mapping)
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


def take_from_header(layout: TraceLayout, mapping: TraceMapping) -> TraceMapping:
    """Fill a mapping up with what the file's own header says beyond doubt."""
    found: dict[str, object] = {}
    if not mapping.pressure:
        named = _cylinder_columns(layout)
        found["pressure"] = tuple(
            PressureColumn.model_construct(
                column=column.number,
                cylinder=number,
                unit=PRESSURE_UNITS[column.unit.lower()],
                gain=None,
                offset=0.0,
                absolute=False,
            )
            for column, number in zip(named, _cylinder_numbers(named), strict=True)
        )
    if mapping.base is None:
        found |= _base_from_header(layout, mapping)
    return mapping.model_copy(update=found)


def _cylinder_columns(layout: TraceLayout) -> list[Column]:
    """Columns that say they are cylinder pressures, or the one plain pressure of the file."""
    pressures = [column for column in layout.columns if column.unit.lower() in PRESSURE_UNITS]
    named = [column for column in pressures if _CYLINDER_WORDS.search(column.name)]
    if named:
        return named
    return [column for column in pressures if len(pressures) == 1 and _PLAIN_PRESSURE.fullmatch(column.name)]


def _cylinder_numbers(named: list[Column]) -> list[int]:
    """Cylinder numbers by the names' own digits where they tell them apart, else in order."""
    digits = [re.findall(r"\d+", column.name) for column in named]
    own = [int(found[-1]) for found in digits if found]
    return own if len(set(own)) == len(named) and all(own) else list(range(1, len(named) + 1))


def _base_from_header(layout: TraceLayout, mapping: TraceMapping) -> dict[str, object]:
    kinds = (("angle", _ANGLE_WORDS, ANGLE_UNITS), ("time", _TIME_WORDS, TIME_UNITS))
    for base, words, units in kinds:
        named = [
            column
            for column in layout.columns
            if column.unit.lower() in units
            and (words.search(column.name) or column.unit.lower() in _CRANK_UNITS)
        ]
        if len(named) == 1:
            unit = mapping.base_unit or units[named[0].unit.lower()]
            return {"base": base, "base_column": mapping.base_column or named[0].number, "base_unit": unit}
    return {}


def _check_columns(layout: TraceLayout, told: TraceMapping) -> None:
    count = len(layout.columns)
    for number in wanted_columns(told):
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


def wanted_columns(told: TraceMapping) -> list[int]:
    """Numbers of the columns that a mapping makes use of, counted from 1."""
    others = (told.base_column, told.tooth_column, told.reference_column)
    numbers = {entry.column for entry in told.pressure} | {number for number in others if number}
    return sorted(numbers)
