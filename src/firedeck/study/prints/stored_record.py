"""What is kept of a reading so that it can be looked at again without reading the print anew."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from firedeck import __version__
from firedeck.drawing.curve_marks import near_fasteners
from firedeck.drawing.strip_picture import axis_of, strip_cells
from firedeck.evidence import Estimate, decode_flags
from firedeck.files.scan_file import file_hash
from firedeck.report.seal_tables import first_leaks
from firedeck.report.words import estimate
from firedeck.seal.leak import LeakPath
from firedeck.seal.profile import LoadTable, SealProfile
from firedeck.study.columns import plain
from firedeck.study.plan_shapes import points_of, shape_plan
from firedeck.study.prints.pages import reading_headline
from firedeck.study.prints.pictures import leak_marks, seal_views
from firedeck.study.prints.reading import PrintReading
from firedeck.study.prints.tiles import TILES_NAME, counts_of, write_tiles

__all__ = [
    "FORMAT",
    "RECORD_NAME",
    "STRIPS_NAME",
    "THUMBNAIL_NAME",
    "record_of",
    "store_reading",
]

#: File with everything but the map and the strips.
RECORD_NAME = "reading.json"

#: File with the unrolled seals.
STRIPS_NAME = "strips.npz"

#: File with a small picture of the map.
THUMBNAIL_NAME = "thumbnail.png"

#: Format of the record; another one is read anew.
FORMAT = 2

#: Leak paths whose way is kept from end to end.
_MOST_TRACED = 24


def store_reading(reading: PrintReading, folder: Path, record: dict[str, Any]) -> None:
    """Write the record of a reading, its unrolled seals and its map in tiles into a folder.

    Parameters
    ----------
    reading : PrintReading
        The reading.
    record : dict
        `record_of` the reading, and what else belongs there.
    folder : Path
        Existing folder; its map stands in ``map.nc`` beside them.
    """
    text = json.dumps(record, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    (folder / RECORD_NAME).write_text(text, encoding="utf-8")
    strips: dict[str, npt.NDArray[np.generic]] = {}
    for place, profile in enumerate(reading.profiles):
        value, states = strip_cells(profile.strip, reading.map)
        strips[f"value{place}"], strips[f"state{place}"] = counts_of(value), states
    with (folder / STRIPS_NAME).open("wb") as file:
        np.savez_compressed(file, allow_pickle=False, **strips)
    write_tiles(folder / TILES_NAME, reading.map.value, reading.map.flags)


def record_of(reading: PrintReading) -> dict[str, Any]:
    """Return a reading but for its map and strips as plain data; an interval's open end is null."""
    record = plain(_record(reading))
    assert isinstance(record, dict)
    return record


def _record(reading: PrintReading) -> dict[str, object]:
    files, headline = reading.files, reading_headline(reading)
    pressure_map, grid = reading.map, reading.map.grid
    return {
        "format": FORMAT,
        "firedeck": __version__,
        "record": files.record,
        "inputs": {name: file_hash(files.folder / name) for name in dict.fromkeys(files.inputs)},
        "scans": {scan.file: _stamp(files.folder / scan.file) for scan in files.test.scans},
        "test": {
            "name": files.test.name,
            "date": files.test.date.isoformat(),
            "operator": files.test.operator,
            "note": files.test.note,
            "gasket": files.gasket.name,
            "film": files.batch.name,
            "film_face": files.test.film_face,
        },
        "landmarks": len(files.test.landmarks),
        "masks": [{"reason": one.reason, "path": one.path} for one in files.test.masks],
        "headline": {"text": headline.text, "state": headline.state, "lines": headline.lines},
        "remarks": reading.verdict.remarks,
        "notes": reading.notes,
        "grid": {
            "x0_mm": grid.x0,
            "y0_mm": grid.y0,
            "pitch_mm": grid.pitch,
            "rows": grid.rows,
            "cols": grid.cols,
        },
        "stated_range_MPa": pressure_map.stated_range,
        "lowest_MPa": pressure_map.lowest,
        "contact_factor": files.criteria.contact_factor,
        "asked": _asked(reading),
        "plan": shape_plan(files.plan),
        "seals": _seals(reading),
        "leaks": _leaks(reading),
        "balance": _balance(reading),
    }


def _stamp(path: Path) -> list[int]:
    """Return size [bytes] and time of change [ns] of a file too large to be hashed at every look."""
    found = path.stat()
    return [found.st_size, found.st_mtime_ns]


def _asked(reading: PrintReading) -> list[dict[str, object]]:
    """Return the contact pressure that each rule for a medium asks for."""
    criteria = reading.files.criteria
    return [
        {
            "medium": rule.medium,
            "fluid_MPa": rule.pressure,
            "contact_MPa": round(criteria.contact_factor * rule.pressure, 4),
            "basis": str(rule.basis),
        }
        for rule in criteria.media
        if rule.pressure > 0
    ]


def _number(one: Estimate) -> dict[str, object]:
    """Return an estimate as plain data with its words; an end that is open is null."""
    return {"value": one.value, "low": one.low, "high": one.high, "text": estimate(one), "flags": one.flags}


def _seals(reading: PrintReading) -> list[dict[str, object]]:
    views = seal_views(reading)
    rows = []
    for view, judged in zip(views, reading.verdict.seals, strict=True):
        summary, profile = view.summary, view.profile
        weakest = summary.weakest
        label, span = axis_of(profile)
        rows.append(
            {
                "name": summary.name,
                "kind": str(summary.kind),
                "state": str(judged.state),
                "governing": judged.governing.text,
                "reasons": [
                    {"rule": one.rule, "state": str(one.state), "text": one.text, "source": one.source}
                    for one in judged.reasons
                ],
                "length_mm": summary.length,
                "round": profile.strip.line.is_round,
                "axis": {"label": label, "span": span, "half_band_mm": profile.strip.seal.band / 2},
                "mean": _number(summary.mean),
                "weakest": None
                if weakest is None
                else {
                    **_number(weakest.line_load),
                    "at_mm": weakest.at,
                    "angle_deg": weakest.angle,
                    "point": weakest.point,
                    "fastener": weakest.fastener,
                    "fastener_mm": weakest.fastener_distance,
                },
                "evenness": summary.evenness,
                "least": view.least,
                "shares": {
                    "saturated": summary.saturated,
                    "under_stated": summary.under_stated,
                    "below": summary.below,
                    "hidden": summary.hidden,
                    "inferred": summary.inferred,
                },
                "curve": _curve(profile, profile.sliding, span),
                "fasteners": [
                    {"name": one.name, "at": one.at * span / profile.length, "angle_deg": one.angle}
                    for one in near_fasteners(reading.files.plan, profile.strip.line)
                ],
            }
        )
    return rows


def _curve(profile: SealProfile, table: LoadTable, span: float) -> dict[str, object]:
    line = profile.strip.line
    row = np.minimum((table.at / line.step).astype(int), len(line.points) - 1)
    return {
        "window_mm": table.window,
        "at": _rounded(table.at * span / profile.length, 3),
        "angle_deg": _rounded(table.angle, 2),
        "load": _rounded(table.line_load, 2),
        "low": _rounded(np.maximum(table.low, 0.0), 2),
        "high": _rounded(table.high, 2),
        "points": points_of(line.points[row]),
        "flags": [" ".join(decode_flags(int(bits))) for bits in table.flags],
    }


def _rounded(values: npt.NDArray[np.float64], digits: int) -> list[float | None]:
    return [round(float(value), digits) if math.isfinite(value) else None for value in values]


def _leaks(reading: PrintReading) -> list[dict[str, object]]:
    """Return the first path of every seal, lowest first, with its way over the deck."""
    paths = first_leaks(reading.files.plan, reading.leaks)
    rows = []
    for place, (mark, path) in enumerate(zip(leak_marks(paths), paths, strict=True)):
        way = points_of(reading.leak_trace(path)) if place < _MOST_TRACED else []
        rows.append({**_leak(reading, path), "mark": mark, "way": way})
    return rows


def _leak(reading: PrintReading, path: LeakPath) -> dict[str, object]:
    states = {judged.seal: str(judged.state) for judged in reading.verdict.seals}
    return {
        "a": path.a,
        "b": path.b,
        "seal": path.seal,
        "state": states.get(path.seal, ""),
        "point": path.point,
        "contact": _number(path.joint),
        "breach": _number(path.breach(reading.files.criteria.contact_factor)),
    }


def _balance(reading: PrintReading) -> dict[str, object] | None:
    balance = reading.balance
    if balance is None:
        return None
    return {
        "text": balance.text,
        "fits": balance.fits,
        "printed_N": _number(balance.printed),
        "in_range_N": _number(balance.in_range),
        "expected_N": _number(balance.expected),
        "saturated_mm2": balance.saturated_area,
        "below_mm2": balance.below_area,
        "basis": balance.basis,
    }
