"""The history of a text: steps that can be undone and done again, to the byte."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["MOST_STEPS", "History", "Step"]

#: Most steps that can be undone [1], and most characters that they may hold together [1].
MOST_STEPS = 300
_MOST_CHARACTERS = 8_000_000


@dataclass(frozen=True)
class Step:
    """One change of a text.

    Attributes
    ----------
    label : str
        What was done.
    at : int
        Where the change begins [characters].
    old, new : str
        What stood there, and what stands there since.
    burst : str
        Steps of one burst, such as the arrow keys held down, count as one; empty for a step of its own.
    """

    label: str
    at: int
    old: str
    new: str
    burst: str = ""


@dataclass
class History:
    """A text with the steps that led to it and those that were undone.

    Attributes
    ----------
    text : str
        The text as it stands.
    done : list of Step
        Steps that can be undone, the latest last.
    undone : list of Step
        Steps that can be done again, the next last.
    """

    text: str
    done: list[Step] = field(default_factory=list)
    undone: list[Step] = field(default_factory=list)

    def change(self, text: str, label: str, *, burst: str = "") -> None:
        """Take over a changed text as one step.

        Parameters
        ----------
        text : str
            The new text; nothing happens where it is the old one.
        label : str
            What was done.
        burst : str
            Joins the step before, where that is of the same burst.
        """
        if text == self.text:
            return
        before = self.text
        if burst and self.done and self.done[-1].burst == burst and not self.undone:
            before = _back(self.text, self.done.pop())
        self.text = text
        self.undone.clear()
        if text != before:
            self.done.append(_step(before, text, label, burst))
        self._forget()

    def undo(self) -> Step | None:
        """Take back the latest step and return it; None where there is none."""
        if not self.done:
            return None
        step = self.done.pop()
        self.text = _back(self.text, step)
        self.undone.append(step)
        return step

    def redo(self) -> Step | None:
        """Do the step again that was undone last and return it; None where there is none."""
        if not self.undone:
            return None
        step = self.undone.pop()
        self.text = _on(self.text, step)
        self.done.append(step)
        return step

    def _forget(self) -> None:
        size = sum(len(step.old) + len(step.new) for step in self.done)
        while self.done and (len(self.done) > MOST_STEPS or size > _MOST_CHARACTERS):
            oldest = self.done.pop(0)
            size -= len(oldest.old) + len(oldest.new)

    def plain(self) -> dict[str, object]:
        """Return the history as plain values, to be kept."""
        return {
            "text": self.text,
            "done": [[step.label, step.at, step.old, step.new] for step in self.done],
            "undone": [[step.label, step.at, step.old, step.new] for step in self.undone],
        }

    @classmethod
    def from_plain(cls, kept: Mapping[str, object]) -> History:
        """Return a history that was kept.

        Raises
        ------
        ValueError, KeyError, TypeError
            If it is none, or its steps do not lead to its text.
        """
        text = _text(kept["text"])
        history = cls(text, _steps(kept["done"]), _steps(kept["undone"]))
        for step in reversed(history.done):
            text = _back(text, step)
        text = history.text
        for step in reversed(history.undone):
            text = _on(text, step)
        return history


def _step(before: str, after: str, label: str, burst: str) -> Step:
    start = _shared(before, after)
    end = _shared(before[start:][::-1], after[start:][::-1])
    return Step(label, start, before[start : len(before) - end], after[start : len(after) - end], burst)


def _shared(first: str, second: str) -> int:
    """Return how many characters two texts share at their beginning."""
    low, high = 0, min(len(first), len(second))
    while low < high:
        middle = (low + high + 1) // 2
        if first[low:middle] == second[low:middle]:
            low = middle
        else:
            high = middle - 1
    return low


def _back(text: str, step: Step) -> str:
    return _swapped(text, step.at, step.new, step.old)


def _on(text: str, step: Step) -> str:
    return _swapped(text, step.at, step.old, step.new)


def _swapped(text: str, at: int, old: str, new: str) -> str:
    if at < 0 or not text.startswith(old, at):
        raise ValueError("the step does not belong to the text")
    return text[:at] + new + text[at + len(old) :]


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError("no text")
    return value


def _steps(value: object) -> list[Step]:
    if not isinstance(value, list):
        raise TypeError("no list of steps")
    return [Step(_text(label), int(at), _text(old), _text(new)) for label, at, old, new in value]
