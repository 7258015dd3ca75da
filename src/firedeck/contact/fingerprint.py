"""Hash of what a condensed body depends on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

__all__ = ["fingerprint"]


def fingerprint(words: Sequence[Any], arrays: Iterable[npt.NDArray[Any]]) -> str:
    """Return a hash of words, numbers and arrays in hexadecimal.

    Parameters
    ----------
    words : sequence
        What JSON can hold.
    arrays : iterable of ndarray
        Arrays; their shapes count as well as their bytes.
    """
    digest = hashlib.sha256(json.dumps(words).encode())
    for array in arrays:
        digest.update(str(array.shape).encode())
        digest.update(np.ascontiguousarray(array).data)
    return digest.hexdigest()
