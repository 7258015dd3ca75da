"""What a narrow line presses into a face, over what a grid of wide cells lets it press.

An even strip of line load q and width w sinks into a half-space, on average over the strip, by
``2 q / (pi E*) (3/2 - ln w)`` and a term that depends on the surroundings alone (K. L. Johnson,
Contact Mechanics, section 2.4; from memory). Nodes a pitch apart take a line as a strip about as
wide as the pitch, whatever the seal is in truth; the difference is a spring under every point.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

__all__ = ["line_compliance"]

#: Width of the strip that a line's mean sinking into the bricks is that of, in pitches: 1.01 to 1.07 for
#: cells 0.75 to 1.5 times as high as wide, found on a half-space of such bricks in plane strain [1].
STRIP_OF_A_CELL = 1.03


def line_compliance(width: float, pitch: float, bodies: Iterable[tuple[float, float]]) -> float:
    """Return how much further both faces give way under a line than the grid's nodes show [mm per N/mm].

    Parameters
    ----------
    width : float
        Width on which the line presses [mm]; 0 where it is not known, and then nothing is added.
    pitch : float
        Side of the grid's cells [mm].
    bodies : iterable of tuple of float
        Young's modulus [MPa] and Poisson's ratio [1] of either body.
    """
    if width <= 0.0 or STRIP_OF_A_CELL * pitch <= width:
        return 0.0
    share = sum(2.0 * (1.0 - poisson**2) / (math.pi * modulus) for modulus, poisson in bodies)
    return share * math.log(STRIP_OF_A_CELL * pitch / width)
