"""The range of inputs that the duty models were made for, and the refusal beyond it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firedeck.errors import FiredeckError

__all__ = ["LIMITS", "DutyError", "Limit", "check_limit"]


class DutyError(FiredeckError):
    """A duty that cannot be found from what was given, or lies outside what the model covers."""


@dataclass(frozen=True)
class Limit:
    """Range of one input.

    Attributes
    ----------
    words : str
        What the input is called.
    low, high : float
        Ends of the range, in `unit`.
    unit : str
        Unit that the ends are in and that a person is shown.
    """

    words: str
    low: float
    high: float
    unit: str


#: Ranges that the duty models cover. Common practice, no source: wide enough for spark-ignition
#: road and race engines, narrow enough to catch a wrong unit.
LIMITS: dict[str, Limit] = {
    "bore": Limit("bore", 30.0, 250.0, "mm"),
    "stroke": Limit("stroke", 25.0, 300.0, "mm"),
    "compression_ratio": Limit("compression ratio", 4.0, 20.0, ""),
    "speed": Limit("engine speed", 300.0, 20000.0, "1/min"),
    "manifold_pressure": Limit("absolute manifold pressure", 0.02, 1.0, "MPa"),
    "exhaust_pressure": Limit("absolute exhaust pressure", 0.05, 1.0, "MPa"),
    "charge_temperature": Limit("charge temperature", -30.0, 250.0, "degC"),
    "wall_temperature": Limit("wall temperature", 0.0, 400.0, "degC"),
    "air_ratio": Limit("air-fuel ratio over stoichiometric (lambda)", 0.6, 1.6, ""),
    "burn_50": Limit("angle of 50 % burnt", -20.0, 80.0, "deg"),
    "burn_duration": Limit("10-90 % burn duration", 0.01, 120.0, "deg"),
    "wiebe_exponent": Limit("Wiebe exponent", 0.5, 6.0, ""),
    "burnt_share": Limit("share of the charge that burns", 0.0, 1.0, ""),
    "residual": Limit("residual gas share", 0.0, 0.5, ""),
    "filling": Limit("filling", 0.2, 1.6, ""),
    "heat_factor": Limit("heat-transfer factor", 0.0, 6.0, ""),
    "bmep": Limit("brake mean effective pressure", 0.2, 8.0, "MPa"),
    "peak_pressure": Limit("peak cylinder pressure", 1.0, 50.0, "MPa"),
}


def check_limit(name: str, value: float, where: str = "") -> float:
    """Return `value` if it lies within the range of the input `name`.

    Parameters
    ----------
    name : str
        Key of `LIMITS`.
    value : float
        Value, in the unit of the range.
    where : str
        Where the value stands, for the message.

    Raises
    ------
    DutyError
        If it does not.
    """
    limit = LIMITS[name]
    if math.isfinite(value) and limit.low <= value <= limit.high:
        return value
    unit = f" {limit.unit}" if limit.unit else ""
    raise DutyError(
        f"{limit.words} is {value:g}{unit}; the model covers {limit.low:g} to {limit.high:g}{unit}",
        where=where,
        remedy="check the value and its unit; outside this range use a measured trace",
    )
