"""Standard normal values that fill their space evenly."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

__all__ = ["normal_draws"]


def normal_draws(count: int, inputs: int) -> npt.NDArray[np.float64]:
    """Return draws of independent standard normal inputs, shape (count, inputs) [1].

    A Latin hypercube, the same each time: the strata of every input are each met once.
    """
    # The library's statistics load slowly, and most who load this module draw nothing.
    from scipy.stats.qmc import LatinHypercube

    return np.asarray(ndtri(LatinHypercube(inputs, rng=np.random.default_rng(0)).random(count)))
