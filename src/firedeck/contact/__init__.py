"""From fastener preload to the pressure on every seal: condensed bodies, gasket laws, states.

Build a `Joint` once, `tighten` it, then let the state `settle`, `warm` and `fire`; every state is
in balance and carries a certificate of what was checked.
"""

from firedeck.contact.body import Store
from firedeck.contact.calculix import CalculixDeck, calculix_deck
from firedeck.contact.gasket import GasketModel, PressedLand, PressedSeal
from firedeck.contact.generic import BlockSizes, HeadSizes, generic_block, generic_head
from firedeck.contact.joint import Joint, Level
from firedeck.contact.law import ClosureLaw, law_from_rows
from firedeck.contact.patterns import BoreGas, FastenerSeat
from firedeck.contact.section import BodySection, SectionLayer
from firedeck.contact.state import Certificate, JointState, Warmth, tighten

__all__ = [
    "BlockSizes",
    "BodySection",
    "BoreGas",
    "CalculixDeck",
    "Certificate",
    "ClosureLaw",
    "FastenerSeat",
    "GasketModel",
    "HeadSizes",
    "Joint",
    "JointState",
    "Level",
    "PressedLand",
    "PressedSeal",
    "SectionLayer",
    "Store",
    "Warmth",
    "calculix_deck",
    "generic_block",
    "generic_head",
    "law_from_rows",
    "tighten",
]
