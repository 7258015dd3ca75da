"""How the film answers: pressure bursts capsules, burst capsules make dye, dye takes light."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import erfinv, ndtr

from firedeck.scenario.compiled import FloatArray, MapArray

__all__ = ["SHARE_STEPS", "SHARE_TOP_MPA", "FilmChemistry"]

#: Upper end [MPa] and steps of the table that holds burst share against pressure.
SHARE_TOP_MPA = 400.0
SHARE_STEPS = 8000


@dataclass(frozen=True)
class FilmChemistry:
    """One film's true answer, unknown to whoever reads the print.

    Capsules burst at pressures spread log-normally; light is taken by the dyed share of the area and
    sent back by the rest, so that reflectances mix and densities do not (Murray and Davies, 1936, as
    the mixing rule is known; from memory, not checked).

    Attributes
    ----------
    median : float
        Pressure that bursts half of the capsules [MPa].
    spread : float
        Standard deviation of the natural logarithm of the bursting pressure [1].
    full_density : tuple of float
        Net density in red, green, blue once all capsules burst [1].
    blank : tuple of float
        Reflectance of the film without any dye over a white backing [1].
    blank_over_black : tuple of float
        The same over black.
    fog : float
        Green density that dye from capsules broken in handling adds on a sheet [1].
    clump : float
        Size of the clumps of capsules that burst together [mm].
    edge_ring : float
        Relative excess of pressure at the very edge of a calibration disc [1].
    """

    median: float = 33.0
    spread: float = 0.75
    full_density: tuple[float, float, float] = (0.09, 1.30, 0.62)
    blank: tuple[float, float, float] = (0.905, 0.872, 0.858)
    blank_over_black: tuple[float, float, float] = (0.815, 0.776, 0.765)
    fog: float = 0.045
    clump: float = 0.014
    edge_ring: float = 0.12

    def burst_share(self, pressure: npt.ArrayLike, sensitivity: float = 0.0) -> FloatArray:
        """Return the share of capsules [1] burst at a pressure [MPa].

        Parameters
        ----------
        pressure : array_like
            Highest pressure felt [MPa].
        sensitivity : float
            Relative excess of a sheet's sensitivity [1]: it answers as if to that much more pressure.
        """
        seen = np.maximum(np.asarray(pressure, dtype=float) * (1 + sensitivity), 1e-12)
        return np.asarray(ndtr(np.log(seen / self.median) / self.spread))

    def pressure_of_share(self, share: npt.ArrayLike) -> FloatArray:
        """Return the pressure [MPa] that bursts a share of the capsules [1]."""
        normal = np.sqrt(2) * erfinv(2 * np.asarray(share, dtype=float) - 1)
        return np.asarray(self.median * np.exp(self.spread * normal))

    def share_table(self, sensitivity: float = 0.0) -> MapArray:
        """Return the burst share at `SHARE_STEPS` + 1 pressures from 0 to `SHARE_TOP_MPA`."""
        pressure = np.linspace(0, SHARE_TOP_MPA, SHARE_STEPS + 1)
        return self.burst_share(pressure, sensitivity).astype(np.float32)

    def fog_share(self, extra_density: float = 0.0) -> float:
        """Return the dyed share [1] of a sheet's fog, `extra_density` [1] above the batch's own."""
        density = max(self.fog + extra_density, 0.0)
        return float((1 - 10.0**-density) / (1 - 10.0 ** -self.full_density[1]))

    def colours(self, backing: str) -> tuple[FloatArray, FloatArray]:
        """Return reflectance [1] in red, green, blue of undyed and of fully dyed film over a backing."""
        blank = np.array(self.blank_over_black if backing == "black" else self.blank)
        return blank, blank * 10.0 ** -np.array(self.full_density)

    def reflectance(self, share: npt.ArrayLike, backing: str = "white") -> FloatArray:
        """Return reflectance [1] of film dyed over a share of its area; last axis red, green, blue."""
        blank, dyed = self.colours(backing)
        return np.asarray(blank + np.asarray(share, dtype=float)[..., None] * (dyed - blank))

    def grain(self, share: npt.ArrayLike, pixel_area: float) -> FloatArray:
        """Return the standard deviation of the dyed share [1] averaged over 1 mm^2."""
        share = np.asarray(share, dtype=float)
        return np.asarray(np.sqrt(share * (1 - share) * pixel_area / self.clumps(pixel_area)))

    def clumps(self, pixel_area: float) -> int:
        """Return how many clumps a scan pixel of an area [mm^2] holds; each bursts or does not."""
        return max(1, round(pixel_area / self.clump**2))
