"""Which paper a definition file is, from what its text says of itself."""

from __future__ import annotations

import re
from pathlib import Path

from firedeck.definition.quantities import Definition
from firedeck.errors import FiredeckError
from firedeck.files.definition_file import parse_text
from firedeck.files.definition_kinds import KINDS
from firedeck.study.bench import Bench
from firedeck.study.editing.deck_paper import DECK_PAPER
from firedeck.study.editing.found import Found
from firedeck.study.editing.gasket_paper import GasketPaper
from firedeck.study.editing.paper import Paper
from firedeck.study.editing.plain_paper import PlainPaper

__all__ = ["kind_said", "paper_of", "plan_of"]


def kind_said(text: str) -> str:
    """Return the word under ``kind`` of a text, whether it reads or not; empty for none that is known."""
    try:
        kind = parse_text("the file", text).get("kind")
    except FiredeckError:
        found = re.search(r"""^kind\s*=\s*["']([\w-]+)["']""", text, re.MULTILINE)
        kind = found[1] if found else ""
    return kind if isinstance(kind, str) and kind in KINDS else ""


def paper_of(bench: Bench, name: str, text: str, plan: str = "") -> Paper:
    """Return what a file is to be edited as.

    Parameters
    ----------
    bench : Bench
        Where it stands.
    name : str
        Its name.
    text : str
        Its text, as edited.
    plan : str
        File name of the deck plan that a gasket is shown on; empty for that which other files set beside it.

    Returns
    -------
    Paper
        What it is edited as; one that does not say what it defines too.
    """
    kind = kind_said(text)
    if kind == "deck-plan":
        return DECK_PAPER
    if kind == "gasket":
        return GasketPaper(_text(bench, plan or plan_of(bench, name)))
    return PlainPaper(KINDS[kind], kind.replace("-", " ")) if kind else UnsaidPaper()


class UnsaidPaper(PlainPaper):
    """A file that does not say what it defines: its text can be mended."""

    def __init__(self) -> None:
        super().__init__(Definition, "definition of a known kind")

    def read(self, name: str, text: str) -> Definition | tuple[Found, ...]:
        """Return what is wrong: the text's first slip, or that the kind is missing."""
        read = super().read(name, text)
        if isinstance(read, tuple) and read and read[0].key.startswith("line "):
            return read
        remedy = f"write kind as one of: {', '.join(KINDS)}"
        return (Found("unreadable", "kind", "file", 1, "the file does not say what it defines", remedy),)


def plan_of(bench: Bench, gasket: str) -> str:
    """Return the deck plan that a gasket is for: the file named beside it, or the first of the bench."""
    for file in bench.files():
        if file.kind in ("film-test", "prediction", "fastening"):
            data = _data(bench, file.name)
            deck = data.get("deck")
            if data.get("gasket") == gasket and isinstance(deck, str) and Path(deck).name == deck:
                return deck
    plans = [file.name for file in bench.files() if file.kind == "deck-plan"]
    return plans[0] if plans else ""


def _data(bench: Bench, name: str) -> dict[str, object]:
    try:
        return parse_text(name, _text(bench, name))
    except FiredeckError:
        return {}


def _text(bench: Bench, name: str) -> str:
    try:
        return bench.existing(name).read_text(encoding="utf-8-sig") if name else ""
    except (OSError, ValueError, FiredeckError):
        return ""
