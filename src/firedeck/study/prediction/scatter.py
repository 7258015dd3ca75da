"""How a joint scatters from one assembly to the next: thousands tightened, settled, warmed and fired."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv

from firedeck.contact import (
    Assemblies,
    Course,
    Draws,
    Fire,
    Heat,
    Joint,
    ManyProfiles,
    Settle,
    Step,
    Store,
    Turn,
    TurnOn,
    assemble_many,
    profiles,
    typical_states,
)
from firedeck.definition.deck import Seal
from firedeck.definition.prediction import GivingLimits
from firedeck.errors import FiredeckError
from firedeck.evidence import Estimate
from firedeck.loading.interaction import Move
from firedeck.loading.spread import sample_preloads
from firedeck.loading.yielding import preload_at_yield
from firedeck.study.prediction.files import PredictionFiles
from firedeck.study.prediction.notes import prediction_assumptions
from firedeck.study.prediction.predicting import Gas, built, gas_of
from firedeck.study.prediction.states import settling_shares, tightening_moves, warmth_of
from firedeck.study.progress import Progress, silent

__all__ = ["FastenerScatter", "ScatterReading", "SealScatter", "Share", "scatter_joint"]

Floats = npt.NDArray[np.float64]

#: Fewest and most assemblies that are drawn [1].
FEWEST, MOST = 20, 100_000

_NORMAL_95 = 1.96


@dataclass(frozen=True)
class Share:
    """How many of the assemblies drawn do something.

    Attributes
    ----------
    count, of : int
        How many, and of how many [1].
    """

    count: int
    of: int

    @property
    def value(self) -> Estimate:
        """Share of all assemblies, with the 95 % interval that so many draws leave [1].

        The interval is that of Clopper and Pearson, Biometrika 26 (1934) 404 (from memory).
        """
        k, n = self.count, self.of
        low = float(betaincinv(k, n - k + 1, 0.025)) if k else 0.0
        high = float(betaincinv(k + 1, n - k, 0.975)) if k < n else 1.0
        return Estimate(k / n, low, high)


@dataclass(frozen=True)
class SealScatter:
    """What one seal carries from assembly to assembly.

    Attributes
    ----------
    seal, kind : str
        The seal [text].
    mean : Estimate
        Mean line load settled: the middle of all assemblies, and the band that 95 % lie in [N/mm].
    lowest : Estimate
        Lowest line load of all states [N/mm].
    ratio : Estimate
        Times what it needs, by the limit that governs each assembly [1].
    short : Share
        Assemblies in which it has less than it needs.
    governed : str
        Limit that governs most of them, and the state [text].
    moved : mapping of str to float
        Share of the ratio's variance by what goes with it, the largest first: ``all fasteners``, ``gas``,
        or one fastener against the others [1].
    """

    seal: str
    kind: str
    mean: Estimate
    lowest: Estimate
    ratio: Estimate
    short: Share
    governed: str
    moved: Mapping[str, float]


@dataclass(frozen=True)
class FastenerScatter:
    """What one fastener holds from assembly to assembly.

    Attributes
    ----------
    name : str
        Its hole [text].
    tight, settled : Estimate
        Tension after the last turn of the wrench, and settled; bands that 95 % lie in [N].
    """

    name: str
    tight: Estimate
    settled: Estimate


@dataclass(frozen=True)
class ScatterReading:
    """How a joint scatters.

    Attributes
    ----------
    files : PredictionFiles
        The inputs.
    joint : Joint
        The joint.
    gas : Gas
        What fires.
    gas_scatter : float
        Plus or minus of the gas pressure at 95 % [1].
    assemblies, seed : int
        How many were drawn, and from which seed [1].
    seals : tuple of SealScatter
        The seal that most often has less than it needs on top.
    fasteners : tuple of FastenerScatter
        In the joint's order.
    short : Share
        Assemblies in which any seal has less than it needs.
    assumptions : tuple of str
        Assumptions that change the result.
    """

    files: PredictionFiles
    joint: Joint
    gas: Gas
    gas_scatter: float
    assemblies: int
    seed: int
    seals: tuple[SealScatter, ...]
    fasteners: tuple[FastenerScatter, ...]
    short: Share
    assumptions: tuple[str, ...]


def scatter_joint(
    file: Path,
    *,
    assemblies: int = 2000,
    seed: int = 1,
    workers: int | None = None,
    store: Store | None = None,
    progress: Progress = silent,
) -> ScatterReading:
    """Draw assemblies of a predicted joint and take each from loose to firing, fast level.

    What is drawn is what the fastening says of friction, wrench and method, part of it common to an
    assembly, and the scatter of the cylinder pressure where the fastening states it. Castings, gasket and
    settling are the prediction's: what is not known of them is no scatter between assemblies.

    Parameters
    ----------
    file : Path
        Prediction file.
    assemblies : int
        How many to draw.
    seed : int
        Seed of the random numbers; the same seed gives the same draw.
    workers : int, optional
        Threads; one for every processor unless given. The answer does not depend on it.
    store : Store, optional
        Where condensed bodies are kept; the user's cache unless given.
    progress : callable
        Told what is being done and how far it is; what it raises ends the work.

    Raises
    ------
    FiredeckError
        As `firedeck.study.prediction.predicting.predict_joint`, and for a number of assemblies out of range.
    """
    if not FEWEST <= assemblies <= MOST:
        raise FiredeckError(
            f"{assemblies} assemblies cannot be drawn", remedy=f"draw from {FEWEST} to {MOST} of them"
        )
    files, sizes, joint = built(file, store, progress=progress)
    gas, gas_scatter = gas_of(files), _gas_scatter(files)
    progress("assembling once", 0.3)
    course, relaxed = _course(joint, files, gas)
    names = [seat.name for seat in joint.seats]
    draws = _draws(files, names, assemblies, seed, gas_scatter)
    look = _Look(files)
    lots = assemble_many(
        joint, course, draws, look, workers=workers,
        told=lambda share: progress(f"assembling {assemblies} times", 0.35 + 0.65 * share),
    )  # fmt: skip
    seen = _together(lots)
    ratios = np.min([seen["ratio", seal.name] for seal in files.plan.seals], axis=0)
    seals = [_seal_scatter(seal, seen, look, draws, names) for seal in files.plan.seals]
    return ScatterReading(
        files,
        joint,
        gas,
        gas_scatter,
        assemblies,
        seed,
        tuple(sorted(seals, key=lambda one: (-one.short.count, one.ratio.low))),
        tuple(_fastener_scatter(name, k, seen) for k, name in enumerate(names)),
        Share(int((ratios < 1.0).sum()), assemblies),
        prediction_assumptions(files, sizes, gas.origin, joint, relaxed, drawn=True),
    )


def _gas_scatter(files: PredictionFiles) -> float:
    """Return the scatter of the gas where the fastening's cylinder pressure fires [1]."""
    wanted = files.fastening.fastening.cylinder_pressure
    firing = files.prediction.firing
    elsewhere = firing is not None and (firing.duty or firing.pressure is not None)
    return 0.0 if elsewhere or wanted is None else wanted.scatter


def _course(joint: Joint, files: PredictionFiles, gas: Gas) -> tuple[Course, dict[str, float]]:
    """Return what every assembly goes through, and the share that each seal loses while settling."""
    turns = tuple(_step(move, files) for move in tightening_moves(files))
    tight = typical_states(joint, Course(turns))["cold"]
    relaxed = settling_shares(tight, files)
    steps: list[Step] = [*turns, Settle(files.fastening.fastening.settling.flattening, relaxed)]
    steps += _firing(gas, "firing")
    if files.prediction.hot is not None:
        steps += [Heat(warmth_of(files.prediction.hot, files)), *_firing(gas, "hot firing")]
    return Course(tuple(steps)), relaxed


def _firing(gas: Gas, words: str) -> list[Fire]:
    return [Fire({bore: pressure}, f"{words}, {bore}") for bore, pressure in gas.pressures.items()]


def _step(move: Move, files: PredictionFiles) -> Turn | TurnOn:
    if move.preload is not None:
        return Turn(move.fastener, move.preload)
    place = files.clamp.joint.group_of(move.fastener)
    most = math.inf
    if place.tightening.to_yield:
        most = preload_at_yield(place.fastener, place.tightening.lubricant.thread.middle)
    return TurnOn(move.fastener, move.advance or 0.0, most)


def _draws(files: PredictionFiles, names: list[str], assemblies: int, seed: int, gas_scatter: float) -> Draws:
    """Draw what the wrench does to every fastener over what it typically does, and the gas."""
    preload = np.ones((assemblies, len(names)))
    for number, group in enumerate(files.clamp.groups):
        place = group.place
        drawn = sample_preloads(
            place.fastener, place.tightening, place.joint_compliance,
            assemblies=assemblies, fasteners=len(place.holes), seed=seed + 1000 * number,
        )  # fmt: skip
        preload[:, [names.index(hole) for hole in place.holes]] = drawn / group.spread.typical
    random = np.random.default_rng((seed, 1))
    return Draws(preload, np.exp(gas_scatter / _NORMAL_95 * random.standard_normal(assemblies)))


#: What was seen: ``ratio``, ``rule``, ``lowest`` and ``mean`` of a seal, ``tension`` of a state.
_Seen = dict[tuple[str, str], Floats]


class _Look:
    """Takes from some assemblies what is told of them."""

    def __init__(self, files: PredictionFiles) -> None:
        self.limits: GivingLimits = files.prediction.limits
        self.seals = files.plan.seals
        #: By seal, what each number of a rule stands for; every worker writes the same.
        self.words: dict[str, list[str]] = {}

    def __call__(self, states: Mapping[str, Assemblies]) -> _Seen:
        """Return what is told of the assemblies whose states these are."""
        seen: _Seen = {("tension", name): states[name].tension for name in ("cold", "settled")}
        for seal in self.seals:
            carried = {name: profiles(rows, seal.name) for name, rows in states.items()}
            words, each = zip(*self._ratios(seal, states, carried), strict=True)
            ratios, self.words[seal.name] = np.array(each), list(words)
            seen["ratio", seal.name] = ratios.min(axis=0)
            seen["rule", seal.name] = ratios.argmin(axis=0)
            seen["lowest", seal.name] = np.min(
                [one.line_load.min(axis=1) for one in carried.values()], axis=0
            )
            seen["mean", seal.name] = carried["settled"].line_load.mean(axis=1)
        return seen

    def _ratios(
        self, seal: Seal, states: Mapping[str, Assemblies], carried: Mapping[str, ManyProfiles]
    ) -> Iterator[tuple[str, Floats]]:
        """Yield by every limit in every state what the seal has over what it needs, as for one assembly."""
        for name, now in carried.items():
            for words, ratio in self._ratios_in(seal, states[name], now):
                yield f"{words}, {name}", ratio
            if "firing" in name:
                rest = carried["hot" if name.startswith("hot") else "settled"]
                lost = np.maximum((rest.closure - now.closure).max(axis=1), 0.0)
                yield f"opening by the gas, {name}", _over(self.limits.opening_max, lost)

    def _ratios_in(self, seal: Seal, rows: Assemblies, now: ManyProfiles) -> Iterator[tuple[str, Floats]]:
        least = self.limits.least(seal.kind)
        # Every seal has one ratio at least, whatever limits are left out.
        lowest = now.line_load.min(axis=1)
        yield "line load", lowest / least if least > 0.0 else np.full(len(lowest), np.inf)
        gas = rows.amounts.get(f"gas {seal.enclosed[0]}") if len(seal.enclosed) == 1 else None
        if gas is not None and self.limits.contact_factor > 0.0 and not math.isnan(now.width):
            yield (
                "contact pressure over gas pressure",
                _over(lowest / now.width, self.limits.contact_factor * gas),
            )


def _over(having: float | Floats, needing: Floats) -> Floats:
    """Return what is there over what is needed; infinite where nothing is."""
    full = np.broadcast_to(np.asarray(having, dtype=np.float64), needing.shape)
    return np.asarray(np.divide(full, needing, out=np.full(needing.shape, np.inf), where=needing > 0.0))


def _together(lots: list[_Seen]) -> _Seen:
    return {key: np.concatenate([lot[key] for lot in lots]) for key in lots[0]}


def _band(values: Floats) -> Estimate:
    """Return the middle of all values, and the band that 95 % of them lie in."""
    low, middle, high = np.quantile(values, [0.025, 0.5, 0.975], method="inverted_cdf")
    return Estimate(float(middle), float(low), float(high))


def _seal_scatter(seal: Seal, seen: _Seen, look: _Look, draws: Draws, names: Sequence[str]) -> SealScatter:
    ratio = seen["ratio", seal.name]
    most = int(np.bincount(seen["rule", seal.name]).argmax())
    return SealScatter(
        seal.name,
        str(seal.kind),
        _band(seen["mean", seal.name]),
        _band(seen["lowest", seal.name]),
        _band(ratio),
        Share(int((ratio < 1.0).sum()), len(ratio)),
        look.words[seal.name][most],
        _moved(ratio, draws, names),
    )


def _moved(ratio: Floats, draws: Draws, names: Sequence[str]) -> dict[str, float]:
    """Return the share of the ratio's variance that goes with each thing drawn, the largest first."""
    if not np.isfinite(ratio).all() or np.ptp(ratio) == 0.0:
        return {}
    preload = np.log(draws.preload)
    common = preload.mean(axis=1)
    drawn = {"all fasteners": common, "gas": np.log(draws.gas)}
    drawn |= {name: preload[:, k] - common for k, name in enumerate(names)}
    shares = {
        words: float(np.corrcoef(values, ratio)[0, 1]) ** 2
        for words, values in drawn.items()
        if np.ptp(values) > 0.0
    }
    return dict(sorted(shares.items(), key=lambda item: -item[1]))


def _fastener_scatter(name: str, place: int, seen: _Seen) -> FastenerScatter:
    tight, settled = (_band(seen["tension", state][:, place]) for state in ("cold", "settled"))
    return FastenerScatter(name, tight, settled)
