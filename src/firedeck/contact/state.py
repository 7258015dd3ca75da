"""States of a joint: assembly step by step, settled, warm, firing; each a balance with a certificate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firedeck.contact.joint import Joint, Level
from firedeck.contact.warmth import Warmth, free_strains, softening
from firedeck.errors import FiredeckError
from firedeck.kernel.press import Balance, Fasteners, solve_balance

__all__ = ["Certificate", "JointState", "is_gas", "relaxed_shares"]

Floats = npt.NDArray[np.float64]

#: Residual above which an answer is refused [1].
_REFUSED = 1e-6


@dataclass(frozen=True)
class Certificate:
    """What was checked of an answer after it was found.

    Attributes
    ----------
    residual : float
        Largest unbalanced force against the largest force at work [1].
    lowest_load : float
        Lowest load of any point; below zero would be tension [N].
    force_error : float
        Fasteners less gasket less gas, against the fasteners' sum [1].
    moment_error : float
        The same for the moments, against the fasteners' sum times half the deck's length [1].
    steps : int
        Newton steps of the last load step [1].
    """

    residual: float
    lowest_load: float
    force_error: float
    moment_error: float
    steps: int

    @property
    def sound(self) -> bool:
        """Whether every check is met."""
        return (
            self.residual <= _REFUSED
            and self.lowest_load >= 0.0
            and self.force_error <= 1e-5
            and self.moment_error <= 1e-5
        )

    def require_balance(self, name: str) -> None:
        """Refuse an answer that leaves force unbalanced.

        Parameters
        ----------
        name : str
            What was done, in words.
        """
        if not self.residual <= _REFUSED:
            raise FiredeckError(
                f"no balance found ({name}): {self.residual:.2g} of the force is left",
                remedy="check that the fasteners' loads and the gasket's laws are possible",
            )


@dataclass(frozen=True)
class JointState:
    """A joint in balance, with all that the next load step needs to know.

    Attributes
    ----------
    joint : Joint
        The joint.
    level : str
        ``fast`` or ``check`` [text].
    name : str
        What was done last, in words [text].
    balance : Balance
        The balance.
    advance : ndarray
        Approach of the seats at which each fastener would be slack [mm]; -inf where not fitted.
    largest : ndarray
        Largest closure of every gasket point so far [mm].
    left : ndarray
        Share of load that relaxation has left to every point [1].
    amounts : Mapping of str to float
        Amounts of the patterns at work: pressures [MPa], free strains [1].
    certificate : Certificate
        What was checked.
    cold : Joint or None
        The joint at 20 degC, where `joint` has the moduli of other temperatures.
    """

    joint: Joint
    level: Level
    name: str
    balance: Balance
    advance: Floats
    largest: Floats
    left: Floats
    amounts: Mapping[str, float]
    certificate: Certificate
    cold: Joint | None = None

    def turn(self, fastener: str, preload: float, *, label: str = "") -> JointState:
        """Turn one fastener until it holds a preload; one that holds as much already is left alone.

        Parameters
        ----------
        fastener : str
            Its name.
        preload : float
            Preload at which the wrench stops [N].
        label : str
            Name of the state; told by fastener and preload unless given.
        """
        which, named = self.place_of(fastener), replace(self, name=label or f"{fastener} to {preload:.0f} N")
        if self.tension[which] >= preload:
            return named
        fixed = np.full(len(self.advance), np.nan)
        fixed[which] = preload
        turned = named._balanced(fixed)
        advance = turned.advance.copy()
        approach = turned.balance.unknowns[len(turned.balance.unknowns) - len(advance) + which]
        advance[which] = approach + preload / self.joint.seats[which].stiffness
        return replace(turned, advance=advance)

    def turn_on(self, fastener: str, advance: float) -> JointState:
        """Turn one fastener on by a distance, from touching its seat if it was loose.

        Parameters
        ----------
        fastener : str
            Its name.
        advance : float
            How far the nut moves along the fastener [mm].
        """
        which = self.place_of(fastener)
        advances = self.advance.copy()
        if not np.isfinite(advances[which]):
            seats = self.balance.unknowns[len(self.balance.unknowns) - len(advances) :]
            advances[which] = seats[which]
        advances[which] += advance
        return replace(self, advance=advances, name=f"{fastener} on by {advance:.3f} mm")._balanced()

    def pull(self, tensions: Sequence[float], *, near: JointState | None = None) -> JointState:
        """Bring all fasteners to tensions at once, whatever order the wrench would have gone in.

        Parameters
        ----------
        tensions : sequence of float
            Tension of every fastener, in the order of the joint's seats [N].
        near : JointState, optional
            A state close to the answer, from which the search starts; the history is not taken from it.
        """
        wanted = np.asarray(tensions, dtype=float)
        stiffness = np.array([seat.stiffness for seat in self.joint.seats])
        begun = replace(self, name="pulled", balance=self.balance if near is None else near.balance)
        pulled = begun._balanced(wanted)
        seats = pulled.balance.unknowns[len(pulled.balance.unknowns) - len(wanted) :]
        return replace(pulled, advance=seats + wanted / stiffness)

    def place_of(self, fastener: str) -> int:
        """Return the place of a fastener among the joint's seats.

        Raises
        ------
        FiredeckError
            If the joint has none of that name.
        """
        names = [seat.name for seat in self.joint.seats]
        if fastener not in names:
            raise FiredeckError(f"the joint has no fastener {fastener!r}", remedy="name " + ", ".join(names))
        return names.index(fastener)

    def settle(self, *, embedding: float = 0.0, relaxation: float | Mapping[str, float] = 0.0) -> JointState:
        """Let rough faces flatten and the gasket creep.

        Parameters
        ----------
        embedding : float
            Flattening under every fastener [mm].
        relaxation : float or mapping of str to float
            Share of the load that every gasket point loses at the same closure, or that of each seal and
            land by its name; those not named lose nothing [1].
        """
        shares = list(relaxation.values()) if isinstance(relaxation, Mapping) else [relaxation]
        worst = max(shares, key=lambda share: abs(share - 0.5), default=0.0)
        if not 0.0 <= worst < 1.0 or embedding < 0.0:
            raise FiredeckError(
                f"an embedding of {embedding:.4g} mm and a relaxation of {worst:.4g} are not possible",
                remedy="give an embedding of at least 0 and a relaxation from 0 to below 1",
            )
        changed = replace(
            self,
            advance=self.advance - embedding,
            left=self.left * (1.0 - relaxed_shares(self.joint, self.level, relaxation)),
            name="settled",
        )
        return changed._balanced()

    def warm(self, warmth: Warmth, *, near: JointState | None = None) -> JointState:
        """Bring the members to their temperatures, all counted from 20 degC.

        Each body gets the modulus of its mean temperature, the fasteners the stiffness that the warmth
        states; the gasket keeps its laws. Strains add up from the unloaded joint at 20 degC, so that what
        was elastic before answers to the new moduli as well.

        Parameters
        ----------
        warmth : Warmth
            Temperatures; they replace earlier ones.
        near : JointState, optional
            A warm state of the same joint: its moduli are taken for those of these temperatures, and the
            search starts from it. A quick answer, since other moduli cost far more than other strains.

        Raises
        ------
        FiredeckError
            If a material's table ends below the temperature.
        """
        cold = self.cold or self.joint
        amounts = {key: value for key, value in self.amounts.items() if " plane " not in key}
        amounts |= free_strains(self.joint, warmth)
        stretch = warmth.fastener_expansion * (warmth.fasteners - 20.0)
        already = self.amounts.get("fastener strain", 0.0)
        amounts["fastener strain"] = stretch
        changed = replace(
            self,
            joint=cold.warmed(*softening(cold, warmth)) if near is None else near.joint,
            cold=cold,
            balance=self.balance if near is None else near.balance,
            advance=self.advance - (stretch - already) * self.joint.fastener_lengths,
            amounts=amounts,
            name="warm",
        )
        return changed._balanced()

    def fire(self, pressures: Mapping[str, float], *, near: JointState | None = None) -> JointState:
        """Put gas into cylinders.

        Parameters
        ----------
        pressures : mapping of str to float
            Gas pressure [MPa] by bore; the others have none.
        near : JointState, optional
            A state close to the answer, from which the search starts; the history is not taken from it.
        """
        known = {bore.name for bore in self.joint.bores}
        for name, value in pressures.items():
            if name not in known or value < 0.0:
                raise FiredeckError(
                    f"{name!r} at {value:.4g} MPa is no cylinder at a pressure",
                    remedy="use the bores' names " + ", ".join(sorted(known)) + " and pressures from 0 up",
                )
        amounts = {key: value for key, value in self.amounts.items() if not is_gas(key)}
        for name, value in pressures.items():
            amounts |= {f"gas {name}": value, f"wall {name}": value}
        label = ", ".join(f"{name} at {value:g} MPa" for name, value in pressures.items())
        start = self.balance if near is None else near.balance
        named = f"firing, {label}" if label else "no gas"
        return replace(self, amounts=amounts, name=named, balance=start)._balanced()

    @property
    def tension(self) -> Floats:
        """Tension of every fastener [N]."""
        return self.balance.tension

    @property
    def amount_vector(self) -> Floats:
        """Amounts of all patterns of the pair, the fasteners' tensions included."""
        out = self._stated_amounts()
        place = [self.joint.places_of_patterns[f"fastener {seat.name}"] for seat in self.joint.seats]
        out[place] = self.tension
        return out

    def _stated_amounts(self) -> Floats:
        """Return the amounts of all patterns of the pair without the fasteners' tensions."""
        places = self.joint.places_of_patterns
        out = np.zeros(len(places))
        for name, amount in self.amounts.items():
            if name in places:
                out[places[name]] = amount
        return out

    def _balanced(self, fixed: Floats | None = None) -> JointState:
        """Return the state brought into balance, some fasteners held at a tension."""
        system, points = self.joint.at_level(self.level)
        free = np.full(len(self.advance), np.nan)
        held = free if fixed is None else fixed
        fasteners = Fasteners(self.joint.fastener_stiffness, self.advance, held)
        start, memory = self.balance.unknowns, (self.largest, self.left)
        forces = system.forces @ self._stated_amounts()
        chord = self.joint.chords[self.level].at(fasteners, tuple(self.amounts), len(system.stiffness))
        balance = solve_balance(system.stiffness, forces, points, fasteners, memory, start, chord)
        largest = np.maximum(self.largest, balance.closure)
        state = replace(self, balance=balance, largest=largest)
        certificate = _certificate(state)
        certificate.require_balance(self.name)
        return replace(state, certificate=certificate)


def _certificate(state: JointState) -> Certificate:
    joint, balance = state.joint, state.balance
    known = joint.resultants()
    total = balance.tension @ joint.fastener_resultants
    pulled = float(balance.tension.sum())
    for name, amount in state.amounts.items():
        if name in known:
            total += amount * known[name]
    total += joint.gasket_resultants(state.level) @ balance.load
    middle = joint.middle
    moments = np.abs([total[1] - middle[1] * total[0], total[2] + middle[0] * total[0]])
    scale = max(pulled, 1.0)
    return Certificate(
        balance.residual,
        float(balance.load.min(initial=0.0)),
        abs(float(total[0])) / scale,
        float(moments.max()) / (scale * joint.reach),
        balance.steps,
    )


def is_gas(name: str) -> bool:
    """Return whether a pattern is that of gas in a cylinder, by its name."""
    return name.startswith(("gas ", "wall "))


def relaxed_shares(joint: Joint, level: Level, relaxation: float | Mapping[str, float]) -> Floats:
    """Return the share that every point or patch loses by relaxation [1].

    Parameters
    ----------
    joint : Joint
        The joint.
    level : {"fast", "check"}
        Patches or every point.
    relaxation : float or mapping of str to float
        Share of all, or of each seal and land by its name; those not named lose nothing [1].
    """
    laid = joint.laid
    out = np.zeros(len(joint.at_level(level)[1].gap))
    if not isinstance(relaxation, Mapping):
        out[:] = relaxation
        return out
    for name, share in relaxation.items():
        part = laid.part(name)
        out[part if level == "check" else laid.patch[part]] = share
    return out
