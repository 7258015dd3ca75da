"""A round wire pressed between two flat faces: elastic line contact, then the wire flattens."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from firedeck.contact.law import SHARES, ClosureLaw
from firedeck.evidence import Basis, Source

__all__ = ["FIRST_YIELD", "FULLY_PLASTIC", "line_approach", "mean_pressure", "ring_law", "yield_load"]

Floats = npt.NDArray[np.float64]

#: Greatest Hertz pressure over yield strength at which a line contact first yields, beneath the
#: surface (von Mises). K. L. Johnson, Contact Mechanics, Cambridge 1985, section 6.1; from memory.
FIRST_YIELD = 1.79

#: Mean pressure over yield strength in a fully plastic contact. Johnson 1985, section 6.3: about 3,
#: 2.97 by slip lines for a flat strip; from memory.
FULLY_PLASTIC = 2.97

#: Rise of mean pressure over yield strength with ln(E* a / Y R) between the two: that of a
#: cylindrical cavity that expands, 1/sqrt(3). Johnson 1985, section 6.3; from memory.
_RISE = 3.0**-0.5

#: Half width of contact over the wire's radius where the table ends: beyond it the wire is no
#: longer a half space beneath its contacts [1].
_WIDEST = 0.6

_SOURCE = Source(
    Basis.DERIVED,
    "Johnson, Contact Mechanics, 1985",
    "elastic and plastic line contact, sections 4.2, 5.6 and 6.3",
)


def line_approach(load: Floats, half_width: Floats, radius: float, contact_modulus: float) -> Floats:
    """Return how far two flat faces come together on a cylinder between them, elastic [mm].

    Parameters
    ----------
    load : ndarray
        Load per length [N/mm].
    half_width : ndarray
        Half width of each contact [mm].
    radius : float
        Radius of the cylinder [mm].
    contact_modulus : float
        ``E / (1 - nu^2)`` of the cylinder, the faces being rigid [MPa].

    Notes
    -----
    ``2 P / (pi E*) (2 ln(4 R / a) - 1)``: K. L. Johnson, Contact Mechanics, Cambridge 1985,
    section 5.6; from memory.
    """
    loaded = load > 0.0
    away = 2.0 * np.log(4.0 * radius / np.where(loaded, half_width, radius)) - 1.0
    return np.where(loaded, 2.0 * load / (np.pi * contact_modulus) * away, 0.0)


def yield_load(radius: float, contact_modulus: float, yield_strength: float) -> float:
    """Return the load per length at first yield, ``pi R p0^2 / E*`` [N/mm].

    Parameters
    ----------
    radius : float
        Radius of the cylinder [mm].
    contact_modulus : float
        As for `line_approach` [MPa].
    yield_strength : float
        Yield strength [MPa].
    """
    return float(np.pi * radius * (FIRST_YIELD * yield_strength) ** 2 / contact_modulus)


def mean_pressure(half_width: Floats, radius: float, contact_modulus: float, yield_strength: float) -> Floats:
    """Return the mean contact pressure [MPa] at a half width of contact.

    Parameters
    ----------
    half_width : ndarray
        Half width of contact [mm].
    radius, contact_modulus, yield_strength : float
        As for `yield_load`.
    """
    elastic = np.pi * contact_modulus * half_width / (8.0 * radius)
    first = 0.25 * np.pi * FIRST_YIELD
    strain = contact_modulus * half_width / (yield_strength * radius)
    past = np.log(np.maximum(strain * np.pi / (8.0 * first), 1.0))
    plastic = yield_strength * np.minimum(first + _RISE * past, FULLY_PLASTIC)
    return np.minimum(elastic, plastic)


def ring_law(
    name: str,
    wire: float,
    modulus: float,
    poisson: float,
    yield_strength: float,
    *,
    spread: float = 0.2,
) -> ClosureLaw:
    """Return the law of a wire ring between two flat faces that do not give.

    Parameters
    ----------
    name : str
        Name of the law.
    wire : float
        Diameter of the wire [mm].
    modulus : float
        Young's modulus [MPa].
    poisson : float
        Poisson's ratio [1].
    yield_strength : float
        Yield strength of the wire [MPa].
    spread : float
        Plus or minus at 95 % of the load [1].

    Notes
    -----
    Load and half width of contact follow from the mean pressure. The closure is the elastic
    approach at the load and, once the contact is wider than Hertz has it at that load, the depth
    of the two flats that are left. On the way back the contact is elastic, its flats curved as
    the width at the peak demands.
    """
    radius, stiff = 0.5 * wire, modulus / (1.0 - poisson**2)
    half_width = np.concatenate([[0.0], np.geomspace(2e-4, 1.0, 96) * _WIDEST * radius])
    load = 2.0 * half_width * mean_pressure(half_width, radius, stiff, yield_strength)
    flats = np.maximum(half_width**2 - 4.0 * load * radius / (np.pi * stiff), 0.0) / radius
    closure = line_approach(load, half_width, radius, stiff) + flats
    shares = half_width[:, None] * np.sqrt(SHARES)
    there = line_approach(load, half_width, radius, stiff)[:, None]
    recovery = there - line_approach(load[:, None] * SHARES, shares, radius, stiff)
    width = 2.0 * float(np.interp(0.3, load / load[-1], half_width))
    return ClosureLaw(name, closure, load, recovery, width, spread, _SOURCE)
