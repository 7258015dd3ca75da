"""How long work tells how far it has come."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Progress", "silent"]

#: Called with what is being done and the share done of it [1].
Progress = Callable[[str, float], None]


def silent(_what: str, _share: float) -> None:
    """Report no progress."""
