"""Screw-thread geometry, tolerance limits and shear areas, in millimetres.

Metric: ISO 724 (basic dimensions), ISO 898-1 (stress area), ISO 965-1 (tolerances).
Unified: ASME B1.1. The tolerance formulas are from memory; the tests compare what follows
from them with printed shear areas.
"""

from __future__ import annotations

import itertools
import math
from typing import NamedTuple

__all__ = [
    "ThreadLimits",
    "basic_minor_diameter",
    "external_strip_area",
    "internal_strip_area",
    "metric_limits",
    "metric_root_diameter",
    "metric_stress_area",
    "pitch_diameter",
    "unified_limits",
    "unified_root_diameter",
    "unified_stress_area",
]

_ROOT_3 = math.sqrt(3.0)
_INCH = 25.4

#: Steps of nominal diameter within which ISO 965-1 keeps the pitch tolerance equal [mm].
_DIAMETER_STEPS = (0.99, 1.4, 2.8, 5.6, 11.2, 22.4, 45.0, 90.0, 180.0, 355.0)

#: One decade of the R40 series of preferred numbers (ISO 3, from memory).
_R40 = (
    *(100.0, 106.0, 112.0, 118.0, 125.0, 132.0, 140.0, 150.0, 160.0, 170.0),
    *(180.0, 190.0, 200.0, 212.0, 224.0, 236.0, 250.0, 265.0, 280.0, 300.0),
    *(315.0, 335.0, 355.0, 375.0, 400.0, 425.0, 450.0, 475.0, 500.0, 530.0),
    *(560.0, 600.0, 630.0, 670.0, 710.0, 750.0, 800.0, 850.0, 900.0, 950.0),
)


class ThreadLimits(NamedTuple):
    """The four limits that decide the smallest shear areas of a thread pair [mm]."""

    external_major_min: float
    external_pitch_min: float
    internal_pitch_max: float
    internal_minor_max: float


def pitch_diameter(diameter: float, pitch: float) -> float:
    """Return the basic pitch diameter ``d2 = d - 3/4 H``, ``H = sqrt(3)/2 P`` [mm] (ISO 724).

    Parameters
    ----------
    diameter, pitch : float
        Nominal diameter and pitch [mm].
    """
    return diameter - 0.375 * _ROOT_3 * pitch


def basic_minor_diameter(diameter: float, pitch: float) -> float:
    """Return the basic minor diameter of the internal thread ``D1 = d - 5/4 H`` [mm] (ISO 724).

    Parameters
    ----------
    diameter, pitch : float
        Nominal diameter and pitch [mm].
    """
    return diameter - 0.625 * _ROOT_3 * pitch


def metric_root_diameter(diameter: float, pitch: float) -> float:
    """Return the root diameter of the metric external thread ``d3 = D1 - H/6`` [mm] (ISO 898-1).

    Parameters
    ----------
    diameter, pitch : float
        Nominal diameter and pitch [mm].
    """
    return basic_minor_diameter(diameter, pitch) - _ROOT_3 * pitch / 12.0


def unified_root_diameter(diameter: float, pitch: float) -> float:
    """Return the UNR external minor diameter ``D - 1.190785 P`` [mm] (ASME B1.1).

    Parameters
    ----------
    diameter, pitch : float
        Nominal diameter and pitch [mm].
    """
    return diameter - 1.190785 * pitch


def metric_stress_area(diameter: float, pitch: float) -> float:
    """Return the stress area ``pi/4 ((d2 + d3)/2)^2`` [mm^2] (ISO 898-1).

    Parameters
    ----------
    diameter, pitch : float
        Nominal diameter and pitch [mm].
    """
    mean = 0.5 * (pitch_diameter(diameter, pitch) + metric_root_diameter(diameter, pitch))
    return 0.25 * math.pi * mean * mean


def unified_stress_area(diameter: float, pitch: float) -> float:
    """Return the tensile stress area ``pi/4 (D - 0.9743 P)^2`` [mm^2] (ASME B1.1).

    Parameters
    ----------
    diameter, pitch : float
        Nominal diameter and pitch [mm].
    """
    mean = diameter - 0.9743 * pitch
    return 0.25 * math.pi * mean * mean


def internal_strip_area(
    pitch: float, engagement: float, external_major_min: float, internal_pitch_max: float
) -> float:
    """Return the shear area of the internal thread [mm^2] (FED-STD-H28/2, formula from memory).

    The internal thread shears on the cylinder of the external thread's crests.

    Parameters
    ----------
    pitch : float
        Pitch [mm].
    engagement : float
        Length of full threads in engagement [mm].
    external_major_min : float
        Smallest major diameter of the external thread [mm].
    internal_pitch_max : float
        Largest pitch diameter of the internal thread [mm].
    """
    width = 0.5 * pitch + (external_major_min - internal_pitch_max) / _ROOT_3
    return math.pi * external_major_min * engagement / pitch * width


def external_strip_area(
    pitch: float, engagement: float, internal_minor_max: float, external_pitch_min: float
) -> float:
    """Return the shear area of the external thread [mm^2] (FED-STD-H28/2, formula from memory).

    The external thread shears on the cylinder of the internal thread's crests.

    Parameters
    ----------
    pitch : float
        Pitch [mm].
    engagement : float
        Length of full threads in engagement [mm].
    internal_minor_max : float
        Largest minor diameter of the internal thread [mm].
    external_pitch_min : float
        Smallest pitch diameter of the external thread [mm].
    """
    width = 0.5 * pitch + (external_pitch_min - internal_minor_max) / _ROOT_3
    return math.pi * internal_minor_max * engagement / pitch * width


def _preferred(value: float, steps: int = 0) -> float:
    """Round to the R40 series of preferred numbers, then go `steps` up the series."""
    decade, place = divmod(round(40.0 * math.log10(value)) + steps, 40)
    return _R40[place] * 10.0 ** (decade - 2)


def _metric_pitch_tolerance(diameter: float, pitch: float, steps: int) -> float:
    """Return the pitch-diameter tolerance [mm]; `steps` up the R40 series from external grade 6."""
    steps_of_diameter = itertools.pairwise(_DIAMETER_STEPS)
    low, high = next(pair for pair in steps_of_diameter if pair[0] < diameter <= pair[1])
    base = 90.0 * pitch**0.4 * math.sqrt(low * high) ** 0.1
    return 1e-3 * _preferred(base, steps)


def _with_tolerances(
    diameter: float,
    pitch: float,
    allowance: float,
    *,
    major: float,
    external_pitch: float,
    internal_pitch: float,
    internal_minor: float,
) -> ThreadLimits:
    """Return the limits that tolerances leave of the basic sizes, in the unit that all are given in."""
    basic = pitch_diameter(diameter, pitch)
    return ThreadLimits(
        external_major_min=diameter - allowance - major,
        external_pitch_min=basic - allowance - external_pitch,
        internal_pitch_max=basic + internal_pitch,
        internal_minor_max=basic_minor_diameter(diameter, pitch) + internal_minor,
    )


def metric_limits(diameter: float, pitch: float, deviation: str = "g") -> ThreadLimits:
    """Return the limits of external grade 6 and internal 6H (ISO 965-1, formulas from memory).

    Parameters
    ----------
    diameter, pitch : float
        Nominal diameter and pitch [mm].
    deviation : str
        Position of the external thread's tolerance: ``g`` or ``h`` (no allowance).

    Returns
    -------
    ThreadLimits
        Limits [mm]; tolerances rounded to preferred numbers as the standard does.
    """
    minor = 433.0 * pitch - 190.0 * pitch**1.22 if pitch < 1.0 else 230.0 * pitch**0.7
    return _with_tolerances(
        diameter,
        pitch,
        1e-3 * (15.0 + 11.0 * pitch) if deviation == "g" else 0.0,
        major=1e-3 * _preferred(180.0 * pitch ** (2.0 / 3.0) - 3.15 / math.sqrt(pitch)),
        external_pitch=_metric_pitch_tolerance(diameter, pitch, 0),
        internal_pitch=_metric_pitch_tolerance(diameter, pitch, 5),
        internal_minor=1e-3 * _preferred(minor),
    )


#: Decimals of an inch to which ASME B1.30 rounds each limit.
_UNIFIED_DECIMALS = ThreadLimits(4, 4, 4, 3)


def unified_limits(diameter: float, pitch: float, grade: int = 2) -> ThreadLimits:
    """Return the limits of classes 2A/2B or 3A/3B (ASME B1.1, formulas from memory).

    Rounded as ASME B1.30 says: the internal minor diameter to 0.001 in, the rest to 0.0001 in.
    The internal minor diameter's tolerance of class 2B is used for 3B as well, which makes
    the external thread's shear area smaller, never larger.

    Parameters
    ----------
    diameter, pitch : float
        Nominal diameter and pitch [mm].
    grade : int
        2 for 2A/2B, 3 for 3A/3B.

    Returns
    -------
    ThreadLimits
        Limits [mm].
    """
    d, p = diameter / _INCH, pitch / _INCH
    base = 0.0015 * d ** (1 / 3) + 0.0015 * math.sqrt(d) + 0.015 * p ** (2 / 3)
    allowance, share = (0.3 * base, 1.0) if grade == 2 else (0.0, 0.75)
    inches = _with_tolerances(
        d,
        p,
        allowance,
        major=0.060 * p ** (2 / 3),
        external_pitch=share * base,
        internal_pitch=1.3 * share * base,
        internal_minor=0.25 * p - 0.4 * p * p,
    )
    rounded = (
        _INCH * round(size, int(places)) for size, places in zip(inches, _UNIFIED_DECIMALS, strict=True)
    )
    return ThreadLimits(*rounded)
