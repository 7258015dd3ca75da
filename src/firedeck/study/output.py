"""Reports, pictures, tables and maps on disk: a whole folder or nothing."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

from firedeck import __version__
from firedeck.drawing.found_picture import found_figure
from firedeck.drawing.picture_file import save
from firedeck.errors import FiredeckError
from firedeck.files.map_file import write_map, write_map_tiff
from firedeck.files.table_file import write_table
from firedeck.film.registered import RegistrationError
from firedeck.report.document import Document, Link
from firedeck.report.render import render_html
from firedeck.study.calibrating import CalibrationResult
from firedeck.study.pages import calibration_page, comparison_page, reading_page
from firedeck.study.reading import Comparison, PrintReading, load_test
from firedeck.study.scanning import Progress, load_scan, silent
from firedeck.study.tables import UNITS, difference_columns, leak_columns, seal_columns, sector_columns

__all__ = ["check_folder", "write_calibration", "write_comparison", "write_reading", "write_refusal"]

#: Lists what firedeck wrote into a folder, so that it may be replaced later.
_MARKER = ".firedeck-output.json"


def check_folder(folder: Path, *, overwrite: bool = False) -> None:
    """Make sure that a folder may be written, before any long work.

    Parameters
    ----------
    folder : Path
        Where a report is to go.
    overwrite : bool
        Whether it may be replaced whatever it holds.

    Raises
    ------
    FiredeckError
        If the folder holds anything that firedeck did not write, or is no folder.
    """
    if not folder.exists() or overwrite:
        return
    if not folder.is_dir():
        raise FiredeckError(
            "this is a file, not a folder", where=str(folder), remedy="name a folder to write to"
        )
    foreign = sorted(path.name for path in folder.iterdir() if path.name not in _written(folder))
    if foreign:
        raise FiredeckError(
            f"the folder holds {foreign[0]!r}"
            + (f" and {len(foreign) - 1} more" if len(foreign) > 1 else "")
            + ", which firedeck did not write, so it is not replaced",
            where=str(folder),
            remedy="name another folder or an empty one",
        )


def _written(folder: Path) -> set[str]:
    try:
        listed = json.loads((folder / _MARKER).read_text(encoding="utf-8"))["files"]
    except (OSError, ValueError, KeyError, TypeError):
        return set()
    return {_MARKER, *map(str, listed)}


def _write_folder(folder: Path, overwrite: bool, fill: Callable[[Path], None]) -> None:
    """Let `fill` write into a draft beside the folder, then put the draft in the folder's place."""
    check_folder(folder, overwrite=overwrite)
    target = folder.resolve()
    draft, old = (target.with_name(f".{target.name}.{os.getpid()}.{end}") for end in ("draft", "old"))
    try:
        draft.mkdir(parents=True)
        fill(draft)
        listed = {"firedeck": __version__, "files": sorted(path.name for path in draft.iterdir())}
        (draft / _MARKER).write_text(json.dumps(listed, indent=1), encoding="utf-8")
        if target.exists():
            target.rename(old)
        draft.rename(target)
    except OSError as fault:
        if old.exists() and not target.exists():
            old.rename(target)
        reason = (fault.strerror or type(fault).__name__).lower()
        raise FiredeckError(
            f"the report cannot be written ({reason})",
            where=str(folder),
            remedy="check folder, rights and space",
        ) from fault
    finally:
        shutil.rmtree(draft, ignore_errors=True)
        shutil.rmtree(old, ignore_errors=True)


def _write_page(folder: Path, page: Document) -> None:
    (folder / "report.html").write_text(render_html(page), encoding="utf-8")
    for picture in page.pictures:
        (folder / f"{picture.name}.png").write_bytes(picture.png)


def write_reading(
    reading: PrintReading,
    folder: Path,
    *,
    overwrite: bool = False,
    links: Sequence[Link] = (),
    progress: Progress = silent,
) -> Path:
    """Write the report of a reading with its pictures, tables and maps.

    Parameters
    ----------
    reading : PrintReading
        The reading.
    folder : Path
        Folder to write; an earlier output of firedeck there is replaced.
    overwrite : bool
        Whether the folder may be replaced whatever it holds.
    links : sequence of Link
        Ways to other pages, relative to the report.
    progress : callable
        Told how far the drawing is.

    Returns
    -------
    Path
        The report.

    Raises
    ------
    FiredeckError
        If the folder may not or cannot be written; it is left as it was then.
    """

    def fill(draft: Path) -> None:
        _write_page(draft, reading_page(reading, links=tuple(links), progress=progress))
        write_table(draft / "seals", seal_columns(reading), units=UNITS)
        write_table(draft / "sectors", sector_columns(reading.profiles), units=UNITS)
        write_table(draft / "leaks", leak_columns(reading), units=UNITS)
        write_map(draft / "map.nc", reading.map)
        write_map_tiff(draft / "map.tif", reading.map)

    _write_folder(folder, overwrite, fill)
    return folder / "report.html"


def write_comparison(
    comparison: Comparison, folder: Path, *, overwrite: bool = False, links: Sequence[Link] = ()
) -> Path:
    """Write the report of a comparison with its pictures and table; as `write_reading`."""

    def fill(draft: Path) -> None:
        _write_page(draft, comparison_page(comparison, links=tuple(links)))
        write_table(draft / "differences", difference_columns(comparison), units=UNITS)

    _write_folder(folder, overwrite, fill)
    return folder / "report.html"


def write_calibration(result: CalibrationResult, folder: Path, *, overwrite: bool = False) -> Path:
    """Write the page of a film calibration with its picture; as `write_reading`."""
    _write_folder(folder, overwrite, lambda draft: _write_page(draft, calibration_page(result)))
    return folder / "report.html"


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
