"""Files of a finished report that may be fetched: its pictures, tables and maps."""

from __future__ import annotations

import math
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, Response

from firedeck.study.prints.stored_record import THUMBNAIL_NAME

__all__ = ["downloads_of", "file_response"]

#: What may be fetched from a report's folder, with what it is.
_DOWNLOADS = {
    ".csv": ("text/csv; charset=utf-8", "table"),
    ".png": ("image/png", "picture"),
    ".svg": ("image/svg+xml", "picture in lines"),
    ".tif": ("image/tiff", "pressure as 32-bit picture"),
    ".nc": ("application/x-netcdf", "map with everything, NetCDF-4"),
    ".parquet": ("application/vnd.apache.parquet", "table for programs"),
}


def downloads_of(folder: Path) -> list[tuple[str, str, str]]:
    """Return name, what it is and size of everything that may be fetched from a report's folder."""
    if not folder.is_dir():
        return []
    paths = sorted(path for path in folder.iterdir() if path.suffix in _DOWNLOADS)
    return [
        (path.name, _DOWNLOADS[path.suffix][1], _size(path.stat().st_size))
        for path in paths
        if path.name != THUMBNAIL_NAME
    ]


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 100_000 else f"{math.ceil(count / 1000)} kB"


def file_response(folder: Path, name: str, prefix: str, *, shown: tuple[str, ...] = ()) -> Response:
    """Return one file of a report.

    Parameters
    ----------
    folder : Path
        The report's folder.
    name : str
        Name of the file.
    prefix : str
        Put before its name where it is kept.
    shown : tuple of str
        Files that a page shows; all others are only to be kept.

    Raises
    ------
    HTTPException
        If there is no such file, or it is none to be fetched.
    """
    if not folder.is_dir() or name not in {path.name for path in folder.iterdir()}:
        raise HTTPException(404)
    path = folder / name
    if path.suffix not in _DOWNLOADS or path.is_symlink():
        raise HTTPException(404)
    kept = None if name in shown else f"{prefix}-{name}"
    return FileResponse(path, media_type=_DOWNLOADS[path.suffix][0], filename=kept)
