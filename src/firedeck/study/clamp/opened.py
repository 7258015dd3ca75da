"""A joint kept open: tightened, settled, warmed and fired again and again, each part solved once."""

from __future__ import annotations

import threading
from collections.abc import Hashable, Mapping
from dataclasses import replace
from pathlib import Path

from firedeck.contact import GiveWay, Joint, JointState, Store, give_way, loose_joint
from firedeck.contact.joint import Level
from firedeck.errors import FiredeckError
from firedeck.loading.fastened import fasten
from firedeck.loading.interaction import Move, TighteningHistory
from firedeck.loading.reckoning import reckon_clamp
from firedeck.loading.yielding import require_elastic
from firedeck.study.clamp.recent import Recent
from firedeck.study.clamp.setting import ClampSetting, with_setting
from firedeck.study.prediction.files import PredictionFiles, load_prediction
from firedeck.study.prediction.film_print import FilmPrint, print_of
from firedeck.study.prediction.giveway import seal_limits
from firedeck.study.prediction.joint import BodySizes, build_joint, sections
from firedeck.study.prediction.predicting import Gas, gas_of
from firedeck.study.prediction.states import (
    carry_out,
    moves_that_count,
    settling_shares,
    tightening_moves,
    warmth_of,
)
from firedeck.study.progress import Progress, silent

__all__ = ["HIGHEST_SEARCHED", "SEARCH_STEP", "OpenJoint", "brought", "fastened_by", "open_joint"]

#: End and step of the search for the give-way order [MPa].
HIGHEST_SEARCHED, SEARCH_STEP = 30.0, 3.0


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
        self._fastened_files: Recent[PredictionFiles] = Recent(16)
        self._histories: Recent[TighteningHistory] = Recent(16)
        self._steps: Recent[list[JointState]] = Recent(6)
        self._ends: Recent[JointState] = Recent(24)
        self._shares: Recent[dict[str, float]] = Recent(24)
        self._orders: Recent[tuple[GiveWay, ...]] = Recent(12)
        self._prints: Recent[FilmPrint] = Recent(2)
        self._print_lock = threading.Lock()
        # What a quick answer starts from: shares, tightening, warm and fired states worked out last.
        self._share: dict[str, float] | None = None
        self._tight: tuple[TighteningHistory, JointState] | None = None
        self._warm: JointState | None = None
        self._fired: dict[Level, JointState] = {}

    def files_of(self, setting: ClampSetting) -> PredictionFiles:
        """Return the prediction's files with the fastening as a setting says.

        Raises
        ------
        FiredeckError
            If a fastener would yield.
        """
        return self._fastened_files.of(fastened_by(setting), lambda: self._changed(setting))

    def _changed(self, setting: ClampSetting) -> PredictionFiles:
        changed = with_setting(self.files.fastening.fastening, setting)
        fastening = replace(self.files.fastening, fastening=changed)
        return replace(self.files, fastening=fastening, clamp=reckon_clamp(changed, self.files.plan))

    def reckoned(self, setting: ClampSetting) -> TighteningHistory:
        """Return the tightening as the fasteners alone reckon it; faults as `files_of`.

        A small part of what `files_of` reckons, and of its time.
        """
        return self._histories.of(fastened_by(setting), lambda: self._history(setting))

    def _history(self, setting: ClampSetting) -> TighteningHistory:
        joint = fasten(with_setting(self.files.fastening.fastening, setting), self.files.plan)
        for place in joint.groups:
            require_elastic(place.fastener, place.tightening, place.joint_compliance)
        return joint.tighten()

    def moves(self, setting: ClampSetting) -> tuple[Move, ...]:
        """Return the moves of the wrench that count."""
        return moves_that_count(self.reckoned(setting))

    def steps(self, setting: ClampSetting, level: Level = "fast") -> list[JointState]:
        """Return the joint after every move of the wrench."""
        with self._locks[level]:
            files = self.files_of(setting)
            steps = self._steps.of(
                (fastened_by(setting), level),
                lambda: carry_out(self.joint, files, tightening_moves(files), level),
            )
            if level == "fast":
                self._tight = self.reckoned(setting), steps[-1]
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
            Whether, where the whole is not known yet, the final tensions may be set at once instead of
            tightening, and the settling and the moduli of the setting before stand for this one's. The
            tensions are those of the tightening that was last carried out, changed as the reckoning by
            the fasteners alone does.
        """
        with self._locks[level]:
            quick = quick and self.hurries(setting, level)
            key = (*_rest_key(setting), level, quick)
            return self._ends.of(key, lambda: self._rested(setting, level, quick))

    def _rested(self, setting: ClampSetting, level: Level, quick: bool) -> JointState:
        tight = self._pulled(setting) if quick and not self._tightened(setting, level) else None
        if tight is None:
            tight = self.steps(setting, level)[-1]
        share = self.settling(setting, tight, level, quick=quick)
        # Settling and heat are those of the files, whatever the tightening.
        rest = brought(tight, setting, self.files, share, near=self._warm if quick else None)
        if level == "fast" and setting.state == "hot" and not quick:
            self._warm = rest
        return rest

    def hurries(self, setting: ClampSetting, level: Level = "fast") -> bool:
        """Return whether a quick answer would be another than the whole one, which is not known yet."""
        if level == "check" or self._ends.get((*_rest_key(setting), level, False)) is not None:
            return False
        warmed = setting.state == "hot" and self._warm is not None
        return warmed or (self._tight is not None and not self._tightened(setting, level))

    def _tightened(self, setting: ClampSetting, level: Level) -> bool:
        return self._steps.get((fastened_by(setting), level)) is not None

    def _pulled(self, setting: ClampSetting) -> JointState | None:
        """Return the joint pulled to its final tensions at once, fast level; None where none are known."""
        if self._tight is None:
            return None
        before, tight = self._tight
        was, now = before.final, self.reckoned(setting).final
        if was.min() <= 0.0:
            return None
        by_name = dict(zip(self.files.clamp.joint.names, now / was, strict=True))
        tensions = [
            force * by_name[seat.name] for seat, force in zip(self.joint.seats, tight.tension, strict=True)
        ]
        return loose_joint(self.joint, "fast").pull(tensions, near=tight)

    def settling(
        self, setting: ClampSetting, tight: JointState, level: Level = "fast", *, quick: bool = False
    ) -> Mapping[str, float]:
        """Return the share of its load that each seal loses while settling [1].

        Parameters
        ----------
        setting : ClampSetting
            The setting.
        tight : JointState
            The joint as tightened by it.
        level : {"fast", "check"}
            Level of `tight`. The share belongs to the joint: both levels settle by that of the fast one.
        quick : bool
            Whether the share of the setting before may stand for one that is not known yet.
        """
        known = self._shares.get(fastened_by(setting))
        if known is None and quick and self._share is not None:
            return self._share
        if level == "check":
            self.rest(setting, "fast")
        files = self.files_of(setting)
        self._share = self._shares.of(fastened_by(setting), lambda: settling_shares(tight, files))
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
        key = _rest_key(setting)
        found = self._orders.get(key)
        if found is not None:
            return found
        rest = self.rest(setting, "fast")
        limits = seal_limits(self.files.prediction.limits)
        return self._orders.of(
            key, lambda: give_way(rest, limits, highest=HIGHEST_SEARCHED, step=SEARCH_STEP)
        )

    def film_print(self, setting: ClampSetting) -> FilmPrint:
        """Return the print that a film test would leave, tightened as a setting says, fast level.

        Raises
        ------
        FiredeckError
            If the prediction names no film.
        """
        files = self.files_of(setting)
        if files.prediction.print is None or files.film is None:
            raise FiredeckError(
                "the prediction names no film", remedy='add a [print] table with film = "film.toml"'
            )
        bare = self.steps(setting)[-1]
        # A lock of its own: who waits for a print does not keep the sliders waiting.
        with self._print_lock:
            return self._prints.of(fastened_by(setting), lambda: print_of(files, self.joint, bare, ()))


def brought(
    tight: JointState,
    setting: ClampSetting,
    files: PredictionFiles,
    share: Mapping[str, float],
    *,
    near: JointState | None = None,
) -> JointState:
    """Bring a tightened joint to the state that a setting asks for before gas comes.

    Parameters
    ----------
    tight : JointState
        As tightened.
    setting : ClampSetting
        The setting.
    files : PredictionFiles
        The prediction's files as the setting changes them.
    share : mapping of str to float
        Share of its load that each seal loses while settling [1].
    near : JointState, optional
        A warm state whose moduli may stand for those of the setting's temperatures.
    """
    if setting.state == "tightened":
        return tight
    settled = tight.settle(embedding=files.fastening.fastening.settling.flattening, relaxation=share)
    heat = setting.heat or files.prediction.hot
    if setting.state == "settled" or heat is None:
        return settled
    return settled.warm(warmth_of(heat, files), near=near)


def _rest_key(setting: ClampSetting) -> tuple[Hashable, ...]:
    return fastened_by(setting), setting.state, setting.heat


def fastened_by(setting: ClampSetting) -> Hashable:
    """Return what of a setting decides how the fasteners are tightened."""
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
