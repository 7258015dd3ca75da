"""How fasteners are tightened: lubricant and its friction, tool, stages, sequence, settling."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Literal, Self, TypeAlias

from pydantic import BeforeValidator, Field, model_validator

from firedeck.definition.quantities import Angle, Definition, Force, Fraction, Length, Torque
from firedeck.errors import FiredeckError
from firedeck.evidence import Basis, Source

__all__ = [
    "EMBEDDING",
    "FRICTION_CLASSES",
    "METHOD_SCATTER",
    "Friction",
    "Lubricant",
    "LubricantText",
    "Settling",
    "Stage",
    "StageKind",
    "Tightening",
    "TighteningError",
    "Tool",
]

StageKind: TypeAlias = Literal["torque", "angle", "stretch", "tension", "loosen"]
_KINDS: tuple[StageKind, ...] = ("torque", "angle", "stretch", "tension", "loosen")

_REPRINT_1986 = Source(
    Basis.PUBLISHED, "VDI 2230:1986 as reprinted by a fastener supplier", "tightening factors"
)
_FRICTION_TABLE = Source(
    Basis.PUBLISHED, "VDI 2230 as reprinted by fastener suppliers", "friction classes, 20 degC"
)

#: Scatter of the assembly preload, plus or minus [1], by method: narrow end, wide end, source.
METHOD_SCATTER: Mapping[str, tuple[float, float, Source]] = {
    "yield-controlled": (0.05, 0.12, _REPRINT_1986),
    "torque and angle": (0.05, 0.12, _REPRINT_1986),
    "hydraulic": (0.09, 0.23, _REPRINT_1986),
    "torque wrench, torque found on the real joint": (0.17, 0.23, _REPRINT_1986),
    "torque wrench, friction estimated": (0.23, 0.28, _REPRINT_1986),
    "power driver": (0.26, 0.43, _REPRINT_1986),
}

#: Friction classes: least and greatest coefficient for thread and bearing face [1].
FRICTION_CLASSES: Mapping[str, tuple[float, float]] = {
    "A": (0.04, 0.10),
    "B": (0.08, 0.16),
    "C": (0.14, 0.24),
    "D": (0.20, 0.35),
}


class TighteningError(FiredeckError):
    """A tightening that cannot be carried out as written."""


def _not_zero(value: float) -> float:
    if value <= 0.0:
        raise ValueError(
            "a coefficient of friction is above zero; without friction nothing would stay tight"
            "|give the measured coefficient, or a friction class of the lubricant"
        )
    return value


Coefficient: TypeAlias = Annotated[Fraction, Field(lt=1.0)]


class Friction(Definition):
    """A coefficient of friction with the range that holds 95 of 100 fasteners.

    Attributes
    ----------
    low, high : float
        Ends of the range [1].
    typical : float, optional
        Median; the geometric mean of the ends when not given [1].
    """

    low: Coefficient
    high: Coefficient
    typical: Coefficient | None = None

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        for value in (self.low, self.high, self.middle if self.low * self.high > 0 else 0.0):
            _not_zero(value)
        if not self.low <= self.middle <= self.high:
            raise ValueError("friction must run low, typical, high|put the three in order")
        return self

    @property
    def middle(self) -> float:
        """Median coefficient [1]."""
        return self.typical if self.typical is not None else math.sqrt(self.low * self.high)

    @property
    def log_standard(self) -> float:
        """Standard deviation of the logarithm [1]; the range is 95 % of a lognormal spread."""
        return math.log(self.high / self.low) / 3.92


class Lubricant(Definition):
    """What is on thread and bearing face, and the friction it gives.

    Attributes
    ----------
    name : str
        Name shown to the user.
    thread, bearing : Friction
        Friction in the thread and under the turned face.
    correlation : float
        How far thread and bearing friction move together from fastener to fastener [1].
    common : float
        Share of the variance that all fasteners of one assembly have in common [1].
    source : Source
        Backing of the ranges.
    sharing_source : Source
        Backing of `correlation` and `common`.
    """

    name: str = Field(min_length=1)
    thread: Friction
    bearing: Friction
    correlation: Fraction = Field(default=0.5, ge=0.0, le=1.0)
    common: Fraction = Field(default=0.5, ge=0.0, le=1.0)
    source: Source = Source(Basis.MEMORY, "stated in the definition without a source")
    sharing_source: Source = Source(Basis.COMMON_PRACTICE, "half shared, half from fastener to fastener")


def _read_lubricant(value: object) -> object:
    """Take ``"class B"`` for a lubricant."""
    if not isinstance(value, str):
        return value
    name = value.strip()
    grade = name.removeprefix("class").strip()
    if grade not in FRICTION_CLASSES:
        raise ValueError(
            f"{value!r} is not a friction class"
            "|use class A, B, C or D, or a table with thread and bearing friction"
        )
    low, high = FRICTION_CLASSES[grade]
    ends = {"low": low, "high": high}
    return {"name": f"friction class {grade}", "thread": ends, "bearing": ends, "source": _FRICTION_TABLE}


#: Field type: a friction class, or a table.
LubricantText: TypeAlias = Annotated[Lubricant, BeforeValidator(_read_lubricant)]


class Tool(Definition):
    """Errors of the tools, each plus or minus at 95 %.

    Attributes
    ----------
    torque : float
        Relative error of the wrench [1].
    angle : float
        Error of the angle [deg].
    stretch : float
        Error of the stretch gauge [mm].
    tension : float
        Relative error of the tensioner's force [1].
    common : float
        Share of the variance that all fasteners of one assembly have in common [1].
    source : Source
        Backing.
    """

    torque: Fraction = Field(default=0.04, ge=0.0, lt=0.5)
    angle: Angle = Field(default=5.0, ge=0.0)
    stretch: Length = Field(default=0.01, ge=0.0)
    tension: Fraction = Field(default=0.05, ge=0.0, lt=0.5)
    common: Fraction = Field(default=0.5, ge=0.0, le=1.0)
    source: Source = Source(
        Basis.MEMORY, "ISO 6789 for the wrench (4 %); angle, stretch and tension are common practice"
    )


class Stage(Definition):
    """One stage, carried out on every fastener in the sequence before the next begins.

    Exactly one of the following is given.

    Attributes
    ----------
    torque : float
        Wrench set to this torque; it turns no fastener that already resists more [N*mm].
    angle : float
        Turned on by this angle [deg].
    stretch : float
        Pulled or turned until the fastener is this much longer than free [mm].
    tension : float
        Tensioner's force before the nut takes over [N].
    loosen : float
        Turned back by this angle; the fastener is free afterwards [deg].
    """

    torque: Torque | None = Field(default=None, gt=0)
    angle: Angle | None = Field(default=None, gt=0)
    stretch: Length | None = Field(default=None, gt=0)
    tension: Force | None = Field(default=None, gt=0)
    loosen: Angle | None = Field(default=None, gt=0)

    @model_validator(mode="after")
    def _one_action(self) -> Self:
        if sum(getattr(self, kind) is not None for kind in _KINDS) != 1:
            raise ValueError(
                "a stage has exactly one action|give one of torque, angle, stretch, tension, loosen"
            )
        return self

    @property
    def kind(self) -> StageKind:
        """Which action the stage is."""
        return next(kind for kind in _KINDS if getattr(self, kind) is not None)

    @property
    def amount(self) -> float:
        """Its amount in the unit of the action [N*mm, deg, mm or N]."""
        return float(getattr(self, self.kind))


class Tightening(Definition):
    """Everything about how the joint is pulled down.

    Attributes
    ----------
    lubricant : Lubricant
        Lubricant of thread and bearing face.
    tool : Tool
        Errors of the tools.
    stages : tuple of Stage
        In order.
    sequence : tuple of str
        Names of the fasteners in order; empty: proposed from the centre outward.
    retorque : int
        How often the last torque is applied once more over the whole sequence.
    to_yield : bool
        Whether the fasteners are meant to yield; only with an angle as last stage.
    scatter : float, optional
        Plus or minus at 95 % of the preload, measured on this joint; replaces the spread
        reckoned from friction and tool [1].
    transfer_loss : float
        Share of a tensioner's force lost when the nut takes over [1].
    yield_spread : float
        Plus or minus at 95 % of the fasteners' yield strength [1].
    stiffness_spread : float
        Plus or minus at 95 % of the compliance of fastener and joint [1].
    """

    lubricant: LubricantText
    tool: Tool = Tool()
    stages: tuple[Stage, ...] = Field(alias="stage", min_length=1)
    sequence: tuple[str, ...] = ()
    retorque: int = Field(default=0, ge=0, le=20)
    to_yield: bool = False
    scatter: Fraction | None = Field(default=None, gt=0.0, lt=0.9)
    transfer_loss: Fraction = Field(default=0.10, ge=0.0, lt=0.6)
    yield_spread: Fraction = Field(default=0.06, ge=0.0, lt=0.5)
    stiffness_spread: Fraction = Field(default=0.10, ge=0.0, lt=0.9)
    spread_source: Source = Source(
        Basis.COMMON_PRACTICE, "transfer loss 10 %, yield 6 %, compliance 10 % unless measured"
    )

    @model_validator(mode="after")
    def _ends_well(self) -> Self:
        last = self.stages[-1].kind
        if last == "loosen":
            raise ValueError(
                "the last stage leaves every fastener loose|end with a torque, angle, stretch or tension"
            )
        if self.to_yield and last != "angle":
            raise ValueError(
                "only an angle as last stage can be taken to yield|add an angle stage, or drop to_yield"
            )
        if self.retorque and last != "torque":
            raise ValueError("a retorque needs a torque as last stage|set retorque to 0")
        return self

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        if len(set(self.sequence)) != len(self.sequence):
            raise ValueError("the sequence names a fastener twice|name each fastener once")
        return self

    @property
    def method(self) -> str:
        """Name of the method, by its last stage."""
        if self.to_yield:
            return "yield-controlled"
        names = {
            "torque": "torque",
            "angle": "torque and angle",
            "stretch": "stretch",
            "tension": "hydraulic",
        }
        return names[self.stages[-1].kind]


#: Flattening of rough faces under load [mm]: thread, each bearing face, each inner interface.
EMBEDDING: Mapping[str, tuple[float, float, float]] = {
    "fine": (0.003, 0.0025, 0.0015),
    "medium": (0.003, 0.003, 0.002),
    "coarse": (0.003, 0.004, 0.003),
}


class Settling(Definition):
    """What the joint loses after tightening.

    Attributes
    ----------
    finish : {"fine", "medium", "coarse"}
        Roughness Rz under 10, 10 to 40, 40 to 160 um.
    interfaces : int
        Inner interfaces: 2 for a gasket of one layer, one more per further layer.
    embedding : float, optional
        Flattening of all faces together, instead of the table [mm].
    relaxation : float
        Share of the preload lost by creep of coatings and the first heat cycles [1].
    relaxation_range : tuple of float
        Ends of that share at 95 % [1].
    """

    finish: Literal["fine", "medium", "coarse"] = "medium"
    interfaces: int = Field(default=4, ge=1, le=20)
    embedding: Length | None = Field(default=None, ge=0.0)
    relaxation: Fraction = Field(default=0.05, ge=0.0, lt=0.9)
    relaxation_range: tuple[Fraction, Fraction] = (0.0, 0.10)
    embedding_source: Source = Source(Basis.MEMORY, "VDI 2230:2003, guide values of embedding")
    relaxation_source: Source = Source(Basis.MEMORY, "5 to 10 % over the first heat cycles")

    @property
    def flattening(self) -> float:
        """Embedding of all faces together [mm]: thread, bearing face and inner interfaces."""
        if self.embedding is not None:
            return self.embedding
        thread, bearing, inner = EMBEDDING[self.finish]
        return thread + bearing + self.interfaces * inner
