"""Choose a torque: the table over friction, the stages and the sequence, and what they leave."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from firedeck.definition.fastening import Fastening
from firedeck.definition.tightening import TighteningError
from firedeck.loading.fastened import FastenedJoint, GroupInPlace
from firedeck.loading.preload import (
    angle_for_preload,
    preload_for_torque,
    stretch_for_preload,
    torque_table,
)
from firedeck.loading.yielding import YieldCheck, check_yield, preload_at_yield
from firedeck.study.fastening.assessment import (
    FasteningFiles,
    FasteningReading,
    assess_files,
    in_file,
    load_fastening,
)
from firedeck.study.fastening.retarget import aim_at
from firedeck.study.fastening.ways import Way, WayResult, ways_of

__all__ = ["GroupTorques", "PreloadRow", "TorquePlan", "plan_torque"]

#: Shares of the yield preload that the table shows where no preloads are asked for [1].
_SHARES = (0.5, 0.6, 0.7, 0.8, 0.9)


@dataclass(frozen=True)
class PreloadRow:
    """One preload wanted and the torque for it.

    Attributes
    ----------
    preload : float
        Preload wanted [N].
    torques : tuple of float
        Torque at the lowest, typical and highest friction [N*mm].
    least, most : float
        Preload that the typical torque gives at the highest and at the lowest friction [N].
    checks : tuple of YieldCheck
        Yield check of the typical torque at the lowest, typical and highest friction.
    stretch : float
        How much longer the fastener is, end to end [mm].
    angle : float or None
        Angle from the snug torque on [deg]; None where the preload lies below it.
    """

    preload: float
    torques: tuple[float, float, float]
    least: float
    most: float
    checks: tuple[YieldCheck, YieldCheck, YieldCheck]
    stretch: float
    angle: float | None

    @property
    def yields(self) -> str:
        """Whether the typical torque yields the fastener: ``yes``, ``at low friction`` or nothing."""
        if self.checks[1].utilisation > 1.0:
            return "yes"
        return "at low friction" if self.checks[0].utilisation > 1.0 else ""


@dataclass(frozen=True)
class GroupTorques:
    """Torques for a group of fasteners.

    Attributes
    ----------
    place : GroupInPlace
        The group.
    rows : tuple of PreloadRow
        One for each preload, rising.
    snug : float
        Torque from which angles are counted [N*mm]; 0 from touching.
    """

    place: GroupInPlace
    rows: tuple[PreloadRow, ...]
    snug: float


@dataclass(frozen=True)
class TorquePlan:
    """A torque chosen, with how to get there.

    Attributes
    ----------
    reading : FasteningReading
        The fastening with the tightening that is planned.
    tables : tuple of GroupTorques
        Torques over friction.
    ways : tuple of WayResult
        All ways of carrying it out.
    chosen : WayResult
        The way that the card is for.
    aimed : float or None
        Preload that was asked for [N]; None for the fastening's own tightening.
    """

    reading: FasteningReading
    tables: tuple[GroupTorques, ...]
    ways: tuple[WayResult, ...]
    chosen: WayResult
    aimed: float | None


def plan_torque(file: Path, preloads: Sequence[float] = (), *, way: Way = "given") -> TorquePlan:
    """Work out torques for preloads, and a plan for one of them.

    Parameters
    ----------
    file : Path
        Fastening file.
    preloads : sequence of float
        Preloads wanted [N]; the plan is made for the first, with the stages before the last in
        proportion. None: the table covers half to nine tenths of yield, and the plan is the
        fastening's own tightening.
    way : {"given", "even", "passes"}
        Stages as given; a last round with a torque of its own for every fastener, which ends
        even; or the last round repeated until even.

    Raises
    ------
    FiredeckError
        For faulty definitions, a preload past yield, naming the torque that would yield, or a way
        that is not open.
    """
    files = load_fastening(file)
    with in_file(file):
        aimed = preloads[0] if preloads else None
        own = assess_files(files)
        reading = own if aimed is None else assess_files(_aimed(files, own.clamp.joint, aimed))
        ways = tuple(ways_of(reading.clamp))
        chosen = next(one for one in ways if one.way == way)
        if not chosen.open:
            raise TighteningError(chosen.remark, remedy="choose another way with --way")
        tables = tuple(_torques(reading, place, preloads) for place in reading.clamp.joint.groups)
    return TorquePlan(reading, tables, ways, chosen, aimed)


def _aimed(files: FasteningFiles, joint: FastenedJoint, preload: float) -> FasteningFiles:
    groups = tuple(
        place.group.model_copy(update={"tightening": aim_at(place, preload)}) for place in joint.groups
    )
    fastening: Fastening = files.fastening.model_copy(update={"groups": groups})
    return FasteningFiles(files.file, fastening, files.plan, files.gasket, files.provenance)


def _torques(reading: FasteningReading, place: GroupInPlace, preloads: Sequence[float]) -> GroupTorques:
    fastener, lubricant = place.fastener, place.tightening.lubricant
    own = reading.clamp.group_of(place.holes[0]).spread.typical
    wanted = sorted({*(preloads or _usual(place)), *([] if preloads else [own])})
    first = place.tightening.stages[0]
    snug = first.amount if first.kind == "torque" else 0.0
    start = float(preload_for_torque(fastener, snug, lubricant.thread.middle, lubricant.bearing.middle))
    return GroupTorques(place, tuple(_row(place, force, start) for force in wanted), snug)


def _usual(place: GroupInPlace) -> list[float]:
    """Return round preloads over the range that is worth a look [N]."""
    limit = preload_at_yield(place.fastener, place.tightening.lubricant.thread.middle)
    return [1000.0 * round(share * limit / 1000.0) for share in _SHARES]


def _row(place: GroupInPlace, preload: float, start: float) -> PreloadRow:
    fastener, lubricant = place.fastener, place.tightening.lubricant
    low, typical, high = torque_table(fastener, lubricant, preload)
    reached = [row.preload_at_typical_torque for row in (low, typical, high)]
    thread, bearing = lubricant.thread, lubricant.bearing
    mus = ((thread.low, bearing.low), (thread.middle, bearing.middle), (thread.high, bearing.high))
    first, second, third = (
        check_yield(fastener, force, mu, under) for force, (mu, under) in zip(reached, mus, strict=True)
    )
    angle = angle_for_preload(fastener, preload, place.joint_compliance, start) if preload > start else None
    return PreloadRow(
        preload,
        (low.torque, typical.torque, high.torque),
        reached[2],
        reached[0],
        (first, second, third),
        stretch_for_preload(fastener, preload),
        angle,
    )
