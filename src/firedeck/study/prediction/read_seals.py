"""What a print says about its seals, from a reading just made or from one that was stored."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from firedeck.evidence import FLAG_DTYPE, FLAGS, Estimate, flag_bit
from firedeck.pressure_map import FloatArray
from firedeck.seal.profile import LoadTable
from firedeck.study.prints.reading import PrintReading
from firedeck.study.prints.stored_reading import StoredReading

__all__ = ["ReadLoads", "ReadSeal", "read_seals", "stored_seals"]


@dataclass(frozen=True)
class ReadLoads:
    """Line load in windows along a seal, as it is drawn.

    Attributes
    ----------
    at : ndarray, shape (k,)
        Arc length of the windows' middles [mm].
    line_load : ndarray, shape (k,)
        Line load [N/mm]; NaN where the print does not show it.
    low, high : ndarray, shape (k,)
        Ends of the 95 % interval [N/mm]; `high` is infinite where the crown is saturated.
    flags : ndarray of uint16, shape (k,)
        Bits of `firedeck.evidence.FLAGS`.
    """

    at: FloatArray
    line_load: FloatArray
    low: FloatArray
    high: FloatArray
    flags: npt.NDArray[np.uint16]

    def has(self, flag: str) -> npt.NDArray[np.bool_]:
        """Return which windows carry a flag."""
        return np.asarray((self.flags & np.uint16(flag_bit(flag))) != 0)


@dataclass(frozen=True)
class ReadSeal:
    """One seal of a print.

    Attributes
    ----------
    seal : str
        The seal [text].
    length : float
        Length of its line [mm].
    loads : ReadLoads
        Line load along it.
    mean : Estimate
        Mean line load [N/mm].
    lowest : Estimate or None
        Line load of its weakest place [N/mm]; None where the print shows none.
    angle : float
        Angle of that place [degree].
    saturated : float
        Share of its length whose crown is saturated [1].
    """

    seal: str
    length: float
    loads: ReadLoads
    mean: Estimate
    lowest: Estimate | None
    angle: float
    saturated: float


def read_seals(reading: PrintReading) -> tuple[ReadSeal, ...]:
    """Return the seals of a reading just made, in the plan's order."""
    found = []
    for profile, summary in zip(reading.profiles, reading.summaries, strict=True):
        weakest = summary.weakest
        found.append(
            ReadSeal(
                profile.name,
                profile.length,
                _drawn(profile.sliding),
                summary.mean,
                weakest.line_load if weakest else None,
                weakest.angle if weakest else math.nan,
                summary.saturated,
            )
        )
    return tuple(found)


def _drawn(table: LoadTable) -> ReadLoads:
    return ReadLoads(table.at, table.line_load, table.low, table.high, table.flags)


def stored_seals(stored: StoredReading) -> tuple[ReadSeal, ...]:
    """Return the seals of a stored reading, in its plan's order; line loads are rounded to 0.01 N/mm."""
    return tuple(_stored(one) for one in stored.record["seals"])


def _stored(seal: Mapping[str, Any]) -> ReadSeal:
    weakest = seal["weakest"]
    return ReadSeal(
        seal["name"],
        seal["length_mm"],
        _stored_loads(seal["curve"], seal["length_mm"] / seal["axis"]["span"]),
        _estimate(seal["mean"]),
        _estimate(weakest) if weakest else None,
        weakest["angle_deg"] if weakest else math.nan,
        seal["shares"]["saturated"],
    )


def _stored_loads(curve: Mapping[str, Any], scale: float) -> ReadLoads:
    load = _numbers(curve["load"])
    high = _numbers(curve["high"])
    # A null is written for an open end as for what is not shown; the load tells the two apart.
    high[np.isnan(high) & np.isfinite(load)] = np.inf
    bits = [sum(flag_bit(name) for name in words.split() if name in FLAGS) for words in curve["flags"]]
    at = scale * _numbers(curve["at"])
    return ReadLoads(at, load, _numbers(curve["low"]), high, np.array(bits, dtype=FLAG_DTYPE))


def _numbers(values: list[float | None]) -> FloatArray:
    return np.array([math.nan if value is None else value for value in values], dtype=np.float64)


def _estimate(told: Mapping[str, Any]) -> Estimate:
    """Return a stored estimate; what is null is not known, or an open end."""
    value = math.nan if told["value"] is None else float(told["value"])
    low = math.nan if told["low"] is None else float(told["low"])
    known = not math.isnan(value)
    high = (math.inf if known else math.nan) if told["high"] is None else float(told["high"])
    return Estimate(value, low, high, tuple(told["flags"]))
