"""Where in a TOML text everything stands: every value, statement and table by its path.

The reader of the standard library says what a text means but not where; this says where, of a text that
reads, so that one value can be changed and every other byte left as it was written.
"""

from __future__ import annotations

import functools
import re
import tomllib
from dataclasses import dataclass, field

__all__ = ["Path", "Places", "Span", "find_places", "line_of"]

#: Keys and indices from 0, such as ``("bore", 2, "diameter")``.
Path = tuple[str | int, ...]

_SPACE = re.compile(r"[ \t]*")
_BETWEEN = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE = r"[A-Za-z0-9_-]+"
_BASIC = r'"(?:[^"\\\n]|\\.)*"'
_LITERAL = r"'[^'\n]*'"
_KEY_PART = re.compile(rf"{_BARE}|{_BASIC}|{_LITERAL}")
_LONG_BASIC = r'"""(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}'
_LONG_LITERAL = r"'''(?:[^']|'{1,2}(?!'))*'{3,5}"
_TEXT = re.compile(rf"{_LONG_BASIC}|{_LONG_LITERAL}|{_BASIC}|{_LITERAL}", re.DOTALL)
_NUMBER = r"[+-]?[\d_]+(?:\.[\d_]+)?"
_PAIR = re.compile(rf"\[[ \t]*({_NUMBER})[ \t]*,[ \t]*({_NUMBER})[ \t]*\]")
_BARE_VALUE = re.compile(r"[^,\]}#\r\n]+")


@dataclass(frozen=True)
class Span:
    """A stretch of the text, from the first character to behind the last."""

    start: int
    end: int


@dataclass
class Places:
    """Where everything of a text stands.

    Attributes
    ----------
    values : dict of Path to Span
        Every value, those within arrays and inline tables too.
    statements : dict of Path to Span
        Every key with its value where it is a statement of its own line.
    tables : dict of Path to Span
        Every table that has a heading, from the heading to the end of its last own statement.
    """

    values: dict[Path, Span] = field(default_factory=dict)
    statements: dict[Path, Span] = field(default_factory=dict)
    tables: dict[Path, Span] = field(default_factory=dict)

    def nearest(self, path: Path) -> Span | None:
        """Return where a path stands, or the innermost of what holds it; None for the whole text."""
        while path:
            for known in (self.statements, self.values, self.tables):
                if path in known:
                    return known[path]
            path = path[:-1]
        return None

    def entry(self, path: Path) -> Span | None:
        """Return a table with all tables within it; None where it has no heading."""
        own = self.tables.get(path)
        if own is None:
            return None
        inner = (span.end for known, span in self.tables.items() if known[: len(path)] == path)
        return Span(own.start, max(inner))


def line_of(text: str, at: int) -> int:
    """Return the number of the line, from 1, that a place of the text lies on."""
    return text.count("\n", 0, at) + 1


@functools.lru_cache(maxsize=8)
def find_places(text: str) -> Places:
    """Find where everything of a TOML text stands; of the latest texts it is remembered.

    Parameters
    ----------
    text : str
        A text that reads as TOML; of any other the places mean nothing.

    Returns
    -------
    Places
        The places; not to be changed, as others are given the same.
    """
    scanner = _Scanner(text)
    scanner.run()
    return scanner.places


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.places = Places()
        self.table: Path = ()
        self.counts: dict[Path, int] = {}

    def run(self) -> None:
        self._skip(_BETWEEN)
        while self.at < len(self.text):
            start = self.at
            if self.text[self.at] == "[":
                self._heading()
            else:
                self._statement()
            if self.at == start:
                return  # no TOML; nothing that follows can be told apart
            self._skip(_BETWEEN)

    def _skip(self, pattern: re.Pattern[str]) -> None:
        found = pattern.match(self.text, self.at)
        self.at = found.end() if found else self.at

    def _take(self, sign: str) -> bool:
        there = self.text.startswith(sign, self.at)
        self.at += len(sign) if there else 0
        return there

    def _key(self) -> tuple[str, ...]:
        parts: list[str] = []
        while found := _KEY_PART.match(self.text, self.at):
            part = found[0]
            parts.append(next(iter(tomllib.loads(f"{part} = 0"))) if part[0] in "\"'" else part)
            self.at = found.end()
            self._skip(_SPACE)
            if not self._take("."):
                break
            self._skip(_SPACE)
        return tuple(parts)

    def _heading(self) -> None:
        start = self.at
        several = self._take("[[")
        if not several:
            self._take("[")
        self._skip(_SPACE)
        path = self._resolved(self._key(), several=several)
        self._take("]]" if several else "]")
        self.table = path
        self.places.tables[path] = Span(start, self.at)

    def _resolved(self, key: tuple[str, ...], *, several: bool) -> Path:
        """Put in the number of the entry wherever a key stands for a list of tables."""
        path: Path = ()
        for place, part in enumerate(key):
            path += (part,)
            if several and place == len(key) - 1:
                self.counts[path] = self.counts.get(path, 0) + 1
            if path in self.counts:
                path += (self.counts[path] - 1,)
        return path

    def _statement(self) -> None:
        start = self.at
        path = self.table + self._key()
        self._take("=")
        self._skip(_SPACE)
        self._value(path)
        self.places.statements[path] = Span(start, self.at)
        known = self.places.tables.get(self.table, Span(start, self.at))
        self.places.tables[self.table] = Span(known.start, self.at)

    def _value(self, path: Path) -> None:
        start = self.at
        if pair := _PAIR.match(self.text, self.at):
            self._pair(path, pair)
        elif self._take("["):
            self._array(path)
        elif self._take("{"):
            self._inline_table(path)
        elif found := _TEXT.match(self.text, self.at):
            self.at = found.end()
        elif found := _BARE_VALUE.match(self.text, self.at):
            self.at += len(found[0].rstrip())
        self.places.values[path] = Span(start, self.at)

    def _pair(self, path: Path, pair: re.Match[str]) -> None:
        """Take a plain point in one go: most of a plan's values are points."""
        for place in (0, 1):
            self.places.values[(*path, place)] = Span(*pair.span(place + 1))
        self.at = pair.end()

    def _array(self, path: Path) -> None:
        count = 0
        self._skip(_BETWEEN)
        while self.at < len(self.text) and not self._take("]"):
            start = self.at
            self._value((*path, count))
            count += 1
            self._skip(_BETWEEN)
            self._take(",")
            self._skip(_BETWEEN)
            if self.at == start:
                return

    def _inline_table(self, path: Path) -> None:
        self._skip(_BETWEEN)
        while self.at < len(self.text) and not self._take("}"):
            start = self.at
            inner = path + self._key()
            self._take("=")
            self._skip(_SPACE)
            self._value(inner)
            self._skip(_BETWEEN)
            self._take(",")
            self._skip(_BETWEEN)
            if self.at == start:
                return
