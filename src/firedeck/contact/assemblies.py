"""Many assemblies of one joint, all taken through the same steps side by side, on the fast level."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firedeck.contact.joint import Joint
from firedeck.contact.state import Certificate, JointState, is_gas, relaxed_shares
from firedeck.contact.warmth import Warmth
from firedeck.errors import FiredeckError
from firedeck.kernel.many import Guide, ManyBalances, Patches, guide_at, solve_many
from firedeck.kernel.press import Balance, Fasteners, solve_balance

__all__ = ["Assemblies", "Lead", "lead_after", "loose_assemblies"]

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Residual above which a row is sought once more by itself [1].
_POOR = 1e-8


@dataclass(frozen=True)
class Lead:
    """What an assembly that goes ahead leaves to the others that take the same step.

    Attributes
    ----------
    state : JointState
        Its state after the step.
    way : ndarray, shape (n,)
        What the step changed of its unknowns [mm].
    guide : Guide
        The inverse of a matrix near its own.
    """

    state: JointState
    way: Floats
    guide: Guide


def lead_after(before: JointState, after: JointState, guide: Guide | None = None) -> Lead:
    """Return what the others need of a step that the leading assembly has taken.

    Parameters
    ----------
    before, after : JointState
        Its states, fast level.
    guide : Guide, optional
        One that is near enough; made anew unless given.

    Raises
    ------
    FiredeckError
        If the joint has come loose.
    """
    return Lead(after, after.balance.unknowns - before.balance.unknowns, guide or _guide_of(after))


def _guide_of(state: JointState) -> Guide:
    joint, free = state.joint, np.full((1, len(state.advance)), np.nan)
    found = guide_at(
        joint.at_level("fast")[0].stiffness,
        _patches(joint),
        Fasteners(joint.fastener_stiffness, state.advance[None], free),
        (state.largest[None], state.left[None]),
        state.balance.unknowns[None],
    )
    if found is None:
        raise FiredeckError(
            f"the joint is loose ({state.name})",
            remedy="check that the fasteners' loads and the gasket's laws are possible",
        )
    return found


def _patches(joint: Joint) -> Patches:
    points = joint.at_level("fast")[1]
    return Patches(points.gap, points.law, points.size, points.tables)


@dataclass(frozen=True)
class Assemblies:
    """Assemblies of one joint in balance, one in each row, with all that the next step needs to know.

    Attributes
    ----------
    joint : Joint
        The joint.
    name : str
        What was done last, in words [text].
    balances : ManyBalances
        The balances.
    advance : ndarray, shape (rows, m)
        Approach of the seats at which each fastener would be slack [mm]; -inf where not fitted.
    largest : ndarray, shape (rows, patches)
        Largest closure of every patch so far [mm].
    left : ndarray, shape (rows, patches)
        Share of load that relaxation has left to every patch [1].
    amounts : Mapping of str to ndarray, shape (rows,)
        Amounts of the patterns at work: pressures [MPa], free strains [1].
    force_error, moment_error : ndarray, shape (rows,)
        As in `firedeck.contact.state.Certificate` [1].
    cold : Joint or None
        The joint at 20 degC, where `joint` has the moduli of other temperatures.
    """

    joint: Joint
    name: str
    balances: ManyBalances
    advance: Floats
    largest: Floats
    left: Floats
    amounts: Mapping[str, Floats]
    force_error: Floats
    moment_error: Floats
    cold: Joint | None = None

    def __len__(self) -> int:
        """Return how many assemblies there are."""
        return len(self.advance)

    @property
    def tension(self) -> Floats:
        """Tension of every fastener, shape (rows, m) [N]."""
        return self.balances.tension

    def certificate(self, row: int) -> Certificate:
        """Return what was checked of one assembly's balance."""
        return Certificate(
            float(self.balances.residual[row]),
            float(self.balances.load[row].min(initial=0.0)),
            float(self.force_error[row]),
            float(self.moment_error[row]),
            int(self.balances.steps[row]),
        )

    def state(self, row: int) -> JointState:
        """Return one assembly as a state by itself."""
        all_ = self.balances
        balance = Balance(
            all_.unknowns[row].copy(), all_.closure[row].copy(), all_.load[row].copy(),
            all_.tension[row].copy(), float(all_.residual[row]), int(all_.steps[row]),
        )  # fmt: skip
        return JointState(
            self.joint, "fast", self.name, balance, self.advance[row].copy(), self.largest[row].copy(),
            self.left[row].copy(), {name: float(amount[row]) for name, amount in self.amounts.items()},
            self.certificate(row), self.cold,
        )  # fmt: skip

    def turn(self, fastener: str, preloads: Floats, lead: Lead) -> Assemblies:
        """Turn one fastener until it holds a preload; where it holds as much already it is left alone.

        Parameters
        ----------
        fastener : str
            Its name.
        preloads : ndarray, shape (rows,)
            Preload at which the wrench stops [N].
        lead : Lead
            Of this step.
        """
        which = lead.state.place_of(fastener)
        turned = self.tension[:, which] < preloads
        if not turned.any():
            return replace(self, name=lead.state.name)
        fixed = np.full(self.advance.shape, np.nan)
        fixed[:, which] = preloads
        found = self._rows(turned)._balanced(lead, fixed[turned])
        advance = found.advance.copy()
        approach = found.balances.unknowns[:, found.balances.closure.shape[1] + which]
        advance[:, which] = approach + preloads[turned] / self.joint.fastener_stiffness[which]
        return self._with(turned, replace(found, advance=advance))

    def turn_on(self, fastener: str, advances: Floats, lead: Lead, *, most: Floats) -> Assemblies:
        """Turn one fastener on by a distance, from touching its seat where it was loose.

        Parameters
        ----------
        fastener : str
            Its name.
        advances : ndarray, shape (rows,)
            How far the nut moves along the fastener [mm].
        lead : Lead
            Of this step.
        most : ndarray, shape (rows,)
            Tension at which the wrench stops short of it [N].
        """
        which = lead.state.place_of(fastener)
        seat = self.balances.unknowns[:, self.balances.closure.shape[1] + which]
        advance = self.advance.copy()
        before = np.where(np.isfinite(advance[:, which]), advance[:, which], seat)
        advance[:, which] = before + advances
        turned = replace(self, advance=advance)._balanced(lead)
        over = turned.tension[:, which] > most
        if not over.any():
            return turned
        return turned._with(over, self._rows(over).turn(fastener, most[over], lead))

    def settle(self, embedding: float, relaxation: float | Mapping[str, float], lead: Lead) -> Assemblies:
        """Let rough faces flatten and the gasket creep; parameters as `JointState.settle`."""
        shares = relaxed_shares(self.joint, "fast", relaxation)
        changed = replace(self, advance=self.advance - embedding, left=self.left * (1.0 - shares))
        return changed._balanced(lead)

    def warm(self, warmth: Warmth, lead: Lead) -> Assemblies:
        """Bring the members to their temperatures, as `JointState.warm`."""
        amounts = {name: amount for name, amount in self.amounts.items() if " plane " not in name}
        warmed = {name: value for name, value in lead.state.amounts.items() if " plane " in name}
        stretch = warmth.fastener_expansion * (warmth.fasteners - 20.0)
        already = self.amounts.get("fastener strain", np.zeros(len(self)))
        amounts |= {name: np.full(len(self), value) for name, value in warmed.items()}
        amounts["fastener strain"] = np.full(len(self), stretch)
        longer = (stretch - already)[:, None] * self.joint.fastener_lengths
        changed = replace(
            self,
            joint=lead.state.joint,
            cold=self.cold or self.joint,
            advance=self.advance - longer,
            amounts=amounts,
        )
        return changed._balanced(lead)

    def fire(self, pressures: Mapping[str, Floats], lead: Lead) -> Assemblies:
        """Put gas into cylinders.

        Parameters
        ----------
        pressures : mapping of str to ndarray, shape (rows,)
            Gas pressure [MPa] by bore; the others have none.
        lead : Lead
            Of this step.
        """
        amounts = {name: amount for name, amount in self.amounts.items() if not is_gas(name)}
        for bore, values in pressures.items():
            amounts |= {f"gas {bore}": values, f"wall {bore}": values}
        return replace(self, amounts=amounts)._balanced(lead)

    def _balanced(self, lead: Lead, fixed: Floats | None = None) -> Assemblies:
        """Return the assemblies brought into balance, some fasteners held at a tension."""
        joint = self.joint
        held = np.full(self.advance.shape, np.nan) if fixed is None else fixed
        fasteners = Fasteners(joint.fastener_stiffness, self.advance, held)
        start, memory = self.balances.unknowns + lead.way, (self.largest, self.left)
        system, forces = joint.at_level("fast")[0], self._forces()
        found = solve_many(system.stiffness, forces, _patches(joint), fasteners, memory, start, lead.guide)
        for row in np.flatnonzero(~(found.residual <= _POOR)):
            _mend(found, int(row), self._alone(int(row), held[row], forces[row], start[row]))
        largest = np.maximum(self.largest, found.closure)
        return replace(self, name=lead.state.name, balances=found, largest=largest)._checked()

    def _alone(self, row: int, held: Floats, forces: Floats, start: Floats) -> Balance:
        """Return the balance of one row sought by itself, where going with the others led nowhere."""
        system, points = self.joint.at_level("fast")
        fasteners = Fasteners(self.joint.fastener_stiffness, self.advance[row], held)
        return solve_balance(
            system.stiffness, forces, points, fasteners, (self.largest[row], self.left[row]), start
        )

    def _forces(self) -> Floats:
        """Return the forces of gas and heat on the unknowns [N]."""
        forces, places = self.joint.at_level("fast")[0].forces, self.joint.places_of_patterns
        out = np.zeros((len(self), len(forces)))
        for name, amount in self.amounts.items():
            if name in places:
                out += amount[:, None] * forces[:, places[name]]
        return out

    def _checked(self) -> Assemblies:
        """Return the assemblies with their checks made anew, or refuse those that found no balance."""
        joint, found = self.joint, self.balances
        worst = int(np.argmax(np.nan_to_num(found.residual, nan=np.inf)))
        known = joint.resultants()
        total = found.tension @ joint.fastener_resultants
        for name, amount in self.amounts.items():
            if name in known:
                total += amount[:, None] * known[name]
        total += found.load @ joint.gasket_resultants("fast").T
        scale = np.maximum(found.tension.sum(axis=1), 1.0)
        middle = joint.middle
        moments = np.abs([total[:, 1] - middle[1] * total[:, 0], total[:, 2] + middle[0] * total[:, 0]])
        checked = replace(
            self,
            force_error=np.abs(total[:, 0]) / scale,
            moment_error=moments.max(axis=0) / (scale * joint.reach),
        )
        checked.certificate(worst).require_balance(self.name)
        return checked

    def _rows(self, chosen: Bools) -> Assemblies:
        """Return some of the assemblies."""
        return replace(
            self,
            balances=self.balances.rows(chosen),
            amounts={name: amount[chosen] for name, amount in self.amounts.items()},
            **{name: getattr(self, name)[chosen] for name in _ROW_BY_ROW},
        )

    def _with(self, chosen: Bools, others: Assemblies) -> Assemblies:
        """Return the assemblies with others in the place of some."""
        if chosen.all():
            return others
        arrays = {name: getattr(self, name).copy() for name in _ROW_BY_ROW}
        for name, array in arrays.items():
            array[chosen] = getattr(others, name)
        balances = self.balances.with_rows(chosen, others.balances)
        return replace(self, name=others.name, balances=balances, **arrays)


#: What is known of every assembly beside its balance and its amounts.
_ROW_BY_ROW = ("advance", "largest", "left", "force_error", "moment_error")


def _mend(found: ManyBalances, row: int, balance: Balance) -> None:
    for name in ("unknowns", "closure", "load", "tension", "residual", "steps"):
        getattr(found, name)[row] = getattr(balance, name)


def loose_assemblies(lead: JointState, count: int) -> Assemblies:
    """Return assemblies with their fasteners in place and none of them turned.

    Parameters
    ----------
    lead : JointState
        The loose joint, fast level.
    count : int
        How many [1].
    """

    def rows(values: Floats) -> Floats:
        return np.tile(values, (count, 1))

    balance, none = lead.balance, np.zeros(count)
    balances = ManyBalances(
        rows(balance.unknowns), rows(balance.closure), rows(balance.load), rows(balance.tension),
        none, np.zeros(count, dtype=np.int64),
    )  # fmt: skip
    return Assemblies(
        lead.joint,
        lead.name,
        balances,
        rows(lead.advance),
        rows(lead.largest),
        rows(lead.left),
        {},
        none,
        none,
    )
