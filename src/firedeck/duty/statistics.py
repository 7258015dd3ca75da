"""Scatter of peak pressure from cycle to cycle, and the largest to expect in many cycles.

L-moments and the parameters of the extreme-value laws follow Hosking, J. R. Statist. Soc. B 52
(1990) 105-124, equations as restated in the documentation of the R packages lmomco and homtest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, ndtri, stdtrit

from firedeck.duty.limits import DutyError
from firedeck.evidence import Estimate

__all__ = ["LAWS", "Extreme", "Scatter", "describe_scatter", "largest_peak"]

Floats = NDArray[np.float64]

#: Laws that the largest peak can be found by.
LAWS = ("gumbel", "gev", "normal", "lognormal")

_EULER = 0.5772156649015329
_DRAWS = 2000
#: A law is said not to fit when its correlation falls short of 1 by more than this over the sample's
#: size; close to the 5 % points of Filliben, Technometrics 17 (1975) 111 (from memory: 0.977 at 50,
#: 0.987 at 100).
_FIT_SHORTFALL = 1.3


@dataclass(frozen=True)
class Scatter:
    """Scatter of one quantity over the cycles.

    Attributes
    ----------
    count : int
        Cycles.
    mean, deviation : Estimate
        Mean and standard deviation, in the quantity's unit.
    coefficient : float
        Standard deviation over mean (COV) [1].
    memory : float
        Correlation of each cycle with the next [1].
    """

    count: int
    mean: Estimate
    deviation: Estimate
    coefficient: float
    memory: float


@dataclass(frozen=True)
class Extreme:
    """The largest value to expect in a number of cycles.

    Attributes
    ----------
    estimate : Estimate
        Median of the largest; the interval holds the largest in 95 of 100 such runs and counts
        how well the sample fixes the law.
    law : str
        One of `LAWS`.
    cycles : int
        Cycles that it is the largest of.
    fit : float
        Correlation of the ordered sample with the law's quantiles [1]; 1 is perfect.
    others : dict of str to float
        What the other laws answer.
    notes : tuple of str
        What to doubt.
    """

    estimate: Estimate
    law: str
    cycles: int
    fit: float
    others: dict[str, float]
    notes: tuple[str, ...]


def describe_scatter(values: Floats) -> Scatter:
    """Mean and standard deviation with their 95 % intervals.

    Parameters
    ----------
    values : ndarray
        One value per cycle, shape (n,), in order of time.

    Raises
    ------
    DutyError
        If there are fewer than three cycles.
    """
    count = values.size
    if count < 3:
        raise DutyError(f"{count} cycles show no scatter", remedy="record at least 50, better 300")
    mean, deviation = float(np.mean(values)), float(np.std(values, ddof=1))
    half = float(stdtrit(count - 1, 0.975)) * deviation / math.sqrt(count)
    low, high = chdtri(count - 1, [0.025, 0.975])
    spread = Estimate(
        deviation,
        deviation * math.sqrt((count - 1) / float(low)),
        deviation * math.sqrt((count - 1) / float(high)),
    )
    coefficient = deviation / mean if mean else math.inf
    return Scatter(count, Estimate(mean, mean - half, mean + half), spread, coefficient, _memory(values))


def _memory(values: Floats) -> float:
    centred = values - np.mean(values)
    power = float(centred @ centred)
    return float(centred[1:] @ centred[:-1]) / power if power > 0.0 else 0.0


def largest_peak(values: Floats, cycles: int, *, law: str = "auto", seed: int = 0) -> Extreme:
    """Largest value to expect in `cycles` cycles, from a sample of them.

    Parameters
    ----------
    values : ndarray
        One value per cycle, shape (n,), in order of time.
    cycles : int
        Cycles to come.
    law : str
        ``"auto"`` takes the normal law if it fits, else the law that fits best. ``"gumbel"`` and
        ``"gev"`` are fitted to the largest of blocks of cycles; ``"normal"`` and
        ``"lognormal"`` to all cycles, which answers mean + k standard deviations.
    seed : int
        Seed of the draws behind the interval.

    Returns
    -------
    Extreme
        With what the other laws answer beside it.

    Raises
    ------
    DutyError
        If the law is unknown or the sample too small for it.
    """
    if law != "auto" and law not in LAWS:
        raise DutyError(
            f"no law is called {law!r}", where="law", remedy=f"write auto or one of {', '.join(LAWS)}"
        )
    if values.size < 20:
        raise DutyError(f"{values.size} cycles are too few for an extreme", remedy="record at least 50")
    if cycles < 1:
        raise DutyError("the extreme of no cycles is not defined", where="cycles", remedy="give 1 or more")
    if np.ptp(values) == 0.0:
        same = float(values[0])
        return Extreme(Estimate(same, same, same), law, cycles, 1.0, {}, ("every cycle is the same",))
    law = _choose(values) if law == "auto" else law
    generator = np.random.default_rng(seed)
    spread = _draws(values, cycles, law, generator)
    value = _median_largest(values, cycles, law)
    low, high = np.quantile(spread, [0.025, 0.975])
    others = {
        name: _median_largest(values, cycles, name) for name in LAWS if name != law and _can(values, name)
    }
    fit = _fit_quality(values, law)
    notes = _notes(values, cycles, law, fit)
    return Extreme(
        Estimate(value, min(float(low), value), max(float(high), value)), law, cycles, fit, others, notes
    )


def _choose(values: Floats) -> str:
    if not _is_poor(_fit_quality(values, "normal"), values.size):
        return "normal"
    return max((law for law in LAWS if _can(values, law)), key=lambda law: _fit_quality(values, law))


def _is_poor(fit: float, size: int) -> bool:
    return 1.0 - fit > _FIT_SHORTFALL / size


def _can(values: Floats, law: str) -> bool:
    return law != "lognormal" or bool(np.all(values > 0.0))


def _blocks(values: Floats) -> tuple[Floats, int]:
    """Largest of each block, and the block's length; at least 20 blocks, at most 100 cycles each."""
    size = int(min(max(values.size // 25, 1), 100))
    count = values.size // size
    return values[: count * size].reshape(count, size).max(axis=1), size


def _l_moments(samples: Floats) -> tuple[Floats, Floats, Floats]:
    """First two L-moments and L-skewness along the last axis."""
    ordered = np.sort(samples, axis=-1)
    n = ordered.shape[-1]
    rank = np.arange(n)
    b0 = ordered.mean(axis=-1)
    b1 = (ordered * rank / (n - 1)).mean(axis=-1)
    b2 = (ordered * rank * (rank - 1) / ((n - 1) * (n - 2))).mean(axis=-1)
    second = 2.0 * b1 - b0
    return b0, second, (6.0 * b2 - 6.0 * b1 + b0) / second


def _gumbel(samples: Floats) -> tuple[Floats, Floats, Floats]:
    """Location, scale and (zero) shape by L-moments."""
    mean, second, _ = _l_moments(samples)
    scale = second / math.log(2.0)
    return mean - _EULER * scale, scale, np.zeros_like(mean)


def _gev(samples: Floats) -> tuple[Floats, Floats, Floats]:
    """Location, scale and shape k (positive: bounded above) by L-moments."""
    from scipy.special import gamma

    mean, second, skew = _l_moments(samples)
    # 7.8590 c + 2.9554 c^2: accurate to 9e-4 for L-skewness within +-0.5 (Hosking 1990)
    c = 2.0 / (3.0 + skew) - math.log(2.0) / math.log(3.0)
    shape = 7.8590 * c + 2.9554 * c**2
    shape = np.where(np.abs(shape) < 1e-6, 1e-6, shape)
    factor = gamma(1.0 + shape)
    scale = second * shape / ((1.0 - 2.0**-shape) * factor)
    return mean - scale * (1.0 - factor) / shape, scale, shape


def _quantile(location: Floats, scale: Floats, shape: Floats, log_probability: Floats) -> Floats:
    """Quantile of the extreme-value law from the logarithm of the probability."""
    rare = -np.asarray(log_probability)
    flat = location - scale * np.log(rare)
    safe = np.where(shape == 0.0, 1.0, shape)
    bent = location + scale * (1.0 - rare**safe) / safe
    return np.asarray(np.where(shape == 0.0, flat, bent))


def _median_largest(values: Floats, cycles: int, law: str) -> float:
    if law in ("gumbel", "gev"):
        maxima, size = _blocks(values)
        location, scale, shape = (_gumbel if law == "gumbel" else _gev)(maxima)
        return float(_quantile(location, scale, shape, np.asarray(math.log(0.5) * size / cycles)))
    plain = np.log(values) if law == "lognormal" else values
    k = -float(ndtri(-math.expm1(math.log(0.5) / cycles)))
    largest = float(np.mean(plain) + k * np.std(plain, ddof=1))
    return math.exp(largest) if law == "lognormal" else largest


def _draws(values: Floats, cycles: int, law: str, generator: np.random.Generator) -> Floats:
    """Largest of `cycles`, drawn from laws fitted to samples redrawn from the fitted law."""
    chance = np.log(generator.uniform(size=_DRAWS))
    if law in ("gumbel", "gev"):
        maxima, size = _blocks(values)
        fit = _gumbel if law == "gumbel" else _gev
        location, scale, shape = fit(maxima)
        again = np.log(generator.uniform(size=(_DRAWS, maxima.size)))
        redrawn = _quantile(location, scale, shape, again)
        return _quantile(*fit(redrawn), chance * size / cycles)
    if law == "lognormal" and not _can(values, law):
        raise DutyError("the lognormal law needs values above zero", where="law", remedy="choose another law")
    plain = np.log(values) if law == "lognormal" else values
    count, deviation = plain.size, float(np.std(plain, ddof=1))
    deviations = deviation * np.sqrt((count - 1) / generator.chisquare(count - 1, _DRAWS))
    means = np.mean(plain) + deviations / math.sqrt(count) * generator.standard_normal(_DRAWS)
    largest = means - deviations * ndtri(-np.expm1(chance / cycles))
    return np.asarray(np.exp(largest) if law == "lognormal" else largest)


def _fit_quality(values: Floats, law: str) -> float:
    """Correlation of the ordered sample with the fitted law's quantiles at (i - 0.44)/(n + 0.12)."""
    if law in ("gumbel", "gev"):
        sample = np.sort(_blocks(values)[0])
        place = (np.arange(1, sample.size + 1) - 0.44) / (sample.size + 0.12)
        expected = _quantile(*(_gumbel if law == "gumbel" else _gev)(sample), np.log(place))
    else:
        sample = np.sort(np.log(values) if law == "lognormal" else values)
        place = (np.arange(1, sample.size + 1) - 0.375) / (sample.size + 0.25)
        expected = ndtri(place)
    if np.ptp(sample) == 0.0:
        return 1.0
    return float(np.corrcoef(sample, expected)[0, 1])


def _notes(values: Floats, cycles: int, law: str, fit: float) -> tuple[str, ...]:
    notes = []
    if cycles > values.size:
        notes.append(
            f"carried on by the {law} law from {values.size} cycles to {cycles}: nobody measured that far out"
        )
    if law == "gumbel":
        notes.append("the Gumbel law errs to the high side when the scatter itself is normal")
    size = _blocks(values)[0].size if law in ("gumbel", "gev") else values.size
    if _is_poor(fit, size):
        notes.append(f"the {law} law fits the cycles poorly (correlation {fit:.3f}); look at the other laws")
    memory = _memory(values)
    if abs(memory) > 2.5 / math.sqrt(values.size):
        notes.append(
            f"neighbouring cycles resemble each other (correlation {memory:.2f}): drift or a steady rhythm"
        )
    return tuple(notes)
