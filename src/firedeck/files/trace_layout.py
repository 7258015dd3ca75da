"""How a trace file of unknown dialect is laid out: separators, header, columns, and what they look like."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from firedeck.duty.limits import DutyError

__all__ = [
    "ANGLE_UNITS",
    "DELIMITERS",
    "PRESSURE_UNITS",
    "TIME_UNITS",
    "VOLT_UNITS",
    "Column",
    "TraceLayout",
    "inspect_trace_file",
]

#: Spelling in files -> unit, by what it measures.
PRESSURE_UNITS = {
    "bar": "bar", "mbar": "mbar", "hpa": "hPa", "kpa": "kPa", "mpa": "MPa", "pa": "Pa", "psi": "psi",
    "psia": "psi", "n/mm²": "MPa", "n/mm2": "MPa",
}  # fmt: skip
VOLT_UNITS = {"v": "V", "volt": "V", "volts": "V", "mv": "mV"}
ANGLE_UNITS = {
    "deg": "deg", "°": "deg", "°ca": "deg", "degca": "deg", "deg ca": "deg", "cad": "deg", "°kw": "deg",
    "degree": "deg", "degrees": "deg", "ca": "deg", "rad": "rad",
}  # fmt: skip
TIME_UNITS = {"s": "s", "sec": "s", "seconds": "s", "ms": "ms", "us": "us", "µs": "us", "μs": "us"}
_NO_UNIT = {"", "-", "--", "1", "rpm", "1/min", "u/min", "%", "k", "°c", "degc", "c", "n", "nm"}

#: Word in a mapping -> character between columns.
DELIMITERS = {"tab": "\t", ";": ";", "|": "|", ",": ",", "blank": " "}

_COMMENT = ("#", "%", "//", "!", "'")
_BYTES = 32_768
_NUMBER = {
    ".": re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?|nan|NaN|NAN"),
    ",": re.compile(r"[-+]?(\d+,?\d*|,\d+)([eE][-+]?\d+)?|nan|NaN|NAN"),
}


@dataclass(frozen=True)
class Column:
    """One column of the file.

    Attributes
    ----------
    number : int
        Counted from 1.
    name : str
        As the file heads it; empty when it does not.
    unit : str
        As the file says; empty when it does not.
    lowest, highest : float
        Of the first rows, in the column's unit.
    looks : str
        What it looks like, in words.
    """

    number: int
    name: str
    unit: str
    lowest: float
    highest: float
    looks: str

    @property
    def label(self) -> str:
        """Number and name for a person."""
        return f"column {self.number} ({self.name})" if self.name else f"column {self.number} (unnamed)"


@dataclass(frozen=True)
class TraceLayout:
    """Layout of a trace file.

    Attributes
    ----------
    file : str
        Name as given.
    encoding : str
        Text encoding.
    delimiter, decimal : str
        Separators; empty where the file allows more than one reading.
    first_row : int
        Line of the first numbers, counted from 1.
    columns : tuple of Column
        The columns; empty while the separators are open.
    example : str
        First line of numbers, to show beside a question.
    """

    file: str
    encoding: str
    delimiter: str
    decimal: str
    first_row: int
    columns: tuple[Column, ...]
    example: str


def inspect_trace_file(
    path: str | Path,
    *,
    delimiter: str | None = None,
    decimal: str | None = None,
    first_row: int | None = None,
) -> TraceLayout:
    """Find out how a trace file is laid out, from its beginning.

    Parameters
    ----------
    path : str or Path
        The file.
    delimiter, decimal : str, optional
        Separators where they are known.
    first_row : int, optional
        Line of the first numbers, counted from 1, where it is known.

    Raises
    ------
    DutyError
        If the file cannot be read or holds no table of numbers.
    """
    encoding, lines = _preview(path)
    readings = [
        reading
        for mark in DELIMITERS.values()
        for point in (".", ",")
        if delimiter in (None, mark) and decimal in (None, point) and not mark == point == ","
        for reading in _table_of(lines, mark, point, first_row)
    ]
    best = _best(readings)
    if not best:
        raise DutyError(
            "no table of numbers was found in the file",
            where=str(path),
            remedy="export the trace as text, one row per sample, columns parted by tabs or semicolons",
        )
    start, example = best[0].start, lines[best[0].start]
    if first_row is None:
        _refuse_break(lines, best[0], str(path))
    if len(best) > 1:
        marks, points = {reading.delimiter for reading in best}, {reading.decimal for reading in best}
        mark = marks.pop() if len(marks) == 1 else ""
        return TraceLayout(
            str(path), encoding, mark, points.pop() if len(points) == 1 else "", start + 1, (), example
        )
    found = best[0]
    if decimal is None and _commas_twice(lines[:start], found):
        return TraceLayout(str(path), encoding, ",", "", start + 1, (), example)
    columns = _columns(lines[:start], found)
    return TraceLayout(str(path), encoding, found.delimiter, found.decimal, start + 1, columns, example)


@dataclass(frozen=True)
class _Reading:
    delimiter: str
    decimal: str
    start: int
    values: NDArray[np.float64]


def _refuse_break(lines: list[str], reading: _Reading, where: str) -> None:
    """Refuse a table with a broken line in it, which would else be read from below the break only."""
    number, count = _NUMBER[reading.decimal], reading.values.shape[1]
    above = [split_fields(line, reading.delimiter) for line in lines[: reading.start]]
    rows = [row for row in above if len(row) == count and all(number.fullmatch(field) for field in row)]
    if len(rows) >= 5:
        raise DutyError(
            f"line {reading.start} is not numbers, but {len(rows)} lines above it are",
            where=where,
            remedy="mend that line, or say with first_row where the trace begins",
        )


def _commas_twice(header: list[str], reading: _Reading) -> bool:
    """Whether commas may be parting columns and decimals alike, as in 0,5,12,3."""
    values = reading.values
    if reading.delimiter != "," or values.shape[1] % 2 or np.any(values != np.round(values)):
        return False
    return not any(len(split_fields(line, ",")) == values.shape[1] for line in header)


def _preview(path: str | Path) -> tuple[str, list[str]]:
    try:
        with Path(path).open("rb") as stream:
            raw = stream.read(_BYTES)
    except OSError as fault:
        raise DutyError(
            "the trace file cannot be read", where=str(path), remedy="check the name and your rights to it"
        ) from fault
    encoding, text = _decoded(raw, str(path))
    lines = text.splitlines()
    whole = lines if len(raw) < _BYTES else lines[:-1]
    return encoding, [line.rstrip("\r\n") for line in whole]


def _decoded(raw: bytes, where: str) -> tuple[str, str]:
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16", raw[: len(raw) // 2 * 2].decode("utf-16", errors="ignore")
    if b"\0" in raw:
        raise DutyError(
            "the file is not text", where=where, remedy="export the trace as CSV or tab-separated text"
        )
    try:
        return "utf-8", raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        if fault.start > len(raw) - 4:
            return "utf-8", raw[: fault.start].decode("utf-8-sig")
        return "cp1252", raw.decode("cp1252", errors="replace")


def split_fields(line: str, delimiter: str) -> list[str]:
    """Fields of a line without quotes and blanks; a delimiter at the end opens no field."""
    parts = line.split() if delimiter == " " else line.rstrip().removesuffix(delimiter).split(delimiter)
    return [part.strip().strip('"').strip() for part in parts]


def _table_of(lines: list[str], delimiter: str, decimal: str, first_row: int | None) -> list[_Reading]:
    """Read the preview from its end backwards for as long as every line is numbers; empty if none."""
    body = [k for k, line in enumerate(lines) if line.strip() and not line.lstrip().startswith(_COMMENT)]
    rows: list[list[str]] = []
    start = -1
    number = _NUMBER[decimal]
    skipped = 0
    for k in reversed(body):
        fields = split_fields(lines[k], delimiter)
        fits = all(field == "" or number.fullmatch(field) for field in fields) and any(fields)
        if not fits or (rows and len(fields) != len(rows[-1])):
            if rows or skipped >= 3:
                break
            skipped += 1
            continue
        rows.append(fields)
        start = k
    if first_row is not None and start >= 0:
        rows, start = _from_row(rows, body, start, first_row - 1)
    if len(rows) < 3:
        return []
    return [_Reading(delimiter, decimal, start, _values(rows[::-1], decimal))]


def _from_row(rows: list[list[str]], body: list[int], start: int, wanted: int) -> tuple[list[list[str]], int]:
    """Drop the rows before the line that the user says the numbers start on."""
    drop = len([k for k in body if start <= k < wanted])
    return (rows[: len(rows) - drop], max(start, wanted)) if drop < len(rows) else ([], start)


def _values(rows: list[list[str]], decimal: str) -> NDArray[np.float64]:
    return np.array([[_number(field, decimal) for field in row] for row in rows])


def _number(field: str, decimal: str) -> float:
    return float(field.replace(decimal, ".")) if field else float("nan")


def _best(readings: list[_Reading]) -> list[_Reading]:
    """Choose the readings that explain the file best; several when they contradict each other."""
    if not readings:
        return []
    parted = [reading for reading in readings if reading.values.shape[1] > 1]
    # a comma, or a blank, between numbers only parts columns when nothing clearer does
    for clear in ("\t", ";", "|"):
        sure = [reading for reading in parted if reading.delimiter == clear]
        if sure:
            return _one_point(sure)
    commas = [reading for reading in readings if "," in (reading.delimiter, reading.decimal)]
    blanks = [reading for reading in parted if reading.delimiter == " "]
    if blanks:
        return _one_point(blanks)
    pointed = [reading for reading in commas if reading.delimiter == ","]
    if pointed and pointed[0].values.shape[1] > 1:
        fraction = np.any(pointed[0].values != np.round(pointed[0].values))
        alone = [reading for reading in readings if reading.values.shape[1] == 1 and reading.decimal == ","]
        return pointed if fraction or not alone else [pointed[0], alone[0]]
    return _one_point([reading for reading in readings if reading.values.shape[1] == 1][:2])


def _one_point(readings: list[_Reading]) -> list[_Reading]:
    """One reading when decimal point and comma read the same, as they do for whole numbers."""
    if len(readings) == 2 and np.array_equal(readings[0].values, readings[1].values, equal_nan=True):
        return readings[:1]
    return readings


def _columns(header: list[str], reading: _Reading) -> tuple[Column, ...]:
    count = reading.values.shape[1]
    names, units = _headings(header, reading.delimiter, count)
    return tuple(
        Column(
            k + 1,
            names[k],
            units[k],
            float(np.nanmin(reading.values[:, k]))
            if np.isfinite(reading.values[:, k]).any()
            else float("nan"),
            float(np.nanmax(reading.values[:, k]))
            if np.isfinite(reading.values[:, k]).any()
            else float("nan"),
            _looks(reading.values[:, k]),
        )
        for k in range(count)
    )


def _headings(header: list[str], delimiter: str, count: int) -> tuple[list[str], list[str]]:
    """Names and units from the lines above the numbers; empty texts where there are none."""
    full = [
        fields
        for line in header
        if line.strip() and len(fields := split_fields(line.lstrip("#%!'/ "), delimiter)) == count
    ]
    nothing = [""] * count
    if not full:
        return nothing, nothing
    if len(full) > 1 and all(_is_unit(field) for field in full[-1]) and any(full[-1]):
        return full[-2], [field.strip("[]() ") for field in full[-1]]
    if all(re.fullmatch(r"[-+\d.,eE]+", field) for field in full[-1]):
        return nothing, nothing
    parted = [re.fullmatch(r"(.*?)\s*[\[(]\s*(.*?)\s*[\])]", field) for field in full[-1]]
    names = [match[1] if match else field for match, field in zip(parted, full[-1], strict=True)]
    return names, [match[2] if match else "" for match in parted]


def _is_unit(field: str) -> bool:
    word = field.strip("[]() ").lower()
    return word in PRESSURE_UNITS | VOLT_UNITS | ANGLE_UNITS | TIME_UNITS or word in _NO_UNIT


def _looks(values: NDArray[np.float64]) -> str:
    steps = np.diff(values)
    steps = steps[np.isfinite(steps)]
    if steps.size < 3:
        return "too short to tell"
    typical = float(np.median(steps))
    if typical > 0.0:
        even = np.abs(steps - typical) < 0.02 * typical + 1e-9
        if even.mean() > 0.9:
            return f"rises evenly by {typical:g}" + (", starting over" if (steps < 0).any() else "")
        if (steps > 0.0).all():
            return "rises unevenly"
    if np.ptp(values[np.isfinite(values)]) == 0.0:
        return f"stays at {values[0]:g}"
    return f"goes from {np.nanmin(values):g} to {np.nanmax(values):g} in the first rows"
