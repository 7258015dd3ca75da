"""How far the answers of an open joint may be off, as a report of it would say."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping

from firedeck.contact import Joint, JointState, give_way, profile
from firedeck.evidence import Estimate
from firedeck.study.clamp.opened import HIGHEST_SEARCHED, SEARCH_STEP, OpenJoint, brought, fastened_by
from firedeck.study.clamp.recent import Recent
from firedeck.study.clamp.setting import ClampSetting
from firedeck.study.prediction.doubt import (
    AS_PREDICTED,
    Loads,
    SealDoubt,
    changed_joints,
    variants_of,
    weigh_doubts,
)
from firedeck.study.prediction.giveway import giveway_interval, seal_limits
from firedeck.study.prediction.states import carry_out

__all__ = ["ClampDoubts", "WorkDroppedError"]


class WorkDroppedError(Exception):
    """Nobody waits for the answer any more."""


#: Asked now and then whether somebody still waits for the answer.
GoOn = Callable[[], bool]


def _always() -> bool:
    return True


class ClampDoubts:
    """An open joint with every doubt at its ends, kept between settings; fast level.

    The doubts are those of `firedeck.study.prediction.doubt`: scatter of the preload, stiffness of head
    and block, closure laws, and the idealised geometry.

    Parameters
    ----------
    opened : OpenJoint
        The joint.
    """

    def __init__(self, opened: OpenJoint) -> None:
        self._opened = opened
        self._lock = threading.Lock()
        self._joints: Mapping[str, Joint] | None = None
        self._rests: Recent[Mapping[str, JointState]] = Recent(4)
        self._orders: Recent[Mapping[str, Estimate]] = Recent(12)

    def seals(self, setting: ClampSetting, go_on: GoOn = _always) -> dict[str, SealDoubt]:
        """Return how far mean and lowest line load of every seal, as a setting fires it, may be off.

        Parameters
        ----------
        setting : ClampSetting
            The setting.
        go_on : callable
            Asked between two variants whether somebody still waits.

        Raises
        ------
        WorkDroppedError
            If nobody does.
        """
        loads = {}
        for words, rest in self._at_ends(setting, go_on).items():
            _ask(go_on)
            loads[words] = self._loads(rest, setting)
        return weigh_doubts(loads)

    def _loads(self, rest: JointState, setting: ClampSetting) -> Loads:
        state = rest.fire({setting.bore: setting.pressure}) if setting.pressure > 0.0 else rest
        found = (profile(state, one.seal.name) for one in self._opened.joint.model.seals)
        return {one.seal: (one.mean, one.lowest) for one in found}

    def order(self, setting: ClampSetting, go_on: GoOn = _always) -> Mapping[str, Estimate]:
        """Return the pressure at which every seal gives with its 95 % interval [MPa]; faults as `seals`."""
        key = (fastened_by(setting), setting.state, setting.heat)
        found = self._orders.get(key)
        if found is not None:
            return found
        limits = seal_limits(self._opened.files.prediction.limits)
        changed = []
        for words, rest in self._at_ends(setting, go_on).items():
            _ask(go_on)
            if words != AS_PREDICTED:
                events = give_way(rest, limits, highest=HIGHEST_SEARCHED, step=SEARCH_STEP)
                changed.append({event.seal: event.pressure for event in events})
        events = self._opened.give_way(setting)
        order = {
            event.seal: giveway_interval(event.pressure, [one[event.seal] for one in changed])
            for event in events
        }
        return self._orders.of(key, lambda: order)

    def _at_ends(self, setting: ClampSetting, go_on: GoOn) -> Mapping[str, JointState]:
        """Return the joint without gas as predicted and with every doubt at its ends, by its words."""
        key = (fastened_by(setting), setting.state, setting.heat)
        with self._lock:
            return self._rests.of(key, lambda: self._brought(setting, go_on))

    def _brought(self, setting: ClampSetting, go_on: GoOn) -> Mapping[str, JointState]:
        opened, files = self._opened, self._opened.files_of(setting)
        share = opened.settling(setting, opened.steps(setting)[-1])
        if self._joints is None:
            self._joints = dict(changed_joints(opened.joint, opened.files))
        found = {}
        for words, joint, moves in variants_of(opened.joint, files, self._joints):
            _ask(go_on)
            tight = carry_out(joint, files, moves, "fast")[-1]
            found[words] = brought(tight, setting, files, share)
        return found


def _ask(go_on: GoOn) -> None:
    if not go_on():
        raise WorkDroppedError
