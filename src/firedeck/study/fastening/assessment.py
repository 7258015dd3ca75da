"""Assess how a head is fastened: from the definition file to preloads, strength, clamp and verdict."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from firedeck import __version__
from firedeck.definition.deck import DeckPlan
from firedeck.definition.fastening import Fastening, check_fastening
from firedeck.definition.gasket import Gasket, plan_with_gasket
from firedeck.errors import DefinitionError, Fault, FiredeckError
from firedeck.files.definition_file import read_definition
from firedeck.files.scan_file import file_hash
from firedeck.loading.reckoning import ClampReckoning, reckon_clamp
from firedeck.study.fastening.assumptions import clamp_assumptions
from firedeck.verdict import ClampVerdict, judge_clamp

__all__ = [
    "FasteningFiles",
    "FasteningReading",
    "assess_fastening",
    "assess_files",
    "in_file",
    "load_fastening",
]


@dataclass(frozen=True)
class FasteningFiles:
    """A fastening with the definitions that it names, read and found to fit each other.

    Attributes
    ----------
    file : Path
        The fastening's file.
    fastening : Fastening
        The fastening.
    plan : DeckPlan
        The deck plan, with the gasket's own seals where it has any.
    gasket : str
        Name of the gasket whose seals count; empty for the plan's own.
    provenance : mapping of str to str
        Version and hashes of all inputs.
    """

    file: Path
    fastening: Fastening
    plan: DeckPlan
    gasket: str
    provenance: Mapping[str, str]


@dataclass(frozen=True)
class FasteningReading:
    """What a fastening gives.

    Attributes
    ----------
    files : FasteningFiles
        The inputs.
    clamp : ClampReckoning
        Preloads, strength, losses, heat, gas load.
    verdict : ClampVerdict
        The judgement.
    assumptions : tuple of str
        Assumptions that change the result.
    """

    files: FasteningFiles
    clamp: ClampReckoning
    verdict: ClampVerdict
    assumptions: tuple[str, ...]


def load_fastening(file: Path) -> FasteningFiles:
    """Read a fastening and the deck plan and gasket that it names, relative to its folder.

    Parameters
    ----------
    file : Path
        Fastening file.

    Raises
    ------
    FiredeckError
        With every fault of the first file that has any, or everything in which fastening and
        deck plan do not fit.
    """
    fastening = read_definition(file, Fastening)
    names = [fastening.deck, *([fastening.gasket] if fastening.gasket else [])]
    plan = read_definition(file.parent / fastening.deck, DeckPlan)
    gasket = read_definition(file.parent / fastening.gasket, Gasket) if fastening.gasket else None
    found = check_fastening(fastening, [hole.name for hole in plan.fastener_holes], len(plan.bores))
    if found:
        raise DefinitionError([Fault(str(file), one.key, "", one.message, one.remedy) for one in found])
    hashes = {f"sha256 {name}": file_hash(file.parent / name) for name in (file.name, *names)}
    if fastening.cylinder_pressure_from is not None:
        # The cycle model's libraries take a second to load, which only this needs.
        from firedeck.study.duty.pressure import pressure_of_duty

        pressure, more = pressure_of_duty(file, fastening.cylinder_pressure_from, len(plan.bores))
        fastening = fastening.model_copy(update={"cylinder_pressure": pressure})
        hashes |= more
    return FasteningFiles(
        file,
        fastening,
        plan_with_gasket(plan, gasket),
        gasket.name if gasket is not None and gasket.seals else "",
        {"firedeck": __version__, **hashes},
    )


@contextmanager
def in_file(file: Path) -> Iterator[None]:
    """Put the file's name before the place that a refusal names, unless it names a file itself."""
    try:
        yield
    except DefinitionError:
        raise
    except FiredeckError as fault:
        where = ": ".join(part for part in (str(file), fault.where) if part)
        raise type(fault)(fault.message, where=where, remedy=fault.remedy) from fault


def assess_fastening(file: Path) -> FasteningReading:
    """Assess a fastening.

    Parameters
    ----------
    file : Path
        Fastening file.

    Returns
    -------
    FasteningReading
        Preloads after the whole tightening, strength, losses, heat, clamp against gas load, verdict.

    Raises
    ------
    FiredeckError
        For faulty or unfitting definitions, and a tightening past yield, naming the torque that
        would yield.
    """
    files = load_fastening(file)
    with in_file(file):
        return assess_files(files)


def assess_files(files: FasteningFiles) -> FasteningReading:
    """Assess a fastening that has been read; as `assess_fastening`."""
    clamp = reckon_clamp(files.fastening, files.plan)
    verdict = judge_clamp(clamp, files.fastening.cylinder_pressure)
    return FasteningReading(files, clamp, verdict, clamp_assumptions(files.fastening, clamp))
