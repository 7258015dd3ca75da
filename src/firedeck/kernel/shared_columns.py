"""Elimination of the first columns of a large front, its strips shared among threads."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from functools import partial

import numpy as np
import numpy.typing as npt

from firedeck.kernel.dense import Routines, divide_rows, factor_columns, subtract_product
from firedeck.kernel.threads import row_bands

__all__ = ["eliminate_shared"]

Floats = npt.NDArray[np.float64]

#: Columns of a front that are eliminated at a time, and worked on side by side with others [1].
_BAND = 306


def eliminate_shared(panel: Floats, left: Floats, call: Routines, pool: ThreadPoolExecutor) -> bool:
    """Eliminate the first columns of a symmetric front; return whether they were positive definite.

    Bands of columns one after the other, strips of what follows side by side. The rest of the front is
    changed by all bands at once. What comes out does not depend on how many threads there are.

    Parameters
    ----------
    panel : ndarray, shape (k, n)
        First columns of the front, one to a row; from the diagonal on used, replaced by the factor's.
    left : ndarray, shape (n - k, n - k)
        Rest of the front, a column to a row, from the diagonal on changed by the elimination.
    call : Routines
        What does the work.
    pool : ThreadPoolExecutor
        The threads.
    """
    count, size = panel.shape
    for band in row_bands(count, _BAND):
        own, rest = panel[band, band.start :], panel[band.stop :, band.stop :]
        if not factor_columns(own, call):
            return False
        list(pool.map(partial(_divide, own, call), row_bands(size - band.stop, _BAND)))
        list(pool.map(partial(_subtract, own, rest, call), row_bands(len(rest), _BAND)))
    list(pool.map(partial(_subtract, panel, left, call), row_bands(len(left), _BAND)))
    return True


def _divide(panel: Floats, call: Routines, strip: slice) -> None:
    divide_rows(panel, strip.start, strip.stop, call)


def _subtract(panel: Floats, rest: Floats, call: Routines, strip: slice) -> None:
    subtract_product(panel, rest, strip.start, strip.stop, call)
