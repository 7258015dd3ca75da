"""A new deck plan from the text of another."""

from __future__ import annotations

from firedeck.definition.deck import DeckPlan
from firedeck.files.definition_file import check_definition, parse_text, replace_file
from firedeck.files.definition_splice import put_value
from firedeck.study.bench import Bench

__all__ = ["new_plan"]


def new_plan(bench: Bench, file: str, text: str) -> str:
    """Write a new deck plan that begins as a copy of a text.

    Parameters
    ----------
    bench : Bench
        Where to.
    file : str
        Name of the new file, with or without its ending; the plan is called so too.
    text : str
        Text of the plan that it begins from.

    Returns
    -------
    str
        Name of the file.

    Raises
    ------
    FiredeckError
        If the name cannot be used, or the text defines no plan; nothing is written then.
    """
    name = f"{file.strip().removesuffix('.toml')}.toml"
    path = bench.new_file(name)
    changed = put_value(text, ("name",), name.removesuffix(".toml"))
    check_definition(name, parse_text(name, changed), DeckPlan)
    replace_file(path, name, changed)
    return name
