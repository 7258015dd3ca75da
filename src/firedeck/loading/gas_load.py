"""Gas load against clamp, cylinder by cylinder, ranked."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firedeck.errors import FiredeckError
from firedeck.evidence import Basis, Estimate, Source

__all__ = [
    "SHARING_SOURCE",
    "Bores",
    "ClampRatio",
    "CylinderPressure",
    "PlacedPreloads",
    "clamp_ratios",
    "gas_force",
    "hydrostatic_line_load",
    "share_fasteners",
]

Floats = NDArray[np.float64]

#: A fastener serves the cylinders whose centre is no further than this times the nearest one's [1].
REACH = 1.5

#: Backing of the rule by which fasteners are shared among cylinders.
SHARING_SOURCE = Source(
    Basis.COMMON_PRACTICE,
    "each fastener is shared among the cylinders nearest to it, in inverse proportion to distance",
)


def gas_force(pressure: float, seal_diameter: float) -> float:
    """Return the force with which gas lifts the head over one seal [N].

    Parameters
    ----------
    pressure : float
        Gas pressure [MPa].
    seal_diameter : float
        Diameter on which the seal holds the gas, not the bore [mm].
    """
    return 0.25 * math.pi * seal_diameter**2 * pressure


def hydrostatic_line_load(pressure: float, seal_diameter: float) -> float:
    """Return the line load that the gas takes off the seal, ``p D / 4`` [N/mm].

    Parameters
    ----------
    pressure : float
        Gas pressure [MPa].
    seal_diameter : float
        Diameter of the seal [mm].
    """
    return 0.25 * pressure * seal_diameter


@dataclass(frozen=True)
class Bores:
    """Cylinders in plan.

    Attributes
    ----------
    names : tuple of str
        Names of the cylinders.
    centres : array, shape (n, 2)
        Centres in plan [mm].
    seal_diameters : array, shape (n,)
        Diameter on which each seal holds the gas [mm].
    """

    names: tuple[str, ...]
    centres: Floats
    seal_diameters: Floats

    @classmethod
    def build(
        cls, centres: ArrayLike, seal_diameters: ArrayLike, names: Sequence[str] | None = None
    ) -> Bores:
        """Build from centres (n, 2) and one diameter or n [mm]; names are 1, 2, 3 unless given."""
        places = np.asarray(centres, dtype=np.float64).reshape(-1, 2)
        across = np.broadcast_to(np.asarray(seal_diameters, dtype=np.float64), len(places))
        if not len(places) or not np.all(across > 0.0):
            raise FiredeckError(
                "every cylinder needs a seal diameter above zero", remedy="check centres and seal diameters"
            )
        called = tuple(names) if names is not None else tuple(str(k + 1) for k in range(len(places)))
        return cls(called, places, across)


@dataclass(frozen=True)
class PlacedPreloads:
    """Fasteners in plan with what they hold.

    Attributes
    ----------
    positions : array, shape (n, 2)
        Fasteners in plan [mm].
    preload : array, shape (n,)
        Preload of each [N].
    common, individual : float
        Relative standard uncertainty common to all, and from fastener to fastener [1].
    friction_effect : float
        Preload with 10 % more friction over preload as reckoned [1].
    """

    positions: Floats
    preload: Floats
    common: float = 0.0
    individual: float = 0.0
    friction_effect: float = 1.0


@dataclass(frozen=True)
class CylinderPressure:
    """Peak pressure of each cylinder, one value or one each.

    Attributes
    ----------
    value : float or array
        Peak cylinder pressure that the joint must survive [MPa].
    standard : float or array
        Its relative standard uncertainty [1].
    """

    value: float | Floats
    standard: float | Floats = 0.0


@dataclass(frozen=True)
class ClampRatio:
    """Clamp against gas load of one cylinder.

    Attributes
    ----------
    cylinder : str
        Name.
    fasteners : float
        How many fasteners' worth it owns [1].
    clamp : float
        Its share of the preload [N].
    gas : float
        Gas force on its seal [N].
    ratio : Estimate
        Clamp over gas force [1].
    ratio_more_friction, ratio_less_friction : float
        The ratio if friction is 10 % higher, and lower, than taken [1].
    lifts : float
        Probability that the ratio is below 1 [1].
    """

    cylinder: str
    fasteners: float
    clamp: float
    gas: float
    ratio: Estimate
    ratio_more_friction: float
    ratio_less_friction: float
    lifts: float


def share_fasteners(
    bores: Bores, positions: ArrayLike, rule: Literal["inverse distance", "nearest"] = "inverse distance"
) -> Floats:
    """Return the share of each fastener that each cylinder owns, (cylinders, fasteners) [1].

    Each column adds up to 1. ``nearest`` shares equally among cylinders equally near.

    Parameters
    ----------
    bores : Bores
        Cylinders.
    positions : array_like, shape (n, 2)
        Fasteners in plan [mm].
    rule : {"inverse distance", "nearest"}
        How a fastener within reach of several cylinders is shared; see `SHARING_SOURCE`.
    """
    places = np.asarray(positions, dtype=np.float64).reshape(-1, 2)
    distance = np.linalg.norm(bores.centres[:, None, :] - places[None, :, :], axis=2)
    nearest = distance.min(axis=0)
    if np.any(distance < 0.5 * bores.seal_diameters[:, None]):
        raise FiredeckError(
            "a fastener stands inside a seal",
            remedy="check the centres, seal diameters and fastener positions",
        )
    reach = REACH if rule == "inverse distance" else 1.0 + 1e-3
    weight = np.where(distance <= reach * nearest, 1.0 / distance, 0.0)
    if rule == "nearest":
        weight = (weight > 0.0).astype(np.float64)
    share: Floats = weight / weight.sum(axis=0)
    return share


def clamp_ratios(
    bores: Bores,
    clamp: PlacedPreloads,
    pressure: CylinderPressure,
    rule: Literal["inverse distance", "nearest"] = "inverse distance",
) -> tuple[ClampRatio, ...]:
    """Compare clamp and gas force of every cylinder, the worst first.

    The ratio is taken as lognormal: preload common and individual parts and pressure add in
    quadrature.

    Parameters
    ----------
    bores : Bores
        Cylinders.
    clamp : PlacedPreloads
        Fasteners and preloads.
    pressure : CylinderPressure
        Peak pressure of each cylinder.
    rule : {"inverse distance", "nearest"}
        How fasteners are shared.
    """
    count = len(bores.names)
    value = np.broadcast_to(np.asarray(pressure.value, dtype=np.float64), count)
    spread = np.broadcast_to(np.asarray(pressure.standard, dtype=np.float64), count)
    if not np.all(value > 0.0):
        raise FiredeckError("a cylinder pressure must be above zero", remedy="check the pressures")
    share = share_fasteners(bores, clamp.positions, rule)
    held = share * clamp.preload
    rows = [
        _one_cylinder(bores, k, share[k], held[k], clamp, float(value[k]), float(spread[k]))
        for k in range(count)
    ]
    return tuple(sorted(rows, key=lambda row: row.ratio.value))


def _one_cylinder(
    bores: Bores,
    place: int,
    share: Floats,
    held: Floats,
    clamp: PlacedPreloads,
    pressure: float,
    pressure_standard: float,
) -> ClampRatio:
    total = float(held.sum())
    gas = gas_force(pressure, float(bores.seal_diameters[place]))
    apart = clamp.individual * float(np.linalg.norm(held)) / total if total > 0.0 else 0.0
    standard = math.sqrt(clamp.common**2 + apart**2 + pressure_standard**2)
    ratio = total / gas
    reach = math.exp(1.96 * standard)
    return ClampRatio(
        bores.names[place],
        float(share.sum()),
        total,
        gas,
        Estimate(ratio, ratio / reach, ratio * reach),
        ratio * clamp.friction_effect,
        ratio / clamp.friction_effect,
        _below_one(ratio, standard),
    )


def _below_one(ratio: float, standard: float) -> float:
    """Probability that a lognormal ratio is below 1 [1]."""
    if ratio <= 0.0:
        return 1.0
    if standard == 0.0:
        return float(ratio < 1.0)
    return 0.5 * math.erfc(math.log(ratio) / standard / math.sqrt(2.0))
