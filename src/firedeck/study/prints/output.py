"""Reports, pictures, tables and maps on disk: a whole folder or nothing."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from firedeck.drawing.found_picture import found_figure
from firedeck.drawing.picture_file import save
from firedeck.drawing.thumbnail import write_thumbnail
from firedeck.files.map_file import write_map, write_map_tiff
from firedeck.film.registered import RegistrationError
from firedeck.report.document import Document, Link
from firedeck.study.prints.calibrating import CalibrationResult
from firedeck.study.prints.changes import changes_between, earlier_record
from firedeck.study.prints.found_pieces import write_found_pieces
from firedeck.study.prints.pages import calibration_page, comparison_page, reading_page
from firedeck.study.prints.reading import Comparison, PrintReading, load_test
from firedeck.study.prints.scanning import load_scan
from firedeck.study.prints.stored_record import THUMBNAIL_NAME, record_of, store_reading
from firedeck.study.prints.tables import (
    UNITS,
    curve_columns,
    difference_columns,
    leak_columns,
    piece_columns,
    rule_columns,
    seal_columns,
    seal_difference_columns,
    sector_columns,
)
from firedeck.study.progress import Progress, silent
from firedeck.study.report_folder import write_report

__all__ = ["write_calibration", "write_comparison", "write_reading", "write_refusal"]


def write_reading(
    reading: PrintReading,
    folder: Path,
    *,
    overwrite: bool = False,
    links: Sequence[Link] = (),
    progress: Progress = silent,
) -> Path:
    """Write the report of a reading with its pictures, tables and maps; folder and faults as `write_report`.

    `links` are ways to other pages, `progress` is told how far the drawing is.
    """

    def page() -> Document:
        return reading_page(reading, links=tuple(links), progress=progress)

    def meanwhile(draft: Path) -> None:
        write_map(draft / "map.nc", reading.map)
        write_map_tiff(draft / "map.tif", reading.map)
        record, before = record_of(reading), earlier_record(folder)
        if before is not None and before["record"] == record["record"]:
            # Through JSON and back, as the earlier one went: pairs become lists.
            record["changes"] = changes_between(before, json.loads(json.dumps(record)))
        store_reading(reading, draft, record)
        write_thumbnail(reading.map, draft / THUMBNAIL_NAME)

    tables = {
        "seals": seal_columns(reading),
        "sectors": sector_columns(reading.profiles),
        "leaks": leak_columns(reading),
        "rules": rule_columns(reading),
    }
    return write_report(folder, page, tables=tables, units=UNITS, meanwhile=meanwhile, overwrite=overwrite)


def write_comparison(
    comparison: Comparison, folder: Path, *, overwrite: bool = False, links: Sequence[Link] = ()
) -> Path:
    """Write the report of a comparison with its pictures and table; as `write_reading`."""

    def page() -> Document:
        return comparison_page(comparison, links=tuple(links))

    tables = {"differences": difference_columns(comparison), "seals": seal_difference_columns(comparison)}
    return write_report(folder, page, tables=tables, units=UNITS, overwrite=overwrite)


def write_calibration(result: CalibrationResult, folder: Path, *, overwrite: bool = False) -> Path:
    """Write the page of a film calibration with its picture and tables; as `write_reading`."""
    response = result.batch.response
    assert response is not None
    tables = {"curve": curve_columns(response), "pieces": piece_columns(result)}

    def beside(draft: Path) -> None:
        write_found_pieces(result, draft)

    return write_report(
        folder,
        lambda: calibration_page(result),
        tables=tables,
        units=UNITS,
        beside=beside,
        overwrite=overwrite,
    )


def write_refusal(test_file: Path, error: RegistrationError, folder: Path) -> Path | None:
    """Draw what was found on a scan that could not be laid onto the plan, beside the folder wanted.

    Parameters
    ----------
    test_file : Path
        The film test.
    error : RegistrationError
        Why it was refused, with what was found.
    folder : Path
        Where the report would have gone.

    Returns
    -------
    Path or None
        The picture, ``FOLDER-refused.png``; None where the scan is none of the test's.
    """
    files = load_test(test_file)
    scan = next((one for one in files.test.scans if Path(one.file).name == Path(error.where).name), None)
    if scan is None:
        return None
    loaded = load_scan(files.folder / scan.file, files.test.scanner.transfer, resolution=scan.resolution)
    nearest = error.candidates[0] if error.candidates else None
    message = f"{error.message}. To mend: {error.remedy}."
    place = folder.with_name(f"{folder.name}-refused.png")
    place.parent.mkdir(parents=True, exist_ok=True)
    save(found_figure(files.plan, loaded.picture, error.sheet, nearest, message=message), place)
    return place
