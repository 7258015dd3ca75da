"""What one setting gives, as plain numbers for a page or a table."""

from __future__ import annotations

import base64
import dataclasses
import math
from collections.abc import Mapping

import numpy as np

from firedeck.contact import (
    JointState,
    SealPressure,
    bows,
    clamp_over_gas,
    compare_levels,
    profile,
)
from firedeck.contact.joint import Level
from firedeck.definition.deck import Seal
from firedeck.evidence import Estimate
from firedeck.pressure_map import FloatArray
from firedeck.study.clamp.doubted import ClampDoubts
from firedeck.study.clamp.opened import HIGHEST_SEARCHED, OpenJoint
from firedeck.study.clamp.setting import ClampSetting
from firedeck.study.columns import Columns, columns_of, plain
from firedeck.study.prediction.doubt import SealDoubt
from firedeck.study.prediction.margins import seal_rules
from firedeck.study.prediction.tables import certificate_record
from firedeck.verdict import SealMargin, State, judge_seal
from firedeck.verdict.state import worst

__all__ = [
    "TABLES",
    "ClampAnswer",
    "answer_columns",
    "answer_of",
    "answer_record",
    "giveway_rows",
    "level_rows",
    "packed",
    "step_rows",
    "widths",
]

#: Tables of an answer.
TABLES = ("seals", "fasteners", "bow", "giveway", "tightening", "line-loads")


@dataclasses.dataclass(frozen=True)
class ClampAnswer:
    """A setting answered.

    Attributes
    ----------
    setting : ClampSetting
        The setting.
    level : str
        ``fast`` or ``check`` [text].
    quick : bool
        Whether the final tensions were set at once, in place of the tightening move by move.
    step : int or None
        Step of the tightening that is shown, from 1; None for the finished joint.
    rest, state : JointState
        The joint without gas, and as shown.
    seals : tuple of SealPressure
        What every seal carries, in the plan's order.
    rested : tuple of SealPressure
        The same without gas.
    """

    setting: ClampSetting
    level: Level
    quick: bool
    step: int | None
    rest: JointState
    state: JointState
    seals: tuple[SealPressure, ...]
    rested: tuple[SealPressure, ...]


def answer_of(
    opened: OpenJoint,
    setting: ClampSetting,
    *,
    level: Level = "fast",
    quick: bool = False,
    step: int | None = None,
) -> ClampAnswer:
    """Answer a setting.

    Parameters
    ----------
    opened : OpenJoint
        The joint.
    setting : ClampSetting
        The setting.
    level : {"fast", "check"}
        Patches or every point.
    quick : bool
        Whether the final tensions may be set at once, in place of the tightening move by move.
    step : int, optional
        Step of the tightening to show instead of the finished joint, from 1; the last where there are
        fewer.
    """
    quick = quick and step is None and opened.hurries(setting, level)
    if step is not None:
        steps = opened.steps(setting, level)
        step = max(1, min(step, len(steps)))
        rest = state = steps[step - 1]
    else:
        rest, state = opened.under_gas(setting, level, quick=quick)
    names = [one.seal.name for one in opened.joint.model.seals]
    seals = tuple(profile(state, name) for name in names)
    rested = seals if state is rest else tuple(profile(rest, name) for name in names)
    return ClampAnswer(setting, level, quick, step, rest, state, seals, rested)


def answer_record(
    opened: OpenJoint, answer: ClampAnswer, doubts: Mapping[str, SealDoubt] | None = None
) -> dict[str, object]:
    """Return an answer as plain data; arrays stand as little-endian 32-bit floats in base64.

    Parameters
    ----------
    opened : OpenJoint
        The joint.
    answer : ClampAnswer
        The answer.
    doubts : mapping of str to SealDoubt, optional
        How far each seal's answer may be off; without it no verdict is told.
    """
    seals = seal_rows(opened, answer, doubts)
    verdicts = [State(str(row["verdict"])) for row in seals if row["verdict"]]
    record = {
        "level": answer.level,
        "quick": answer.quick,
        "step": answer.step,
        "pressure_MPa": 0.0 if answer.step else answer.setting.pressure,
        "doubted": doubts is not None,
        "verdict": str(worst(verdicts)) if verdicts else "",
        "seals": seals,
        "load": packed([one.line_load for one in answer.seals]),
        "contact": packed(
            [one.line_load / width for one, width in zip(answer.seals, widths(opened), strict=True)]
        ),
        "fasteners": fastener_rows(answer),
        "bows": bow_rows(answer),
        "ratios": clamp_over_gas(answer.rest, _pressures(opened, answer)),
        "certificate": certificate_record(answer.state),
    }
    return {name: plain(value) for name, value in record.items()}


def level_rows(fast: ClampAnswer, check: ClampAnswer) -> dict[str, object]:
    """Return how far the fast level is off in mean and lowest line load, the worst seal of each.

    Parameters
    ----------
    fast, check : ClampAnswer
        The same setting on both levels.
    """
    found = compare_levels(fast.state, check.state)
    mean = max(found, key=lambda one: abs(one.mean))
    lowest = max(found, key=lambda one: abs(one.lowest))
    pairs = {now.seal: (now, then) for now, then in zip(fast.seals, check.seals, strict=True)}
    mean_pair, lowest_pair = pairs[mean.seal], pairs[lowest.seal]
    told: dict[str, object] = {
        "mean": mean.mean,
        "mean_N_per_mm": mean_pair[0].mean - mean_pair[1].mean,
        "mean_seal": mean.seal,
        "lowest": lowest.lowest,
        "lowest_N_per_mm": lowest_pair[0].lowest - lowest_pair[1].lowest,
        "lowest_seal": lowest.seal,
    }
    return {name: plain(value) for name, value in told.items()}


def widths(opened: OpenJoint) -> list[float]:
    """Return the width on which each seal presses: its law's, or half its band [mm]."""
    return [one.law.width or 0.5 * one.seal.band for one in opened.joint.model.seals]


def packed(parts: list[FloatArray]) -> str:
    """Return arrays one after another as 32-bit floats in base64."""
    return base64.b64encode(np.concatenate(parts).astype("<f4").tobytes()).decode()


def _pressures(opened: OpenJoint, answer: ClampAnswer) -> dict[str, float]:
    return dict.fromkeys((bore.name for bore in opened.joint.bores), answer.setting.pressure)


def seal_rows(
    opened: OpenJoint, answer: ClampAnswer, doubts: Mapping[str, SealDoubt] | None = None
) -> list[dict[str, object]]:
    """Return one row a seal; ends of intervals and verdict stand there only where `doubts` are given."""
    fired = answer.state is not answer.rest
    rows: list[dict[str, object]] = []
    for seal, now, rest in zip(opened.files.plan.seals, answer.seals, answer.rested, strict=True):
        doubt = doubts[seal.name] if doubts else None
        margin = _margin(opened, answer, seal, now, rest if fired else None, doubt)
        governing = margin.governing if margin else None
        lost = rest.closure - now.closure
        rows.append(
            {
                "seal": seal.name,
                "kind": str(seal.kind),
                "mean_N_per_mm": now.mean,
                **_ends("mean", now.mean, doubt.mean if doubt else None),
                "lowest_N_per_mm": now.lowest,
                **_ends("lowest", now.lowest, doubt.lowest if doubt else None),
                "angle_deg": now.weakest_angle,
                "x_mm": float(now.place[int(np.argmin(now.line_load)), 0]),
                "y_mm": float(now.place[int(np.argmin(now.line_load)), 1]),
                "lowest_closure_um": 1e3 * float(now.closure.min()),
                "opened_um": 1e3 * max(float(lost.max()), 0.0),
                "ratio": governing.ratio if governing else math.nan,
                "ratio_low": max(governing.low, 0.0) if governing and doubt else math.nan,
                "rule": governing.rule if governing else "",
                "verdict": str(margin.state) if margin and doubt else "",
                "beyond_table_share": now.beyond,
            }
        )
    return rows


def _margin(
    opened: OpenJoint,
    answer: ClampAnswer,
    seal: Seal,
    now: SealPressure,
    rest: SealPressure | None,
    doubt: SealDoubt | None,
) -> SealMargin | None:
    """Return what is left of a seal; None where no limit is stated for it."""
    own = rest is not None and seal.enclosed == (answer.setting.bore,)
    gas = answer.setting.pressure if own else 0.0
    below = doubt.lowest[0] if doubt else 0.0
    rules = list(seal_rules(seal, "", now, gas, opened.files.prediction.limits, rest=rest, below=below))
    return judge_seal(seal.name, str(seal.kind), rules, now.beyond) if rules else None


def _ends(name: str, value: float, reach: tuple[float, float] | None) -> dict[str, float]:
    """Return the ends of the 95 % interval about a load [N/mm]."""
    below, above = reach or (math.nan, math.nan)
    low = max(value - below, 0.0) if reach else math.nan
    return {f"{name}_low_N_per_mm": low, f"{name}_high_N_per_mm": value + above}


def fastener_rows(answer: ClampAnswer) -> list[dict[str, object]]:
    """Return one row a fastener."""
    tension, rest = answer.state.tension, answer.rest.tension
    return [
        {
            "fastener": seat.name,
            "tension_kN": float(tension[k]) / 1e3,
            "without_gas_kN": float(rest[k]) / 1e3,
            "swing_kN": float(tension[k] - rest[k]) / 1e3,
        }
        for k, seat in enumerate(answer.state.joint.seats)
    ]


def bow_rows(answer: ClampAnswer) -> list[dict[str, object]]:
    """Return one row a pair of neighbouring fasteners, the largest gap first."""
    return [
        {
            "fastener_a": one.fasteners[0],
            "fastener_b": one.fasteners[1],
            "head_um": 1e3 * one.head,
            "opening_um": 1e3 * one.opening,
        }
        for one in bows(answer.state)
    ]


def giveway_rows(
    opened: OpenJoint, setting: ClampSetting, ends: Mapping[str, Estimate] | None = None
) -> list[dict[str, object]]:
    """Return one row a seal in the order in which they give; what holds to the end has no pressure.

    Parameters
    ----------
    opened : OpenJoint
        The joint.
    setting : ClampSetting
        The setting.
    ends : mapping of str to Estimate, optional
        The pressures with their intervals, by seal [MPa].
    """
    rows: list[dict[str, object]] = []
    for one in opened.give_way(setting):
        gives = math.isfinite(one.pressure)
        known = ends[one.seal] if ends else Estimate(one.pressure, math.nan, math.nan)
        rows.append(
            {
                "seal": one.seal,
                "gives_at_MPa": one.pressure,
                "gives_low_MPa": known.low,
                "gives_high_MPa": known.high,
                "bore": one.bore if gives else "",
                "angle_deg": one.angle,
                "reason": one.reason if gives else f"holds to {HIGHEST_SEARCHED:g} MPa",
            }
        )
    return rows


def step_rows(opened: OpenJoint, setting: ClampSetting) -> list[dict[str, object]]:
    """Return one row a move of the wrench: round, fastener, what it was brought to, what all hold then."""
    names = [seat.name for seat in opened.joint.seats]
    rows: list[dict[str, object]] = []
    turned: dict[str, int] = {}
    states = opened.steps(setting)
    for number, (move, state) in enumerate(zip(opened.moves(setting), states, strict=True), start=1):
        turned[move.fastener] = turned.get(move.fastener, 0) + 1
        row: dict[str, object] = {
            "step": number,
            "round": turned[move.fastener],
            "fastener": move.fastener,
            "brought_to_kN": float(state.tension[names.index(move.fastener)]) / 1e3,
        }
        row |= {f"{name}_kN": float(force) / 1e3 for name, force in zip(names, state.tension, strict=True)}
        rows.append(row)
    return rows


def answer_columns(
    opened: OpenJoint, answer: ClampAnswer, name: str, doubts: ClampDoubts | None = None
) -> Columns:
    """Return one table of an answer as columns.

    Parameters
    ----------
    opened : OpenJoint
        The joint.
    answer : ClampAnswer
        The answer.
    name : str
        One of `TABLES` [text].
    doubts : ClampDoubts, optional
        Whence intervals are taken; left empty without, and for a step of the tightening.

    Raises
    ------
    KeyError
        If there is no such table.
    """
    known = doubts if answer.step is None else None
    if name == "line-loads":
        return _line_columns(answer)
    rows = {
        "seals": lambda: seal_rows(opened, answer, known.seals(answer.setting) if known else None),
        "fasteners": lambda: fastener_rows(answer),
        "bow": lambda: bow_rows(answer),
        "giveway": lambda: giveway_rows(
            opened, answer.setting, known.order(answer.setting) if known else None
        ),
        "tightening": lambda: step_rows(opened, answer.setting),
    }[name]()
    return columns_of(rows)


def _line_columns(answer: ClampAnswer) -> Columns:
    columns: Columns = {}
    for one in answer.seals:
        parts: Mapping[str, list[object]] = {
            "seal": [one.seal] * len(one.arc),
            "at_mm": one.arc.tolist(),
            "angle_deg": one.angle.tolist(),
            "x_mm": one.place[:, 0].tolist(),
            "y_mm": one.place[:, 1].tolist(),
            "line_load_N_per_mm": one.line_load.tolist(),
            "closure_mm": one.closure.tolist(),
        }
        for key, values in parts.items():
            columns.setdefault(key, []).extend(values)
    return columns
