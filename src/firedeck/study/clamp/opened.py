"""A joint kept open: tightened, settled, warmed and fired again and again, each part solved once."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import replace
from pathlib import Path
from typing import Generic, TypeVar

from firedeck.contact import GiveWay, Joint, JointState, Store, give_way, loose_joint
from firedeck.contact.joint import Level
from firedeck.loading.interaction import Move
from firedeck.loading.reckoning import reckon_clamp
from firedeck.study.clamp.setting import ClampSetting, with_setting
from firedeck.study.prediction.files import PredictionFiles, load_prediction
from firedeck.study.prediction.giveway import seal_limits
from firedeck.study.prediction.joint import BodySizes, build_joint, sections
from firedeck.study.prediction.predicting import Gas, gas_of
from firedeck.study.prediction.states import carry_out, settling_shares, tightening_moves, warmth_of
from firedeck.study.progress import Progress, silent

__all__ = ["OpenJoint", "open_joint"]

#: End and step of the search for the give-way order [MPa].
HIGHEST_SEARCHED, _STEP = 30.0, 3.0

_V = TypeVar("_V")


class _Recent(Generic[_V]):
    """What was worked out last, by what it was worked out from."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._held: OrderedDict[Hashable, _V] = OrderedDict()

    def get(self, key: Hashable) -> _V | None:
        """Return what is held, or None."""
        return self._held.get(key)

    def of(self, key: Hashable, make: Callable[[], _V]) -> _V:
        """Return what is held, made now where it is not."""
        if key not in self._held:
            self._held[key] = make()
            while len(self._held) > self._most:
                self._held.popitem(last=False)
        self._held.move_to_end(key)
        return self._held[key]


class OpenJoint:
    """A predicted joint with its bodies condensed, ready for one setting after another.

    Safe for use by several threads; fast and check level do not wait for one another.

    Parameters
    ----------
    files : PredictionFiles
        The prediction, on the gasket in question.
    sizes : BodySizes
        Its bodies.
    joint : Joint
        The joint.
    """

    def __init__(self, files: PredictionFiles, sizes: BodySizes, joint: Joint) -> None:
        self.files, self.sizes, self.joint = files, sizes, joint
        self.gas: Gas = gas_of(files)
        joint.at_level("fast")
        self._locks: dict[Level, threading.RLock] = {"fast": threading.RLock(), "check": threading.RLock()}
        self._fastened: _Recent[PredictionFiles] = _Recent(16)
        self._steps: _Recent[list[JointState]] = _Recent(6)
        self._ends: _Recent[JointState] = _Recent(24)
        self._shares: _Recent[dict[str, float]] = _Recent(24)
        self._orders: _Recent[tuple[GiveWay, ...]] = _Recent(12)
        self._share: dict[str, float] | None = None
        self._tight: tuple[PredictionFiles, JointState] | None = None
        self._fired: dict[Level, JointState] = {}

    def files_of(self, setting: ClampSetting) -> PredictionFiles:
        """Return the prediction's files with the fastening as a setting says.

        Raises
        ------
        FiredeckError
            If a fastener would yield.
        """
        return self._fastened.of(_fastened(setting), lambda: self._changed(setting))

    def _changed(self, setting: ClampSetting) -> PredictionFiles:
        changed = with_setting(self.files.fastening.fastening, setting)
        fastening = replace(self.files.fastening, fastening=changed)
        return replace(self.files, fastening=fastening, clamp=reckon_clamp(changed, self.files.plan))

    def moves(self, setting: ClampSetting) -> tuple[Move, ...]:
        """Return the moves of the wrench that count."""
        return tightening_moves(self.files_of(setting))

    def steps(self, setting: ClampSetting, level: Level = "fast") -> list[JointState]:
        """Return the joint after every move of the wrench."""
        with self._locks[level]:
            files = self.files_of(setting)
            steps = self._steps.of(
                (_fastened(setting), level),
                lambda: carry_out(self.joint, files, tightening_moves(files), level),
            )
            if level == "fast":
                self._tight = files, steps[-1]
            return steps

    def rest(self, setting: ClampSetting, level: Level = "fast", *, quick: bool = False) -> JointState:
        """Return the joint without gas.

        Parameters
        ----------
        setting : ClampSetting
            The setting.
        level : {"fast", "check"}
            Patches or every point.
        quick : bool
            Whether the final tensions may be set at once instead of tightening, and the settling of the
            setting before stand for this one's, where the whole is not known yet. The tensions are those of
            the tightening that was last carried out, changed as the reckoning by the fasteners alone does.
        """
        with self._locks[level]:
            quick = quick and not self.known(setting, level)
            key = (_fastened(setting), setting.state, setting.heat, level, quick)
            return self._ends.of(key, lambda: self._rested(setting, level, quick))

    def _rested(self, setting: ClampSetting, level: Level, quick: bool) -> JointState:
        files = self.files_of(setting)
        tight = self._pulled(files) if quick else None
        if tight is None:
            tight = self.steps(setting, level)[-1]
        if setting.state == "tightened":
            return tight
        share = self._settling(setting, tight, level, quick)
        settled = tight.settle(embedding=files.fastening.fastening.settling.flattening, relaxation=share)
        heat = setting.heat or files.prediction.hot
        if setting.state == "settled" or heat is None:
            return settled
        return settled.warm(warmth_of(heat, files))

    def known(self, setting: ClampSetting, level: Level = "fast") -> bool:
        """Return whether the whole tightening of a setting was carried out already."""
        return self._steps.get((_fastened(setting), level)) is not None

    def _pulled(self, files: PredictionFiles) -> JointState | None:
        """Return the joint pulled to its final tensions at once, fast level; None where none are known."""
        if self._tight is None:
            return None
        before, tight = self._tight
        was, now = (
            dict(zip(one.clamp.joint.names, one.clamp.history.final, strict=True)) for one in (before, files)
        )
        names = [seat.name for seat in self.joint.seats]
        if min(was.values()) <= 0.0:
            return None
        tensions = [force * now[name] / was[name] for name, force in zip(names, tight.tension, strict=True)]
        return loose_joint(self.joint, "fast").pull(tensions, near=tight)

    def _settling(
        self, setting: ClampSetting, tight: JointState, level: Level, quick: bool
    ) -> dict[str, float]:
        if quick and self._share is not None:
            return self._share
        if level == "check":
            # The share belongs to the joint, not to the level: both levels settle by the same one.
            self.rest(setting, "fast")
            return self._shares.of(_fastened(setting), lambda: settling_shares(tight, self.files_of(setting)))
        files = self.files_of(setting)
        self._share = self._shares.of(_fastened(setting), lambda: settling_shares(tight, files))
        return self._share

    def under_gas(
        self, setting: ClampSetting, level: Level = "fast", *, quick: bool = False
    ) -> tuple[JointState, JointState]:
        """Return the joint without gas and as the setting fires it; the same twice without pressure."""
        with self._locks[level]:
            rest = self.rest(setting, level, quick=quick)
            if setting.pressure <= 0.0:
                return rest, rest
            near = self._fired.get(level)
            fired = rest.fire({setting.bore: setting.pressure}, near=near)
            self._fired[level] = fired
            return rest, fired

    def give_way(self, setting: ClampSetting) -> tuple[GiveWay, ...]:
        """Return the order in which the seals give as pressure rises from a setting's rest, fast level."""
        key = (_fastened(setting), setting.state, setting.heat)
        found = self._orders.get(key)
        if found is not None:
            return found
        rest = self.rest(setting, "fast")
        limits = seal_limits(self.files.prediction.limits)
        return self._orders.of(key, lambda: give_way(rest, limits, highest=HIGHEST_SEARCHED, step=_STEP))


def _fastened(setting: ClampSetting) -> Hashable:
    return setting.stages, setting.thread, setting.bearing


def open_joint(
    file: Path, gasket: str = "", store: Store | None = None, *, progress: Progress = silent
) -> OpenJoint:
    """Read a prediction, on its own gasket or another, and build its joint.

    Parameters
    ----------
    file : Path
        Prediction file.
    gasket : str
        Gasket file in the same folder; empty for the prediction's own.
    store : Store, optional
        Where condensed bodies are kept.
    progress : callable
        Told how far it is.

    Raises
    ------
    FiredeckError
        For faulty or unfitting definitions, short memory, or whatever the store raises.
    """
    progress("reading the files", 0.0)
    files = load_prediction(file, gasket_file=gasket)
    sizes = sections(files)
    progress("meshing and condensing head and block", 0.1)
    joint = build_joint(files, sizes, store)
    progress("putting the joint together", 0.95)
    return OpenJoint(files, sizes, joint)
