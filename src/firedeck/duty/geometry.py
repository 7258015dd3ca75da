"""One cylinder's geometry, what a gasket's thickness does to it, and mean effective pressure."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firedeck.definition.duty import EngineGeometry
from firedeck.duty.limits import DutyError, check_limit
from firedeck.kernel.crank import cylinder_volumes

__all__ = [
    "Cylinder",
    "ThicknessChange",
    "bmep_from_power",
    "bmep_from_torque",
    "change_thickness",
    "firing_offset",
    "polytropic_pressure",
    "power_from_bmep",
]


@dataclass(frozen=True)
class Cylinder:
    """One four-stroke cylinder as a closed vessel.

    Attributes
    ----------
    bore, stroke, rod : float
        Bore, stroke, rod length [mm]; the rod may be infinite.
    compression_ratio : float
        Geometric compression ratio [1].
    intake_closes, exhaust_opens : float
        Crank angles after firing top dead centre [deg]: negative, positive.
    """

    bore: float
    stroke: float
    rod: float
    compression_ratio: float
    intake_closes: float = -180.0
    exhaust_opens: float = 180.0

    def __post_init__(self) -> None:
        if not self.compression_ratio > 1.0:
            raise DutyError(
                f"the compression ratio is {self.compression_ratio:g}, but the gas is not compressed below 1",
                where="compression_ratio",
                remedy="give largest over smallest cylinder volume, for example 9.5",
            )
        if not self.rod > 0.5 * self.stroke:
            raise DutyError(
                f"a rod of {self.rod:g} mm cannot turn a stroke of {self.stroke:g} mm",
                where="rod",
                remedy="check rod and stroke and their units",
            )
        check_limit("bore", self.bore, "bore")
        check_limit("stroke", self.stroke, "stroke")

    @classmethod
    def from_engine(cls, engine: EngineGeometry) -> Cylinder:
        """Build from the engine a user wrote."""
        return cls(
            engine.bore,
            engine.stroke,
            engine.rod,
            engine.compression_ratio,
            engine.valves.intake_closes - 180.0,
            180.0 - engine.valves.exhaust_opens,
        )

    @property
    def piston_area(self) -> float:
        """Area of the bore [mm^2]."""
        return 0.25 * math.pi * self.bore**2

    @property
    def swept_volume(self) -> float:
        """Volume that the piston sweeps [mm^3]."""
        return self.piston_area * self.stroke

    @property
    def clearance_volume(self) -> float:
        """Volume at top dead centre [mm^3]."""
        return self.swept_volume / (self.compression_ratio - 1.0)

    def volume(self, angles: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Gas volume [mm^3] at crank angles after top dead centre [deg]; same shape as `angles`."""
        wanted = np.asarray(angles, dtype=np.float64)
        flat = np.atleast_1d(wanted).ravel()
        volumes = cylinder_volumes(flat, self.bore, self.stroke, self.rod, self.compression_ratio)
        return np.asarray(volumes).reshape(wanted.shape)


def polytropic_pressure(
    cylinder: Cylinder, pressure: float, angle: float, exponent: float, angles: NDArray[np.float64] | float
) -> NDArray[np.float64]:
    """Pressure at other crank angles on the polytropic line through one known point.

    Parameters
    ----------
    cylinder : Cylinder
        The cylinder.
    pressure : float
        Absolute pressure at `angle` [MPa].
    angle : float
        Crank angle of the known point [deg].
    exponent : float
        Polytropic exponent [1].
    angles : ndarray or float
        Crank angles wanted [deg].

    Returns
    -------
    ndarray
        Absolute pressures [MPa], p = p0 (V0/V)^n.
    """
    shrink = cylinder.volume(angle) / cylinder.volume(angles)
    return np.asarray(pressure * shrink**exponent, dtype=np.float64)


@dataclass(frozen=True)
class ThicknessChange:
    """What another gasket thickness does.

    Attributes
    ----------
    thickness : float
        New clamped thickness [mm].
    compression_ratio : float
        New compression ratio [1].
    quench : float or None
        New gap between piston and head at top dead centre [mm]; None when the deck clearance is
        not known.
    notes : tuple of str
        What to watch.
    """

    thickness: float
    compression_ratio: float
    quench: float | None
    notes: tuple[str, ...] = ()


#: Usual gap between piston and head, cold [mm]. Common practice, no source.
USUAL_QUENCH = (0.9, 1.15)


def change_thickness(engine: EngineGeometry, thickness: float) -> ThicknessChange:
    """Compression ratio and quench gap with a gasket of another thickness.

    Parameters
    ----------
    engine : EngineGeometry
        Engine, with the thickness that its compression ratio is for.
    thickness : float
        New clamped thickness [mm].

    Raises
    ------
    DutyError
        If the engine does not state its gasket thickness, or the new one is not positive.
    """
    if engine.gasket_thickness is None:
        raise DutyError(
            "the engine does not say what gasket thickness its compression ratio is for",
            where="engine.gasket_thickness",
            remedy='add it, for example gasket_thickness = "1.2 mm"',
        )
    if not thickness > 0.0:
        raise DutyError("a gasket must be thicker than nothing", where="thickness", remedy="check the value")
    cylinder = Cylinder.from_engine(engine)
    hole = engine.gasket_bore or engine.bore
    added = 0.25 * math.pi * hole**2 * (thickness - engine.gasket_thickness)
    clearance = cylinder.clearance_volume + added
    if clearance <= 0.0:
        raise DutyError("so thin a gasket leaves no volume above the piston", where="thickness")
    ratio = 1.0 + cylinder.swept_volume / clearance
    quench = None if engine.deck_clearance is None else engine.deck_clearance + thickness
    return ThicknessChange(thickness, ratio, quench, _quench_notes(quench))


def _quench_notes(quench: float | None) -> tuple[str, ...]:
    low, high = USUAL_QUENCH
    if quench is None:
        return ("the quench gap is not known: the engine does not state its deck clearance",)
    if quench < low:
        return (f"quench gap {quench:.2f} mm is under the usual {low} mm: the piston may touch the head hot",)
    if quench > high:
        return (f"quench gap {quench:.2f} mm is over the usual {high} mm: slower burning and more knock",)
    return ()


def firing_offset(engine: EngineGeometry, cylinder: int) -> float:
    """Crank angle by which a cylinder fires after the first in the firing order [deg], even firing taken.

    Parameters
    ----------
    engine : EngineGeometry
        Engine, with its firing order.
    cylinder : int
        Cylinder number.

    Raises
    ------
    DutyError
        If the engine does not state its firing order, or has no such cylinder.
    """
    if cylinder == 1 and engine.cylinders == 1:
        return 0.0
    if cylinder not in engine.firing_order:
        raise DutyError(
            f"the firing order does not say when cylinder {cylinder} fires",
            where="engine.firing_order",
            remedy="add it, for example firing_order = [1, 3, 4, 2]",
        )
    return 720.0 / engine.cylinders * engine.firing_order.index(cylinder)


def bmep_from_power(power: float, swept_volume: float, speed: float) -> float:
    """Brake mean effective pressure of a four-stroke [MPa].

    Parameters
    ----------
    power : float
        Brake power [kW].
    swept_volume : float
        Swept volume of all cylinders [mm^3].
    speed : float
        Engine speed [1/min].
    """
    return power * 1e6 * 120.0 / (swept_volume * speed)


def bmep_from_torque(torque: float, swept_volume: float) -> float:
    """Brake mean effective pressure of a four-stroke [MPa]; `torque` [N*mm], `swept_volume` [mm^3]."""
    return 4.0 * math.pi * torque / swept_volume


def power_from_bmep(bmep: float, swept_volume: float, speed: float) -> float:
    """Brake power of a four-stroke [kW]; `bmep` [MPa], `swept_volume` [mm^3], `speed` [1/min]."""
    return bmep * swept_volume * speed / 120.0 * 1e-6
