"""Whether all that a duty states lies within what its source covers, told at once."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from firedeck.definition.duty import DutyDefinition, ModelSource, RuleSource
from firedeck.duty.gas import FUELS
from firedeck.duty.limits import DutyError, check_limit
from firedeck.duty.sources import rule_bmep

__all__ = ["OutOfRange", "out_of_range"]

_ENGINE = {"bore": "bore", "stroke": "stroke"}
_MODEL = (
    "charge_temperature",
    "speed",
    "air_ratio",
    "burn_50",
    "burn_duration",
    "wiebe_exponent",
    "filling",
    "exhaust_pressure",
    "heat_factor",
)


@dataclass(frozen=True)
class OutOfRange:
    """One value that the duty's source does not cover.

    Attributes
    ----------
    key : str
        Path of its key in the file.
    message, remedy : str
        What is wrong and what would mend it.
    """

    key: str
    message: str
    remedy: str


def out_of_range(definition: DutyDefinition) -> tuple[OutOfRange, ...]:
    """Return every value of a duty that its source does not cover.

    Parameters
    ----------
    definition : DutyDefinition
        The duty.
    """
    found = []
    for key, name, value in _values(definition):
        try:
            check_limit(name, value)
        except DutyError as fault:
            found.append(OutOfRange(key, fault.message, fault.remedy))
    source = definition.source
    if isinstance(source, ModelSource) and source.fuel not in FUELS:
        names = ", ".join(sorted(FUELS))
        found.append(OutOfRange("source.fuel", f'no fuel is called "{source.fuel}"', f"write one of {names}"))
    return tuple(found)


def _values(definition: DutyDefinition) -> Iterator[tuple[str, str, float]]:
    """Yield key, name of the limit and value of all that has a limit."""
    for key, name in _ENGINE.items():
        yield f"engine.{key}", name, getattr(definition.engine, key)
    source = definition.source
    if isinstance(source, ModelSource):
        yield "engine.compression_ratio", "compression_ratio", definition.engine.compression_ratio
        yield _pressure_key(source), "manifold_pressure", source.absolute_pressure
        for name in _MODEL:
            value = getattr(source, name)
            if value is not None:
                yield f"source.{name}", name, value
    if isinstance(source, RuleSource):
        key = next(name for name in ("power", "torque", "bmep") if getattr(source, name) is not None)
        if source.speed is not None:
            yield "source.speed", "speed", source.speed
        bmep = rule_bmep(definition, source)
        if math.isfinite(bmep):
            yield f"source.{key}", "bmep", bmep


def _pressure_key(source: ModelSource) -> str:
    return "source.boost" if source.manifold_pressure is None else "source.manifold_pressure"
