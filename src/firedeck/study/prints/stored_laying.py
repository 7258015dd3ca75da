"""How the scans of a film test lie on the plan, kept so that a page can show it and landmarks can be set."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from firedeck import __version__
from firedeck.film.constellation import Constellation
from firedeck.pressure_map import FloatArray
from firedeck.study.columns import plain
from firedeck.study.folders import write_folder
from firedeck.study.plan_shapes import points_of, shape_plan
from firedeck.study.prints.laying import Laying, SheetLaying
from firedeck.study.prints.scan_jpeg import jpeg_of

__all__ = ["LAYING_NAME", "write_laying"]

#: File with everything but the pictures of the scans.
LAYING_NAME = "laying.json"


def write_laying(laying: Laying, folder: Path) -> None:
    """Write how the scans lie, with a small picture of each; a whole folder or nothing.

    Parameters
    ----------
    laying : Laying
        The scans.
    folder : Path
        Folder to write; an earlier one of firedeck is replaced.

    Raises
    ------
    FiredeckError
        If the folder may not or cannot be written.
    """

    def fill(draft: Path) -> None:
        sheets = []
        for place, sheet in enumerate(laying.sheets, start=1):
            name = f"sheet-{place}.jpg"
            (draft / name).write_bytes(jpeg_of(sheet.picture))
            sheets.append({"picture": name, **_sheet(laying, sheet)})
        plan = shape_plan(laying.files.plan)
        # A hole's centre is that of its area, so the openings' must be too.
        centres = Constellation.of_plan(laying.files.plan)
        middles = dict(zip(centres.names, points_of(centres.discs[:, :2]), strict=True))
        plan["openings"] = [{**one, "middle": middles[one["name"]]} for one in plan["openings"]]
        told = {
            "format": 1,
            "firedeck": __version__,
            "plan": plan,
            "sheets": sheets,
        }
        text = json.dumps(plain(told), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        (draft / LAYING_NAME).write_text(text, encoding="utf-8")

    write_folder(folder, fill)


def _sheet(laying: Laying, sheet: SheetLaying) -> dict[str, object]:
    picture, registration, refusal = sheet.picture, sheet.registration, sheet.refusal
    rows, cols = picture.fine.shape
    nearest = sheet.nearest
    matrix = registration.matrix if registration else nearest.fit.matrix if nearest else None
    return {
        "scan": sheet.scan.file,
        "size_mm": [cols * picture.fine_mm[0], rows * picture.fine_mm[1]],
        "pixel_mm": [one / picture.pooled for one in picture.fine_mm],
        "outline": points_of(sheet.finding.outline),
        "holes": [{"centre": hole.centre, "radius": hole.radius} for hole in sheet.finding.holes],
        "matrix": None if matrix is None else matrix.tolist(),
        "refusal": "" if refusal is None else f"{refusal.message}. To mend: {refusal.remedy}.",
        "words": _words(sheet),
        "misses": _misses(laying, sheet),
        "missing": () if registration is None else registration.missing,
    }


def _words(sheet: SheetLaying) -> str:
    found = sheet.registration
    if found is None:
        return f"{len(sheet.finding.holes)} holes were found on the scan"
    side = "seen from the block" if found.mirrored else "seen from the head"
    holes = f"{found.hole_count} holes, {found.hole_rms:.2f} mm rms" if found.hole_count else "no holes"
    marks = (
        f"{found.mark_count} marks of seals, {found.mark_rms:.2f} mm rms" if found.mark_count else "no marks"
    )
    scale = f"scale {found.scale_x:.4f} in x and {found.scale_y:.4f} in y"
    return "; ".join([f"{side}, turned {found.rotation_deg:.1f}°", scale, holes, marks, *found.notes])


def _misses(laying: Laying, sheet: SheetLaying) -> list[dict[str, object]]:
    """Return how far every matched hole lies from its opening on the deck [mm], the farthest first."""
    found = sheet.registration
    if found is None:
        return []
    openings = Constellation.of_plan(laying.files.plan)
    places = dict(zip(openings.names, openings.discs[:, :2], strict=True))
    rows: list[tuple[float, dict[str, object]]] = []
    for name, hole in found.matched:
        apart: FloatArray = found.to_deck([hole.centre])[0] - places[name]
        far = float(np.hypot(*apart))
        rows.append((far, {"opening": name, "hole": hole.centre, "x": apart[0], "y": apart[1], "far": far}))
    return [row for _, row in sorted(rows, key=lambda pair: -pair[0])]
