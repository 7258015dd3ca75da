"""From a prediction's files to the joint: bodies, fasteners' seats, gasket, memory, cache."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
import shapely
from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator
from scipy.spatial import QhullError

from firedeck.contact import (
    BlockSizes,
    BodySection,
    FastenerSeat,
    GasketModel,
    HeadSizes,
    Joint,
    PressedSeal,
    Store,
    VolumeSection,
    generic_block,
    generic_head,
    widest_gap,
)
from firedeck.definition.deck import DeckPlan
from firedeck.definition.fastening import FastenerGroup, WarmPart
from firedeck.definition.material import Material
from firedeck.definition.prediction import Prediction
from firedeck.definition.shape import outline_polygon, seal_line
from firedeck.errors import FiredeckError
from firedeck.files.memory import available_memory
from firedeck.loading.compliance import fastener_compliance
from firedeck.study.prediction.files import PredictionFiles

__all__ = ["BodySizes", "build_joint", "gasket_model", "memory_needed", "sections", "uneven_faces"]

Floats = npt.NDArray[np.float64]

#: Thickness above which the lowest clamped part is no gasket [mm].
_THICKEST_GASKET = 5.0

#: How far from a seal the faces stay free to take another [mm].
REACH = 12.0

#: Distance of a seal from a mesh's nearest node from which it is told, over the element's side [1].
#: At 0.6 a line load had a dip of 8 %; nodes evenly half a side apart lie within 0.36.
_WIDEST_GAP = 0.55
#: The same over its usual distance [1]: on squares it is at most 1.9, however wide they are.
_GAP_OVER_USUAL = 2.2

#: Depths at which bore shape is observed [mm].
DEPTHS = (10.0, 40.0, 80.0)


@dataclass(frozen=True)
class BodySizes:
    """Head and block as they are meshed, and what was taken for granted.

    Attributes
    ----------
    head, block : BodySection or VolumeSection
        The bodies.
    thickness : float
        Thickness of the gasket under the fasteners [mm].
    notes : tuple of str
        Assumptions, in words [text].
    """

    head: BodySection | VolumeSection
    block: BodySection | VolumeSection
    thickness: float
    notes: tuple[str, ...]


def sections(files: PredictionFiles) -> BodySizes:
    """Return head and block, generic where the prediction does not say otherwise.

    Raises
    ------
    FiredeckError
        If the stated layers of the head do not reach the fasteners' seats.
    """
    prediction = files.prediction
    groups = files.fastening.fastening.groups
    heights = {group.name: _split(group, files.gasket.thickness) for group in groups}
    seat = max(height for height, _ in heights.values())
    head_material = prediction.head.material or _thickest(groups).material
    block_material = prediction.block.material or groups[0].fastener.hole.material
    head = _from_mesh(files, "head", head_material) or _generic_head(files, seat, head_material)
    body = _from_mesh(files, "block", block_material) or _generic_block(files, block_material)
    _refuse_thin_block(files, body)
    notes = [f"head of {head_material.name}, block of {block_material.name}", *head.assumptions]
    notes += [*body.assumptions, "the block is held all over its bottom"]
    return BodySizes(head, body, heights[groups[0].name][1], tuple(notes))


def _generic_head(files: PredictionFiles, seat: float, material: Material) -> BodySection:
    sizes, fitted = _head_sizes(files, seat)
    head = generic_head(files.plan, sizes, material, element=max(10.0, files.prediction.element))
    if not fitted:
        return head
    told = f"jacket and ports of the head were scaled to seats {seat:.4g} mm up: {fitted}"
    return replace(head, assumptions=(*head.assumptions, told))


def _generic_block(files: PredictionFiles, material: Material) -> BodySection:
    sizes = BlockSizes(**_given(files.prediction.block, BlockSizes))
    return generic_block(files.plan, sizes, material, element=max(10.0, files.prediction.element))


def _from_mesh(
    files: PredictionFiles, side: Literal["head", "block"], material: Material
) -> VolumeSection | None:
    """Return the volume mesh that stands for a body, with what must be known about it, or None."""
    if side not in files.meshes:
        return None
    mesh = files.meshes[side]
    size = np.ptp(mesh.points, axis=0)
    kind = {8: "bricks", 10: "quadratic tetrahedra", 4: "linear tetrahedra"}[mesh.cells.shape[1]]
    notes = [
        f"the {side} is the volume mesh {mesh.name}: {len(mesh.cells)} {kind}, {len(mesh.points)} nodes, "
        f"{size[0]:.4g} x {size[1]:.4g} x {size[2]:.4g} mm, taken to lie in the deck plan's x and y"
    ]
    if mesh.unused:
        notes.append(f"{mesh.unused} nodes of {mesh.name} belong to no element and were left out")
    if mesh.cells.shape[1] == 4:
        notes.append(
            "CAUTION: linear tetrahedra are too stiff in bending, often by tens of per cent: the "
            f"{side} bends less here than it will; mesh it with quadratic tetrahedra"
        )
    notes += _gap_notes(files, side)
    return VolumeSection(side, mesh, material, assumptions=tuple(notes))


def _gap_notes(files: PredictionFiles, side: Literal["head", "block"]) -> list[str]:
    """Say where a mesh's face has a gap between its nodes under a seal: the line load has a dip there."""
    mesh, element = files.meshes[side], files.prediction.element
    lines = {seal.name: seal_line(files.plan, seal, step=1.0).points for seal in files.plan.seals}
    seal, (x, y), gap, usual = widest_gap(mesh, lines)
    if gap <= _WIDEST_GAP * element or gap <= _GAP_OVER_USUAL * usual:
        return []
    return [
        f"CAUTION: the nearest node of {mesh.name} lies {gap:.3g} mm from {seal!r} near ({x:.4g}, {y:.4g}), "
        f"usually {usual:.2g} mm from a seal, with an element of {element:.3g} mm: the {side} is too soft in "
        "such a gap, and a line load there may be told ten per cent or so too low; mesh the face finer there"
    ]


def _split(group: FastenerGroup, gasket: float) -> tuple[float, float]:
    """Return the height of a group's seats over the sealing plane, and the gasket's thickness [mm]."""
    parts, lowest = group.parts, group.parts[-1]
    is_gasket = len(parts) > 1 and ("gasket" in lowest.name.lower() or lowest.thickness < _THICKEST_GASKET)
    if is_gasket:
        return sum(part.thickness for part in parts[:-1]), lowest.thickness
    return sum(part.thickness for part in parts), gasket or 1.0


def _thickest(groups: tuple[FastenerGroup, ...]) -> WarmPart:
    return max((part for group in groups for part in group.parts), key=lambda part: part.thickness)


def _given(model: object, sizes: type[HeadSizes] | type[BlockSizes]) -> dict[str, float]:
    """Return the sizes that a definition states."""
    names = sizes.__dataclass_fields__
    return {name: getattr(model, name) for name in names if getattr(model, name, None) is not None}


def _head_sizes(files: PredictionFiles, seat: float) -> tuple[HeadSizes, str]:
    """Return the head's sizes with the seats at the right height, and in words what was scaled."""
    given = _given(files.prediction.head, HeadSizes)
    usual = HeadSizes(**given)
    stretchy = [name for name in ("jacket", "ports") if name not in given]
    layers = ("fire_deck", "jacket", "middle_deck", "ports", "upper_deck")
    total = sum(getattr(usual, name) for name in layers)
    if math.isclose(total, seat, abs_tol=0.01):
        return usual, ""
    free = sum(getattr(usual, name) for name in stretchy)
    room = seat - (total - free)
    if not stretchy or room < 4.0:
        raise FiredeckError(
            f"the head's layers are {total:.4g} mm high up to the fasteners' seats, but the fastening clamps "
            f"{seat:.4g} mm of head",
            where=str(files.file),
            remedy="make fire_deck, jacket, middle_deck, ports and upper_deck of [head] add up to that, "
            "or leave jacket and ports out",
        )
    scaled = {name: getattr(usual, name) * room / free for name in stretchy}
    words = ", ".join(f"{name} {height:.1f} mm" for name, height in scaled.items())
    return HeadSizes(**{**given, **scaled}), words


def _refuse_thin_block(files: PredictionFiles, block: BodySection | VolumeSection) -> None:
    depth = -block.planes[0]
    start = files.prediction.block.thread_start
    for group in files.fastening.fastening.groups:
        deep = start + group.fastener.hole.engagement
        if deep > depth:
            raise FiredeckError(
                f"the thread of {group.name!r} ends {deep:.4g} mm down, but the block is {depth:.4g} mm deep",
                where=str(files.file),
                remedy="check thread_start and the heights in [block], and the engagement in the fastening",
            )


def seats_of(files: PredictionFiles) -> tuple[FastenerSeat, ...]:
    """Return where every fastener bears and holds, in the plan's order.

    Raises
    ------
    FiredeckError
        If a fastener stands outside the head, or has no stiffness.
    """
    outline = outline_polygon(files.plan)
    places = {hole.name: hole.centre for hole in files.plan.fastener_holes}
    found = []
    for name in files.clamp.joint.names:
        place = files.clamp.joint.group_of(name)
        group, fastener = place.group, place.fastener
        face = fastener.washer.seat if fastener.washer else fastener.bearing
        if not outline.contains(shapely.Point(places[name]).buffer(0.5 * face.hole_diameter)):
            raise FiredeckError(
                f"{name!r} does not stand inside the head: its hole reaches beyond the outline",
                where=str(files.folder / files.prediction.deck),
                remedy="check the hole's place and the outline in the deck plan",
            )
        height, _ = _split(group, files.gasket.thickness)
        insert = fastener.hole.insert
        thread = insert.outer_thread if insert else fastener.hole.thread
        found.append(
            FastenerSeat(
                name, places[name], face.outer_diameter, face.hole_diameter, height, thread.diameter,
                files.prediction.block.thread_start, fastener.hole.engagement, _stiffness(files, name),
            )
        )  # fmt: skip
    return tuple(found)


#: Stiffness outside of which a fastener is a slip of a unit [N/mm].
_STIFFNESSES = (2e3, 5e6)


def _stiffness(files: PredictionFiles, name: str) -> float:
    fastener = files.clamp.joint.group_of(name).fastener
    give = fastener_compliance(fastener)
    stiffness = 1.0 / give if give > 0.0 else math.inf
    if not _STIFFNESSES[0] <= stiffness <= _STIFFNESSES[1]:
        raise FiredeckError(
            f"{name!r} would be a fastener of {stiffness / 1e3:.3g} kN/mm, which no head fastener is",
            where=str(files.fastening.file),
            remedy="check the unit of its material's modulus, and its segments' lengths and diameters",
        )
    return stiffness


def gasket_model(files: PredictionFiles, thickness: float) -> GasketModel:
    """Return the gasket with its laws, on faces as uneven as stated.

    Raises
    ------
    FiredeckError
        If the gasket is thicker than what the fastening clamps as a gasket.
    """
    stated = files.gasket.thickness
    if stated and stated > 1.5 * thickness:
        raise FiredeckError(
            f"the gasket's layers are {stated:.4g} mm thick, but the fastening leaves it {thickness:.4g} mm",
            where=str(files.fastening.file),
            remedy="give the gasket's part in the fastening the thickness of the layers",
        )
    pressed = tuple(
        PressedSeal(seal, files.laws[seal.name].law, files.laws[seal.name].gap) for seal in files.plan.seals
    )
    return GasketModel(pressed, (), thickness, uneven_faces(files.prediction, files.plan))


def uneven_faces(prediction: Prediction, plan: DeckPlan) -> Callable[[Floats], Floats] | None:
    """Return the extra gap of the faces at places, or None where they are taken as flat."""
    if not prediction.liners and not prediction.faces:
        return None
    bores = {bore.name: bore for bore in plan.bores}
    measured = _between(prediction) if prediction.faces else None

    def gap(places: Floats) -> Floats:
        out: Floats = np.zeros(len(places)) if measured is None else np.array(measured(places))
        for liner in prediction.liners:
            bore = bores[liner.bore]
            away = np.linalg.norm(places - np.asarray(bore.centre), axis=1)
            out = out - np.where(away <= 0.5 * bore.diameter + liner.flange, liner.protrusion, 0.0)
        return out

    return gap


def _between(prediction: Prediction) -> Callable[[Floats], Floats]:
    at = np.array([face.at for face in prediction.faces])
    gaps = np.array([face.gap for face in prediction.faces])
    nearest = NearestNDInterpolator(at, gaps)
    try:
        straight = LinearNDInterpolator(at, gaps)
    except QhullError:
        return lambda places: np.asarray(nearest(places))

    def value(places: Floats) -> Floats:
        inside = straight(places)
        return np.asarray(np.where(np.isfinite(inside), inside, nearest(places)))

    return value


def memory_needed(plan: DeckPlan, sizes: BodySizes, element: float) -> float:
    """Return about how much memory building the joint takes [byte].

    Either the condensing of the larger body or the joined matrices of the kept nodes are the most;
    the factors are fitted to measured runs (0.44 GB at 8 mm and 0.79 GB at 5 mm for four cylinders; 0.81 GB
    for a head of 78 261 freedoms in quadratic tetrahedra, 1.3 GB with a block of 61 137 beside it).
    """
    lines = [shapely.LinearRing(seal) for seal in _seal_points(plan)]
    face = shapely.union_all([line.buffer(REACH, quad_segs=4) for line in lines])
    kept = face.intersection(outline_polygon(plan)).area / element**2
    patterns = len(plan.fastener_holes) + len(plan.bores) * (2 + 17 * len(DEPTHS)) + 16
    per_freedom = {BodySection: _PER_FREEDOM, VolumeSection: _PER_MESHED}
    each = [
        _freedoms(section, element) * (per_freedom[type(section)] + 8.0 * patterns)
        for section in (sizes.head, sizes.block)
    ]
    # Both are condensed side by side; what is measured on the grid holds for the pair.
    meshed = isinstance(sizes.head, VolumeSection) and isinstance(sizes.block, VolumeSection)
    return _BASE + max(sum(each) if meshed else max(each), _DENSE * 8.0 * kept**2)


#: Memory of the libraries [byte], of one freedom's factorisation on the grid and in a volume mesh, its
#: elements' stiffness included [byte], dense matrices kept at once [1].
_BASE, _PER_FREEDOM, _PER_MESHED, _DENSE = 2e8, 3600.0, 8000.0, 12.0


def _freedoms(section: BodySection | VolumeSection, element: float) -> float:
    if isinstance(section, VolumeSection):
        return 3.0 * len(section.mesh.points)
    planes = 0.0
    for layer in section.layers:
        nodes = layer.plan.area / element**2 + 0.7 * layer.plan.length / element
        planes += nodes * layer.elements
    top = section.layers[-1].plan
    return 3.0 * (planes + top.area / element**2)


def _seal_points(plan: DeckPlan) -> list[Floats]:
    return [seal_line(plan, seal, step=2.0).points for seal in plan.seals]


def refuse_too_large(files: PredictionFiles, sizes: BodySizes, element: float) -> None:
    """Refuse to build what does not fit into the memory that is free.

    Raises
    ------
    FiredeckError
        With the memory needed and the memory that is free.
    """
    needed, free = memory_needed(files.plan, sizes, element), available_memory()
    if free is None or needed <= 0.9 * free:
        return
    raise FiredeckError(
        f"elements of {element:.3g} mm would need about {needed / 1e9:.1f} GB of memory, and "
        f"{free / 1e9:.1f} GB are free",
        where=str(files.file),
        remedy="use a larger element, close other programs, or use a larger machine",
    )


def build_joint(files: PredictionFiles, sizes: BodySizes, store: Store | None = None) -> Joint:
    """Build the joint that a prediction describes.

    Parameters
    ----------
    files : PredictionFiles
        The prediction.
    sizes : BodySizes
        Its bodies.
    store : Store, optional
        Where condensed bodies are kept between runs.

    Raises
    ------
    FiredeckError
        If something does not fit, or the memory is short.
    """
    element = files.prediction.element
    refuse_too_large(files, sizes, element)
    seats, gasket = seats_of(files), gasket_model(files, sizes.thickness)
    try:
        return Joint.build(
            files.plan, (sizes.head, sizes.block), gasket, seats,
            pitch=element, reach=REACH, depths=DEPTHS, store=store,
        )  # fmt: skip
    except MemoryError as fault:
        raise FiredeckError(
            f"the memory ran out while head and block were condensed with elements of {element:.3g} mm",
            where=str(files.file),
            remedy="use a larger element or a coarser mesh, close other programs, or use a larger machine",
        ) from fault
