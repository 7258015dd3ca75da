"""Check a prediction's files as a whole, short of meshing anything."""

from __future__ import annotations

from pathlib import Path

from firedeck.study.prediction.files import load_prediction
from firedeck.study.prediction.joint import gasket_model, refuse_too_large, seats_of, sections
from firedeck.study.prediction.predicting import gas_of

__all__ = ["check_prediction_file"]


def check_prediction_file(file: Path) -> None:
    """Read a prediction with all that it names, and fit bodies, fasteners and gasket to each other.

    Parameters
    ----------
    file : Path
        Prediction file.

    Raises
    ------
    FiredeckError
        With whatever does not fit.
    """
    files = load_prediction(file)
    sizes = sections(files)
    gasket_model(files, sizes.thickness)
    seats_of(files)
    gas_of(files)
    refuse_too_large(files, sizes, files.prediction.element)
