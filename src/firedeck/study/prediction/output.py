"""Reports, pictures and tables of predictions on disk: a whole folder or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from firedeck.files.table_file import write_table
from firedeck.report.document import Link
from firedeck.study.folders import write_folder
from firedeck.study.prediction.pages import prediction_page
from firedeck.study.prediction.predicting import PredictionReading
from firedeck.study.prediction.tables import (
    PREDICTION_UNITS,
    bore_columns,
    bow_columns,
    breach_columns,
    fastener_load_columns,
    margin_columns,
    profile_columns,
    seal_state_columns,
)
from firedeck.study.prints.output import write_page
from firedeck.study.progress import Progress, silent

__all__ = ["write_prediction"]


def write_prediction(
    reading: PredictionReading,
    folder: Path,
    *,
    overwrite: bool = False,
    links: Sequence[Link] = (),
    progress: Progress = silent,
) -> Path:
    """Write the report of a prediction with its pictures and tables.

    Parameters
    ----------
    reading : PredictionReading
        The prediction.
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
        write_page(draft, prediction_page(reading, links=tuple(links), progress=progress))
        for name, columns in {
            "margins": margin_columns(reading),
            "seals": seal_state_columns(reading),
            "profiles": profile_columns(reading),
            "fasteners": fastener_load_columns(reading),
            "bow": bow_columns(reading),
            "bores": bore_columns(reading),
            "breaches": breach_columns(reading),
        }.items():
            if columns:
                write_table(draft / name, columns, units=PREDICTION_UNITS)

    write_folder(folder, fill, overwrite=overwrite)
    return folder / "report.html"
