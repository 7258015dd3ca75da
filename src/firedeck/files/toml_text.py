"""What a TOML text says, the latest texts remembered: editing reads each of them several times over."""

from __future__ import annotations

import functools
import tomllib
from typing import Any

__all__ = ["read_toml"]


@functools.lru_cache(maxsize=8)
def read_toml(text: str) -> dict[str, Any]:
    """Return what a TOML text says.

    Parameters
    ----------
    text : str
        The text.

    Returns
    -------
    dict
        What it says; not to be changed, as others are given the same.

    Raises
    ------
    tomllib.TOMLDecodeError
        If it is no TOML.
    """
    return tomllib.loads(text)
