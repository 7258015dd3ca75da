"""An embossed bead between two flat faces: its load over closure from the shape of the strip."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.contact.law import ClosureLaw
from firedeck.errors import FiredeckError
from firedeck.evidence import Basis, Source
from firedeck.kernel.strip import press_strip

__all__ = ["Bead", "bead_law", "bead_shape"]

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Shares of its height to which the bead is pressed before it is let go [1].
_PEAKS = (0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1.0)

#: Steps of a way back over the bead's whole height [1].
_STEPS_BACK = 80

#: Fall below the load met before that is still taken for a level stretch [1].
_SOFTENING = 0.08

#: Gauss points through the thickness [1].
_FIBRES = 10

_SOURCE = Source(
    Basis.DERIVED, "strip in cylindrical bending, elastic-plastic, between rigid faces without friction"
)


@dataclass(frozen=True)
class Bead:
    """An embossed bead of strip.

    Attributes
    ----------
    thickness : float
        Thickness of the strip [mm].
    height : float
        Height of the bead above the strip [mm].
    span : float
        Distance from foot to crown along the face [mm].
    radius : float
        Radius of the strip's middle at crown and foot [mm].
    flange : float
        Flat strip beside the foot, and beside the crown of a step [mm].
    modulus : float
        Young's modulus [MPa].
    poisson : float
        Poisson's ratio [1].
    yield_strength : float
        Yield strength in tension [MPa].
    hardening : float
        Slope of stress over plastic strain in tension [MPa].
    arch : bool
        Whether the strip goes down again beyond the crown; a step ends there with a flat.
    held : bool
        Whether the far end cannot slide.
    """

    thickness: float
    height: float
    span: float
    radius: float
    flange: float
    modulus: float
    poisson: float
    yield_strength: float
    hardening: float
    arch: bool = True
    held: bool = False

    @property
    def steel(self) -> Floats:
        """Modulus, yield strength and hardening of a fibre held in plane strain [MPa].

        Held along the line, an incompressible plastic strip yields at ``2 / sqrt(3)`` of its yield
        strength in tension (von Mises) and hardens by 4/3 of its slope.
        """
        return np.array(
            [
                self.modulus / (1.0 - self.poisson**2),
                2.0 / math.sqrt(3.0) * self.yield_strength,
                4.0 / 3.0 * self.hardening,
            ]
        )


def bead_shape(bead: Bead, elements: int = 48) -> Floats:
    """Return the middle of a free bead's strip, from the crown to the end of the flange.

    Parameters
    ----------
    bead : Bead
        The bead. An arch begins at its crown, in the middle of the bead; a step at the free end of
        its upper flat.
    elements : int
        Elements from crown to foot; the flats get as fine ones.

    Returns
    -------
    ndarray, shape (n, 2)
        Places along the face and heights above the flat strip [mm].
    """
    turn, straight = _flank(bead)
    arc = bead.radius * turn
    along = np.linspace(0.0, 2.0 * arc + straight, elements + 1)
    down = np.array([_on_flank(s, bead, turn, straight) for s in along])
    flats = max(2, round(bead.flange * elements / along[-1]))
    flat = np.linspace(0.0, bead.flange, flats + 1)[1:]
    flange = np.column_stack([bead.span + flat, np.zeros(flats)])
    if bead.arch:
        return np.vstack([down, flange])
    upper = np.column_stack([-flat[::-1], np.full(flats, bead.height)])
    return np.vstack([upper, down, flange])


def _flank(bead: Bead) -> tuple[float, float]:
    """Return the greatest slope of the flank [rad], and the length of its straight part [mm]."""
    left = 2.0 * bead.radius - bead.height
    ratio = min(2.0 * bead.radius / math.hypot(bead.span, left), 1.0)
    turn = math.asin(ratio) - math.atan2(left, bead.span)
    turns = (turn, math.pi - math.asin(ratio) - math.atan2(left, bead.span))
    lengths = [(bead.span - 2.0 * bead.radius * math.sin(one)) / math.cos(one) for one in turns]
    possible = [(a, s) for a, s in zip(turns, lengths, strict=True) if a > 0.0 and s > -1e-9]
    if not possible:
        raise FiredeckError(
            f"a radius of {bead.radius:.4g} mm does not fit into the bead", remedy="give a smaller radius"
        )
    turn, straight = min(possible)
    return turn, max(straight, 0.0)


def _on_flank(s: float, bead: Bead, turn: float, straight: float) -> tuple[float, float]:
    """Return place and height at a length from the crown [mm]."""
    radius, arc = bead.radius, bead.radius * turn
    if s <= arc:
        return radius * math.sin(s / radius), bead.height - radius * (1.0 - math.cos(s / radius))
    if s <= arc + straight:
        past = s - arc
        return (
            radius * math.sin(turn) + past * math.cos(turn),
            bead.height - radius * (1.0 - math.cos(turn)) - past * math.sin(turn),
        )
    back = max(2.0 * arc + straight - s, 0.0) / radius
    return bead.span - radius * math.sin(back), radius * (1.0 - math.cos(back))


@dataclass
class _Press:
    """A bead in the press."""

    bead: Bead
    place: Floats
    fixed: Bools
    push: Floats
    fibres: Floats
    moved: Floats
    plastic: Floats
    opening: float

    @classmethod
    def of(cls, bead: Bead, elements: int) -> _Press:
        place = bead_shape(bead, elements)
        lengths = np.hypot(*np.diff(place, axis=0).T)
        tributary = 0.5 * (np.append(lengths, 0.0) + np.append(0.0, lengths))
        points, weights = np.polynomial.legendre.leggauss(_FIBRES)
        fibres = 0.5 * bead.thickness * np.vstack([points, weights])
        fixed = np.zeros(3 * len(place), dtype=np.bool_)
        fixed[[0, 2] if bead.arch else [-3, -1]] = True
        if bead.held:
            fixed[-3 if bead.arch else 0] = True
        push = 2.0 * float(bead.steel[0]) / bead.thickness * tributary
        still, soft = np.zeros(3 * len(place)), np.zeros((len(lengths), 2, _FIBRES))
        return cls(bead, place, fixed, push, fibres, still, soft, bead.height)

    def to(self, closures: Floats) -> tuple[Floats, Floats, int]:
        """Press to closures one after the other; return loads, widths, and how many were reached."""
        openings = self.bead.height - closures
        load, width = np.zeros(len(closures)), np.zeros(len(closures))
        reached = press_strip(
            self.place, self.fixed, self.push, self.fibres, self.bead.steel, openings, self.opening,
            self.moved, self.plastic, load, width,
        )  # fmt: skip
        self.opening = float(openings[reached - 1]) if reached else self.opening
        double = 2.0 if self.bead.arch else 1.0
        widest = float(self.push.max()) * self.bead.thickness / (2.0 * float(self.bead.steel[0]))
        return double * load, double * widest * width, reached

    def copy(self) -> _Press:
        return _Press(
            self.bead, self.place, self.fixed, self.push, self.fibres, self.moved.copy(),
            self.plastic.copy(), self.opening,
        )  # fmt: skip


def bead_law(
    name: str, bead: Bead, *, spread: float = 0.2, steps: int = 60, elements: int = 48
) -> ClosureLaw:
    """Return the law of a bead between two flat faces that do not give.

    Parameters
    ----------
    name : str
        Name of the law.
    bead : Bead
        The bead.
    spread : float
        Plus or minus at 95 % of the load [1].
    steps : int
        Steps of closure until the bead is flat.
    elements : int
        Elements from crown to foot.

    Returns
    -------
    ClosureLaw
        Load per length of the bead's line, to its whole height, and ways back from eight depths.

    Raises
    ------
    FiredeckError
        If no balance is found, or the bead gives way under falling load.

    Notes
    -----
    The strip starts free of stress: what embossing left in it, and what an anneal took away, is
    not known from its shape. Faces push without friction.
    """
    press = _Press.of(bead, elements)
    closure = np.concatenate([[0.0], np.linspace(0.0, bead.height, steps + 1)[1:]])
    load, width = np.zeros(len(closure)), np.zeros(len(closure))
    peaks = {round(share * steps) for share in _PEAKS}
    returns: list[list[list[float]]] = []
    for row in range(1, len(closure)):
        loads, widths, reached = press.to(closure[row : row + 1])
        if not reached:
            raise _no_balance(name, closure[row])
        load[row], width[row] = loads[0], widths[0]
        if row in peaks:
            returns.append(_way_back(press.copy(), closure[row], load[row]))
    _refuse_softening(name, closure, load)
    load = np.maximum.accumulate(load)
    at_work = max(float(np.interp(0.6 * bead.height, closure, width)), bead.thickness)
    return ClosureLaw.from_table(
        name, np.column_stack([closure, load]).tolist(), returns, width=at_work, spread=spread, source=_SOURCE
    )


def _no_balance(name: str, closure: float) -> FiredeckError:
    return FiredeckError(
        f"the strip of {name!r} finds no balance at a closure of {closure:.4g} mm",
        remedy="check the bead's sizes; give a measured table where its shape is unusual",
    )


def _refuse_softening(name: str, closure: Floats, load: Floats) -> None:
    met = np.maximum.accumulate(load)
    drop = met - load
    worst = int(np.argmax(drop))
    if drop[worst] > _SOFTENING * met[worst]:
        raise FiredeckError(
            f"the bead {name!r} gives way: at {closure[worst]:.4g} mm its load has fallen by "
            f"{drop[worst]:.3g} N/mm",
            remedy="check height and width; give a measured table if it really snaps through",
        )


def _way_back(press: _Press, closure: float, load: float) -> list[list[float]]:
    """Follow the load from a peak until it is gone; return closure and load of every step."""
    steps = max(4, math.ceil(_STEPS_BACK * closure / press.bead.height))
    back = np.linspace(closure, 0.0, steps + 1)[1:]
    loads, _, reached = press.to(back)
    kept = loads[:reached] > 0.0
    rows = np.column_stack([np.append(closure, back[:reached][kept]), np.append(load, loads[:reached][kept])])
    rows[:, 1] = np.minimum.accumulate(rows[:, 1])
    slope = (rows[-1, 1] - rows[-2, 1]) / (rows[-1, 0] - rows[-2, 0]) if len(rows) > 1 else load / closure
    end = rows[-1, 0] - rows[-1, 1] / slope if slope > 0.0 else rows[-1, 0]
    return [*rows.tolist(), [max(float(end), 0.0), 0.0]]
