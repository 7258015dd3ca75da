"""Reports, pictures and tables of predictions on disk: a whole folder or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from firedeck.report.document import Document, Link
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
from firedeck.study.progress import Progress, silent
from firedeck.study.report_folder import write_report

__all__ = ["write_prediction"]


def write_prediction(
    reading: PredictionReading,
    folder: Path,
    *,
    overwrite: bool = False,
    links: Sequence[Link] = (),
    progress: Progress = silent,
) -> Path:
    """Write the report of a prediction with its pictures and tables; folder and faults as `write_report`.

    `links` are ways to other pages, `progress` is told how far the drawing is.
    """
    tables = {
        "margins": margin_columns(reading),
        "seals": seal_state_columns(reading),
        "profiles": profile_columns(reading),
        "fasteners": fastener_load_columns(reading),
        "bow": bow_columns(reading),
        "bores": bore_columns(reading),
        "breaches": breach_columns(reading),
    }

    def page() -> Document:
        return prediction_page(reading, links=tuple(links), progress=progress)

    return write_report(folder, page, tables=tables, units=PREDICTION_UNITS, overwrite=overwrite)
