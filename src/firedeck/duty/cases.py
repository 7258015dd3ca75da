"""What the cycle model is asked: running conditions, checked and laid out for the kernel."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firedeck.duty.gas import AIR_RATIO_STEP, GasTable, charge_gas
from firedeck.duty.geometry import Cylinder
from firedeck.duty.limits import LIMITS, DutyError, check_limit
from firedeck.kernel.charge import Gas
from firedeck.kernel.cycle import CASE

__all__ = ["WIEBE_RATE", "CycleInputs", "GasStack", "prepare_cases", "single_gas", "wiebe_position"]

Floats = NDArray[np.float64]

#: a of the Wiebe law: 99.9 % burnt at its nominal end.
WIEBE_RATE = 6.908

_KELVIN = 273.15


@dataclass(frozen=True)
class CycleInputs:
    """One running condition of a cylinder.

    Attributes
    ----------
    manifold_pressure : float
        Absolute manifold pressure [MPa].
    charge_temperature : float
        Temperature of the charge as it enters the cylinder, fuel evaporated [degC].
    speed : float
        Engine speed [1/min].
    burn_50 : float
        Angle of 50 % burnt after firing top dead centre [deg].
    burn_duration : float
        From 10 % to 90 % burnt [deg].
    fuel : str
        Key of `firedeck.duty.gas.FUELS`.
    air_ratio : float
        Lambda [1].
    wiebe_exponent : float
        m of 1 - exp(-a y^(m+1)) [1].
    burnt_share : float
        Share of the charge that burns at all [1].
    exhaust_pressure : float, optional
        Absolute pressure in the exhaust port [MPa]; the manifold pressure when None.
    filling : float, optional
        Fresh charge over manifold density times swept volume [1]; when None the cylinder is at
        manifold pressure when the intake closes.
    residual : float, optional
        Burnt mass share at intake closing [1]; worked out when None.
    wall_temperature : float
        Mean wall temperature [degC].
    heat_factor : float
        Multiplies the heat-transfer correlation [1]; 0 for an insulated cylinder.
    """

    manifold_pressure: float
    charge_temperature: float
    speed: float
    burn_50: float
    burn_duration: float
    fuel: str = "petrol"
    air_ratio: float = 1.0
    wiebe_exponent: float = 2.0
    burnt_share: float = 0.98
    exhaust_pressure: float | None = None
    filling: float | None = None
    residual: float | None = None
    wall_temperature: float = 180.0
    heat_factor: float = 1.0


def wiebe_position(share: float, exponent: float, rate: float = WIEBE_RATE) -> float:
    """Position between start (0) and end (1) of burning at which `share` [1] is burnt.

    Parameters
    ----------
    share : float
        Burnt share [1], below the end's 1 - exp(-rate).
    exponent : float
        m of the Wiebe law [1].
    rate : float
        a of the Wiebe law [1].
    """
    return float((-math.log1p(-share) / rate) ** (1.0 / (exponent + 1.0)))


#: Spacing of the tables, then gas constants and tables of all gases stacked, as `run_cases` takes them.
GasStack = tuple[Gas, Floats, Floats, Floats, Floats]


def prepare_cases(
    cylinder: Cylinder, inputs: CycleInputs, variations: Mapping[str, Floats], gas: GasTable | None
) -> tuple[NDArray[Any], GasStack]:
    """Check the inputs and lay them out as cases for the kernel.

    Parameters
    ----------
    cylinder : Cylinder
        The cylinder.
    inputs : CycleInputs
        What stays the same.
    variations : mapping of str to ndarray
        What differs from case to case; see `firedeck.duty.cycle.sweep_cycles`.
    gas : GasTable or None
        Gas to use in place of fuel and air.

    Returns
    -------
    tuple
        Array of CASE, shape (n,), and the gases that the cases point into.

    Raises
    ------
    DutyError
        If an input is out of range or a variation is not an input.
    """
    columns = _columns(cylinder, inputs, variations)
    _check_columns(columns, gas is not None)
    cases = np.zeros(len(columns["speed"]), dtype=CASE)
    for name in ("bore", "stroke", "rod", "intake_closes", "exhaust_opens"):
        cases[name] = getattr(cylinder, name)
    same = (
        "speed",
        "manifold_pressure",
        "wiebe_exponent",
        "burnt_share",
        "heat_factor",
        "filling",
        "residual",
    )
    for name in same:
        cases[name] = columns[name]
    cases["ratio"] = columns["compression_ratio"]
    cases["charge_temperature"] = columns["charge_temperature"] + _KELVIN
    cases["wall_temperature"] = columns["wall_temperature"] + _KELVIN
    exhaust = columns["exhaust_pressure"]
    cases["exhaust_pressure"] = np.where(np.isnan(exhaust), columns["manifold_pressure"], exhaust)
    _place_burning(cases, columns)
    stack = _stack_one(gas) if gas is not None else _stack_charges(inputs.fuel, columns["air_ratio"], cases)
    return cases, stack


def _columns(cylinder: Cylinder, inputs: CycleInputs, variations: Mapping[str, Floats]) -> dict[str, Floats]:
    fixed: dict[str, float | None] = {name: value for name, value in vars(inputs).items() if name != "fuel"}
    fixed["compression_ratio"] = cylinder.compression_ratio
    unknown = sorted(set(variations) - set(fixed))
    if unknown:
        raise DutyError(
            f"the cycle model has no input {unknown[0]!r}", remedy=f"vary one of {', '.join(sorted(fixed))}"
        )
    sizes = {len(np.atleast_1d(values)) for values in variations.values()} or {1}
    if len(sizes) > 1:
        raise DutyError("the varied inputs differ in number of cases", remedy="give arrays of one length")
    size = sizes.pop()
    columns = {name: np.full(size, np.nan if value is None else value) for name, value in fixed.items()}
    columns.update({name: np.asarray(values, dtype=np.float64) for name, values in variations.items()})
    return columns


def _check_columns(columns: Mapping[str, Floats], own_gas: bool) -> None:
    optional = {"exhaust_pressure", "filling", "residual"}
    ignored = {"air_ratio", "charge_temperature"} if own_gas else set()
    for name, values in columns.items():
        if name in ignored or (name in optional and np.isnan(values).all()):
            continue
        for value in (float(np.min(values)), float(np.max(values))):
            check_limit(name, value, name)


def _place_burning(cases: NDArray[Any], columns: Mapping[str, Floats]) -> None:
    """Turn 50 % angle and 10-90 % duration into start and length of the Wiebe law."""
    power = 1.0 / (columns["wiebe_exponent"] + 1.0)
    at = {share: (-np.log1p(-share) / WIEBE_RATE) ** power for share in (0.1, 0.5, 0.9)}
    length = columns["burn_duration"] / (at[0.9] - at[0.1])
    cases["burn_duration"] = length
    cases["burn_start"] = columns["burn_50"] - at[0.5] * length
    cases["wiebe_rate"] = WIEBE_RATE
    early = cases["burn_start"] < cases["intake_closes"]
    if early.any():
        raise DutyError(
            "the charge would begin to burn before the intake has closed",
            where="burn_50",
            remedy="a later 50 % angle or a shorter burn duration",
        )


def _stack_one(table: GasTable) -> GasStack:
    gas = table.gas
    return (
        gas,
        np.array([gas.fresh_constant]),
        gas.fresh_energy[None],
        gas.burnt_energy[None],
        gas.burnt_constant[None],
    )


def _stack_charges(fuel: str, air_ratio: Floats, cases: NDArray[Any]) -> GasStack:
    """Tables at the steps of lambda around those wanted; each case is told which two to blend."""
    place = air_ratio / AIR_RATIO_STEP
    # a lambda written as a multiple of the step must not fall below it by rounding
    lower = np.floor(place + 1e-9).astype(np.int64)
    first, last = int(lower.min()), int(lower.max()) + 1
    tables = [_charge(fuel, node, last) for node in range(first, last + 1)]
    cases["gas_index"] = lower - first
    cases["gas_weight"] = np.clip(place - lower, 0.0, 1.0)
    return (
        tables[0].gas,
        np.array([table.gas.fresh_constant for table in tables]),
        np.stack([table.gas.fresh_energy for table in tables]),
        np.stack([table.gas.burnt_energy for table in tables]),
        np.stack([table.gas.burnt_constant for table in tables]),
    )


def _charge(fuel: str, node: int, last: int) -> GasTable:
    # the node above the highest lambda may lie past the model's range and then carries no weight
    high = LIMITS["air_ratio"].high
    ratio = round(node * AIR_RATIO_STEP, 6)
    return charge_gas(fuel, min(ratio, high) if node == last else ratio)


def single_gas(stack: GasStack, cases: NDArray[Any]) -> Gas:
    """Gas of the first case, blended from the stack."""
    gas, constants, fresh, energies, burnt = stack
    index, weight = int(cases["gas_index"][0]), float(cases["gas_weight"][0])
    other = min(index + 1, len(constants) - 1)

    def mix(values: Floats) -> Floats:
        return np.asarray((1.0 - weight) * values[index] + weight * values[other])

    return Gas(*gas[:4], float(mix(constants)), mix(fresh), mix(energies), mix(burnt))
