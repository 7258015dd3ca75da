"""The text of a trace mapping, ready to be filled in: what a file says of itself, and blanks for the rest."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from firedeck.definition.trace_mapping import TraceMapping
from firedeck.files.trace_layout import DELIMITERS, TraceLayout, inspect_trace_file
from firedeck.files.trace_questions import Question, take_from_header

__all__ = ["mapping_text"]

#: Stands where an answer must be written; no mapping with it in place is accepted.
_BLANK = '"?"'

#: How an answer is written, for keys that are neither text of a choice nor a bare number.
_SAMPLES = {
    "speed": "5500 rpm",
    "start_angle": "-360 deg",
    "pressure[0].gain": "20 bar",
}


def mapping_text(path: str | Path, questions: Sequence[Question], mapping: TraceMapping | None = None) -> str:
    """Return a trace mapping as TOML with a blank and the question beside it for all that is open.

    Parameters
    ----------
    path : str or Path
        The trace file.
    questions : sequence of Question
        What is open.
    mapping : TraceMapping, optional
        Answers so far.
    """
    known = mapping or TraceMapping()
    mark = None if known.delimiter is None else DELIMITERS[known.delimiter]
    layout = inspect_trace_file(path, delimiter=mark, decimal=known.decimal, first_row=known.first_row)
    told = take_from_header(layout, known)
    asked = {question.key: question for question in questions}
    lines = ['kind = "trace-mapping"', *_seen(layout), *_separators(layout, known, asked)]
    lines += _plain_keys(told, asked)
    lines += _columns(told, asked)
    return "\n".join(lines) + "\n"


def _seen(layout: TraceLayout) -> Iterator[str]:
    for column in layout.columns:
        unit = f" [{column.unit}]" if column.unit else ""
        yield f"# {column.label}{unit} {column.looks}"


def _separators(layout: TraceLayout, known: TraceMapping, asked: dict[str, Question]) -> Iterator[str]:
    names = {mark: name for name, mark in DELIMITERS.items()}
    for key, value in (
        ("delimiter", names.get(layout.delimiter, "")),
        ("decimal", layout.decimal),
    ):
        if key in asked:
            yield _blank(key, asked[key])
        elif value:
            yield f'{key} = "{value}"' + ("" if getattr(known, key) else "  # as the file shows")


def _plain_keys(told: TraceMapping, asked: dict[str, Question]) -> Iterator[str]:
    fields = told.model_dump(exclude_none=True, exclude_defaults=True)
    for key in TraceMapping.model_fields:
        if key in ("kind", "delimiter", "decimal", "pressure"):
            continue
        if key in asked:
            yield _blank(key, asked[key])
        elif key in fields:
            yield f"{key} = {_written(fields[key])}"


def _columns(told: TraceMapping, asked: dict[str, Question]) -> Iterator[str]:
    for entry in told.pressure:
        yield from ("", "[[pressure]]")
        for key, value in entry.model_dump(exclude_none=True, exclude_defaults=True).items():
            yield f"{key} = {_written(value)}"
    if not told.pressure and any(key.startswith("pressure") for key in asked):
        yield from ("", "[[pressure]]", "cylinder = 1  # which cylinder it is")
        for key in ("column", "unit"):
            yield _blank(key, asked[f"pressure[0].{key}"])
        yield '# gain = "20 bar"  # for a unit of V or mV: pressure of one volt; offset = "0 bar" at no volt'


def _blank(key: str, question: Question) -> str:
    choices = f": {', '.join(question.choices)}" if question.choices else ""
    sample = f', for example "{_SAMPLES[question.key]}"' if question.key in _SAMPLES else ""
    words = question.text.split("? ")[0].rstrip("?")
    none = "; leave this line out for samples" if "none for samples" in question.text else ""
    return f"{key} = {_BLANK}  # {words}{choices}{sample}{none}"


def _written(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value).lower()


def duty_text(trace: str, mapping: str) -> str:
    """Return a duty file as TOML for a trace, with a blank for all that describes the engine.

    Parameters
    ----------
    trace, mapping : str
        Names of the trace file and of its mapping.
    """
    return f"""kind = "duty"

[engine]
bore = "?"  # for example "86 mm" or "3.386 in"
stroke = "?"
rod = "?"  # between centres
compression_ratio = "?"  # for example 9.0
cylinders = "?"  # a whole number
firing_order = []  # for example [1, 3, 4, 2]; needed where more than one cylinder was measured

[engine.valves]
intake_closes = "?"  # after bottom dead centre, for example "50 deg"
exhaust_opens = "?"  # before bottom dead centre

[source]
kind = "trace"
file = "{trace}"
mapping_file = "{mapping}"
"""
