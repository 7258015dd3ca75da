"""The pieces found on a calibration scan: drawn, kept for the page, and told why one is not used."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import shapely

from firedeck.definition.calibration import FilmCalibration
from firedeck.drawing.picture_file import save
from firedeck.drawing.pieces_picture import PieceMark, pieces_figure
from firedeck.files.definition_file import read_definition
from firedeck.film.picture import ScanPicture
from firedeck.film.pieces import FoundPiece, PiecesError
from firedeck.study.columns import plain
from firedeck.study.plan_shapes import points_of
from firedeck.study.prints.calibrating import CalibrationResult
from firedeck.study.prints.scan_jpeg import jpeg_of
from firedeck.study.prints.scanning import load_scan

__all__ = [
    "PIECES_NAME",
    "SCAN_NAME",
    "USED",
    "piece_marks",
    "standings",
    "write_found_pieces",
    "write_pieces_refusal",
]

#: Files of a calibration's report that its page is made from.
PIECES_NAME = "pieces.json"
SCAN_NAME = "scan.jpg"

#: What stands for a piece that the curve rests on.
USED = "used"

#: How far a kept edge may lie beside that found [mm].
_BESIDE_MM = 0.1


def standings(result: CalibrationResult) -> list[str]:
    """Return of every piece whether the curve rests on it, and if not why.

    Parameters
    ----------
    result : CalibrationResult
        The calibration.

    Returns
    -------
    list of str
        ``used``, or the reason, in the order of the pieces.
    """
    response = result.batch.response
    assert response is not None  # a calibration has one
    lowest, highest = response.pressure[0], response.pressure[-1]
    told = []
    for piece in result.pieces:
        if piece.pressure == 0.0:
            told.append("blank: gives the scatter of the film")
        elif piece.pressure < lowest * (1.0 - 1e-5):
            told.append("not used: no darker than blank film")
        elif piece.pressure > highest * (1.0 + 1e-5):
            told.append(f"used, but the film is too dark to be read above {highest:.3g} MPa")
        else:
            told.append(USED)
    return told


def piece_marks(found: Sequence[FoundPiece], pressures: Sequence[float]) -> list[PieceMark]:
    """Return the pieces as they are drawn: numbers for those of the record, letters for all else.

    Parameters
    ----------
    found : sequence of FoundPiece
        The pieces in reading order; those refused may stand among them.
    pressures : sequence of float
        Pressures of the record's pieces, in order [MPa].

    Returns
    -------
    list of PieceMark
        One for each.
    """
    # As many as the record lists are its pieces, sound or not; of another count none can be told apart.
    counted = sum(one.counted for one in found)
    levels = [f"{one:g} MPa" if one else "blank" for one in pressures] if counted == len(pressures) else []
    marks, number, letter = [], 0, "a"
    for one in found:
        if one.counted:
            level = levels[number] if levels else ""
            number += 1
            marks.append(PieceMark(one.outline, str(number), level, one.refused))
        else:
            marks.append(PieceMark(one.outline, letter, "", one.refused))
            letter = chr(ord(letter) + 1) if letter < "z" else "…"
    return marks


def write_found_pieces(result: CalibrationResult, folder: Path) -> None:
    """Write the scan in small and the pieces' edges for the calibration's page; nothing without a scan.

    Parameters
    ----------
    result : CalibrationResult
        The calibration.
    folder : Path
        Folder of its report.
    """
    if result.picture is None:
        return
    (folder / SCAN_NAME).write_bytes(jpeg_of(result.picture))
    marks = piece_marks(result.found, [piece.pressure for piece in result.pieces])
    told = {"format": 1, "size_mm": _size(result.picture), "pieces": [_plain(mark) for mark in marks]}
    (folder / PIECES_NAME).write_text(json.dumps(plain(told), ensure_ascii=False), encoding="utf-8")


def _size(picture: ScanPicture) -> list[float]:
    """Return width and height of a scan's picture [mm]."""
    rows, cols = picture.fine.shape
    return [cols * picture.fine_mm[0], rows * picture.fine_mm[1]]


def _plain(mark: PieceMark) -> dict[str, Any]:
    edge = shapely.LinearRing(mark.outline).simplify(_BESIDE_MM)
    return {
        "label": mark.label,
        "level": mark.level,
        "refused": mark.refused,
        "outline": points_of(shapely.get_coordinates(edge)),
    }


def write_pieces_refusal(record_file: Path, error: PiecesError, folder: Path) -> Path:
    """Draw what was found on a calibration scan that was refused, beside the folder wanted.

    Parameters
    ----------
    record_file : Path
        The calibration's record.
    error : PiecesError
        Why it was refused, with what was found.
    folder : Path
        Where the report would have gone.

    Returns
    -------
    Path
        The picture, ``FOLDER-refused.png``.
    """
    record = read_definition(record_file, FilmCalibration)
    loaded = load_scan(
        record_file.parent / record.scan, record.scanner.transfer, resolution=record.resolution
    )
    marks = piece_marks(error.found, [piece.pressure for piece in record.pieces])
    message = f"{error.message}. To mend: {error.remedy}."
    place = folder.with_name(f"{folder.name}-refused.png")
    save(pieces_figure(loaded.picture, marks, message=message), place)
    return place
