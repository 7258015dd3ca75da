"""The inner unit system and the only conversions into and out of it.

Inside firedeck every number is a plain float in N, mm, MPa, s, degC (temperature
differences in K), radians, and combinations of those: N/mm for line load, N*mm for torque.
Text with a unit is turned into such a float here, at the edge, and nowhere else.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import TYPE_CHECKING

from firedeck.errors import FiredeckError

if TYPE_CHECKING:
    import pint

__all__ = ["INNER_UNITS", "UnitError", "parse_quantity", "show_quantity", "show_torque", "to_unit"]

#: Kind of quantity -> the inner unit its floats are in.
INNER_UNITS: dict[str, str] = {
    "angle": "degree",
    "area": "mm**2",
    "duration": "s",
    "expansion": "1/kelvin",
    "fraction": "dimensionless",
    "force": "N",
    "frequency": "Hz",
    "length": "mm",
    "line_load": "N/mm",
    "power": "kW",
    "pressure": "MPa",
    "resolution": "1/mm",
    "rotational_speed": "1/min",
    "stiffness": "N/mm",
    "temperature": "degC",
    "temperature_difference": "delta_degC",
    "torque": "N*mm",
    "volume": "mm**3",
}

_EXAMPLES = {
    "angle": "90 deg",
    "duration": "10 min",
    "force": "62 kN",
    "fraction": "45 %",
    "length": "86 mm",
    "line_load": "120 N/mm",
    "power": "300 kW",
    "pressure": "25 MPa",
    "resolution": "600 dpi",
    "rotational_speed": "6500 rpm",
    "temperature": "23 degC",
    "torque": "110 N*m",
}


#: Standard pound-force [N] and inch [mm], both exact.
_POUND, _INCH = 4.4482216152605, 25.4

#: Kind of quantity -> units met every day, as they are once tidied -> how many inner units one of them is.
#: The units library knows them all, and takes longer to load than many a command takes for its work: it is
#: asked for what does not stand here, temperatures on other scales and mistakes among it.
_EVERYDAY: dict[str, dict[str, float]] = {
    "angle": {"deg": 1.0, "degree": 1.0},
    "area": {"mm**2": 1.0},
    "duration": {"ms": 1e-3, "s": 1.0, "min": 60.0, "h": 3600.0},
    "expansion": {"1/K": 1.0, "K**-1": 1.0},
    "force": {"N": 1.0, "kN": 1e3, "lbf": _POUND, "force_pound": _POUND},
    "fraction": {"": 1.0, "percent": 0.01},
    "length": {"um": 1e-3, "mm": 1.0, "cm": 10.0, "m": 1e3, "in": _INCH, "inch": _INCH, "thou": _INCH / 1e3},
    "line_load": {"N/mm": 1.0, "lbf/in": _POUND / _INCH, "force_pound / inch": _POUND / _INCH},
    "power": {"kW": 1.0, "hp": 550.0 * 12.0 * _POUND * _INCH / 1e6},
    "pressure": {"kPa": 1e-3, "bar": 0.1, "MPa": 1.0, "GPa": 1e3, "psi": _POUND / _INCH**2},
    "resolution": {"dpi": 1.0 / _INCH},
    "rotational_speed": {"1/min": 1.0},
    "stiffness": {"N/mm": 1.0, "kN/mm": 1e3},
    "temperature": {"degC": 1.0},
    "temperature_difference": {"K": 1.0},
    "torque": {"N*mm": 1.0, "N*m": 1e3, "force_pound * foot": 12.0 * _INCH * _POUND},
    "volume": {"mm**3": 1.0, "cm**3": 1e3},
}


class UnitError(FiredeckError):
    """A quantity without a unit, with an unknown one, or of the wrong kind."""


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry(
        autoconvert_offset_to_baseunit=True, on_redefinition="ignore"
    )
    registry.define("dpi = 1 / inch")
    registry.define("ppi = 1 / inch")
    registry.define("thou = 0.001 * inch")
    return registry


#: A number, also as an inch fraction such as 7/16, then a unit without any further number but powers.
_NUMBER_AND_UNIT = re.compile(
    r"\s*(?P<number>[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?(?:\s*/\s*\d+)?)\s*(?P<unit>\D[^,;|&#]*|)$"
)
_UNIT = re.compile(r"(?:[A-Za-zµμ°%·²³^*/().\- ]|\*\*-?\d|\^-?\d|(?<=[/A-Za-z])\d(?=$|[*/ )])|^1(?=/))*")


def _tidy_unit(text: str) -> str:
    """Rewrite spellings met in the trade into ones the units library knows."""
    text = text.strip().replace("µ", "u").replace("μ", "u").replace("°C", "degC").replace("°F", "degF")
    text = text.replace("°", "degree").replace("·", "*").replace("²", "**2").replace("³", "**3")
    text = re.sub(r"\blbf?[ .*\-]?ft\b|\bft[ .*\-]?lbf?\b", "force_pound * foot", text)
    text = re.sub(r"\blbf?[ .*\-]?in\b|\bin[ .*\-]?lbf?\b", "force_pound * inch", text)
    text = re.sub(r"\bN[ .\-]?m\b(?!m)", "N*m", text)
    text = re.sub(r"\br(ev/min|pm)\b", "1/min", text)
    text = re.sub(r"\bPS\b", "metric_horsepower", re.sub(r"\bbhp\b", "horsepower", text))
    return text.replace("%", "percent")


def _split(text: str) -> tuple[float, str] | None:
    """Take text apart into number and unit; None where it is not one number and one unit."""
    found = _NUMBER_AND_UNIT.match(re.sub(r"(?<=\s)1/([A-Za-z]+)$", r"\1**-1", text.rstrip()))
    if found is None or not _UNIT.fullmatch(found["unit"]):
        return None
    above, _, below = found["number"].partition("/")
    if below and float(below) == 0.0:
        return None
    return float(above) / (float(below) if below else 1.0), _tidy_unit(found["unit"])


def parse_quantity(text: object, kind: str) -> float:
    """Turn text such as ``"80 lbf*ft"`` into a float in the inner unit.

    Parameters
    ----------
    text : object
        Text with a number and a unit. A bare number is accepted for fractions only.
    kind : str
        A key of `INNER_UNITS`.

    Returns
    -------
    float
        Value in ``INNER_UNITS[kind]``.

    Raises
    ------
    UnitError
        If the unit is missing, unknown or of another kind, or the number is not finite.
    """
    unit = INNER_UNITS[kind]
    remedy = f'write it with its unit, for example "{_EXAMPLES.get(kind, "1 " + unit)}"'
    label = kind.replace("_", " ")
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise UnitError(f"a {label} is expected here", remedy=remedy)
    if isinstance(text, (int, float)) and kind == "fraction":
        return _finite(float(text), label, remedy)
    parts = _split(str(text))
    if parts is None:
        raise UnitError(
            f"{text!r} is not a {label} with a unit",
            remedy=f"{remedy}; the decimal sign is a point, and only one number may stand there",
        )
    if not parts[1] and kind not in ("fraction", "angle"):
        raise UnitError(f"{text!r} has no unit", remedy=remedy)
    line = _line_to_inner(parts[1], kind)
    if line is None:
        known = "" if _is_known(parts[1]) else " with a unit that firedeck knows"
        raise UnitError(f"{text!r} is not a {label}{known}", remedy=remedy)
    slope, start = line
    return _finite(start + slope * parts[0], label, remedy)


@lru_cache(maxsize=512)
def _is_known(unit: str) -> bool:
    try:
        _registry().Quantity(1.0, unit)
    except Exception:  # the library raises many kinds of its own for words it does not know
        return False
    return True


def _line_to_inner(unit: str, kind: str) -> tuple[float, float] | None:
    """Return slope and start of the line from a number in `unit` to the inner unit; None for another kind."""
    slope = _EVERYDAY.get(kind, {}).get(unit)
    return _line_by_library(unit, kind) if slope is None else (slope, 0.0)


@lru_cache(maxsize=512)
def _line_by_library(unit: str, kind: str) -> tuple[float, float] | None:
    import pint

    if not _is_known(unit):
        return None
    zero, one = (_registry().Quantity(number, unit) for number in (0.0, 1.0))
    if one.dimensionless and kind not in ("fraction", "angle"):
        return None
    try:
        start, end = (float(quantity.to(INNER_UNITS[kind]).magnitude) for quantity in (zero, one))
    except pint.errors.DimensionalityError:
        return None
    return end - start, start


def _finite(value: float, label: str, remedy: str) -> float:
    if not math.isfinite(value):
        raise UnitError(f"a {label} must be a finite number", remedy=remedy)
    return value


@lru_cache(maxsize=256)
def _factor(kind: str, unit: str) -> float:
    slope = _EVERYDAY.get(kind, {}).get(unit)
    if slope is not None:
        return 1.0 / slope
    return float(_registry().Quantity(1.0, INNER_UNITS[kind]).to(unit).magnitude)


def to_unit(value: float, kind: str, unit: str) -> float:
    """Express an inner float in another unit, for showing to a person.

    Parameters
    ----------
    value : float
        Value in ``INNER_UNITS[kind]``.
    kind : str
        A key of `INNER_UNITS`, temperatures excepted.
    unit : str
        Unit to show, in the units library's spelling.

    Returns
    -------
    float
        Value in `unit`.
    """
    return value * _factor(kind, unit)


def show_quantity(value: float, unit: str, *, digits: int = 3) -> str:
    """Write a number with its unit, rounded to significant digits and without exponents.

    Parameters
    ----------
    value : float
        Value, already in `unit`.
    unit : str
        Unit as a reader of the trade writes it.
    digits : int
        Significant digits.
    """
    if not math.isfinite(value):
        return "not shown"
    if value == 0.0:
        return f"0 {unit}".strip()
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    return f"{value:.{decimals}f} {unit}".strip()


def show_torque(torque: float) -> str:
    """Write a torque [N*mm] in both units of the trade, as ``105 N·m (77 lbf·ft)``."""
    feet = to_unit(torque, "torque", "force_pound * foot")
    return f"{torque / 1000.0:.0f} N·m ({feet:.0f} lbf·ft)"
