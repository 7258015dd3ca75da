"""A setting of a predicted joint: what may be changed, read from text and written as text."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar, get_args

from pydantic import ValidationError

from firedeck.definition.fastening import Fastening
from firedeck.definition.prediction import HotState
from firedeck.definition.tightening import Friction, Stage, Tightening
from firedeck.errors import DefinitionError, Fault, FiredeckError
from firedeck.evidence import Basis, Source
from firedeck.study.prediction.files import PredictionFiles
from firedeck.study.prediction.predicting import Gas
from firedeck.units import UnitError, parse_quantity, to_unit

__all__ = [
    "ENTRIES",
    "HIGHEST_MPA",
    "UNITS",
    "ClampSetting",
    "RestKind",
    "read_setting",
    "setting_text",
    "with_setting",
]

_T = TypeVar("_T")

RestKind = Literal["tightened", "settled", "hot"]

#: Highest gas pressure that may be asked for [MPa].
HIGHEST_MPA = 60.0

#: Names of everything that a setting may say.
ENTRIES = ("gasket", "stages", "thread", "bearing", "state", "head", "block", "fasteners", "pressure", "bore")

#: Ends of friction, and the most stages.
_FRICTION, _MOST_STAGES = (0.03, 0.6), 8

_KINDS: tuple[Literal["torque", "angle", "stretch", "tension"], ...] = (
    "torque",
    "angle",
    "stretch",
    "tension",
)
_QUANTITIES = {"torque": "torque", "angle": "angle", "stretch": "length", "tension": "force"}
_UNITS = {"torque": "N*m", "angle": "deg", "stretch": "mm", "tension": "kN"}
_FACTORS = {"torque": 1e-3, "angle": 1.0, "stretch": 1.0, "tension": 1e-3}

#: Units in which a setting is written, by kind of quantity: those of an engineer's metre and of the inch.
UNITS: Mapping[str, Mapping[str, str]] = {
    "metric": {"torque": "N*m", "length": "mm", "force": "kN", "temperature": "degC", "pressure": "bar"},
    "imperial": {
        "torque": "lbf*ft", "length": "in", "force": "lbf", "temperature": "degF", "pressure": "psi"
    },
}  # fmt: skip

_AT_HAND = Source(Basis.MEMORY, "entered at hand")


@dataclass(frozen=True)
class ClampSetting:
    """One setting of a joint.

    Attributes
    ----------
    gasket : str
        Gasket file; empty for the prediction's own [text].
    stages : tuple of Stage
        Stages of the joint's tightening; empty: as the fastening states them.
    thread, bearing : float or None
        Typical friction of thread and bearing face [1]; None: as the fastening states them.
    state : {"tightened", "settled", "hot"}
        The joint before gas comes [text].
    heat : HotState or None
        Temperatures; None: as the prediction states them.
    pressure : float
        Gas pressure of one cylinder; 0 for none [MPa].
    bore : str
        That cylinder [text].
    """

    gasket: str = ""
    stages: tuple[Stage, ...] = ()
    thread: float | None = None
    bearing: float | None = None
    state: RestKind = "settled"
    heat: HotState | None = None
    pressure: float = 0.0
    bore: str = ""


def read_setting(files: PredictionFiles, gas: Gas, text: Mapping[str, str]) -> ClampSetting:
    """Read a setting; what is not said is as the prediction's files have it.

    Parameters
    ----------
    files : PredictionFiles
        The prediction, on the gasket that the setting asks for.
    gas : Gas
        Pressures that fire by the files.
    text : mapping of str to str
        Entries by the names in `ENTRIES`, quantities with their unit.

    Raises
    ------
    DefinitionError
        With every entry that cannot be used, and what to write instead.
    """
    reader = _Reader(text)
    no_stages: tuple[Stage, ...] = ()
    stages = reader.read("stages", _stages, no_stages)
    thread = reader.read("thread", _friction, None)
    bearing = reader.read("bearing", _friction, None)
    settled: RestKind = "settled"
    state = reader.read("state", _state, settled)
    heat = _heat(files, reader)
    pressure = reader.read("pressure", _pressure, max(gas.pressures.values(), default=0.0))
    bores = [bore.name for bore in files.plan.bores]
    hardest = max(gas.pressures, key=lambda bore: gas.pressures[bore], default=bores[0])
    bore = reader.read("bore", lambda name: _one_of(name, bores, "cylinder"), hardest)
    if state == "hot" and heat is None and files.prediction.hot is None and not reader.faults:
        reader.refuse("state", "hot", "the prediction states no temperatures", _heat_remedy())
    if reader.faults:
        raise DefinitionError(reader.faults)
    return ClampSetting(text.get("gasket", ""), stages, thread, bearing, state, heat, pressure, bore)


class _Reader:
    """Entries read one by one, the faults kept."""

    def __init__(self, text: Mapping[str, str]) -> None:
        self.text = text
        self.faults: list[Fault] = []

    def read(self, key: str, turn: Callable[[str], _T], otherwise: _T) -> _T:
        """Return an entry turned into what it stands for, or what stands for an empty one."""
        said = self.text.get(key, "").strip()
        if not said:
            return otherwise
        try:
            return turn(said)
        except FiredeckError as fault:
            self.refuse(key, said, fault.message, fault.remedy)
        except ValidationError as fault:
            message = str(fault.errors()[0]["msg"]).removeprefix("Value error, ")
            first, _, remedy = message.partition("|")
            self.refuse(key, said, first, remedy)
        return otherwise

    def refuse(self, key: str, said: str, message: str, remedy: str) -> None:
        """Keep a fault."""
        self.faults.append(Fault("setting", key, said, message, remedy))


def _several(said: str) -> list[str]:
    return [part.strip() for part in said.split(",") if part.strip()]


def _stages(said: str) -> tuple[Stage, ...]:
    parts = _several(said)
    if not 1 <= len(parts) <= _MOST_STAGES:
        raise FiredeckError(
            f"{len(parts)} stages stand here", remedy=f"give 1 to {_MOST_STAGES}, separated by commas"
        )
    return tuple(_stage(part) for part in parts)


def _stage(said: str) -> Stage:
    if said.startswith("loosen"):
        return Stage.model_validate({"loosen": said.removeprefix("loosen").strip()})
    for kind in _KINDS:
        try:
            value = parse_quantity(said, _QUANTITIES[kind])
        except UnitError:
            continue
        if kind == "angle" and said.replace(".", "").isdigit():
            break
        if value <= 0.0:
            raise FiredeckError(
                f"{said!r} is not above zero", remedy="give a stage above zero, or leave it out"
            )
        return Stage.model_validate({kind: f"{value * _FACTORS[kind]:.12g} {_UNITS[kind]}"})
    raise FiredeckError(
        f"{said!r} is no stage of a tightening",
        remedy='write torques, angles, stretches or forces with their unit, for example "60 N*m, 90 deg" or '
        '"80 lbf*ft"',
    )


def _friction(said: str) -> float:
    value = parse_quantity(said, "fraction")
    low, high = _FRICTION
    if not low <= value <= high:
        raise FiredeckError(
            f"friction of {said} is not possible here", remedy=f"give a coefficient from {low:g} to {high:g}"
        )
    return value


def _state(said: str) -> RestKind:
    found: RestKind
    for found in get_args(RestKind):
        if said == found:
            return found
    raise FiredeckError(f"there is no state {said!r}", remedy="choose " + ", ".join(get_args(RestKind)))


def _one_of(said: str, known: Sequence[str], what: str) -> str:
    if said not in known:
        raise FiredeckError(f"the plan has no {what} {said!r}", remedy="choose " + ", ".join(known))
    return said


def _pressure(said: str) -> float:
    value = parse_quantity(said, "pressure")
    if not 0.0 <= value <= HIGHEST_MPA:
        raise FiredeckError(
            f"a cylinder pressure of {said} is out of range",
            remedy=f"give 0 to {HIGHEST_MPA:g} MPa, that is 0 to {10 * HIGHEST_MPA:g} bar",
        )
    return value


def _heat_remedy() -> str:
    return "enter the temperatures of head, block and fasteners, or add a [hot] table to the prediction"


def _heat(files: PredictionFiles, reader: _Reader) -> HotState | None:
    """Return the temperatures entered, at the heights that the prediction states or at both ends."""
    stated = files.prediction.hot
    named = [key for key in ("head", "block", "fasteners") if reader.text.get(key, "").strip()]
    if not named:
        return None
    if stated is None and len(named) < 3:
        reader.refuse(
            "state", "", f"only the temperature of the {named[0]} is entered",
            "enter head, block and fasteners, or none of them",
        )  # fmt: skip
        return None
    head = _side(reader, "head", stated.head if stated else ())
    block = _side(reader, "block", stated.block if stated else ())
    fasteners = reader.read("fasteners", _temperature, stated.fasteners if stated else 20.0)
    if reader.faults:
        return None
    return HotState.model_construct(head=head, block=block, fasteners=fasteners, source=_AT_HAND)


def _side(
    reader: _Reader, side: str, stated: Sequence[tuple[float, float]]
) -> tuple[tuple[float, float], ...]:
    return reader.read(side, lambda said: _profile(said, stated), tuple(stated))


def _profile(said: str, at: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    values = [_temperature(part) for part in _several(said)]
    heights = [height for height, _ in at] or [0.0, *itertools.repeat(80.0, len(values) - 1)]
    if len(values) != len(heights) or len(set(heights)) != len(heights):
        count = len(at) or 2
        raise FiredeckError(
            f"{len(values)} temperatures stand here",
            remedy=f"give {count}, from the sealing plane away, separated by commas: the file states {count} "
            "places"
            if at
            else "give one, or two: at the sealing plane and 80 mm away",
        )
    return tuple(zip(heights, values, strict=True))


#: Temperatures outside these are slips of a unit [degC].
_WARM = (-60.0, 450.0)


def _temperature(said: str) -> float:
    value = parse_quantity(said, "temperature")
    if not _WARM[0] <= value <= _WARM[1]:
        raise FiredeckError(
            f"a temperature of {said} is out of range", remedy=f"give {_WARM[0]:g} to {_WARM[1]:g} degC"
        )
    return value


def with_setting(fastening: Fastening, setting: ClampSetting) -> Fastening:
    """Return a fastening tightened as a setting says.

    Groups that are tightened otherwise than the rest stay as they are.

    Parameters
    ----------
    fastening : Fastening
        As stated.
    setting : ClampSetting
        The setting.
    """
    tightening = fastening.tightening
    changes: dict[str, object] = {}
    if setting.stages:
        changes["stages"] = setting.stages
        if setting.stages[-1].kind != "torque":
            changes["retorque"] = 0
        if setting.stages[-1].kind != "angle":
            changes["to_yield"] = False
    lubricant = tightening.lubricant
    if setting.thread is not None:
        lubricant = lubricant.model_copy(update={"thread": _moved(lubricant.thread, setting.thread)})
    if setting.bearing is not None:
        lubricant = lubricant.model_copy(update={"bearing": _moved(lubricant.bearing, setting.bearing)})
    changes["lubricant"] = lubricant
    return fastening.model_copy(update={"tightening": tightening.model_copy(update=changes)})


def _moved(friction: Friction, typical: float) -> Friction:
    """Return a friction about another typical value, with the same relative spread."""
    factor = typical / friction.middle
    return Friction(low=friction.low * factor, high=min(friction.high * factor, 0.99), typical=typical)


def setting_text(setting: ClampSetting, files: PredictionFiles, units: str = "metric") -> dict[str, str]:
    """Return a setting with everything that it leaves to the files filled in, as text with units.

    Parameters
    ----------
    setting : ClampSetting
        The setting.
    files : PredictionFiles
        The prediction's files.
    units : str
        A key of `UNITS` [text].
    """
    tightening: Tightening = files.fastening.fastening.tightening
    lubricant = tightening.lubricant
    heat = setting.heat or files.prediction.hot
    own = UNITS[units]
    return {
        "gasket": files.prediction.gasket,
        "stages": ", ".join(_stage_text(stage, own) for stage in setting.stages or tightening.stages),
        "thread": f"{setting.thread or lubricant.thread.middle:.4g}",
        "bearing": f"{setting.bearing or lubricant.bearing.middle:.4g}",
        "state": setting.state,
        "head": _degrees(heat.head, own) if heat else "",
        "block": _degrees(heat.block, own) if heat else "",
        "fasteners": _degree(heat.fasteners, own) if heat else "",
        "pressure": _written(setting.pressure, "pressure", own),
        "bore": setting.bore,
    }


def _degrees(profile: Sequence[tuple[float, float]], own: Mapping[str, str]) -> str:
    return ", ".join(_degree(warm, own) for _, warm in profile)


def _degree(warm: float, own: Mapping[str, str]) -> str:
    fahrenheit = own["temperature"] == "degF"
    return f"{1.8 * warm + 32.0 if fahrenheit else warm:.5g} {own['temperature']}"


def _written(value: float, kind: str, own: Mapping[str, str]) -> str:
    # Four digits, and no exponent however large.
    return f"{float(f'{to_unit(value, kind, _SPELT.get(own[kind], own[kind])):.4g}'):g} {own[kind]}"


#: How the units library spells a unit.
_SPELT = {"lbf*ft": "force_pound * foot", "lbf": "force_pound", "in": "inch"}


def _stage_text(stage: Stage, own: Mapping[str, str]) -> str:
    if stage.kind in ("loosen", "angle"):
        return f"{'loosen ' if stage.kind == 'loosen' else ''}{stage.amount:.5g} deg"
    return _written(stage.amount, _QUANTITIES[stage.kind], own)
