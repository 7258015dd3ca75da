"""From fastener preload to the pressure on every seal: condensed bodies, gasket laws, states.

Build a `Joint` once, `tighten` it, then let the state `settle`, `warm` and `fire`; every state is
in balance and carries a certificate of what was checked.
"""

from firedeck.contact.answers import LevelDifference, SealSwing, clamp_over_gas, compare_levels, swings
from firedeck.contact.assemblies import Assemblies
from firedeck.contact.body import Store
from firedeck.contact.calculix import CalculixDeck, calculix_deck
from firedeck.contact.course import (
    Course,
    Draws,
    Fire,
    Heat,
    Settle,
    Step,
    Turn,
    TurnOn,
    assemble_many,
    typical_states,
)
from firedeck.contact.gasket import GasketModel, PressedLand, PressedSeal
from firedeck.contact.generic import BlockSizes, HeadSizes, generic_block, generic_head
from firedeck.contact.giving import GiveWay, SealLimits, give_way
from firedeck.contact.joint import Joint, Level
from firedeck.contact.law import ClosureLaw, law_from_rows
from firedeck.contact.patterns import BoreGas, FastenerSeat
from firedeck.contact.profiles import ManyProfiles, SealPressure, peak_profile, profile, profiles
from firedeck.contact.section import BodySection, SectionLayer
from firedeck.contact.shapes import BoreShape, Bow, Faces, bore_shapes, bows, faces
from firedeck.contact.state import Certificate, JointState
from firedeck.contact.tightening import loose_joint, tighten
from firedeck.contact.volume import SolidMesh, VolumeSection, check_solid, widest_gap
from firedeck.contact.warmth import Warmth

__all__ = [
    "Assemblies",
    "BlockSizes",
    "BodySection",
    "BoreGas",
    "BoreShape",
    "Bow",
    "CalculixDeck",
    "Certificate",
    "ClosureLaw",
    "Course",
    "Draws",
    "Faces",
    "FastenerSeat",
    "Fire",
    "GasketModel",
    "GiveWay",
    "HeadSizes",
    "Heat",
    "Joint",
    "JointState",
    "Level",
    "LevelDifference",
    "ManyProfiles",
    "PressedLand",
    "PressedSeal",
    "SealLimits",
    "SealPressure",
    "SealSwing",
    "SectionLayer",
    "Settle",
    "SolidMesh",
    "Step",
    "Store",
    "Turn",
    "TurnOn",
    "VolumeSection",
    "Warmth",
    "assemble_many",
    "bore_shapes",
    "bows",
    "calculix_deck",
    "check_solid",
    "clamp_over_gas",
    "compare_levels",
    "faces",
    "generic_block",
    "generic_head",
    "give_way",
    "law_from_rows",
    "loose_joint",
    "peak_profile",
    "profile",
    "profiles",
    "swings",
    "tighten",
    "typical_states",
    "widest_gap",
]
