"""Check the files that describe a joint, and show its deck plan."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from firedeck.definition.calibration import FilmCalibration
from firedeck.definition.closure_checks import check_laws
from firedeck.definition.deck import DeckPlan
from firedeck.definition.duty import DutyDefinition, TraceSource
from firedeck.definition.fastening import Fastening
from firedeck.definition.film_test import FilmTest
from firedeck.definition.gasket import Gasket, plan_with_gasket
from firedeck.definition.plan_checks import PlanFinding, check_plan
from firedeck.definition.prediction import Prediction
from firedeck.definition.quantities import Definition
from firedeck.definition.shape import seal_line
from firedeck.errors import DefinitionError, Fault, FiredeckError
from firedeck.files.definition_faults import WHOLE_FILE
from firedeck.files.definition_file import read_any, read_definition
from firedeck.study.closure import law_faults
from firedeck.study.duty.file import range_faults

__all__ = ["FileCheck", "PlanSummary", "SealSummary", "check_files", "show_plan"]


@dataclass(frozen=True)
class FileCheck:
    """What was found in one definition file.

    Attributes
    ----------
    file : str
        The file as the user named it.
    kind : str
        What it says it defines; empty where it cannot be read.
    faults : tuple of Fault
        What makes it unusable.
    doubts : tuple of Fault
        What may be meant, and should be looked at.
    """

    file: str
    kind: str
    faults: tuple[Fault, ...]
    doubts: tuple[Fault, ...] = ()

    @property
    def sound(self) -> bool:
        """Whether the file can be used."""
        return not self.faults


@dataclass(frozen=True)
class SealSummary:
    """One seal of a plan.

    Attributes
    ----------
    name, kind : str
        Its name and kind.
    encloses : tuple of str
        Names of the media that it encloses.
    length : float
        Length of its line [mm]; NaN where the plan's faults leave none.
    band : float
        Width of its band [mm].
    """

    name: str
    kind: str
    encloses: tuple[str, ...]
    length: float
    band: float


@dataclass(frozen=True)
class PlanSummary:
    """A deck plan in short.

    Attributes
    ----------
    name, origin : str
        The plan's name, and what its origin is on the real part.
    gasket : str
        Name of the gasket whose seals are shown; empty for the plan's own.
    size : tuple of float
        Extent along x and y [mm].
    bores : tuple of float
        Diameters of the bores [mm].
    fasteners, dowels : int
        How many there are.
    ports : dict of str to int
        How many there are of each kind.
    seals : tuple of SealSummary
        The seals.
    findings : tuple of PlanFinding
        What is wrong or doubtful.
    """

    name: str
    origin: str
    gasket: str
    size: tuple[float, float]
    bores: tuple[float, ...]
    fasteners: int
    dowels: int
    ports: dict[str, int]
    seals: tuple[SealSummary, ...]
    findings: tuple[PlanFinding, ...]


def check_files(files: Sequence[Path]) -> tuple[FileCheck, ...]:
    """Check definition files of any kind, each by itself and where they lean on each other.

    Parameters
    ----------
    files : sequence of Path
        The files. Where a deck plan and gaskets with seals of their own are among them, those
        seals are checked on the plan.

    Returns
    -------
    tuple of FileCheck
        One for each file, in the order given.
    """
    checks: list[FileCheck] = []
    read: list[tuple[Path, Definition]] = []
    for file in files:
        try:
            definition = read_any(file)
        except DefinitionError as error:
            checks.append(FileCheck(str(file), "", error.faults))
        else:
            read.append((file, definition))
            checks.append(_checked(file, definition))
    plans = [definition for _, definition in read if isinstance(definition, DeckPlan)]
    if len(plans) == 1:
        seals = {str(file): _gasket_faults(file, gasket, plans[0]) for file, gasket in read}
        checks = [_with(check, seals.get(check.file, ())) for check in checks]
    return tuple(checks)


def _checked(file: Path, definition: Definition) -> FileCheck:
    check = FileCheck(str(file), str(getattr(definition, "kind", "")), ())
    if isinstance(definition, DeckPlan):
        return _with(check, _as_faults(file, check_plan(definition)))
    if isinstance(definition, DutyDefinition):
        check = _with(check, (("fault", fault) for fault in range_faults(file, definition)))
    if isinstance(definition, Gasket):
        check = _with(check, law_faults(file, definition))
    missing = _missing_files(file, definition)
    if isinstance(definition, (Fastening, Prediction)) and not missing:
        missing = _whole_faults(file, definition)
    return _with(check, missing)


def _whole_faults(file: Path, definition: Fastening | Prediction) -> list[tuple[str, Fault]]:
    """Check a fastening or a prediction on its deck plan, up to a tightening past yield."""
    from firedeck.study.fastening.assessment import assess_fastening
    from firedeck.study.prediction.check import check_prediction_file

    try:
        if isinstance(definition, Prediction):
            check_prediction_file(file)
        else:
            assess_fastening(file)
    except DefinitionError as error:
        return [("fault", fault) for fault in error.faults]
    except FiredeckError as error:
        place = error.where.removeprefix(f"{file}").removeprefix(": ") or WHOLE_FILE
        return [("fault", Fault(str(file), place, "", error.message, error.remedy))]
    return []


def _with(check: FileCheck, found: Iterable[tuple[str, Fault]]) -> FileCheck:
    found = tuple(found)
    return replace(
        check,
        faults=(*check.faults, *(fault for severity, fault in found if severity == "fault")),
        doubts=(*check.doubts, *(fault for severity, fault in found if severity == "doubt")),
    )


def _as_faults(file: Path, findings: Iterable[PlanFinding]) -> list[tuple[str, Fault]]:
    return [
        (finding.severity, Fault(str(file), finding.key, "", finding.message, finding.remedy))
        for finding in findings
    ]


def _gasket_faults(file: Path, definition: Definition, plan: DeckPlan) -> list[tuple[str, Fault]]:
    """Check the seals that a gasket brings along, or that its laws name, on the one plan given."""
    if not isinstance(definition, Gasket):
        return []
    if not definition.seals:
        findings = check_laws(definition.laws, plan.seals)
        return _as_faults(file, (one for one in findings if one not in check_laws(definition.laws)))
    findings = check_plan(plan_with_gasket(plan, definition))
    return _as_faults(file, (finding for finding in findings if finding.key.startswith("seal")))


def _missing_files(file: Path, definition: Definition) -> list[tuple[str, Fault]]:
    """Look for the files that a record names; a scan may still have to be made."""
    needed: dict[str, str] = {}
    scans: dict[str, str] = {}
    if isinstance(definition, FilmTest):
        needed = {key: getattr(definition, key) for key in ("deck", "gasket", "film", "criteria")}
        scans = {f"scan[{place}].file": scan.file for place, scan in enumerate(definition.scans, start=1)}
    if isinstance(definition, Fastening):
        needed = {"deck": definition.deck, "gasket": definition.gasket}
    if isinstance(definition, Prediction):
        needed = {key: getattr(definition, key) for key in ("deck", "gasket", "fastening", "power_duty")}
        needed["print.film"] = definition.print.film if definition.print else ""
        needed["firing.duty"] = definition.firing.duty if definition.firing else ""
    if isinstance(definition, FilmCalibration):
        needed, scans = {"film": definition.film}, {"scan": definition.scan}
    if isinstance(definition, DutyDefinition) and isinstance(definition.source, TraceSource):
        source = definition.source
        needed = {"source.mapping_file": source.mapping_file}
        scans = {"source.file": source.file, "source.motored_file": source.motored_file or ""}
    missing = []
    for severity, names in (("fault", needed), ("doubt", scans)):
        for key, name in names.items():
            if name and not (file.parent / name).is_file():
                remedy = f"names are relative to {file.parent.resolve().name or 'the folder of the record'}/"
                missing.append(
                    (severity, Fault(str(file), key, f'"{name}"', "there is no such file", remedy))
                )
    return missing


def show_plan(deck: Path, *, gasket: Path | None = None, out: Path | None = None) -> PlanSummary:
    """Sum up a deck plan, and draw it if wanted.

    Parameters
    ----------
    deck : Path
        Deck plan file.
    gasket : Path, optional
        Gasket file; its own seals, where it has any, are shown instead of the plan's.
    out : Path, optional
        Picture to write, SVG or PNG by its ending.

    Returns
    -------
    PlanSummary
        The plan in short, with what is wrong or doubtful.

    Raises
    ------
    FiredeckError
        If a file is faulty, or the picture cannot be written.
    """
    plan = read_definition(deck, DeckPlan)
    part = read_definition(gasket, Gasket) if gasket is not None else None
    plan = plan_with_gasket(plan, part)
    findings = check_plan(plan)
    if out is not None:
        _draw(plan, findings, out)
    width, height = np.ptp(np.asarray(plan.outline), axis=0)
    return PlanSummary(
        name=plan.name,
        origin=plan.origin,
        gasket=part.name if part is not None and part.seals else "",
        size=(float(width), float(height)),
        bores=tuple(bore.diameter for bore in plan.bores),
        fasteners=len(plan.fastener_holes),
        dowels=len(plan.dowels),
        ports=dict(Counter(str(port.kind) for port in plan.ports)),
        seals=tuple(_seal_summaries(plan)),
        findings=findings,
    )


def _seal_summaries(plan: DeckPlan) -> Iterable[SealSummary]:
    for seal in plan.seals:
        try:
            length = seal_line(plan, seal, step=0.5).length
        except FiredeckError:  # among the findings already
            length = float("nan")
        yield SealSummary(seal.name, str(seal.kind), seal.enclosed, length, seal.band)


def _draw(plan: DeckPlan, findings: Sequence[PlanFinding], out: Path) -> None:
    from firedeck.drawing.picture_file import save
    from firedeck.drawing.plan_picture import plan_figure

    save(plan_figure(plan, findings=findings), out)
