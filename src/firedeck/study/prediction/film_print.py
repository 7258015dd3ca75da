"""Predict the print of a film test: what the film would keep of the whole tightening, and how it looks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from firedeck.contact import GasketModel, Joint, JointState, SealPressure, Store, peak_profile, profile
from firedeck.definition.film import FilmBatch
from firedeck.definition.prediction import PrintWanted
from firedeck.errors import FiredeckError
from firedeck.evidence import FLAG_DTYPE, flag_bit
from firedeck.film.response import build_conversion
from firedeck.pressure_map import PressureMap
from firedeck.seal.laid import LaidLine, LaidMap, lay_lines
from firedeck.study.prediction.files import PredictionFiles
from firedeck.study.prediction.notes import prediction_assumptions
from firedeck.study.prediction.predicting import built
from firedeck.study.prediction.states import carry_out, tightening_moves
from firedeck.study.progress import Progress, silent

__all__ = ["FilmPrint", "SealPrint", "film_gasket", "predict_print"]

#: Side of the map's cells, as the reader writes it [mm].
PITCH_MM = 0.1

#: Plus or minus at 95 % of a predicted line load, for the band that pictures show [1].
_DOUBT = 0.2


@dataclass(frozen=True)
class SealPrint:
    """What the film would keep of one seal.

    Attributes
    ----------
    seal, kind : str
        The seal [text].
    bare : SealPressure
        The tightened joint without film.
    film : SealPressure
        Highest line load that every place met while tightening on the film.
    crown : float
        Mean crown pressure that the film would feel [MPa].
    below, within, saturated : float
        Share of the length whose crown is below the film's range, within it, above it [1].
    """

    seal: str
    kind: str
    bare: SealPressure
    film: SealPressure
    crown: float
    below: float
    within: float
    saturated: float


@dataclass(frozen=True)
class FilmPrint:
    """A print predicted.

    Attributes
    ----------
    files : PredictionFiles
        The inputs.
    batch : FilmBatch
        The film.
    laid : LaidMap
        Pressure that the film would feel, flagged by its range.
    signal : ndarray of float32 or None
        Share of light that the dye takes away in the response's channel [1]; None for a film that is
        not calibrated.
    seals : tuple of SealPrint
        The seals, in the plan's order.
    assumptions : tuple of str
        Assumptions that change the result.
    """

    files: PredictionFiles
    batch: FilmBatch
    laid: LaidMap
    signal: npt.NDArray[np.float32] | None
    seals: tuple[SealPrint, ...]
    assumptions: tuple[str, ...]

    @property
    def map(self) -> PressureMap:
        """Pressure that the film would feel."""
        return self.laid.map


def predict_print(file: Path, *, store: Store | None = None, progress: Progress = silent) -> FilmPrint:
    """Predict the print of a film test.

    Parameters
    ----------
    file : Path
        Prediction file with a ``[print]`` table.
    store : Store, optional
        Where condensed bodies are kept; the user's cache unless given.
    progress : callable
        Told what is being done and how far it is.

    Raises
    ------
    FiredeckError
        If the file names no film, and as `firedeck.study.prediction.predicting.predict_joint`.
    """
    files, sizes, joint = built(file, store, progress=progress)
    wanted, batch = files.prediction.print, files.film
    if wanted is None or batch is None:
        raise FiredeckError(
            "the prediction names no film",
            where=str(file),
            remedy='add a [print] table with film = "film.toml"',
        )
    progress("tightening without film", 0.3)
    bare = carry_out(joint, files, tightening_moves(files), "fast")[-1]
    return print_of(files, joint, bare, prediction_assumptions(files, sizes, "", joint), progress)


def print_of(
    files: PredictionFiles,
    joint: Joint,
    bare: JointState,
    assumptions: tuple[str, ...],
    progress: Progress = silent,
) -> FilmPrint:
    """Predict the print of a joint that is built and has been tightened without film."""
    wanted, batch = files.prediction.print, files.film
    assert wanted is not None
    assert batch is not None
    progress("tightening on the film", 0.5)
    filmed = joint.with_gasket(film_gasket(joint.model, batch, wanted))
    tight = carry_out(filmed, files, tightening_moves(files), "fast")[-1]
    kept = {one.seal.name: peak_profile(tight, one.seal.name) for one in joint.model.seals}
    progress("laying the print", 0.8)
    lines = {
        one.seal.name: LaidLine(
            kept[one.seal.name].arc,
            kept[one.seal.name].line_load,
            one.law.width or 0.5 * one.seal.band,
            _DOUBT,
        )
        for one in joint.model.seals
    }
    notes = (*_film_notes(batch, wanted), *assumptions)
    laid = lay_lines(
        files.plan, lines, PITCH_MM, shape="ellipse", bloom=batch.thickness, notes=notes,
        provenance=files.provenance,
    )  # fmt: skip
    laid = replace(laid, map=_flagged(laid.map, batch))
    seals = tuple(
        _seal_print(str(one.seal.kind), profile(bare, one.seal.name), kept[one.seal.name], laid, batch)
        for one in joint.model.seals
    )
    return FilmPrint(files, batch, laid, _signal(laid.map, batch), seals, notes)


def film_gasket(model: GasketModel, batch: FilmBatch, wanted: PrintWanted) -> GasketModel:
    """Return a gasket with the film in series with every seal.

    Parameters
    ----------
    model : GasketModel
        The gasket.
    batch : FilmBatch
        The film.
    wanted : PrintWanted
        Its modulus.
    """
    seals = []
    for one in model.seals:
        width = (one.law.width or 0.5 * one.seal.band) + batch.thickness
        give = batch.thickness / (wanted.modulus * width)
        seals.append(replace(one, law=one.law.plus_compliance(give)))
    return replace(model, seals=tuple(seals), thickness=model.thickness + batch.thickness)


def _film_notes(batch: FilmBatch, wanted: PrintWanted) -> tuple[str, ...]:
    notes = [
        f"The film is {batch.thickness:g} mm thick and gives like a layer of {wanted.modulus:g} MPa "
        f"under each line, spread by its own thickness: {wanted.modulus_source}.",
        "The film keeps the highest pressure that each place met in the whole tightening.",
        "It widens every line by its thickness to either side; the line load stays (common practice, no "
        "source).",
        "Across a line the pressure is taken as an ellipse over the width that the law states.",
        "Lands between the seals are taken not to press.",
    ]
    if batch.response is None:
        notes.append(
            "The film is not calibrated, so how dark it gets is not shown; its stated range is used."
        )
    return tuple(notes)


def _flagged(felt: PressureMap, batch: FilmBatch) -> PressureMap:
    """Flag what the film could not tell; the pressures themselves are left as they are."""
    low, top, lowest = _range(batch)
    value = np.nan_to_num(felt.value)
    pressed = (felt.flags & FLAG_DTYPE(flag_bit("hole"))) == 0
    flags = felt.flags.copy()
    flags[pressed & (value < lowest)] |= FLAG_DTYPE(flag_bit("below-range"))
    flags[pressed & (value >= lowest) & (value < low)] |= FLAG_DTYPE(flag_bit("under-stated-range"))
    flags[pressed & (value >= top)] |= FLAG_DTYPE(flag_bit("saturated"))
    return replace(felt, flags=flags, lowest=lowest, stated_range=(low, top))


def _range(batch: FilmBatch) -> tuple[float, float, float]:
    """Return the ends of what the film tells, and the lowest pressure that it answers to [MPa]."""
    if batch.response is None:
        return batch.range_low, batch.range_high, batch.range_low
    lowest, top = float(batch.response.pressure[0]), float(batch.response.pressure[-1])
    return max(batch.range_low, lowest), min(batch.range_high, top), lowest


def _signal(felt: PressureMap, batch: FilmBatch) -> npt.NDArray[np.float32] | None:
    if batch.response is None:
        return None
    conversion = build_conversion(batch.response)
    return np.asarray(conversion.to_signal(felt.value), dtype=np.float32)


def _seal_print(
    kind: str, bare: SealPressure, kept: SealPressure, laid: LaidMap, batch: FilmBatch
) -> SealPrint:
    low, top, _ = _range(batch)
    strip = next(strip for strip in laid.strips if strip.seal.name == kept.seal)
    crown = np.asarray(strip.crown_signal, dtype=np.float64)
    below, dark = float(np.mean(crown < low)), float(np.mean(crown >= top))
    return SealPrint(
        kept.seal, kind, bare, kept, float(crown.mean()), below, max(1.0 - below - dark, 0.0), dark
    )
