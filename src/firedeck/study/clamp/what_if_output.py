"""An answered setting as page, pictures and tables."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from firedeck.drawing.picture_file import to_png_and_svg
from firedeck.report.cautions import prediction_limits_section
from firedeck.report.document import Cell, Document, Facts, Headline, Link, Notes, Picture, Section, Table
from firedeck.report.words import NOT_SHOWN, number
from firedeck.study.clamp.answer import (
    TABLES,
    answer_columns,
    bow_rows,
    fastener_rows,
    seal_rows,
)
from firedeck.study.clamp.pictures import PICTURES, draw_clamp, state_words
from firedeck.study.clamp.what_if import WhatIf
from firedeck.study.report_folder import write_report

__all__ = ["what_if_headline", "what_if_page", "what_if_table", "write_what_if"]

_UNITS = {
    **{f"{name}{end}_N_per_mm": "N/mm" for name in ("mean", "lowest") for end in ("", "_low", "_high")},
    **{f"gives_{end}_MPa": "MPa" for end in ("at", "low", "high")},
    "angle_deg": "degree", "x_mm": "mm", "y_mm": "mm", "lowest_closure_um": "um", "opened_um": "um",
    "tension_kN": "kN", "without_gas_kN": "kN", "swing_kN": "kN", "head_um": "um", "opening_um": "um",
    "brought_to_kN": "kN", "at_mm": "mm", "line_load_N_per_mm": "N/mm", "closure_mm": "mm",
}  # fmt: skip

_CAPTIONS = {
    "map": "Each seal's line load over the width on which it presses; numbers: weakest place of each seal.",
    "line-loads": "Line load [N/mm] of every seal with its 95 % band; triangle: weakest place; broken line: "
    "least asked for.",
    "bow": "The head's lower face against the plane that fits it best; up is away from the block.",
    "giveway": "Cylinder pressure at which each seal gives, the first on top, with its 95 % interval.",
}

_NAMES = {
    "gasket": "gasket", "stages": "tightening", "thread": "friction in the thread",
    "bearing": "friction under the turned face", "state": "joint before gas", "head": "head",
    "block": "block", "fasteners": "fasteners", "pressure": "cylinder pressure",
    "bore": "cylinder that fires",
}  # fmt: skip


def what_if_headline(result: WhatIf) -> Headline:
    """Return the first line: the state, and the seal with the least margin."""
    rows = _by_margin(result)
    least = rows[0]
    text = f"{state_words(result.answer)}: {least['seal']} has {_ratio(least)} times what it needs"
    return Headline(text, str(least["verdict"]))


def _by_margin(result: WhatIf) -> list[dict[str, object]]:
    rows = seal_rows(result.opened, result.answer, result.doubts)
    return sorted(rows, key=lambda row: _number(row["ratio"]) if _known(row["ratio"]) else float("inf"))


def _number(value: object) -> float:
    assert isinstance(value, float)
    return value


def _known(value: object) -> bool:
    return isinstance(value, float) and value == value


def _ratio(row: dict[str, object]) -> str:
    if not _known(row["ratio"]):
        return NOT_SHOWN
    low = f" (from {number(_number(row['ratio_low']), 2)})" if _known(row["ratio_low"]) else ""
    return f"{number(_number(row['ratio']), 2)}{low}"


def _load(row: dict[str, object], name: str) -> str:
    value, low, high = (_number(row[f"{name}{end}_N_per_mm"]) for end in ("", "_low", "_high"))
    ends = f" ({low:.0f} to {high:.0f})" if _known(low) else ""
    return f"{number(value)}{ends}"


def what_if_table(result: WhatIf) -> Table:
    """Return what every seal carries, the least margin on top."""
    head = ("seal", "predicted", "lowest [N/mm]", "at", "mean [N/mm]", "opened by gas [µm]",
            "times what it needs [1]", "governed by")  # fmt: skip
    rows = tuple(
        (
            str(row["seal"]),
            Cell(str(row["verdict"]), str(row["verdict"])) if row["verdict"] else "–",
            _load(row, "lowest"),
            f"{_number(row['angle_deg']):.0f}°",
            _load(row, "mean"),
            f"{_number(row['opened_um']):.1f}",
            _ratio(row),
            str(row["rule"]),
        )
        for row in _by_margin(result)
    )
    return Table(head, rows, "The least margin on top. Brackets: 95 % interval.")


def what_if_page(result: WhatIf, *, links: tuple[Link, ...] = ()) -> Document:
    """Put the page of an answered setting together."""
    files = result.opened.files
    setting = tuple((_NAMES[key], value) for key, value in result.told.items() if value)
    sections = (
        Section("setting", "Setting", (Facts(setting),)),
        Section("seals", "Seals", (what_if_table(result),)),
        Section("pictures", "Pictures", tuple(_pictures(result))),
        Section("fasteners", "Fasteners and bow", (_fasteners(result), _bows(result))),
        Section("assumptions", "Assumptions that change the result", (Notes(result.assumptions),)),
        prediction_limits_section(),
    )
    title = f"{files.prediction.name}, on {files.plan.name}"
    return Document(title, "Prediction of one setting", what_if_headline(result), sections, links)


def _pictures(result: WhatIf) -> list[Picture]:
    found = []
    for name in PICTURES:
        png, svg = to_png_and_svg(draw_clamp(result.opened, result.answer, name, result.weighed))
        found.append(Picture(name, png, _CAPTIONS[name], svg))
    return found


def _fasteners(result: WhatIf) -> Table:
    rows = tuple(
        (str(row["fastener"]), f"{_number(row['tension_kN']):.2f}", f"{_number(row['swing_kN']):+.2f}")
        for row in fastener_rows(result.answer)
    )
    return Table(("fastener", "tension [kN]", "by gas [kN]"), rows)


def _bows(result: WhatIf) -> Table:
    rows = tuple(
        (
            f"{row['fastener_a']} and {row['fastener_b']}",
            f"{_number(row['opening_um']):+.1f}",
            f"{_number(row['head_um']):+.1f}",
        )
        for row in bow_rows(result.answer)
    )
    return Table(("between", "gap stands open [µm]", "head bows [µm]"), rows, "The largest gap on top.")


def write_what_if(
    result: WhatIf, folder: Path, *, overwrite: bool = False, links: Sequence[Link] = ()
) -> Path:
    """Write the page of an answered setting with its pictures and tables; as `write_report`."""
    tables = {name: answer_columns(result.opened, result.answer, name, result.weighed) for name in TABLES}

    def page() -> Document:
        return what_if_page(result, links=tuple(links))

    return write_report(folder, page, tables=tables, units=_UNITS, overwrite=overwrite)
