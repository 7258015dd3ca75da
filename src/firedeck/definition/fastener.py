"""Head bolts and studs: segments, threads at both ends, bearing face, washer and tapped hole."""

from __future__ import annotations

import math
from typing import Literal, Self

from pydantic import Field, model_validator

from firedeck.definition.material import MaterialText, builtin_material
from firedeck.definition.quantities import Definition, Length
from firedeck.definition.thread import Thread, ThreadText
from firedeck.evidence import Basis, Source

__all__ = [
    "END_ALLOWANCES",
    "BearingFace",
    "ClampedPart",
    "EndAllowances",
    "Fastener",
    "Insert",
    "Segment",
    "TappedHole",
    "Washer",
]


class EndAllowances(Definition):
    """Length of fastener, in nominal diameters, that stands for the give of each end [1].

    Attributes
    ----------
    engaged : float
        The engaged thread of the fastener itself, at each threaded end.
    nut, tapped : float
        The give of the nut's, or the tapped hole's, own threads.
    head : float
        A bolt's head.
    """

    engaged: float = Field(default=0.5, ge=0.0)
    nut: float = Field(default=0.4, ge=0.0)
    tapped: float = Field(default=0.33, ge=0.0)
    head: float = Field(default=0.5, ge=0.0)
    source: Source = Source(Basis.MEMORY, "VDI 2230:2003", "resilience of head, nut and engaged thread")


#: Allowances used unless the fastener states its own.
END_ALLOWANCES = EndAllowances()


class Segment(Definition):
    """A length of the fastener under load: a plain shank, or free thread.

    Attributes
    ----------
    length : float
        Length [mm].
    diameter : float, optional
        Diameter of a plain or waisted shank [mm].
    thread : Thread, optional
        Thread of a free threaded length; its stress area carries the load.
    """

    length: Length = Field(gt=0)
    diameter: Length | None = Field(default=None, gt=0)
    thread: ThreadText | None = None

    @model_validator(mode="after")
    def _one_section(self) -> Self:
        if (self.diameter is None) == (self.thread is None):
            raise ValueError("a segment has either a diameter or a thread|give exactly one of them")
        return self

    @property
    def area(self) -> float:
        """Area that carries the load [mm^2]."""
        if self.thread is not None:
            return self.thread.stress_area
        return math.pi / 4.0 * (self.diameter or 0.0) ** 2

    @property
    def outer_diameter(self) -> float:
        """Largest diameter [mm]."""
        return self.thread.diameter if self.thread is not None else (self.diameter or 0.0)


class BearingFace(Definition):
    """Face of the turned part, nut or head, on its seat.

    Attributes
    ----------
    outer_diameter, hole_diameter : float
        Ring on which the face bears: outer diameter, and the larger of the part's own inner
        diameter and the hole beneath [mm].
    """

    outer_diameter: Length = Field(gt=0)
    hole_diameter: Length = Field(gt=0)

    @model_validator(mode="after")
    def _is_ring(self) -> Self:
        if self.outer_diameter <= self.hole_diameter:
            raise ValueError("the face is no larger than its hole|check outer_diameter and hole_diameter")
        return self

    @property
    def area(self) -> float:
        """Area of the ring [mm^2]."""
        return math.pi / 4.0 * (self.outer_diameter**2 - self.hole_diameter**2)

    @property
    def mean_diameter(self) -> float:
        """Friction diameter, the mean of outer and hole diameter [mm]."""
        return 0.5 * (self.outer_diameter + self.hole_diameter)


class Washer(Definition):
    """A washer under the turned part.

    Attributes
    ----------
    thickness, outer_diameter, hole_diameter : float
        Sizes [mm].
    material : Material
        Hardened steel unless stated.
    """

    thickness: Length = Field(gt=0)
    outer_diameter: Length = Field(gt=0)
    hole_diameter: Length = Field(gt=0)
    material: MaterialText = builtin_material("steel")

    @property
    def seat(self) -> BearingFace:
        """Ring on which the washer bears on the head."""
        return BearingFace.model_construct(
            outer_diameter=self.outer_diameter, hole_diameter=self.hole_diameter
        )


class Insert(Definition):
    """A threaded insert in the block.

    Attributes
    ----------
    outer_thread : Thread
        Thread cut into the block for the insert.
    length : float
        Length of full outer thread in the block [mm].
    """

    outer_thread: ThreadText
    length: Length = Field(gt=0)


class TappedHole(Definition):
    """Where the fastener enters the block.

    Attributes
    ----------
    thread : Thread
        Thread of the fastener's end and of the hole, or of the insert's inside.
    engagement : float
        Length of full thread in engagement [mm].
    material : Material
        Block material.
    insert : Insert, optional
        Threaded insert, if there is one.
    """

    thread: ThreadText
    engagement: Length = Field(gt=0)
    material: MaterialText
    insert: Insert | None = None


class Fastener(Definition):
    """A head bolt, or a stud with its nut.

    Attributes
    ----------
    name : str
        Name shown to the user.
    kind : {"stud", "bolt"}
        A stud is turned by its nut, a bolt by its head.
    material : Material
        A property class, a built-in name or a table.
    nut_thread : Thread, optional
        A stud's thread at the nut; it may differ from the block's.
    hole : TappedHole
        The end in the block.
    segments : tuple of Segment
        Between the bearing face and the face of the block, in order.
    bearing : BearingFace
        Face of the turned nut or head. Its friction diameter is the arithmetic mean, as in
        torque tables; the radius of uniform pressure is larger by under one per cent.
    washer : Washer, optional
        Washer beneath it.
    allowances : EndAllowances
        Give of the ends.
    """

    name: str = "fastener"
    kind: Literal["stud", "bolt"]
    material: MaterialText
    nut_thread: ThreadText | None = None
    hole: TappedHole
    segments: tuple[Segment, ...] = Field(alias="segment", min_length=1)
    bearing: BearingFace
    washer: Washer | None = None
    allowances: EndAllowances = END_ALLOWANCES

    @model_validator(mode="after")
    def _turned_end(self) -> Self:
        if self.kind == "stud" and self.nut_thread is None:
            raise ValueError("a stud needs the thread of its nut|add nut_thread, for example M12x1.25")
        if self.kind == "bolt" and self.nut_thread is not None:
            raise ValueError('a bolt has no nut|leave nut_thread out, or write kind = "stud"')
        return self

    @model_validator(mode="after")
    def _passes_its_hole(self) -> Self:
        widest = max(segment.outer_diameter for segment in self.segments)
        if widest > self.bearing.hole_diameter:
            raise ValueError(
                f"a segment of {widest:.4g} mm does not pass a hole of {self.bearing.hole_diameter:.4g} mm"
                "|check the segments' diameters and the bearing's hole_diameter"
            )
        return self

    @property
    def turned_thread(self) -> Thread:
        """Thread that turns while tightening: the nut's, or the bolt's in the block."""
        return self.nut_thread or self.hole.thread

    @property
    def grip(self) -> float:
        """Length between the bearing face and the face of the block [mm]."""
        return sum(segment.length for segment in self.segments)

    @property
    def smallest_area(self) -> float:
        """Smallest area under load: of a segment or of a threaded end [mm^2]."""
        ends = (self.turned_thread.stress_area, self.hole.thread.stress_area)
        return min(*ends, *(segment.area for segment in self.segments))


class ClampedPart(Definition):
    """One layer of what a fastener clamps, from the bearing face down.

    Attributes
    ----------
    name : str
        Name shown to the user.
    material : Material
        Its material.
    thickness : float
        Thickness under the fastener [mm].
    """

    name: str = Field(min_length=1)
    material: MaterialText
    thickness: Length = Field(gt=0)
