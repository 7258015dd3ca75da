"""A definition's text taken over as a whole, as it was typed on a page."""

from __future__ import annotations

import re

__all__ = ["retype"]


def retype(text: str, typed: str) -> str:
    """Take over a text that was typed as a whole; lines that are the same keep their line ending.

    Parameters
    ----------
    text : str
        The text.
    typed : str
        What was typed, its lines ended as a browser does.

    Returns
    -------
    str
        The new text, in the line ending of the old one.
    """
    ending = "\r\n" if "\r\n" in text else "\n"
    old = re.findall(r"[^\n]*\n|[^\n]+", text)
    new = re.findall(r"[^\n]*\n|[^\n]+", re.sub(r"\r\n?", "\n", typed))
    plain = [line.replace("\r\n", "\n") for line in old]
    shorter = min(len(old), len(new))
    head = next((k for k in range(shorter) if plain[k] != new[k]), shorter)
    rest = shorter - head
    tail = next((k for k in range(rest) if plain[-1 - k] != new[-1 - k]), rest)
    middle = [line.replace("\n", ending) for line in new[head : len(new) - tail]]
    return "".join([*old[:head], *middle, *old[len(old) - tail :]])
