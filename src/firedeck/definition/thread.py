"""Screw threads: designations of the trade turned into dimensions, strictly."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction as Ratio
from typing import Annotated, Literal

from pydantic import BeforeValidator, PlainSerializer, WithJsonSchema

from firedeck.errors import FiredeckError
from firedeck.evidence import Basis, Source
from firedeck.kernel.thread import (
    ThreadLimits,
    basic_minor_diameter,
    metric_limits,
    metric_root_diameter,
    metric_stress_area,
    pitch_diameter,
    unified_limits,
    unified_root_diameter,
    unified_stress_area,
)
from firedeck.units import UnitError, parse_quantity

__all__ = ["LIMITS_SOURCE", "Thread", "ThreadError", "ThreadText", "parse_thread"]

_INCH = 25.4
_REMEDY = 'write it as the drawing does, for example "M12x1.25", "M11x1.5", "7/16-20" or "1/2-13 UNC"'

# fmt: off
#: Coarse pitch [mm] of each metric diameter [mm] (ISO 261, from memory).
_METRIC_COARSE = {
    3.0: 0.5, 4.0: 0.7, 5.0: 0.8, 6.0: 1.0, 7.0: 1.0, 8.0: 1.25, 9.0: 1.25, 10.0: 1.5, 11.0: 1.5,
    12.0: 1.75, 14.0: 2.0, 16.0: 2.0, 18.0: 2.5, 20.0: 2.5, 22.0: 2.5, 24.0: 3.0, 27.0: 3.0, 30.0: 3.5,
}

#: Threads per inch of the unified series by nominal size (ASME B1.1, from memory).
_UNIFIED_SERIES = {
    "UNC": {
        "1/4": 20, "5/16": 18, "3/8": 16, "7/16": 14, "1/2": 13, "9/16": 12,
        "5/8": 11, "3/4": 10, "7/8": 9, "1": 8,
    },
    "UNF": {
        "1/4": 28, "5/16": 24, "3/8": 24, "7/16": 20, "1/2": 20, "9/16": 18,
        "5/8": 18, "3/4": 16, "7/8": 14, "1": 12,
    },
}
# fmt: on

#: Where the tolerance limits come from.
LIMITS_SOURCE = Source(
    Basis.MEMORY, "ISO 965-1 and ASME B1.1, tolerance formulas", "shear areas that follow agree with print"
)

_METRIC = re.compile(
    r"M(?P<d>\d+(\.\d+)?)(x(?P<p>\d+(\.\d+)?))?(-(?P<fit>[0-9A-Za-z/]+))?", re.ASCII | re.IGNORECASE
)
_UNIFIED = re.compile(
    r"(?P<d>\d+/\d+|\d+(\.\d+)?|\.\d+)-(?P<n>\d+(\.\d+)?)(?P<series>UN[A-Z]*)?(-(?P<fit>[0-9][AB]))?",
    re.ASCII | re.IGNORECASE,
)


class ThreadError(FiredeckError):
    """A thread that is not one: unreadable, impossible, or at odds with itself."""


@dataclass(frozen=True)
class Thread:
    """A screw thread, metric or unified, with the fit of the pair.

    Attributes
    ----------
    designation : str
        As written by the user.
    family : {"metric", "unified"}
        Which standard gives its dimensions.
    diameter, pitch : float
        Nominal diameter and pitch [mm].
    fit : str
        Tolerance class of the external thread: ``6g`` or ``6h``, ``2A`` or ``3A``; the
        internal thread is 6H, 2B or 3B with it.
    """

    designation: str
    family: Literal["metric", "unified"]
    diameter: float
    pitch: float
    fit: str

    def __str__(self) -> str:
        return self.designation

    @property
    def pitch_diameter(self) -> float:
        """Basic pitch diameter [mm]."""
        return pitch_diameter(self.diameter, self.pitch)

    @property
    def minor_diameter(self) -> float:
        """Basic minor diameter of the internal thread [mm]."""
        return basic_minor_diameter(self.diameter, self.pitch)

    @property
    def root_diameter(self) -> float:
        """Root diameter of the external thread [mm]."""
        root = metric_root_diameter if self.family == "metric" else unified_root_diameter
        return root(self.diameter, self.pitch)

    @property
    def stress_area(self) -> float:
        """Stress area of the external thread [mm^2]."""
        area = metric_stress_area if self.family == "metric" else unified_stress_area
        return area(self.diameter, self.pitch)

    @property
    def limits(self) -> ThreadLimits:
        """Limits of size of the pair that shear areas need [mm]."""
        if self.family == "metric":
            return metric_limits(self.diameter, self.pitch, self.fit[-1])
        return unified_limits(self.diameter, self.pitch, int(self.fit[0]))


def parse_thread(text: object) -> Thread:
    """Read a thread designation.

    Parameters
    ----------
    text : object
        ``"M12"`` (coarse), ``"M12x1.25"``, ``"M10x1.5-6g"``, ``"7/16-20"``, ``"1/2-13 UNC"``,
        ``"1/2-20 UNF-3A"``.

    Returns
    -------
    Thread
        With the fit stated, else 6g or 2A.

    Raises
    ------
    ThreadError
        If the text is no designation, mixes inch and metric, names a series it does not belong
        to, or describes a thread that cannot be cut.
    """
    if isinstance(text, Thread):
        return text
    if not isinstance(text, str):
        raise ThreadError(f"a thread designation is expected here, not {text!r}", remedy=_REMEDY)
    tight = re.sub(r"\s+", "", text).replace("×", "x").replace("X", "x").replace("tpi", "").replace("TPI", "")
    _refuse_mixed(tight, text)
    if found := _METRIC.fullmatch(tight):
        thread = _metric(found, text.strip())
    elif found := _UNIFIED.fullmatch(tight):
        thread = _unified(found, text.strip())
    else:
        raise ThreadError(f"{text!r} is not a thread designation that firedeck knows", remedy=_REMEDY)
    return _possible(thread)


def _refuse_mixed(tight: str, text: str) -> None:
    metric_size = re.fullmatch(r"M\d+(\.\d+)?-\d{2}", tight, re.IGNORECASE)
    inch_size = re.fullmatch(r"(\d+/\d+|\d*\.\d+)x\d+(\.\d+)?(-.*)?", tight)
    if metric_size or inch_size:
        raise ThreadError(
            f"{text!r} mixes inch and metric: a metric thread has a pitch in mm (M12x1.25), "
            "an inch thread has threads per inch (7/16-20)",
            remedy=_REMEDY,
        )


def _metric(found: re.Match[str], text: str) -> Thread:
    diameter = float(found["d"])
    if found["p"]:
        pitch = float(found["p"])
    elif diameter in _METRIC_COARSE:
        pitch = _METRIC_COARSE[diameter]
    else:
        raise ThreadError(f"{text!r} has no pitch, and no coarse pitch is known for it", remedy=_REMEDY)
    return Thread(text, "metric", diameter, pitch, _metric_fit(found["fit"], text))


def _metric_fit(fit: str | None, text: str) -> str:
    parts = fit.split("/") if fit else []
    external = [part for part in parts if part in ("6g", "6h")]
    if len(external) > 1 or any(part not in ("6g", "6h", "6H") for part in parts):
        raise ThreadError(
            f"{text!r} has a tolerance class that firedeck has no limits for",
            remedy="use 6g or 6h for the fastener and 6H for the tapped hole, or leave it out for 6H/6g",
        )
    return external[0] if external else "6g"


def _unified(found: re.Match[str], text: str) -> Thread:
    size, count = found["d"], float(found["n"])
    if count <= 0.0 or ("/" in size and size.endswith("/0")):
        raise ThreadError(f"{text!r} is no thread", remedy=_REMEDY)
    _check_series(found["series"], size, count, text)
    grade = (found["fit"] or "2A")[0]
    if grade not in "23":
        raise ThreadError(
            f"{text!r} has a thread class that firedeck has no limits for",
            remedy="use class 2A/2B or 3A/3B",
        )
    return Thread(text, "unified", _INCH * float(Ratio(size)), _INCH / count, f"{grade}A")


def _check_series(series: str | None, size: str, count: float, text: str) -> None:
    known = _UNIFIED_SERIES.get((series or "").upper().replace("UNR", "UN"))
    if known is None or size not in known or known[size] == count:
        return
    raise ThreadError(
        f"{text!r} is not {series}: {size} {series} has {known[size]} threads per inch",
        remedy="correct the count or leave the series out",
    )


def _possible(thread: Thread) -> Thread:
    """Refuse a thread whose core would be under half its diameter, or of no engine's size."""
    if not 2.0 <= thread.diameter <= 64.0:
        raise ThreadError(
            f"{thread.designation!r} has a diameter of {thread.diameter:.4g} mm; "
            "firedeck takes threads of 2 to 64 mm",
            remedy=_REMEDY,
        )
    if thread.pitch < 0.2 or thread.root_diameter < 0.5 * thread.diameter:
        raise ThreadError(
            f"{thread.designation!r} cannot be cut: a pitch of {thread.pitch:.4g} mm "
            f"on a diameter of {thread.diameter:.4g} mm",
            remedy=_REMEDY,
        )
    return thread


def _read(value: object) -> Thread:
    """Read text, or a table with a designation and the stress area of the fastener's data sheet."""
    try:
        if not isinstance(value, Mapping):
            return parse_thread(value)
        unknown = sorted(set(value) - {"designation", "stress_area"})
        if unknown:
            raise ThreadError(f"a thread has no key {unknown[0]!r}", remedy=_REMEDY)
        return _agreeing(parse_thread(value.get("designation")), value.get("stress_area"))
    except (ThreadError, UnitError) as fault:
        raise ValueError(f"{fault.message}|{fault.remedy}") from fault


def _agreeing(thread: Thread, stated: object) -> Thread:
    """Refuse a stated stress area that the dimensions deny: tables in circulation hold misprints."""
    if stated is None:
        return thread
    area = parse_quantity(stated, "area")
    if abs(area / thread.stress_area - 1.0) > 0.03:
        raise ThreadError(
            f"the stress area stated for {thread.designation}, {area:.4g} mm^2, is not that of its "
            f"dimensions, {thread.stress_area:.4g} mm^2 ({thread.stress_area / _INCH**2:.4f} in^2)",
            remedy="leave the stress area out, or correct the designation",
        )
    return thread


#: Field type: a thread written as its designation.
ThreadText = Annotated[
    Thread,
    BeforeValidator(_read),
    PlainSerializer(str, return_type=str),
    WithJsonSchema({"type": "string", "description": "thread designation, for example M12x1.25 or 7/16-20"}),
]
