"""One seal in a few numbers: mean and weakest line load, evenness, gaps, what was not seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.definition.deck import DeckPlan, SealKind
from firedeck.evidence import FLAGS, Estimate, flag_bit
from firedeck.pressure_map import FloatArray
from firedeck.seal.profile import LoadTable, SealProfile

__all__ = ["SealSummary", "WeakestPlace", "longest_stretch", "summarise_seal"]

BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class WeakestPlace:
    """Where a seal carries least.

    Attributes
    ----------
    line_load : Estimate
        Line load of the weakest window [N/mm].
    at : float
        Arc length of its middle [mm].
    angle : float
        Angle about what the seal encloses [degree].
    point : tuple of float
        Its middle on the deck, x, y [mm].
    fastener : str
        Name of the nearest fastener hole; empty where the plan has none.
    fastener_distance : float
        Distance to that hole's centre [mm].
    """

    line_load: Estimate
    at: float
    angle: float
    point: tuple[float, float]
    fastener: str
    fastener_distance: float


@dataclass(frozen=True)
class SealSummary:
    """A seal's line load in short.

    Attributes
    ----------
    name, kind : str, SealKind
        Which seal.
    length : float
        Length of its line [mm].
    mean : Estimate
        Mean line load [N/mm]; at least that where part is saturated.
    weakest : WeakestPlace or None
        None where the print shows nothing of the seal.
    evenness : float
        Weakest window over mean [1].
    peak : float
        Mean of the crown pressure [MPa].
    width : float
        Mean width of the pressed line [mm].
    saturated : float
        Share of the length with a saturated crown [1].
    below : float
        Share of the length whose crown stays below the lowest answering piece [1].
    under_stated : float
        Share of the length whose crown stays under the film's stated range [1].
    hidden : float
        Share of the length that the print does not show [1].
    inferred : float
        Share of the line load that is inferred and not read [1].
    """

    name: str
    kind: SealKind
    length: float
    mean: Estimate
    weakest: WeakestPlace | None
    evenness: float
    peak: float
    width: float
    saturated: float
    below: float
    under_stated: float
    hidden: float
    inferred: float


def summarise_seal(plan: DeckPlan, profile: SealProfile) -> SealSummary:
    """Sum a seal's profile up.

    Parameters
    ----------
    plan : DeckPlan
        Plan, for the fasteners' places.
    profile : SealProfile
        The seal's profile.

    Returns
    -------
    SealSummary
        The summary; NaN where nothing of the seal shows.
    """
    sectors = profile.sectors
    seen = np.isfinite(sectors.line_load)
    mean = _mean(sectors, seen)
    weakest = _weakest(plan, profile)
    shown = bool(seen.any())
    return SealSummary(
        name=profile.name,
        kind=profile.kind,
        length=profile.length,
        mean=mean,
        weakest=weakest,
        evenness=weakest.line_load.value / mean.value if weakest and mean.value > 0 else float("nan"),
        peak=float(np.mean(sectors.peak[seen])) if shown else float("nan"),
        width=float(np.mean(sectors.width[seen])) if shown else float("nan"),
        saturated=_share(sectors, seen, "saturated"),
        below=_share(sectors, seen, "below-range"),
        under_stated=_share(sectors, seen, "under-stated-range"),
        hidden=1.0 - float(np.mean(seen)),
        inferred=float(np.mean(sectors.inferred[seen])) if shown else float("nan"),
    )


def _share(table: LoadTable, seen: BoolArray, flag: str) -> float:
    return float(np.mean(table.has(flag)[seen])) if seen.any() else float("nan")


def _mean(table: LoadTable, seen: BoolArray) -> Estimate:
    if not seen.any():
        return Estimate(float("nan"), 0.0, float("inf"), ("outside-sheet",))
    value = float(np.mean(table.line_load[seen]))
    noise = float(np.sqrt(np.sum(table.noise[seen] ** 2))) / int(seen.sum())
    common = np.append(table.by_mode[:, seen].mean(axis=1), table.by_zero[seen].mean())
    sd = float(np.hypot(noise, np.sqrt(np.sum(common**2))))
    estimate = Estimate.from_standard(value, sd)
    if table.has("saturated")[seen].any():
        return Estimate(value, estimate.low, float("inf"), ("saturated",))
    return estimate


def _flag_names(bits: int) -> tuple[str, ...]:
    return tuple(name for name in FLAGS if bits & flag_bit(name))


def _weakest(plan: DeckPlan, profile: SealProfile) -> WeakestPlace | None:
    table = profile.sliding
    if not np.isfinite(table.line_load).any():
        return None
    place = int(np.nanargmin(table.line_load))
    row = round(table.at[place] / profile.strip.line.step) % len(profile.strip.line.points)
    point = profile.strip.line.points[row]
    name, distance = _nearest_fastener(plan, point)
    low = max(float(table.low[place]), 0.0)
    load = Estimate(
        float(table.line_load[place]), low, float(table.high[place]), _flag_names(int(table.flags[place]))
    )
    at, angle = float(table.at[place]), float(table.angle[place])
    return WeakestPlace(load, at, angle, (float(point[0]), float(point[1])), name, distance)


def _nearest_fastener(plan: DeckPlan, point: FloatArray) -> tuple[str, float]:
    if not plan.fastener_holes:
        return "", float("nan")
    centres = np.array([hole.centre for hole in plan.fastener_holes])
    distances = np.hypot(*(centres - point).T)
    nearest = int(np.argmin(distances))
    return plan.fastener_holes[nearest].name, float(distances[nearest])


def longest_stretch(table: LoadTable, wanted: BoolArray) -> float:
    """Return the length [mm] of the longest unbroken run of windows for which `wanted` holds.

    The run may cross the seam of the closed line. Each window counts with its distance to the next.
    """
    count = len(wanted)
    if not wanted.any():
        return 0.0
    step = float(np.median(np.diff(table.at))) if count > 1 else table.window
    if wanted.all():
        return step * count
    turned = np.roll(wanted, -int(np.argmin(wanted)))
    edges = np.flatnonzero(np.diff(np.concatenate([[False], turned, [False]])))
    return float(np.max(edges[1::2] - edges[::2])) * step
