"""Read a prediction and all that it names, and make sure that everything fits together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from firedeck import __version__
from firedeck.contact import ClosureLaw, SolidMesh, check_solid, law_from_rows
from firedeck.definition.closure import Relaxation
from firedeck.definition.deck import DeckPlan, Seal
from firedeck.definition.fastening import check_fastening
from firedeck.definition.film import FilmBatch
from firedeck.definition.gasket import Gasket, plan_with_gasket
from firedeck.definition.plan_finding import PlanFinding
from firedeck.definition.prediction import LawOfSeals, Prediction, check_prediction
from firedeck.definition.shape import outline_polygon, seal_line
from firedeck.errors import DefinitionError, Fault, FiredeckError
from firedeck.files.definition_file import read_definition
from firedeck.files.mesh_file import read_solid
from firedeck.files.scan_file import file_hash
from firedeck.loading.reckoning import ClampReckoning, reckon_clamp
from firedeck.study.closure import GasketLaws, load_laws
from firedeck.study.fastening.assessment import FasteningFiles, in_file
from firedeck.study.fastening.assessment import load_fastening as load_fastening_file

__all__ = ["PredictionFiles", "SealLaw", "load_prediction"]


@dataclass(frozen=True)
class SealLaw:
    """What one seal answers to closure, and where that is stated.

    Attributes
    ----------
    law : ClosureLaw
        Load over closure.
    gap : float
        Closure of the joint at which the seal touches [mm].
    origin : str
        In which file the law stands, in words [text].
    relaxation : Relaxation or None
        What is left of the seal's load in time, where its law states it.
    """

    law: ClosureLaw
    gap: float
    origin: str
    relaxation: Relaxation | None = None


@dataclass(frozen=True)
class PredictionFiles:
    """A prediction with the definitions that it names, read and found to fit each other.

    Attributes
    ----------
    file : Path
        The prediction's file.
    prediction : Prediction
        The prediction.
    plan : DeckPlan
        The deck plan with the gasket's seals.
    gasket : Gasket
        The gasket.
    fastening : FasteningFiles
        The fastening, on this plan and gasket.
    clamp : ClampReckoning
        Moves of the tightening, preloads and their scatter.
    laws : mapping of str to SealLaw
        Closure law of every seal.
    film : FilmBatch or None
        Film of a test to be predicted.
    provenance : mapping of str to str
        Version and hashes of all inputs.
    meshes : mapping of str to SolidMesh
        Volume meshes that stand for ``head`` or ``block``.
    """

    file: Path
    prediction: Prediction
    plan: DeckPlan
    gasket: Gasket
    fastening: FasteningFiles
    clamp: ClampReckoning
    laws: Mapping[str, SealLaw]
    film: FilmBatch | None
    provenance: Mapping[str, str]
    meshes: Mapping[str, SolidMesh] = field(default_factory=dict)

    @property
    def folder(self) -> Path:
        """Folder that the names in the file are relative to."""
        return self.file.parent


def load_prediction(file: Path, *, gasket_file: str = "") -> PredictionFiles:
    """Read a prediction and the definitions that it names, relative to its folder.

    Parameters
    ----------
    file : Path
        Prediction file.
    gasket_file : str
        Another gasket in place of the one that the prediction names; its own laws then go before the
        prediction's, which were stated for the gasket named there.

    Raises
    ------
    FiredeckError
        With every fault of the first file that has any, or everything in which they do not fit.
    """
    prediction = read_definition(file, Prediction)
    swapped = gasket_file not in ("", prediction.gasket)
    if swapped:
        prediction = prediction.model_copy(update={"gasket": gasket_file})
    folder = file.parent
    own = read_definition(folder / prediction.deck, DeckPlan)
    gasket = read_definition(folder / prediction.gasket, Gasket)
    plan = plan_with_gasket(own, gasket)
    if swapped:
        prediction = prediction.model_copy(update={"laws": _laws_that_fit(prediction, plan)})
    _refuse(file, check_prediction(prediction, plan))
    declared = load_laws(folder / prediction.gasket, plan.seals)
    fastening = _fastening(folder / prediction.fastening, own, plan, gasket)
    with in_file(fastening.file):
        clamp = reckon_clamp(fastening.fastening, plan)
    tables = [*declared.tables, *(law.table for law in prediction.laws)]
    laws = _laws(file, prediction, plan, declared, own_first=swapped)
    film = read_definition(folder / prediction.print.film, FilmBatch) if prediction.print else None
    named = [prediction.deck, prediction.gasket, prediction.fastening, *tables]
    named += [prediction.print.film] if prediction.print else []
    named += [body.mesh for body in (prediction.head, prediction.block) if body.mesh]
    meshes = _meshes(file, prediction, plan)
    hashes = {f"sha256 {name}": file_hash(folder / name) for name in dict.fromkeys([file.name, *named])}
    provenance = {"firedeck": __version__, **hashes}
    return PredictionFiles(file, prediction, plan, gasket, fastening, clamp, laws, film, provenance, meshes)


def _meshes(file: Path, prediction: Prediction, plan: DeckPlan) -> dict[str, SolidMesh]:
    """Read the volume meshes of the bodies that name one, and make sure that each fits the deck."""
    found: dict[str, SolidMesh] = {}
    sides: tuple[Literal["head", "block"], ...] = ("head", "block")
    for side in sides:
        body = prediction.head if side == "head" else prediction.block
        if not body.mesh or body.mesh_unit is None:
            continue
        found[side] = read_solid(
            file.parent / body.mesh, body.mesh_unit, deck_at=body.deck_at, tolerance=body.deck_tolerance,
            key=f"{side}.mesh",
        )  # fmt: skip
        lines = {seal.name: seal_line(plan, seal, step=1.0).points for seal in plan.seals}
        check_solid(found[side], side, outline_polygon(plan), lines)
    return found


def _refuse(file: Path, found: Sequence[PlanFinding]) -> None:
    if found:
        raise DefinitionError([Fault(str(file), one.key, "", one.message, one.remedy) for one in found])


def _fastening(file: Path, own: DeckPlan, plan: DeckPlan, gasket: Gasket) -> FasteningFiles:
    """Read the fastening and put it on the prediction's gasket; its deck must be the same one."""
    read = load_fastening_file(file)
    if read.plan.outline != own.outline or read.plan.fastener_holes != own.fastener_holes:
        raise FiredeckError(
            "the fastening is for another deck plan than the prediction",
            where=str(file),
            remedy="name the same deck plan in both files",
        )
    _refuse(
        file, check_fastening(read.fastening, [hole.name for hole in plan.fastener_holes], len(plan.bores))
    )
    return FasteningFiles(read.file, read.fastening, plan, gasket.name, read.provenance)


def _laws_that_fit(prediction: Prediction, plan: DeckPlan) -> tuple[LawOfSeals, ...]:
    """Return the prediction's laws that some seal of another gasket can be meant by."""
    return tuple(law for law in prediction.laws if any(_meant(law, seal) for seal in plan.seals))


def _laws(
    file: Path, prediction: Prediction, plan: DeckPlan, declared: GasketLaws, *, own_first: bool
) -> dict[str, SealLaw]:
    """Return the law of every seal: the prediction's own goes before the gasket's, or after it."""
    found = {
        name: SealLaw(law, declared.gaps[name], prediction.gasket, declared.relaxations.get(name))
        for name, law in declared.of_seals.items()
    }
    for stated in prediction.laws:
        law = _law_of_table(file.parent / stated.table, stated)
        origin = f"{stated.table}, named in {file.name}"
        meant = {seal.name: SealLaw(law, stated.gap, origin) for seal in plan.seals if _meant(stated, seal)}
        found = {**meant, **found} if own_first else {**found, **meant}
    missing = [seal.name for seal in plan.seals if seal.name not in found]
    if missing:
        raise FiredeckError(
            f"no closure law is stated for {_several(missing)}",
            where=str(file),
            remedy="add a [[law]] table to the gasket file, or one here with the seals' names or kinds",
        )
    return found


def _meant(stated: LawOfSeals, seal: Seal) -> bool:
    return seal.name in stated.seals or str(seal.kind) in stated.seals


def _several(names: list[str]) -> str:
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return ", ".join(repr(name) for name in names[:3]) + more


def _law_of_table(table: Path, stated: LawOfSeals) -> ClosureLaw:
    try:
        text = table.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        raise FiredeckError(
            "the table of a closure law cannot be read as text",
            where=str(table),
            remedy="check the name; it is looked for beside the prediction's file",
        ) from fault
    law = law_from_rows(text, table.stem, width=stated.width, spread=stated.spread)
    _check_sizes(table, law)
    return law


#: Closures and line loads outside these are slips of a unit [mm and N/mm].
_CLOSURES, _LOADS = (0.002, 5.0), (0.5, 5000.0)


def _check_sizes(table: Path, law: ClosureLaw) -> None:
    for what, value, (low, high), unit in (
        ("closure", float(law.closure[-1]), _CLOSURES, "mm"),
        ("load", float(law.load[-1]), _LOADS, "N/mm"),
    ):
        if not low <= value <= high:
            raise FiredeckError(
                f"the {what} of this law ends at {value:.4g} {unit}, which no seal has",
                where=str(table),
                remedy=f"check the unit: closure in mm, load in N/mm; from {low:g} to {high:g} is possible",
            )
