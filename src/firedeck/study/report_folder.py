"""Reports on disk, every one alike: a page with its pictures and tables, a whole folder or nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from firedeck.files.table_file import write_table
from firedeck.report.document import Document
from firedeck.report.render import render_html
from firedeck.study.columns import Columns
from firedeck.study.folders import write_folder

__all__ = ["PAGE_NAME", "write_report"]

#: File that a report is opened by.
PAGE_NAME = "report.html"


def write_report(
    folder: Path,
    page: Callable[[], Document],
    *,
    tables: Mapping[str, Columns] | None = None,
    units: Mapping[str, str] | None = None,
    beside: Callable[[Path], None] | None = None,
    meanwhile: Callable[[Path], None] | None = None,
    overwrite: bool = False,
) -> Path:
    """Write a page as report.html with its pictures, and tables as CSV and Parquet.

    Parameters
    ----------
    folder : Path
        Folder to write; an earlier output of firedeck there is replaced.
    page : callable
        Makes the page; called once it is known that the folder may be written, since drawing takes long.
    tables : mapping, optional
        File stem -> columns; a table without columns is left out.
    units : mapping, optional
        Column name -> unit.
    beside : callable, optional
        Writes what else belongs to the report into the folder whose path it is given.
    meanwhile : callable, optional
        The same for data, in a thread of its own while the page is drawn; it draws nothing, since two
        threads may not draw at a time.
    overwrite : bool
        Whether the folder may be replaced whatever it holds.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    FiredeckError
        If the folder may not or cannot be written; it is left as it was then.
    """

    def fill(draft: Path) -> None:
        with ThreadPoolExecutor(1) as aside:
            data = aside.submit(meanwhile, draft) if meanwhile is not None else None
            _write_page(draft, page())
            for stem, columns in (tables or {}).items():
                if columns:
                    write_table(draft / stem, columns, units=units or {})
            if beside is not None:
                beside(draft)
            if data is not None:
                data.result()

    write_folder(folder, fill, overwrite=overwrite)
    return folder / PAGE_NAME


def _write_page(folder: Path, page: Document) -> None:
    (folder / PAGE_NAME).write_text(render_html(page), encoding="utf-8")
    for picture in page.pictures:
        (folder / f"{picture.name}.png").write_bytes(picture.png)
        if picture.svg:
            (folder / f"{picture.name}.svg").write_bytes(picture.svg)
