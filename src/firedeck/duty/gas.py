"""Gas properties of the charge before and after it burns, tabulated once from species data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from firedeck.duty.limits import DutyError, check_limit
from firedeck.evidence import Basis, Source
from firedeck.kernel.charge import Gas

if TYPE_CHECKING:
    import cantera

__all__ = [
    "AIR",
    "FUELS",
    "Fuel",
    "GasTable",
    "burn_constant_pressure",
    "burn_constant_volume",
    "charge_gas",
    "frozen_gas",
    "fuel_named",
    "heated_air",
    "perfect_gas",
]

Floats = NDArray[np.float64]

#: Dry air, mole shares [1]; argon counted. Common practice, no source.
AIR: dict[str, float] = {"O2": 0.2095, "N2": 0.7812, "Ar": 0.0093}

#: Species that burnt gas may consist of.
PRODUCTS = ("N2", "O2", "CO2", "CO", "H2O", "H2", "OH", "H", "O", "NO", "Ar")

#: Below this temperature [K] burnt gas keeps the composition it has here. Common practice, no source.
FREEZE_TEMPERATURE = 1500.0

_SPECIES_FILE = "nasa_gas.yaml"
_NODES = np.arange(250.0, 3801.0, 50.0)
_FINE_STEP = 10.0
_LOG_PRESSURES = np.linspace(np.log(0.05), np.log(60.0), 13)
#: Tables stand at these steps of lambda; between them the cycle model blends.
AIR_RATIO_STEP = 0.02


@dataclass(frozen=True)
class Fuel:
    """A fuel as a mixture of vapours whose thermodynamic data are published.

    Attributes
    ----------
    name : str
        Name a user writes.
    shares : mapping
        Species of the data file to mass share [1].
    source : Source
        Backing of the shares.
    """

    name: str
    shares: Mapping[str, float]
    source: Source


_PURE = Source(Basis.PUBLISHED, "NASA species data as shipped with Cantera 3.2", _SPECIES_FILE)

#: Fuels by the name a user writes. "petrol" stands for pump petrol by a two-part mixture with
#: the hydrogen to carbon ratio 1.85.
FUELS: dict[str, Fuel] = {
    fuel.name: fuel
    for fuel in (
        Fuel("iso-octane", {"C8H18,isooctane": 1.0}, _PURE),
        Fuel("n-octane", {"C8H18,n-octane": 1.0}, _PURE),
        Fuel("toluene", {"C7H8": 1.0}, _PURE),
        Fuel("ethanol", {"C2H5OH": 1.0}, _PURE),
        Fuel("methanol", {"CH3OH": 1.0}, _PURE),
        Fuel("methane", {"CH4": 1.0}, _PURE),
        Fuel("propane", {"C3H8": 1.0}, _PURE),
        Fuel("petrol", {"C8H18,isooctane": 0.657, "C7H8": 0.343}, Source(Basis.COMMON_PRACTICE)),
        Fuel(
            "E85",
            {"C2H5OH": 0.855, "C8H18,isooctane": 0.095, "C7H8": 0.050},
            Source(Basis.COMMON_PRACTICE),
        ),
    )
}


@dataclass(frozen=True)
class GasTable:
    """Property tables of one charge and what it takes to burn it.

    Attributes
    ----------
    gas : Gas
        Tables for the kernel.
    air_fuel_ratio : float
        Mass of air per mass of fuel [1]; infinite without fuel.
    heating_value : float
        Lower heating value of the fuel [MJ/kg], from its heat of formation at 298.15 K.
    """

    gas: Gas
    air_fuel_ratio: float
    heating_value: float

    @property
    def fuel_share(self) -> float:
        """Mass share of fuel in the fresh charge [1]."""
        return 1.0 / (1.0 + self.air_fuel_ratio)

    @property
    def temperature_high(self) -> float:
        """Highest tabulated temperature [K]."""
        return float(self.gas.temperature_low + self.gas.temperature_step * (self.gas.fresh_energy.size - 1))


def fuel_named(name: str) -> Fuel:
    """Return the fuel of that name.

    Raises
    ------
    DutyError
        If there is none.
    """
    if name not in FUELS:
        raise DutyError(
            f"no fuel is called {name!r}", where="fuel", remedy=f"write one of {', '.join(sorted(FUELS))}"
        )
    return FUELS[name]


@lru_cache(maxsize=4)
def _phase(names: tuple[str, ...]) -> cantera.Solution:
    import cantera

    species = {entry.name: entry for entry in cantera.Species.list_from_file(_SPECIES_FILE)}
    return cantera.Solution(thermo="ideal-gas", species=[species[name] for name in names])


@lru_cache(maxsize=256)
def charge_gas(fuel: str, air_ratio: float, *, argon: bool = True) -> GasTable:
    """Tabulate a premixed charge of fuel vapour and air, and its equilibrium products.

    Parameters
    ----------
    fuel : str
        Key of `FUELS`.
    air_ratio : float
        Air over the air that complete burning needs (lambda) [1].
    argon : bool
        Whether air counts its argon; without, it is oxygen with 3.76 parts of nitrogen.

    Returns
    -------
    GasTable
        Kept in memory; the same call is instant.

    Raises
    ------
    DutyError
        If the fuel is unknown or the air ratio outside the model's range.
    """
    check_limit("air_ratio", air_ratio, "air_ratio")
    shares = fuel_named(fuel).shares
    fresh, fuel_mass = _fresh_moles(shares, air_ratio, AIR if argon else {"O2": 1.0, "N2": 3.76})
    phase = _phase((*PRODUCTS, *shares))
    phase.TPX = 298.15, 101325.0, fresh
    air_fuel = (phase.mean_molecular_weight * sum(fresh.values()) - fuel_mass) / fuel_mass
    energy, constant = _frozen(phase, fresh)
    burnt_energy, burnt_constant = _equilibrium(_product_moles(phase, fresh))
    tables = Gas(
        _NODES[0],
        _FINE_STEP,
        _LOG_PRESSURES[0],
        _LOG_PRESSURES[1] - _LOG_PRESSURES[0],
        constant,
        energy,
        burnt_energy,
        burnt_constant,
    )
    return GasTable(tables, air_fuel, _heating_value(shares))


def _fresh_moles(
    shares: Mapping[str, float], air_ratio: float, air: Mapping[str, float]
) -> tuple[dict[str, float], float]:
    """Moles of each species for one mass of fuel, and that mass."""
    phase = _phase((*PRODUCTS, *shares))
    moles: dict[str, float] = {}
    oxygen = 0.0
    for name, share in shares.items():
        entry = phase.species(name)
        moles[name] = share / phase.molecular_weights[phase.species_index(name)]
        atoms = entry.composition
        need = atoms.get("C", 0.0) + 0.25 * atoms.get("H", 0.0) - 0.5 * atoms.get("O", 0.0)
        oxygen += moles[name] * need
    for name, part in air.items():
        moles[name] = air_ratio * oxygen * part / air["O2"]
    return moles, sum(shares.values())


def _product_moles(phase: cantera.Solution, fresh: Mapping[str, float]) -> dict[str, float]:
    """Burnt gas with the atoms of the fresh charge, as a start for the equilibrium."""
    phase.TPX = 1000.0, 101325.0, fresh
    atoms = {element: phase.elemental_mole_fraction(element) for element in phase.element_names}
    moles = {"CO": atoms["C"], "H2": 0.5 * atoms["H"], "O2": 0.5 * (atoms["O"] - atoms["C"])}
    return {**moles, "N2": 0.5 * atoms["N"], "Ar": atoms.get("Ar", 0.0)}


def _frozen(phase: cantera.Solution, moles: Mapping[str, float]) -> tuple[Floats, float]:
    """Energy [N*mm/kg] over the fine temperatures and gas constant [N*mm/(kg*K)] of a fixed mixture."""
    import cantera

    fine = np.arange(_NODES[0], _NODES[-1] + 0.5 * _FINE_STEP, _FINE_STEP)
    states = cantera.SolutionArray(phase, len(fine))
    states.TPX = fine, 101325.0, dict(moles)
    return np.asarray(states.int_energy_mass) * 1e3, float(
        cantera.gas_constant / phase.mean_molecular_weight
    ) * 1e3


def _equilibrium(moles: Mapping[str, float]) -> tuple[Floats, Floats]:
    """Energy and gas constant of burnt gas over fine temperatures and `_LOG_PRESSURES`."""
    energies = np.empty((_NODES.size, _LOG_PRESSURES.size))
    constants = np.empty_like(energies)
    for j, log_pressure in enumerate(_LOG_PRESSURES):
        energies[:, j], constants[:, j] = _equilibrium_column(moles, float(np.exp(log_pressure)) * 1e6)
    fine = np.arange(_NODES[0], _NODES[-1] + 0.5 * _FINE_STEP, _FINE_STEP)
    return CubicSpline(_NODES, energies)(fine), CubicSpline(_NODES, constants)(fine)


def _equilibrium_column(moles: Mapping[str, float], pressure: float) -> tuple[Floats, Floats]:
    """One column of the table at `pressure` [Pa]."""
    import cantera

    phase = _phase(PRODUCTS)
    energy, constant = np.empty(_NODES.size), np.empty(_NODES.size)
    phase.TPX = FREEZE_TEMPERATURE, pressure, dict(moles)
    phase.equilibrate("TP")
    settled = phase.X.copy()
    for i, temperature in enumerate(_NODES):
        if temperature <= FREEZE_TEMPERATURE:
            phase.TPX = temperature, pressure, settled
        else:
            phase.TP = temperature, pressure
            phase.equilibrate("TP")
        energy[i] = phase.int_energy_mass * 1e3
        constant[i] = cantera.gas_constant / phase.mean_molecular_weight * 1e3
    return energy, constant


def _heating_value(shares: Mapping[str, float]) -> float:
    """Lower heating value at 298.15 K [MJ/kg]."""
    phase = _phase((*PRODUCTS, *shares))
    moles, mass = _fresh_moles(shares, 1.0, {"O2": 1.0})
    burnt: dict[str, float] = {"CO2": 0.0, "H2O": 0.0}
    for name in shares:
        atoms = phase.species(name).composition
        burnt["CO2"] += moles[name] * atoms.get("C", 0.0)
        burnt["H2O"] += moles[name] * 0.5 * atoms.get("H", 0.0)
    heat = sum(count * phase.species(name).thermo.h(298.15) for name, count in moles.items())
    heat -= sum(count * phase.species(name).thermo.h(298.15) for name, count in burnt.items())
    return float(heat / mass * 1e-6)


def frozen_gas(moles: Mapping[str, float], *, heat: float = 0.0) -> GasTable:
    """Tabulate a mixture that does not react; "burning" adds `heat` to it.

    Parameters
    ----------
    moles : mapping
        Species among the products to mole share [1].
    heat : float
        Heat that "burning" sets free [kJ/kg of charge].

    Returns
    -------
    GasTable
        For motored runs and for ideal cycles with real specific heats.
    """
    energy, constant = _frozen(_phase(PRODUCTS), moles)
    return GasTable(_without_reaction(energy, constant, heat), float("inf"), 0.0)


def heated_air(heat: float = 0.0) -> GasTable:
    """Dry air that takes `heat` [kJ/kg] in place of a fuel's; see `frozen_gas`."""
    return frozen_gas(AIR, heat=heat)


def perfect_gas(gas_constant: float, cv: float, *, heat: float = 0.0) -> GasTable:
    """Gas of constant specific heat, for comparison with textbook cycles.

    Parameters
    ----------
    gas_constant, cv : float
        Gas constant and specific heat at constant volume [kJ/(kg*K)].
    heat : float
        Heat that "burning" sets free [kJ/kg of charge].
    """
    # the range is wide because textbook cycles without dissociation run very hot
    temperatures = np.array([0.0, 20000.0])
    energy = cv * 1e6 * temperatures
    burnt = np.repeat((energy - heat * 1e6)[:, None], 2, axis=1)
    constants = np.full((2, 2), gas_constant * 1e6)
    gas = Gas(0.0, 20000.0, -10.0, 20.0, gas_constant * 1e6, energy, burnt, constants)
    return GasTable(gas, float("inf"), 0.0)


def _without_reaction(energy: Floats, constant: float, heat: float) -> Gas:
    burnt = np.repeat((energy - heat * 1e6)[:, None], 2, axis=1)
    constants = np.full_like(burnt, constant)
    return Gas(_NODES[0], _FINE_STEP, -10.0, 20.0, constant, energy, burnt, constants)


def _burnt_at(gas: Gas, temperature: float, pressure: float) -> tuple[float, float]:
    """Energy [N*mm/kg] and gas constant [N*mm/(kg*K)] of burnt gas."""
    from scipy.interpolate import RegularGridInterpolator

    rows, columns = gas.burnt_energy.shape
    axes = (
        gas.temperature_low + gas.temperature_step * np.arange(rows),
        gas.log_pressure_low + gas.log_pressure_step * np.arange(columns),
    )
    place = np.array([[temperature, np.log(pressure)]])
    energy = RegularGridInterpolator(axes, gas.burnt_energy)(place)[0]
    return float(energy), float(RegularGridInterpolator(axes, gas.burnt_constant)(place)[0])


def _fresh_energy(gas: Gas, temperature: float) -> float:
    axis = gas.temperature_low + gas.temperature_step * np.arange(gas.fresh_energy.size)
    return float(np.interp(temperature, axis, gas.fresh_energy))


def burn_constant_volume(table: GasTable, temperature: float, pressure: float) -> tuple[float, float]:
    """Temperature [K] and pressure [MPa] after burning in a closed, insulated vessel.

    Parameters
    ----------
    table : GasTable
        The charge.
    temperature, pressure : float
        Before burning [K], [MPa].
    """
    from scipy.optimize import brentq

    gas = table.gas
    energy = _fresh_energy(gas, temperature)
    density = pressure / (gas.fresh_constant * temperature)

    def pressure_at(hot: float) -> float:
        guess = pressure * hot / temperature
        for _ in range(20):
            guess = density * _burnt_at(gas, hot, guess)[1] * hot
        return guess

    def excess(hot: float) -> float:
        return _burnt_at(gas, hot, pressure_at(hot))[0] - energy

    hot = float(brentq(excess, temperature, table.temperature_high, xtol=1e-6))
    return hot, pressure_at(hot)


def burn_constant_pressure(table: GasTable, temperature: float, pressure: float) -> float:
    """Temperature [K] after burning at constant `pressure` [MPa] from `temperature` [K] without heat loss."""
    from scipy.optimize import brentq

    gas = table.gas
    enthalpy = _fresh_energy(gas, temperature) + gas.fresh_constant * temperature

    def excess(hot: float) -> float:
        energy, constant = _burnt_at(gas, hot, pressure)
        return energy + constant * hot - enthalpy

    return float(brentq(excess, temperature, table.temperature_high, xtol=1e-6))
