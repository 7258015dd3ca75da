"""Tables of a fastening's report: verdict, preloads, strength, losses, heat, clamp over gas load."""

from __future__ import annotations

from collections.abc import Sequence

from firedeck.evidence import Estimate
from firedeck.loading.preload import torque_shares
from firedeck.loading.reckoning import ClampReckoning, GroupReckoning
from firedeck.loading.strength import recommended_engagement
from firedeck.report.document import Cell, Facts, Table
from firedeck.report.words import NOT_SHOWN, number, share
from firedeck.units import show_torque
from firedeck.verdict import ClampVerdict

__all__ = [
    "bed_facts",
    "clamp_reason_table",
    "cylinder_table",
    "fastener_table",
    "group_facts",
    "group_words",
    "heat_table",
    "kilonewtons",
    "part_table",
    "round_table",
    "scatter_table",
    "seat_table",
    "settling_table",
    "stage_words",
    "thread_table",
    "yield_table",
]


def kilonewtons(force: Estimate) -> str:
    """Return a force with its interval [kN], one decimal."""
    return f"{force.value / 1e3:.1f} ({force.low / 1e3:.1f} to {force.high / 1e3:.1f})"


def _kilo(force: float) -> str:
    return f"{force / 1e3:.1f}"


def part_table(verdict: ClampVerdict) -> Table:
    """Return the verdict on every part with the finding that decided."""
    rows = tuple(
        (part.part, Cell(str(part.state), str(part.state)), part.governing.rule, part.governing.text)
        for part in verdict.parts
    )
    return Table(
        ("part", "verdict", "decided by", "finding"), rows, "The whole is as good as its worst part."
    )


def clamp_reason_table(verdict: ClampVerdict) -> Table:
    """Return every rule applied to every part, with where the rule is from."""
    rows = tuple(
        (part.part, reason.rule, Cell(str(reason.state), str(reason.state)), reason.text, reason.source)
        for part in verdict.parts
        for reason in part.reasons
    )
    head = ("part", "rule", "leads to", "finding", "where the rule or its limit is from")
    return Table(head, rows, "Every rule applied to every part.", folded=True)


def group_facts(group: GroupReckoning) -> Facts:
    """Return what a group of fasteners is and how it is tightened."""
    place, fastener, tightening = group.place, group.place.fastener, group.place.tightening
    lubricant = tightening.lubricant
    shares = torque_shares(fastener, lubricant.thread.middle, lubricant.bearing.middle)
    ends = f"{fastener.turned_thread}, in the block {fastener.hole.thread}"
    rows = [
        ("fasteners", f"{len(place.holes)} × {fastener.name}, {fastener.material.name}"),
        ("threads", f"{ends}, {fastener.hole.engagement:.4g} mm in {fastener.hole.material.name}"),
        ("grip", f"{fastener.grip:.4g} mm; smallest section {number(fastener.smallest_area)} mm²"),
        ("tightened by", f"{tightening.method}: " + ", ".join(stage_words(group))),
        ("lubricant", lubricant.name),
        (
            "where the torque goes",
            f"{share(shares.pitch)} into stretch, {share(shares.thread)} into thread friction, "
            f"{share(shares.bearing)} under the turned face",
        ),
        ("give of fastener and joint", f"{number(place.compliance * 1e6)} µm/kN"),
    ]
    if tightening.method == "hydraulic":
        rows = [row for row in rows if row[0] != "where the torque goes"]
    return Facts(tuple(rows))


def stage_words(group: GroupReckoning) -> list[str]:
    """Return a group's stages in words, torques in both units."""
    words = []
    for stage in group.place.tightening.stages:
        amount = {
            "torque": show_torque(stage.amount),
            "angle": f"{stage.amount:.0f}° further",
            "stretch": f"{stage.amount:.3f} mm longer",
            "tension": f"pulled to {_kilo(stage.amount)} kN",
            "loosen": f"loosened by {stage.amount:.0f}°",
        }
        words.append(amount[stage.kind])
    again = group.place.tightening.retorque
    if again:
        words.append("the last once more" if again == 1 else f"the last {again} times more")
    return words


def group_words(group: GroupReckoning) -> tuple[str, ...]:
    """Return the preload of a group by itself in lines: what it is, what scatters it, what it loses."""
    spread, settled = group.spread, group.settled
    parts = ", ".join(f"{part.name} {_plus_minus(part.standard)}" for part in spread.contributions)
    lines = [
        f"{group.place.group.name}: {kilonewtons(spread.one)} kN as tightened "
        f"by {', '.join(stage_words(group))}",
        f"  scatter {_plus_minus(spread.standard)}: {parts}",
        f"  10 % more friction: {_change(spread.friction_effect)} preload",
        f"  lost by embedding {_kilo(settled.embedding_loss)} kN, by relaxation "
        f"{_kilo(settled.relaxation_loss)} kN: settled {kilonewtons(settled.preload)} kN",
    ]
    if group.heat is not None:
        lines.append(f"  in operation {kilonewtons(group.heat.preload)} kN")
    return tuple(lines)


def yield_table(groups: Sequence[GroupReckoning]) -> Table:
    """Return preload and utilisation of yield over the range of friction."""
    rows = tuple(
        (
            group.place.group.name,
            case,
            _kilo(check.preload),
            share(check.utilisation),
            share(check.utilisation_settled),
            _kilo(check.yield_preload),
            show_torque(check.yield_torque),
        )
        for group in groups
        for case, check in group.yields.items()
    )
    head = (
        "fasteners",
        "friction",
        "preload [kN]",
        "of yield while tightened",
        "of yield once the wrench is off",
        "yields at [kN]",
        "torque that yields",
    )
    return Table(head, rows, "One fastener by itself, over the range of friction.")


def scatter_table(groups: Sequence[GroupReckoning]) -> Table:
    """Return what the preload's scatter is made of, and what 10 % more friction does."""
    rows: list[tuple[str, ...]] = []
    for group in groups:
        name, spread = group.place.group.name, group.spread
        rows += [
            (name, part.name, _plus_minus(part.standard), share(part.common), str(part.source))
            for part in spread.contributions
        ]
        whole = share(spread.common**2 / spread.standard**2) if spread.standard > 0 else NOT_SHOWN
        rows.append((name, "all together", _plus_minus(spread.standard), whole, "they add in quadrature"))
        rows.append((name, "10 % more friction", _change(spread.friction_effect), "", "thread and face"))
    head = ("fasteners", "from", "effect on the preload (95 %)", "of it common to an assembly", "backing")
    return Table(head, tuple(rows), "What makes one fastener's preload differ from the typical one.")


def _change(factor: float) -> str:
    return f"{100.0 * (factor - 1.0):+.1f} %".replace("-", "−")


def _plus_minus(standard: float) -> str:
    return f"± {196 * standard:.1f} %"


def settling_table(groups: Sequence[GroupReckoning]) -> Table:
    """Return what embedding and relaxation take off."""
    rows = tuple(
        (
            group.place.group.name,
            kilonewtons(group.spread.one),
            _kilo(group.settled.embedding_loss),
            _kilo(group.settled.relaxation_loss),
            kilonewtons(group.settled.preload),
        )
        for group in groups
    )
    head = (
        "fasteners",
        "as tightened [kN]",
        "lost by embedding [kN]",
        "lost by relaxation [kN]",
        "settled [kN]",
    )
    return Table(head, rows, "One fastener by itself. Brackets: 95 of 100 fasteners.")


def heat_table(groups: Sequence[GroupReckoning]) -> Table:
    """Return what the temperatures in operation do."""
    rows = tuple(
        (
            group.place.group.name,
            number(group.place.group.fastener_temperature or 0.0),
            ", ".join(f"{part.name} {part.temperature or 0.0:.0f}" for part in group.place.group.stack),
            f"{group.heat.typical.misfit * 1e3:+.0f}".replace("-", "−"),
            f"{(group.heat.typical.preload - group.settled.preload.value) / 1e3:+.1f}".replace("-", "−"),
            kilonewtons(group.heat.preload),
            share(group.heat.utilisation),
        )
        for group in groups
        if group.heat is not None
    )
    head = (
        "fasteners",
        "fastener at [°C]",
        "clamped parts at [°C]",
        "parts outgrow the fastener by [µm]",
        "change of preload [kN]",
        "preload in operation [kN]",
        "of yield at the upper end",
    )
    return Table(head, rows, "From the settled preload at 20 °C.")


def seat_table(groups: Sequence[GroupReckoning]) -> Table:
    """Return the pressure of every seat against what the material beneath stands."""
    rows = tuple(
        (
            group.place.group.name,
            check.face,
            number(check.pressure * group.spread.typical / group.greatest),
            number(check.pressure),
            "none stated" if check.limit is None else number(check.limit),
            NOT_SHOWN if check.utilisation is None else share(check.utilisation),
        )
        for group in groups
        for check in group.bearing
    )
    head = (
        "fasteners",
        "face",
        "typical [MPa]",
        "at the highest preload [MPa]",
        "limit [MPa]",
        "used at the highest",
    )
    return Table(head, rows, "Mean pressure under the turned part; a bent or chamfered seat sees more.")


def thread_table(groups: Sequence[GroupReckoning]) -> Table:
    """Return the stripping loads of the threads in the block."""
    rows = tuple(
        (
            group.place.group.name,
            check.thread,
            number(check.area),
            number(check.shear_strength),
            _kilo(check.load),
            f"{check.load / group.greatest:.2f}",
            _kilo(group.break_load) if group.break_load is not None else "not stated",
            _engagement(group),
        )
        for group in groups
        for check in group.strips
    )
    head = (
        "fasteners",
        "thread",
        "shear area at worst limits [mm²]",
        "shear strength [MPa]",
        "strips at [kN]",
        "over the highest preload [1]",
        "fastener breaks at [kN]",
        "engagement, recommended from trials",
    )
    return Table(head, rows, "Threads in the block, at the worst limits of size.")


def _engagement(group: GroupReckoning) -> str:
    fastener = group.place.fastener
    found = recommended_engagement(fastener)
    own = f"{fastener.hole.engagement:.4g} mm"
    return own if found is None else f"{own}, {number(found[0])} to {number(found[1])} mm"


def fastener_table(clamp: ClampReckoning) -> Table:
    """Return every fastener after the whole tightening."""
    turn = {name: place for place, name in enumerate(clamp.joint.sequence, start=1)}
    rows = tuple(
        (
            state.name,
            state.group,
            str(turn[state.name]),
            kilonewtons(state.tightened),
            _kilo(state.peak),
            kilonewtons(state.settled),
            kilonewtons(state.hot) if state.hot is not None else NOT_SHOWN,
        )
        for state in clamp.fasteners
    )
    head = (
        "fastener",
        "of",
        "place in the sequence",
        "after the last move [kN]",
        "highest passed through [kN]",
        "settled [kN]",
        "in operation [kN]",
    )
    return Table(head, rows, "Every fastener after the whole tightening. Brackets: 95 % interval.")


def round_table(clamp: ClampReckoning) -> Table:
    """Return what every fastener holds after each round over the sequence, typical friction."""
    names = clamp.joint.names
    ends = _round_ends(clamp)
    rows = tuple(
        (str(place), *(_kilo(force) for force in clamp.history.preload[end]))
        for place, end in enumerate(ends, start=1)
    )
    caption = (
        "Preload [kN] after each round, typical friction: what neighbours take off those tightened before."
    )
    return Table(("round", *names), rows, caption, folded=True)


def _round_ends(clamp: ClampReckoning) -> list[int]:
    """Return the indices of the last move of each round."""
    first = {name: place for place, name in enumerate(clamp.joint.sequence)}
    turns = [first[move.fastener] for move in clamp.history.moves]
    last = len(turns) - 1
    return [place for place, turn in enumerate(turns) if place == last or turns[place + 1] <= turn]


def cylinder_table(clamp: ClampReckoning, verdict: ClampVerdict) -> Table:
    """Return clamp over gas load of every cylinder, the worst first."""
    states = {part.part: str(part.state) for part in verdict.parts}
    rows = tuple(
        (
            one.cold.cylinder,
            Cell(states[one.cold.cylinder], states[one.cold.cylinder]),
            _two_decimals(one.cold.ratio),
            f"{one.hot:.2f}" if one.hot is not None else NOT_SHOWN,
            f"{one.cold.ratio_more_friction:.2f}, {one.cold.ratio_less_friction:.2f}",
            share(one.cold.lifts),
            f"{one.cold.fasteners:.1f}",
            _kilo(one.cold.clamp),
            f"{one.pressure * 10:.0f}",
            f"{one.seal_diameter:.1f}",
            _kilo(one.cold.gas),
        )
        for one in clamp.cylinders
    )
    head = (
        "cylinder",
        "verdict",
        "clamp over gas load [1]",
        "in operation [1]",
        "10 % more, less friction [1]",
        "chance that it is below 1",
        "fasteners' worth it owns",
        "settled clamp [kN]",
        "peak pressure [bar]",
        "on diameter [mm]",
        "gas load [kN]",
    )
    return Table(head, rows, "The worst first. Settled and cold; brackets: 95 % interval.")


def _two_decimals(one: Estimate) -> str:
    return f"{one.value:.2f} ({one.low:.2f} to {one.high:.2f})"


def bed_facts(clamp: ClampReckoning) -> Facts:
    """Return what the gasket's stiffness matters for the evenness."""
    final = clamp.final
    rows = []
    beds = (("as taken", final), ("half as stiff", clamp.softer), ("twice as stiff", clamp.stiffer))
    for name, preload in beds:
        least, most = float(preload.min()), float(preload.max())
        rows.append((f"gasket {name}", f"{_kilo(least)} to {_kilo(most)} kN over the fasteners"))
    total = clamp.total
    words = f"{total.low / 1e3:.0f} to {total.high / 1e3:.0f} kN in 95 of 100 assemblies"
    rows.append(("settled clamp of all", f"{total.value / 1e3:.0f} kN, {words}"))
    return Facts(tuple(rows))
