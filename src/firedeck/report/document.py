"""A report as plain data: what stands on a page, in which order, without a word of how it looks."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "Block",
    "Cautions",
    "Cell",
    "Document",
    "Facts",
    "Headline",
    "Link",
    "Links",
    "Notes",
    "Paragraph",
    "Picture",
    "Section",
    "Table",
]


@dataclass(frozen=True)
class Cell:
    """One cell of a table; `state` is a verdict's word where the cell states one."""

    text: str
    state: str = ""


@dataclass(frozen=True)
class Table:
    """A table; units stand in the heads.

    Attributes
    ----------
    head : tuple of str
        Column heads.
    rows : tuple of tuple of (str or Cell)
        Rows, as long as the head.
    caption : str
        What the table shows.
    folded : bool
        Whether it is folded away until asked for; it prints nevertheless.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str | Cell, ...], ...]
    caption: str = ""
    folded: bool = False

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.head):
                raise ValueError(f"a row of {len(row)} cells under {len(self.head)} heads: {row}")


@dataclass(frozen=True)
class Picture:
    """A picture.

    Attributes
    ----------
    name : str
        Name of its file, without ending.
    png : bytes
        The picture.
    caption : str
        What it shows and how to read it.
    svg : bytes
        The picture in lines, kept beside the page; empty where there is none.
    """

    name: str
    png: bytes
    caption: str
    svg: bytes = b""


@dataclass(frozen=True)
class Facts:
    """Names and values."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Notes:
    """Sentences as a list."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class Cautions:
    """Sentences that must not be overlooked."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class Paragraph:
    """Running text."""

    text: str


@dataclass(frozen=True)
class Link:
    """A way to another page, relative to this one, with what is found there."""

    text: str
    target: str
    note: str = ""


@dataclass(frozen=True)
class Links:
    """Ways to other pages as a list."""

    items: tuple[Link, ...]


Block = Table | Picture | Facts | Notes | Cautions | Paragraph | Links


@dataclass(frozen=True)
class Section:
    """A part of the page under its own heading; `name` is its anchor."""

    name: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Headline:
    """The first line: a verdict's word where there is one, the line itself, and what must follow at once."""

    text: str
    state: str = ""
    lines: tuple[str, ...] = ()


@dataclass(frozen=True)
class Document:
    """A whole page.

    Attributes
    ----------
    title : str
        What the page is about.
    kind : str
        What kind of page it is, in a few words.
    headline : Headline
        Its first line.
    sections : tuple of Section
        Its parts.
    links : tuple of Link
        Ways to pages that belong with it.
    """

    title: str
    kind: str
    headline: Headline
    sections: tuple[Section, ...]
    links: tuple[Link, ...] = ()

    @property
    def pictures(self) -> tuple[Picture, ...]:
        """All pictures, in order."""
        blocks = [block for section in self.sections for block in section.blocks]
        return tuple(block for block in blocks if isinstance(block, Picture))
