"""The print predicted for a setting beside one that was read and stored."""

from __future__ import annotations

from firedeck.errors import FiredeckError
from firedeck.study.clamp.opened import OpenJoint
from firedeck.study.clamp.setting import ClampSetting
from firedeck.study.prediction.beside import ForeseenSeals, PrintBeside
from firedeck.study.prediction.read_seals import stored_seals
from firedeck.study.prints.stored_reading import StoredReading

__all__ = ["stored_beside"]


def stored_beside(opened: OpenJoint, setting: ClampSetting, stored: StoredReading) -> PrintBeside:
    """Return a stored print with the print predicted for a setting.

    Parameters
    ----------
    opened : OpenJoint
        The joint.
    setting : ClampSetting
        The setting; its tightening counts, gas and heat do not.
    stored : StoredReading
        The print.

    Raises
    ------
    FiredeckError
        If the print has other seals than the joint, or the prediction names no film.
    """
    read = stored_seals(stored)
    name = str(stored.record["test"]["name"])
    if [one.seal for one in read] != [seal.name for seal in opened.files.plan.seals]:
        raise FiredeckError(
            "the print was read with other seals than the joint has now",
            where=name,
            remedy="read the print again, or choose the gasket that it was taken of",
        )
    return PrintBeside(name, read, ForeseenSeals.of(opened.film_print(setting)))
