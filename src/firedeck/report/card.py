"""The tightening card: one page for the bench, as a web page and as PDF."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from pathlib import Path

import matplotlib as mpl
from markupsafe import Markup

from firedeck import __version__
from firedeck.report.templates import beside, environment, style_of

__all__ = ["CardRow", "TighteningCard", "render_card_html", "render_card_pdf"]


@dataclass(frozen=True)
class CardRow:
    """One round of the tightening, or one fastener's own torque.

    Attributes
    ----------
    number : str
        Number of the round, or place in the sequence.
    what : str
        Which fasteners.
    action : str
        What is done, for example ``105 N·m``.
    other : str
        The same in the other unit, for example ``77 lbf·ft``; empty where there is none.
    note : str
        What to mind.
    """

    number: str
    what: str
    action: str
    other: str = ""
    note: str = ""


@dataclass(frozen=True)
class TighteningCard:
    """What stands on the card.

    Attributes
    ----------
    title, joint : str
        The fastening and the joint it is for.
    facts : tuple of (str, str)
        Fasteners, lubricant, preload aimed at.
    rounds : tuple of CardRow
        Rounds in order.
    each : tuple of CardRow
        Torques of single fasteners, where the last round has them; else empty.
    stop : str
        The torque that must not be passed; empty where none is known.
    after : tuple of str
        What to do once it is tight.
    cautions : tuple of str
        Sentences that must not be overlooked.
    picture : str
        The order on the deck plan, as an ``<svg>`` element.
    origin : str
        What the plan's origin is on the real part.
    mark : str
        What identifies the card's input.
    """

    title: str
    joint: str
    facts: tuple[tuple[str, str], ...]
    rounds: tuple[CardRow, ...]
    each: tuple[CardRow, ...]
    stop: str
    after: tuple[str, ...]
    cautions: tuple[str, ...]
    picture: str
    origin: str
    mark: str


def render_card_html(card: TighteningCard) -> str:
    """Return the card as a single HTML page that prints on one sheet: no script, no request to anywhere."""
    page = environment().get_template("card.html.j2")
    return page.render(card=card, picture=Markup(card.picture), style=style_of("card"), version=__version__)


def render_card_pdf(card: TighteningCard) -> bytes:
    """Return the card as PDF, set in the font that the drawing library ships; nothing is fetched."""
    import typst

    source = beside("card.typ").encode()
    shipped = Path(mpl.get_data_path()) / "fonts" / "ttf"
    fonts = typst.Fonts(include_system_fonts=False, font_paths=[str(shipped)])
    content = json.dumps({**dataclasses.asdict(card), "version": __version__}, ensure_ascii=False)
    return typst.compile(source, font_paths=fonts, sys_inputs={"card": content}, format="pdf")
