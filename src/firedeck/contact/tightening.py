"""A joint from loose to tight, stage by stage and fastener by fastener."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from firedeck.contact.joint import Joint, Level
from firedeck.contact.state import Certificate, JointState
from firedeck.errors import FiredeckError
from firedeck.kernel.press import Balance

__all__ = ["loose_joint", "outward", "tighten"]

#: Closure that a cold start tries first [mm].
_FIRST_TRIAL = 0.03


def tighten(
    joint: Joint,
    preloads: Mapping[str, float],
    *,
    shares: Sequence[float] = (0.3, 0.6, 1.0),
    sequence: Sequence[str] = (),
    level: Level = "fast",
) -> tuple[JointState, ...]:
    """Tighten a joint in stages, one fastener after the other, and return every step.

    A fastener that already holds more than a stage asks for is not turned.

    Parameters
    ----------
    joint : Joint
        The joint.
    preloads : mapping of str to float
        Preload that the last stage brings each fastener to as it is turned [N].
    shares : sequence of float
        Share of the preload at each stage [1].
    sequence : sequence of str
        Order of the fasteners; from the middle outward unless given.
    level : {"fast", "check"}
        Patches or every point.

    Returns
    -------
    tuple of JointState
        The state after each fastener; the last is the assembled joint.

    Raises
    ------
    FiredeckError
        If a fastener is not known or missing.
    """
    names = [seat.name for seat in joint.seats]
    order = list(sequence) or outward(joint)
    if sorted(order) != sorted(names) or set(preloads) != set(names):
        raise FiredeckError(
            "sequence and preloads do not name every fastener once", remedy="name " + ", ".join(names)
        )
    state = loose_joint(joint, level)
    steps = []
    for stage, share in enumerate(shares, start=1):
        for name in order:
            state = state.turn(name, share * preloads[name], label=f"stage {stage}, {name}")
            steps.append(state)
    return tuple(steps)


def outward(joint: Joint) -> list[str]:
    """Return the fasteners' names from the middle of the deck outward."""
    places = np.array([seat.place for seat in joint.seats])
    distance = np.linalg.norm(places - places.mean(axis=0), axis=1)
    return [joint.seats[k].name for k in np.argsort(np.round(distance, 6), kind="stable")]


def loose_joint(joint: Joint, level: Level = "fast") -> JointState:
    """Return a joint with its fasteners in place and none of them turned.

    Parameters
    ----------
    joint : Joint
        The joint.
    level : {"fast", "check"}
        Patches or every point.
    """
    system, points = joint.at_level(level)
    count, m = len(points.gap), len(joint.seats)
    start = np.full(len(system.stiffness), _FIRST_TRIAL)
    start[len(start) - m :] = _FIRST_TRIAL
    empty = Balance(start, np.zeros(count), np.zeros(count), np.zeros(m), 0.0, 0)
    return JointState(
        joint, level, "loose", empty, np.full(m, -np.inf), np.zeros(count), np.ones(count), {},
        Certificate(0.0, 0.0, 0.0, 0.0, 0),
    )  # fmt: skip
