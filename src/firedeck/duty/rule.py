"""Peak pressure from power by rule of thumb: a wide band, for when nothing better is known."""

from __future__ import annotations

from dataclasses import dataclass

from firedeck.duty.geometry import Cylinder
from firedeck.duty.limits import DutyError, check_limit
from firedeck.evidence import Basis, Estimate, Source

__all__ = [
    "PEAK_SCATTER",
    "PRESSURE_RATIOS",
    "RULE_SOURCE",
    "bmep_for_peak",
    "peak_from_bmep",
    "peak_from_compression",
]


@dataclass(frozen=True)
class _Band:
    value: float
    low: float
    high: float


#: Backing of the ratios below.
RULE_SOURCE = Source(Basis.MEMORY)

#: Peak pressure over brake mean effective pressure [1] of a spark-ignition engine under load, by
#: spark timing. From memory, not checked.
PRESSURE_RATIOS: dict[str, _Band] = {
    "best": _Band(5.2, 4.5, 6.0),
    "retarded": _Band(4.0, 3.5, 4.5),
    "unknown": _Band(4.7, 3.5, 6.0),
}

#: Peak pressure over pressure at the end of compression [1], by timing. From memory, not checked.
_COMPRESSION_RATIOS: dict[str, _Band] = {
    "best": _Band(3.0, 2.5, 3.5),
    "retarded": _Band(2.3, 2.0, 2.7),
    "unknown": _Band(2.7, 2.0, 3.5),
}

#: Standard deviation of peak pressure from cycle to cycle over its mean [1]. From memory, not checked.
PEAK_SCATTER = _Band(0.07, 0.05, 0.10)

#: Exponent of the compression line in `peak_from_compression` [1]. From memory, not checked.
_COMPRESSION_EXPONENT = 1.3


def _band(table: dict[str, _Band], timing: str) -> _Band:
    if timing not in table:
        raise DutyError(
            f"timing {timing!r} is not known to the rule",
            where="timing",
            remedy=f"write one of {', '.join(table)}",
        )
    return table[timing]


def peak_from_bmep(bmep: float, timing: str = "unknown") -> Estimate:
    """Mean peak cylinder pressure [MPa] from brake mean effective pressure.

    Parameters
    ----------
    bmep : float
        Brake mean effective pressure [MPa].
    timing : str
        Key of `PRESSURE_RATIOS`.

    Raises
    ------
    DutyError
        If the mean pressure is outside what the rule covers, or the timing unknown.
    """
    band = _band(PRESSURE_RATIOS, timing)
    check_limit("bmep", bmep, "bmep")
    return Estimate(band.value * bmep, band.low * bmep, band.high * bmep)


def peak_from_compression(cylinder: Cylinder, manifold_pressure: float, timing: str = "unknown") -> Estimate:
    """Mean peak cylinder pressure [MPa] from boost and compression ratio.

    The whole compression stroke counts, as it does in the trade's use of the rule.

    Parameters
    ----------
    cylinder : Cylinder
        The cylinder.
    manifold_pressure : float
        Absolute manifold pressure [MPa].
    timing : str
        Key of `PRESSURE_RATIOS`.

    Raises
    ------
    DutyError
        If the pressure is outside what the rule covers, or the timing unknown.
    """
    band = _band(_COMPRESSION_RATIOS, timing)
    check_limit("manifold_pressure", manifold_pressure, "manifold_pressure")
    squeezed = manifold_pressure * cylinder.compression_ratio**_COMPRESSION_EXPONENT
    return Estimate(band.value * squeezed, band.low * squeezed, band.high * squeezed)


def bmep_for_peak(peak: float, timing: str = "unknown") -> Estimate:
    """Brake mean effective pressure [MPa] at which the mean peak pressure reaches `peak` [MPa].

    Raises
    ------
    DutyError
        If the peak is outside what the rule covers, or the timing unknown.
    """
    band = _band(PRESSURE_RATIOS, timing)
    check_limit("peak_pressure", peak, "peak")
    return Estimate(peak / band.value, peak / band.high, peak / band.low)
