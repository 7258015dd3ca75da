"""The duty itself: what each cylinder's peak pressure is, how it scatters and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

from firedeck.duty.limits import DutyError
from firedeck.evidence import Estimate, Source

__all__ = ["CylinderDuty", "Duty"]


@dataclass(frozen=True)
class CylinderDuty:
    """Peak pressure of one cylinder.

    Attributes
    ----------
    cylinder : int
        Cylinder number.
    mean : Estimate
        Mean peak pressure [MPa].
    deviation : Estimate
        Standard deviation from cycle to cycle [MPa].
    extreme : Estimate
        Largest peak in the duty's number of cycles, without knock [MPa].
    knock_allowance : Estimate
        What knock may add [MPa].
    """

    cylinder: int
    mean: Estimate
    deviation: Estimate
    extreme: Estimate
    knock_allowance: Estimate

    @property
    def design_pressure(self) -> Estimate:
        """Pressure that the joint must survive: extreme and knock together [MPa].

        The ends add, because the worst cycle and the worst knock tend to come together.
        """
        return Estimate(
            self.extreme.value + self.knock_allowance.value,
            self.extreme.low + self.knock_allowance.low,
            self.extreme.high + self.knock_allowance.high,
            tuple(dict.fromkeys(self.extreme.flags + self.knock_allowance.flags)),
        )


@dataclass(frozen=True)
class Duty:
    """What a joint must survive.

    Attributes
    ----------
    kind : str
        ``"trace"``, ``"model"`` or ``"rule"``, in falling order of trust.
    cylinders : tuple of CylinderDuty
        One for each cylinder.
    cycles : int
        Cycles that the extremes are for.
    law : str
        Law that the extremes follow.
    basis : Source
        Backing.
    bmep : Estimate or None
        Brake mean effective pressure at this duty [MPa], where known.
    power : Estimate or None
        Brake power of the whole engine at this duty [kW], where known.
    speed : float or None
        Engine speed [1/min], where known.
    notes : tuple of str
        Assumptions and doubts, to be shown with the numbers.
    """

    kind: str
    cylinders: tuple[CylinderDuty, ...]
    cycles: int
    law: str
    basis: Source
    bmep: Estimate | None = None
    power: Estimate | None = None
    speed: float | None = None
    notes: tuple[str, ...] = ()

    def cylinder(self, number: int) -> CylinderDuty:
        """Return the duty of cylinder `number`.

        Raises
        ------
        DutyError
            If the duty has no such cylinder.
        """
        for entry in self.cylinders:
            if entry.cylinder == number:
                return entry
        raise DutyError(f"the duty has no cylinder {number}", remedy="number cylinders from 1")

    @property
    def hardest(self) -> CylinderDuty:
        """The cylinder with the highest design pressure."""
        return max(self.cylinders, key=lambda entry: entry.design_pressure.value)
