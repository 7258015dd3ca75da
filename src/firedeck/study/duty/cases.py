"""The duty from each of its sources, from files to results."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from firedeck.definition.duty import DutyDefinition, ModelSource, RuleSource, TraceSource
from firedeck.definition.trace_mapping import TraceMapping
from firedeck.duty.agreement import Disagreement, in_order_of_trust, set_side_by_side
from firedeck.duty.cycle import run_cycle
from firedeck.duty.geometry import Cylinder, ThicknessChange, change_thickness
from firedeck.duty.inverse import LoadAtPeak, load_at_peak
from firedeck.duty.limits import DutyError
from firedeck.duty.modelled import ModelledCycle, model_cycle, model_inputs
from firedeck.duty.result import Duty
from firedeck.duty.sources import duty_from_model, duty_from_rule
from firedeck.study.duty.file import duty_provenance, load_duty
from firedeck.study.duty.trace import TraceReading, read_trace_duty
from firedeck.study.progress import Progress, silent

__all__ = [
    "DutyComparison",
    "LoadReading",
    "ModelReading",
    "RuleReading",
    "ThicknessReading",
    "compare_duties",
    "find_load",
    "read_duty",
    "read_model",
    "read_rule",
    "try_thicknesses",
]


@dataclass(frozen=True)
class ModelReading:
    """A duty by the cycle model.

    Attributes
    ----------
    definition : DutyDefinition
        What was asked.
    duty : Duty
        The duty.
    worked : ModelledCycle
        The cycle behind it.
    provenance : dict of str to str
        Version and hashes.
    """

    definition: DutyDefinition
    duty: Duty
    worked: ModelledCycle
    provenance: dict[str, str]


@dataclass(frozen=True)
class RuleReading:
    """A duty by rule of thumb, with what was asked, version and hashes."""

    definition: DutyDefinition
    duty: Duty
    provenance: dict[str, str]


@dataclass(frozen=True)
class LoadReading:
    """Load at which a peak pressure is reached, with what was asked, version and hashes."""

    definition: DutyDefinition
    load: LoadAtPeak
    provenance: dict[str, str]


@dataclass(frozen=True)
class ThicknessReading:
    """What gasket thicknesses do.

    Attributes
    ----------
    definition : DutyDefinition
        The engine.
    changes : tuple of ThicknessChange
        The thickness that the compression ratio is for first, then those asked for.
    peaks : tuple of float or None
        Peak pressure of the modelled cycle with each, all else equal [MPa]; None without a model.
    """

    definition: DutyDefinition
    changes: tuple[ThicknessChange, ...]
    peaks: tuple[float | None, ...]


@dataclass(frozen=True)
class DutyComparison:
    """Duties of one engine side by side in falling order of trust.

    Attributes
    ----------
    names : tuple of str
        What each is called.
    readings : tuple
        The readings, as `read_trace_duty`, `read_model` and `read_rule` give them.
    against : tuple of Disagreement
        How each but the first stands to the first.
    notes : tuple of str
        What to doubt about the comparison itself.
    """

    names: tuple[str, ...]
    readings: tuple[TraceReading | ModelReading | RuleReading, ...]
    against: tuple[Disagreement, ...]
    notes: tuple[str, ...]

    @property
    def duties(self) -> tuple[Duty, ...]:
        """The duties, most trusted first."""
        return tuple(reading.duty for reading in self.readings)


def read_model(path: Path) -> ModelReading:
    """Work up a duty by the cycle model.

    Raises
    ------
    FiredeckError
        If the file is faulty, its source is another, or the model does not cover it.
    """
    definition = load_duty(path)
    _require(definition, ModelSource, "model", path)
    worked = model_cycle(definition)
    return ModelReading(definition, duty_from_model(definition, worked), worked, duty_provenance([path]))


def read_rule(path: Path) -> RuleReading:
    """Work up a duty by rule of thumb; raises as `read_model`."""
    definition = load_duty(path)
    _require(definition, RuleSource, "rule", path)
    return RuleReading(definition, duty_from_rule(definition), duty_provenance([path]))


def _require(definition: DutyDefinition, source: type[object], kind: str, path: Path) -> None:
    if isinstance(definition.source, source):
        return
    own = definition.source.kind
    raise DutyError(
        f"the duty's source is {own!r}, not {kind!r}",
        where=str(path),
        remedy=f"use firedeck duty {own}, or name a duty file whose source is of kind {kind!r}",
    )


def find_load(path: Path, peak: float, *, statistic: str = "extreme") -> LoadReading:
    """Find the load at which a peak pressure [MPa] is reached; see `firedeck.duty.inverse.load_at_peak`.

    Raises
    ------
    FiredeckError
        If the file is faulty, its source a trace, or no load reaches the pressure.
    """
    definition = load_duty(path)
    return LoadReading(
        definition, load_at_peak(definition, peak, statistic=statistic), duty_provenance([path])
    )


def try_thicknesses(path: Path, thicknesses: Sequence[float]) -> ThicknessReading:
    """Say what gasket thicknesses [mm] do to compression, quench and, by the model, to peak pressure.

    Raises
    ------
    FiredeckError
        If the file is faulty, or the engine does not say what thickness its compression ratio is for.
    """
    definition = load_duty(path)
    engine = definition.engine
    own = () if engine.gasket_thickness is None else (engine.gasket_thickness,)
    changes = tuple(change_thickness(engine, one) for one in (*own, *thicknesses))
    return ThicknessReading(definition, changes, tuple(_peak_with(definition, one) for one in changes))


def _peak_with(definition: DutyDefinition, change: ThicknessChange) -> float | None:
    source = definition.source
    if not isinstance(source, ModelSource):
        return None
    cylinder = replace(Cylinder.from_engine(definition.engine), compression_ratio=change.compression_ratio)
    return run_cycle(cylinder, model_inputs(source)).peak


def compare_duties(paths: Sequence[Path], *, progress: Progress = silent) -> DutyComparison:
    """Work up several duties of one engine and set them side by side in order of trust.

    Parameters
    ----------
    paths : sequence of Path
        Duty files, two or more.
    progress : callable
        Told how far the work is.

    Raises
    ------
    FiredeckError
        If fewer than two are given, one cannot be worked up, or they are of different engines.
    """
    if len(paths) < 2:
        raise DutyError("one duty is nothing to compare", remedy="name two duty files or more")
    definitions = [load_duty(path) for path in paths]
    _same_engine(paths, definitions)
    readings = []
    for place, path in enumerate(paths):
        progress(f"working up {path.name}", place / len(paths))
        readings.append(_read_any(path, definitions[place]))
    order = in_order_of_trust([reading.duty for reading in readings])
    ranked = tuple(readings[place] for place in order)
    names = tuple(definitions[place].name or paths[place].name for place in order)
    against = set_side_by_side([reading.duty for reading in ranked])
    return DutyComparison(names, ranked, against, _doubts(ranked))


def _same_engine(paths: Sequence[Path], definitions: Sequence[DutyDefinition]) -> None:
    for path, definition in zip(paths, definitions, strict=True):
        if definition.engine != definitions[0].engine:
            raise DutyError(
                f"its engine is not the one of {paths[0].name}",
                where=str(path),
                remedy="compare duties of one engine: make their engine tables alike",
            )


def read_duty(path: Path) -> TraceReading | ModelReading | RuleReading:
    """Work up a duty by whatever source it states; raises as `read_model`."""
    return _read_any(path, load_duty(path))


def _read_any(path: Path, definition: DutyDefinition) -> TraceReading | ModelReading | RuleReading:
    if isinstance(definition.source, TraceSource):
        return read_trace_duty(path, definition, TraceMapping())
    return read_model(path) if isinstance(definition.source, ModelSource) else read_rule(path)


def _doubts(readings: Sequence[TraceReading | ModelReading | RuleReading]) -> tuple[str, ...]:
    cycles = {reading.duty.cycles for reading in readings}
    notes = ["Only mean peaks are compared word for word: the largest of many cycles also differs by law."]
    if len(cycles) > 1:
        listed = " and ".join(str(one) for one in sorted(cycles))
        notes.append(f"The largest peaks are of different numbers of cycles: {listed}.")
    return tuple(notes)
