"""What every report must say of its own limits."""

from __future__ import annotations

from firedeck.evidence import FLAGS
from firedeck.report.document import Cautions, Notes, Section, Table

__all__ = [
    "FASTENER_CAUTIONS",
    "duty_limits_section",
    "fastener_limits_section",
    "flag_section",
    "limits_section",
    "prediction_limits_section",
    "print_limits_section",
]

_UNSEEN = (
    "Heat, firing, thermal growth, relaxation, corrosion and wear: the print is of the cold joint as "
    "assembled.",
    "The highest pressure of the whole tightening is kept at every place, even if it fell again later.",
    "How the next assembly would turn out: friction, seating and tightening scatter from one to the next.",
    "The film itself thickens and softens the joint and spreads thin lines by about its thickness.",
    "Scratches, porosity, coating and roughness finer than the map's cells.",
)

_CAUTIONS = (
    "A cold print is no proof of hot sealing, and a verdict here is no release to run an engine.",
    "A boosted engine that loses its gasket can throw scalding coolant and hot gas; so can an opened filler "
    "cap. "
    "Shield the bench, stay out of line, let things cool before opening anything.",
    "A stretched stud stores energy and can break and fly; liquid in a blind hole can crack a block.",
    "Local codes, the law and the practice of a qualified person decide, not this page.",
)

_UNSEEN_CLAMP = (
    "Bow of the head between fasteners, the give of the block and where the clamp really goes: a cylinder's "
    "share is counted by distance. A print shows it.",
    "Firing: the swing of fastener load and gap, fatigue, fretting.",
    "Creep of hot aluminium and uneven temperatures: one mean temperature stands for each part.",
    "Bending of a fastener, chamfered or crooked seats, dirty, worn or stretched threads, liquid in blind "
    "holes.",
    "Friction that is not the one stated. It changes with every tightening of the same thread.",
)

#: Cautions of whoever tightens a head.
FASTENER_CAUTIONS = (
    "A reckoned preload is not a measured one, and a verdict here is no release to run an engine.",
    "A stretched fastener stores energy and can break and fly: stand out of line, wear eye protection, never "
    "go past the torque marked as yielding.",
    "Liquid or dirt in a blind hole can crack the block and fakes the torque: clean and dry every hole.",
    "Use the lubricant named, where it is named, and no other: friction decides the preload.",
    "Never loosen or lift a hot head. A fastener turned to yield is used once.",
    "Local codes, the law and the practice of a qualified person decide, not this page.",
)


def fastener_limits_section() -> Section:
    """Return what a reckoned clamp does not see, and the cautions."""
    blocks = (Notes(_UNSEEN_CLAMP), Cautions(FASTENER_CAUTIONS))
    return Section("limits", "What this does not see, and cautions", blocks)


def limits_section() -> Section:
    """Return what a print does not show, and the cautions."""
    return Section("limits", "What this does not see, and cautions", (Notes(_UNSEEN), Cautions(_CAUTIONS)))


_DUTY_UNSEEN = (
    "What the joint carries: a duty says what it must survive, not whether it does.",
    "Loads and settings other than the one worked up: timing, heat, another fuel or a colder day change it.",
    "Pre-ignition and the heaviest knock, which can exceed anything recorded or allowed for.",
    "Cylinders that were not measured, beyond what is said of them.",
)

_DUTY_CAUTIONS = (
    "No duty from a model or a rule is a measurement, and none is a release to run an engine.",
    "A boosted engine at its limit can burst, burn and scald: shields, cut-outs and distance come first.",
    "A pressure sensor in the head holds cylinder pressure and can come out: fit it as its maker says.",
    "Local codes, the law and the practice of a qualified person decide, not this page.",
)


def duty_limits_section() -> Section:
    """Return what a duty does not show, and the cautions."""
    return Section(
        "limits", "What this does not see, and cautions", (Notes(_DUTY_UNSEEN), Cautions(_DUTY_CAUTIONS))
    )


_PREDICTION_UNSEEN = (
    "Your castings: head and block are layered sections. Real ports, ribs, cores, inserts and "
    "casting shift are not in them.",
    "Heat as it really lies: temperatures change with height only, and the moduli stay cold.",
    "Sliding, friction and dowels between the faces, plastic flow and creep of head, block and "
    "threads, bending of the fasteners.",
    "Gas that has passed the first seal and presses beyond it, pressure waves, inertia, knock.",
    "Fatigue of beads and fasteners, fretting, coating wear, corrosion, age.",
    "Faces finer than what is stated of them: scratches, porosity, roughness; dents that a bead has "
    "pressed before.",
    "How the next assembly turns out: the intervals hold preload scatter, not a crossed thread or a dirty "
    "face.",
)

_PREDICTION_CAUTIONS = (
    "A prediction is no proof and no release to run an engine. Confirm it with a print of the real "
    "joint, and the print with an engine test.",
    "A boosted engine that loses its gasket can throw scalding coolant and hot gas. Shield the "
    "bench, stay out of line, let things cool before opening anything.",
    "A stretched fastener stores energy and can break and fly.",
    "Local codes, the law and the practice of a qualified person decide, not this page.",
)


def prediction_limits_section() -> Section:
    """Return what a prediction does not see, and the cautions."""
    blocks = (Notes(_PREDICTION_UNSEEN), Cautions(_PREDICTION_CAUTIONS))
    return Section("limits", "What this model does not see, and cautions", blocks)


_PRINT_UNSEEN = (
    "Grain, fog, creases, rub streaks, cut rims, dust and the way the scanner sees: a real print has them "
    "all.",
    "Coatings and lands that press between the beads: only lines with a closure law leave a mark here.",
    "How capsules answer to a slow tightening: the response curve is used as it was calibrated.",
)


def print_limits_section() -> Section:
    """Return what a predicted print does not see, and the cautions."""
    blocks = (Notes((*_PRINT_UNSEEN, *_PREDICTION_UNSEEN)), Cautions(_PREDICTION_CAUTIONS))
    return Section("limits", "What this model does not see, and cautions", blocks)


def flag_section() -> Section:
    """Return the explanations of the flags."""
    rows = tuple((flag.short, flag.meaning) for flag in FLAGS.values())
    table = Table(("flag", "what it means for the number beside it"), rows, "Reasons to doubt a number.")
    return Section("flags", "Flags", (table,))
