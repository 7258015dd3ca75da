"""The cylinder pressure that a clamp must hold down, taken from a duty."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from firedeck.definition.fastening import CylinderPressureFrom, CylinderPressureWanted
from firedeck.errors import DefinitionError, Fault
from firedeck.evidence import Basis, Source
from firedeck.study.duty.cases import read_duty

__all__ = ["pressure_of_duty"]


def pressure_of_duty(
    file: Path, wanted: CylinderPressureFrom, bores: int
) -> tuple[CylinderPressureWanted, Mapping[str, str]]:
    """Work up a duty and return what its cylinders ask of the clamp.

    The pressure of a cylinder is the one that the joint must survive: the largest of the duty's
    cycles with what knock may add. Its scatter is the wider side of the widest interval. Cylinders
    follow the plan's order of bores; pressures stay absolute, which asks one bar too much.

    Parameters
    ----------
    file : Path
        The fastening's file, whose folder the duty is in.
    wanted : CylinderPressureFrom
        What the fastening says.
    bores : int
        How many bores the plan has.

    Returns
    -------
    CylinderPressureWanted, mapping of str to str
        The pressure, and hashes of all that it rests on.

    Raises
    ------
    FiredeckError
        If the duty cannot be worked up, or has another number of cylinders than the plan has bores.
    """
    reading = read_duty(file.parent / wanted.duty)
    cylinders = reading.duty.cylinders
    if len(cylinders) != bores:
        raise DefinitionError([_uneven(file, wanted.duty, len(cylinders), bores)])
    design = [one.design_pressure for one in sorted(cylinders, key=lambda one: one.cylinder)]
    values = np.array([one.value for one in design])
    mean = float(values.mean())
    scatter = max(max(one.high - one.value, one.value - one.low) / one.value for one in design)
    pressure = CylinderPressureWanted.model_construct(
        value=mean,
        scatter=min(scatter, 0.89),
        cylinder_factors=tuple(float(factor) for factor in values / mean),
        seal_diameter=wanted.seal_diameter,
        ratio_min=wanted.ratio_min,
        ratio_source=wanted.ratio_source,
        source=_source(wanted.duty, reading.duty.kind, reading.duty.cycles),
    )
    return pressure, reading.provenance


def _source(duty: str, kind: str, cycles: int) -> Source:
    return Source(
        Basis.MEASURED if kind == "trace" else Basis.DERIVED,
        f"{duty}, by {kind}: largest of {cycles} cycles with knock, cylinders in the plan's order of bores",
    )


def _uneven(file: Path, duty: str, cylinders: int, bores: int) -> Fault:
    return Fault(
        str(file),
        "cylinder-pressure-from.duty",
        "",
        f"{duty} is of {cylinders} cylinders, and the plan has {bores} bores",
        "name the duty of this engine",
    )
