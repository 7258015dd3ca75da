"""Joint diagrams: how fastener and clamp share a load that pulls the joint apart.

Two forms: a linear joint (spring against spring until it opens), and a gasketed joint whose
gasket loads along one line and unloads along a steeper one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firedeck.errors import FiredeckError

__all__ = ["GasketedJoint", "JointState", "LinearJoint", "LoadingLine", "in_series"]


def in_series(*stiffnesses: float) -> float:
    """Return the stiffness of springs one behind the other [N/mm].

    Parameters
    ----------
    *stiffnesses : float
        Each spring's stiffness [N/mm].
    """
    return 1.0 / sum(1.0 / stiffness for stiffness in stiffnesses)


@dataclass(frozen=True)
class JointState:
    """Forces of a joint under a separating load.

    Attributes
    ----------
    fastener, clamp : float
        Force in the fastener, and what still presses the faces together [N].
    opening : float
        How far the clamped stack has sprung back from the assembled state [mm]; once the clamp
        is gone, spring-back and gap together.
    """

    fastener: float
    clamp: float
    opening: float


@dataclass(frozen=True)
class LinearJoint:
    """A fastener and the stack it clamps, both linear.

    Attributes
    ----------
    fastener_stiffness, clamped_stiffness : float
        Stiffness of the fastener, and of everything clamped in series, gasket included [N/mm].
    preload : float
        Preload [N].
    """

    fastener_stiffness: float
    clamped_stiffness: float
    preload: float

    @property
    def load_factor(self) -> float:
        """Share of a separating load that the fastener feels, ``kb/(kb + km)`` [1]."""
        return self.fastener_stiffness / (self.fastener_stiffness + self.clamped_stiffness)

    @property
    def separation_load(self) -> float:
        """Load at which the clamp is gone [N]."""
        return self.preload / (1.0 - self.load_factor)

    def under(self, load: float) -> JointState:
        """Return the forces under a separating load [N]; past separation the fastener carries it all."""
        if load >= self.separation_load:
            return JointState(load, 0.0, (load - self.preload) / self.fastener_stiffness)
        extra = self.load_factor * load
        return JointState(
            self.preload + extra, self.preload - (load - extra), extra / self.fastener_stiffness
        )


@dataclass(frozen=True)
class LoadingLine:
    """A gasket's loading branch as straight pieces, and its unloading stiffness.

    Attributes
    ----------
    closures, forces : tuple of float
        Points of the loading branch after (0, 0): closure [mm] and force [N], both rising. The
        last piece goes on beyond the last point.
    unloading_stiffness : float
        Stiffness on unloading [N/mm]; steeper than the loading branch where the gasket was left.
    """

    closures: tuple[float, ...]
    forces: tuple[float, ...]
    unloading_stiffness: float

    def __post_init__(self) -> None:
        rising = all(step > 0 for step in (*np.diff((0.0, *self.closures)), *np.diff((0.0, *self.forces))))
        if not self.closures or len(self.closures) != len(self.forces) or not rising:
            raise FiredeckError(
                "a gasket's loading branch must rise from zero in closure and force",
                remedy="order the points by closure and leave out those where the force falls",
            )

    def closure_at(self, force: float) -> float:
        """Return the closure on the loading branch at a force [N], [mm]."""
        closures, forces = self._extended(force, self.forces, self.closures)
        return float(np.interp(force, forces, closures))

    def force_at(self, closure: float) -> float:
        """Return the force on the loading branch at a closure [mm], [N]."""
        forces, closures = self._extended(closure, self.closures, self.forces)
        return float(np.interp(closure, closures, forces))

    @staticmethod
    def _extended(
        value: float, given: Sequence[float], sought: Sequence[float]
    ) -> tuple[list[float], list[float]]:
        """Return sought and given with the last piece prolonged beyond `value`."""
        given, sought = [0.0, *given], [0.0, *sought]
        slope = (sought[-1] - sought[-2]) / (given[-1] - given[-2])
        far = max(value, given[-1]) + 1.0
        return [*sought, sought[-1] + slope * (far - given[-1])], [*given, far]


@dataclass(frozen=True)
class GasketedJoint:
    """Fasteners of stiffness Kb over a gasket that remembers how far it was closed.

    Attributes
    ----------
    fastener_stiffness : float
        All fasteners, in series with the head where that gives [N/mm].
    gasket : LoadingLine
        The gasket's law.
    preload : float
        Sum of preloads at assembly [N].
    """

    fastener_stiffness: float
    gasket: LoadingLine
    preload: float

    @property
    def closure(self) -> float:
        """Closure at assembly [mm]."""
        return self.gasket.closure_at(self.preload)

    @property
    def separation_load(self) -> float:
        """Load at which the gasket carries nothing [N]."""
        return self.preload * (1.0 + self.fastener_stiffness / self.gasket.unloading_stiffness)

    def under(self, load: float) -> JointState:
        """Return the forces under a separating load; a negative one presses the gasket further [N].

        On the way up in clamp the gasket follows its loading branch, on the way down the
        unloading line.
        """
        if load >= self.separation_load:
            return JointState(load, 0.0, (load - self.preload) / self.fastener_stiffness)
        if load >= 0.0:
            unloading = self.gasket.unloading_stiffness
            recovery = load / (unloading + self.fastener_stiffness)
            return JointState(
                self.preload + self.fastener_stiffness * recovery,
                self.preload - unloading * recovery,
                recovery,
            )
        return self._pressed(load)

    def _pressed(self, load: float) -> JointState:
        """Close further along the loading branch until gasket and fasteners balance."""
        start = self.closure
        knees = [closure for closure in self.gasket.closures if closure > start]
        far = start - load / self.fastener_stiffness
        places = np.array([start, *(knee for knee in knees if knee < far), far])
        surplus = np.array([self._surplus(place, start, load) for place in places])
        closure = float(np.interp(0.0, surplus, places))
        clamp = self.gasket.force_at(closure)
        return JointState(clamp + load, clamp, start - closure)

    def _surplus(self, closure: float, start: float, load: float) -> float:
        fastener = self.preload - self.fastener_stiffness * (closure - start)
        return self.gasket.force_at(closure) + load - fastener
