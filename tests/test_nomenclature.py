"""The nomenclature page: every public field with its unit and meaning, every flag explained."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
import numpy.typing as npt
from pydantic import Field

from docs import make_nomenclature
from firedeck.definition.quantities import Definition, Length, Pressure
from firedeck.evidence import FLAGS

TYPES = [cls for classes in make_nomenclature.public_types().values() for cls in classes]
FIELDS = [(cls, name) for cls in TYPES for name in make_nomenclature.field_types(cls)]


def test_every_field_has_a_meaning_and_a_unit():
    words = [word for cls in TYPES for word in make_nomenclature.words_of(cls)]
    silent = [f"{word.owner}.{word.name}" for word in words if not word.meaning]
    bare = [f"{word.owner}.{word.name}" for word in words if word.meaning and not word.unit]
    assert silent == [], "say what they mean in the Attributes section of the docstring"
    assert bare == [], "give the unit in brackets, [1] for a pure number"


def test_stated_unit_is_the_unit_of_the_type():
    wrong = []
    for cls, name in FIELDS:
        meaning = make_nomenclature.meaning_of(cls, name)
        typed = make_nomenclature.typed_unit(make_nomenclature.field_types(cls)[name])
        stated = make_nomenclature.stated_units(meaning) if typed and "written as" not in meaning else []
        units = {make_nomenclature.parse_unit(text.replace("pixels", "1")) for text in [*stated, typed]}
        if stated and len(units) > 1:
            wrong.append(f"{cls.__name__}.{name} is in {typed}, its docstring says {', '.join(stated)}")
    assert wrong == []


def test_page_is_in_step_with_the_code():
    written = make_nomenclature.PAGE.read_text(encoding="utf-8")
    assert written == make_nomenclature.page(), "run make pages"


def test_page_names_every_field_and_flag():
    written = make_nomenclature.PAGE.read_text(encoding="utf-8")
    for cls, name in FIELDS:
        section = written.split(f"\n### {cls.__name__}\n")[1].split("\n### ")[0]
        assert f"\n| `{name}` | " in section
    for flag in FLAGS.values():
        assert f"| `{flag.name}` | {flag.bit} | {flag.short} | {flag.meaning} |" in written


def test_flags_are_distinct_and_explained():
    assert len({flag.bit for flag in FLAGS.values()}) == len(FLAGS)
    assert all(flag.meaning.endswith(".") and len(flag.meaning) > 15 for flag in FLAGS.values())


def test_no_word_is_kept_for_a_type_or_field_that_is_gone():
    known = {cls.__name__: make_nomenclature.field_types(cls) for cls in TYPES}
    kept = {key: words for key, words in make_nomenclature.common_words().items() if key != "anywhere"}
    gone = [
        f"{cls}.{name}" for cls, words in kept.items() for name in words if name not in known.get(cls, {})
    ]
    assert gone == []


@dataclass(frozen=True)
class Sample:
    """Something measured; `loose` is what nobody said the unit of.

    Attributes
    ----------
    width, height : ndarray
        Size over
        all [mm].
    bits : ndarray
        Flags, see ``FLAGS[3]``.

    Notes
    -----
    Not a field.
    """

    width: npt.NDArray[np.float64]
    height: npt.NDArray[np.float64]
    bits: npt.NDArray[np.uint16]
    loose: float
    silent: str


class Plate(Definition):
    """A plate.

    Attributes
    ----------
    load : float
        Load per area.
    """

    depth: Length = Field(gt=0, description="how deep")
    load: Annotated[Pressure, Field(gt=0)] | None = None


def test_words_of_a_dataclass():
    words = {word.name: word for word in make_nomenclature.words_of(Sample)}
    assert (words["width"].unit, words["width"].meaning) == ("mm", "Size over all [mm].")
    assert words["height"] == make_nomenclature.Word("Sample", "height", "mm", "Size over all [mm].")
    assert words["bits"].unit == "1"
    assert (words["loose"].unit, words["loose"].meaning) == ("", "what nobody said the unit of")
    assert (words["silent"].unit, words["silent"].meaning) == (make_nomenclature.NO_UNIT, "")


def test_words_of_a_definition():
    depth, load = make_nomenclature.words_of(Plate)
    assert (depth.unit, depth.meaning) == ("mm", "how deep")
    assert (load.unit, load.meaning) == ("MPa", "Load per area.")
