"""From fastener preload to the pressure on every seal: condensed bodies, gasket laws, states.

Build a `Joint` once, `tighten` it, then let the state `settle`, `warm` and `fire`; every state is
in balance and carries a certificate of what was checked.
"""

from firedeck.contact.answers import (
    BoreShape,
    Faces,
    LevelDifference,
    SealPressure,
    SealSwing,
    bore_shapes,
    clamp_over_gas,
    compare_levels,
    faces,
    peak_profile,
    profile,
    swings,
)
from firedeck.contact.body import Store
from firedeck.contact.bow import Bow, bows
from firedeck.contact.calculix import CalculixDeck, calculix_deck
from firedeck.contact.gasket import GasketModel, PressedLand, PressedSeal
from firedeck.contact.generic import BlockSizes, HeadSizes, generic_block, generic_head
from firedeck.contact.giving import GiveWay, SealLimits, give_way
from firedeck.contact.joint import Joint, Level
from firedeck.contact.law import ClosureLaw, law_from_rows
from firedeck.contact.patterns import BoreGas, FastenerSeat
from firedeck.contact.section import BodySection, SectionLayer
from firedeck.contact.state import Certificate, JointState, loose_joint, tighten
from firedeck.contact.volume import SolidMesh, VolumeSection, check_solid
from firedeck.contact.warmth import Warmth

__all__ = [
    "BlockSizes",
    "BodySection",
    "BoreGas",
    "BoreShape",
    "Bow",
    "CalculixDeck",
    "Certificate",
    "ClosureLaw",
    "Faces",
    "FastenerSeat",
    "GasketModel",
    "GiveWay",
    "HeadSizes",
    "Joint",
    "JointState",
    "Level",
    "LevelDifference",
    "PressedLand",
    "PressedSeal",
    "SealLimits",
    "SealPressure",
    "SealSwing",
    "SectionLayer",
    "SolidMesh",
    "Store",
    "VolumeSection",
    "Warmth",
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
    "swings",
    "tighten",
]
