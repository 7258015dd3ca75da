"""How far preload scatters, and from what: friction, tool, yield, stiffness.

Every influence is lognormal about its typical value. Part of its variance is common to all
fasteners of one assembly (the tin of lubricant, the wrench's setting) and part differs from
fastener to fastener: only the second part averages out over the fasteners of a cylinder.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firedeck.definition.fastener import Fastener
from firedeck.definition.tightening import METHOD_SCATTER, Stage, Tightening
from firedeck.evidence import Estimate, Source
from firedeck.loading.preload import INFLUENCES, preload_after

__all__ = [
    "Contribution",
    "PreloadSpread",
    "preload_spread",
    "sample_preloads",
    "tightening_factor",
    "usual_scatter",
]

_STEP = 1e-4
_NORMAL_95 = 1.96


def tightening_factor(scatter: float) -> float:
    """Return greatest over least preload, ``(1 + s)/(1 - s)``, for a scatter of plus or minus s [1].

    Parameters
    ----------
    scatter : float
        Relative scatter [1].
    """
    return (1.0 + scatter) / (1.0 - scatter)


def usual_scatter(tightening: Tightening) -> tuple[float, float, Source] | None:
    """Return the scatter that a published table gives the method, plus or minus [1].

    To set beside the reckoned one: the narrow and the wide end and the source, or None where the
    table has no such method.

    Parameters
    ----------
    tightening : Tightening
        Its last stage names the method.
    """
    method = "torque wrench, friction estimated" if tightening.method == "torque" else tightening.method
    return METHOD_SCATTER.get(method)


@dataclass(frozen=True)
class Contribution:
    """What one influence adds to the scatter.

    Attributes
    ----------
    name : str
        One of `INFLUENCES`, or ``measured scatter``.
    standard : float
        Relative standard uncertainty of the preload from it alone [1].
    common : float
        Share of its variance that one assembly's fasteners have in common [1].
    source : Source
        Backing of its range.
    """

    name: str
    standard: float
    common: float
    source: Source


@dataclass(frozen=True)
class PreloadSpread:
    """Preload of a fastener as tightened, with its scatter.

    Attributes
    ----------
    typical : float
        Median preload [N].
    common, individual : float
        Relative standard uncertainty common to an assembly, and from fastener to fastener [1].
    friction_effect : float
        Preload with 10 % more friction over preload as reckoned [1].
    contributions : tuple of Contribution
        Largest first.
    """

    typical: float
    common: float
    individual: float
    friction_effect: float
    contributions: tuple[Contribution, ...]

    @property
    def standard(self) -> float:
        """Relative standard uncertainty of one fastener's preload [1]."""
        return math.hypot(self.common, self.individual)

    @property
    def one(self) -> Estimate:
        """Preload of any one fastener [N]."""
        return self._band(self.standard)

    def mean_of(self, count: int) -> Estimate:
        """Return the mean preload of `count` fasteners of one assembly [N]."""
        return self._band(math.hypot(self.common, self.individual / math.sqrt(count)))

    @property
    def tightening_factor(self) -> float:
        """Greatest over least preload of one fastener at 95 % [1]."""
        return self.one.high / self.one.low

    def _band(self, standard: float) -> Estimate:
        reach = math.exp(_NORMAL_95 * standard)
        return Estimate(self.typical, self.typical / reach, self.typical * reach)


@dataclass(frozen=True)
class _Influences:
    """Covariance of the logarithms of `INFLUENCES`, split into common and individual parts [1]."""

    common: NDArray[np.float64]
    individual: NDArray[np.float64]
    sources: tuple[Source, ...]

    @property
    def total(self) -> NDArray[np.float64]:
        whole: NDArray[np.float64] = self.common + self.individual
        return whole


def _last(tightening: Tightening, kind: str) -> Stage | None:
    return next((stage for stage in reversed(tightening.stages) if stage.kind == kind), None)


def _absolute(error: float, stage: Stage | None) -> float:
    """Log standard of an absolute error, plus or minus at 95 %, on a stage's amount."""
    return 0.0 if stage is None else error / stage.amount / _NORMAL_95


def _influences(tightening: Tightening) -> _Influences:
    lubricant, tool = tightening.lubricant, tightening.tool
    spread = tightening.spread_source
    rows = (
        (lubricant.thread.log_standard, lubricant.common, lubricant.source),
        (lubricant.bearing.log_standard, lubricant.common, lubricant.source),
        (tool.torque / _NORMAL_95, tool.common, tool.source),
        (_absolute(tool.angle, _last(tightening, "angle")), tool.common, tool.source),
        (_absolute(tool.stretch, _last(tightening, "stretch")), tool.common, tool.source),
        (tool.tension / _NORMAL_95, tool.common, tool.source),
        (tightening.yield_spread / _NORMAL_95, 0.5, spread),
        (tightening.stiffness_spread / _NORMAL_95, 1.0, spread),
    )
    standard = np.array([row[0] for row in rows])
    share = np.array([row[1] for row in rows])
    whole = np.diag(standard**2)
    whole[0, 1] = whole[1, 0] = lubricant.correlation * standard[0] * standard[1]
    common = whole * np.sqrt(np.outer(share, share))
    return _Influences(common, whole - common, tuple(row[2] for row in rows))


def _gradient(fastener: Fastener, tightening: Tightening, joint_compliance: float) -> NDArray[np.float64]:
    """Change of the preload's logarithm with each influence's logarithm [1]."""

    def at(name: str, step: float) -> float:
        return float(preload_after(fastener, tightening, joint_compliance, {name: math.exp(step)}))

    slopes = [math.log(at(name, _STEP) / at(name, -_STEP)) / (2.0 * _STEP) for name in INFLUENCES]
    return np.array(slopes)


def preload_spread(fastener: Fastener, tightening: Tightening, joint_compliance: float) -> PreloadSpread:
    """Return the preload after tightening with its scatter, from first-order propagation.

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    tightening : Tightening
        Stages, lubricant and tool; a scatter stated there replaces the reckoned one.
    joint_compliance : float
        Give of head, gasket and block at this fastener [mm/N].
    """
    typical = float(preload_after(fastener, tightening, joint_compliance))
    more = {"thread friction": 1.1, "bearing friction": 1.1}
    effect = float(preload_after(fastener, tightening, joint_compliance, more)) / typical
    if tightening.scatter is not None:
        return _stated(tightening, tightening.scatter, typical, effect)
    parts = _influences(tightening)
    slope = _gradient(fastener, tightening, joint_compliance)
    alone = np.abs(slope) * np.sqrt(np.diag(parts.total))
    share = np.divide(np.diag(parts.common), np.diag(parts.total), out=np.zeros_like(alone), where=alone > 0)
    found = [
        Contribution(name, float(size), float(common), source)
        for name, size, common, source in zip(INFLUENCES, alone, share, parts.sources, strict=True)
        if size > 1e-6
    ]
    return PreloadSpread(
        typical,
        math.sqrt(max(float(slope @ parts.common @ slope), 0.0)),
        math.sqrt(max(float(slope @ parts.individual @ slope), 0.0)),
        effect,
        tuple(sorted(found, key=lambda item: -item.standard)),
    )


def _stated(tightening: Tightening, scatter: float, typical: float, effect: float) -> PreloadSpread:
    standard = math.log(tightening_factor(scatter)) / (2.0 * _NORMAL_95)
    share = tightening.tool.common
    part = Contribution("measured scatter", standard, share, tightening.spread_source)
    return PreloadSpread(
        typical, standard * math.sqrt(share), standard * math.sqrt(1.0 - share), effect, (part,)
    )


def sample_preloads(
    fastener: Fastener,
    tightening: Tightening,
    joint_compliance: float,
    *,
    assemblies: int,
    fasteners: int,
    seed: int,
) -> NDArray[np.float64]:
    """Draw preloads of whole assemblies, without linearising anything.

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    tightening : Tightening
        Stages, lubricant and tool.
    joint_compliance : float
        Give of head, gasket and block at one fastener [mm/N].
    assemblies, fasteners : int
        How many of each to draw.
    seed : int
        Seed of the random numbers; the same seed gives the same draw.

    Returns
    -------
    array, shape (assemblies, fasteners)
        Preload [N].
    """
    random = np.random.default_rng(seed)
    shape = (assemblies, fasteners)
    if tightening.scatter is not None:
        spread = preload_spread(fastener, tightening, joint_compliance)
        shared = random.normal(0.0, spread.common, (assemblies, 1))
        stated: NDArray[np.float64] = spread.typical * np.exp(
            shared + random.normal(0.0, spread.individual, shape)
        )
        return stated
    parts = _influences(tightening)
    zero = np.zeros(len(INFLUENCES))
    together = random.multivariate_normal(zero, parts.common, (assemblies, 1), method="eigh")
    apart = random.multivariate_normal(zero, parts.individual, shape, method="eigh")
    factors = np.exp(together + apart)
    drawn: NDArray[np.float64] = np.asarray(
        preload_after(
            fastener,
            tightening,
            joint_compliance,
            {name: factors[..., place] for place, name in enumerate(INFLUENCES)},
        )
    )
    return drawn
