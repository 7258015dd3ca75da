"""The cylinder pressure that a clamp must hold down, taken from a duty."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from firedeck.definition.fastening import CylinderPressureFrom, CylinderPressureWanted
from firedeck.duty.result import Duty
from firedeck.errors import DefinitionError, Fault
from firedeck.evidence import Basis, Estimate, Source
from firedeck.study.duty.cases import read_duty

__all__ = ["design_pressures", "pressure_of_duty"]


def design_pressures(duty: Duty, bores: int, *, name: str, file: Path, key: str) -> tuple[Estimate, ...]:
    """Return the pressure that the joint must survive, bore by bore.

    It is the largest of the duty's cycles with what knock may add. Cylinders follow the plan's
    order of bores; pressures stay absolute, which asks one bar too much.

    Parameters
    ----------
    duty : Duty
        The duty, worked up.
    bores : int
        How many bores the plan has.
    name : str
        How the file calls the duty, for the message.
    file, key : Path, str
        Where the duty is named, for the message.

    Returns
    -------
    tuple of Estimate
        Pressures [MPa].

    Raises
    ------
    DefinitionError
        If the duty has other cylinders than the plan has bores, or knows no pressure of one.
    """
    found = {one.cylinder: one.design_pressure for one in duty.cylinders}
    if set(found) != set(range(1, bores + 1)):
        what = f"{name} is of {len(found)} cylinders, and the plan has {bores} bores"
        raise DefinitionError([Fault(str(file), key, "", what, "name the duty of this engine")])
    unknown = [number for number, one in found.items() if not (math.isfinite(one.value) and one.value > 0.0)]
    if unknown:
        what = f"{name} gives no pressure for cylinder {unknown[0]}"
        raise DefinitionError([Fault(str(file), key, "", what, "state the pressure here instead")])
    return tuple(found[number] for number in sorted(found))


def pressure_of_duty(
    file: Path, wanted: CylinderPressureFrom, bores: int
) -> tuple[CylinderPressureWanted, Mapping[str, str]]:
    """Work up a duty and return what its cylinders ask of the clamp.

    The scatter of the pressure is the wider side of the widest interval; see `design_pressures`.

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
    design = design_pressures(
        reading.duty, bores, name=wanted.duty, file=file, key="cylinder-pressure-from.duty"
    )
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
