"""Everything that comes between the pressure and the picture, each of it able to be off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

__all__ = ["Disturbances", "Encoding", "Scanner"]

#: How codes stand for light.
Encoding = Literal["linear", "srgb", "gamma"]


@dataclass(frozen=True)
class Scanner:
    """A flatbed scanner and how its files are written.

    Attributes
    ----------
    name, settings : str
        As the records name them.
    dpi : float
        Resolution [1/inch].
    bits : int
        8 or 16.
    encoding : str
        How codes stand for light.
    gamma : float
        Exponent for ``gamma``.
    backing : str
        What lies behind the sheet: the ``white`` lid or a ``black`` card.
    blur : float
        Standard deviation of the scanner's blur [mm].
    noise : float
        Standard deviation of a pixel's light at full white [1]; falls with the root of the light.
    lamp_error : float
        Light lost at both ends of the scanner's lateral axis, the columns [1].
    exposure : float
        Gain; above about 1.1 the blank film is clipped.
    compression : str
        Of the TIFF file.
    resolution_tags : bool
        Whether the file says its resolution.
    """

    name: str = "bench scanner 2"
    settings: str = "reflective, all corrections off"
    dpi: float = 600.0
    bits: Literal[8, 16] = 16
    encoding: Encoding = "srgb"
    gamma: float = 2.2
    backing: Literal["white", "black"] = "white"
    blur: float = 0.035
    noise: float = 0.004
    lamp_error: float = 0.0
    exposure: float = 1.0
    compression: Literal["none", "deflate", "lzw"] = "none"
    resolution_tags: bool = True

    @property
    def per_mm(self) -> float:
        """Pixels per mm that the scanner claims."""
        return self.dpi / 25.4

    def code_of_light(
        self, light: np.ndarray[tuple[int, ...], np.dtype[np.float64]]
    ) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        """Return code values, not rounded, of light from 0 to 1.

        ``srgb`` is the transfer curve of IEC 61966-2-1:1999.
        """
        top = 2.0**self.bits - 1
        if self.encoding == "linear":
            return light * top
        if self.encoding == "gamma":
            return light ** (1 / self.gamma) * top
        curved = 1.055 * np.maximum(light, 0.0031308) ** (1 / 2.4) - 0.055
        return np.where(light <= 0.0031308, 12.92 * light, curved) * top


@dataclass(frozen=True)
class Disturbances:
    """What goes wrong with a print; lengths in mm, angles in degrees.

    Attributes
    ----------
    rotation : float
        Turn of the sheet on the glass, anticlockwise on the picture [degree].
    mirrored : bool
        Whether the side that faced the block is scanned.
    scale_error : tuple of float
        Relative error of the scan's pixel size along columns and rows [1].
    wobble : float
        Largest smooth geometric distortion [mm].
    border : tuple of float
        Film left beyond the outline, least and most [mm].
    edge_roughness, hole_roughness : float
        How unsteady the knife is [mm].
    hole_oversize : tuple of float
        Excess of a hole's diameter, least and most [mm].
    hole_shift : float
        Standard deviation of a hole's place in x and in y [mm].
    missing_holes, torn_holes : float
        Share of ports, fastener and dowel holes left uncut, and torn [1].
    rim_width : tuple of float
        Width of the dark rim along cut edges, least and most [mm].
    fog : float
        Density of this sheet's fog above that of the batch [1].
    sensitivity : float
        Relative excess of this sheet's sensitivity [1].
    curl : float
        Largest distance of film from glass [mm]; light falls by 1.2 % per mm.
    dust, creases, rubs, pen_marks : int
        How many.
    glass_margin : float
        Bare glass round the sheet [mm].
    """

    rotation: float = 0.0
    mirrored: bool = False
    scale_error: tuple[float, float] = (0.0, 0.0)
    wobble: float = 0.0
    border: tuple[float, float] = (7.0, 7.0)
    edge_roughness: float = 0.0
    hole_roughness: float = 0.0
    hole_oversize: tuple[float, float] = (1.0, 1.0)
    hole_shift: float = 0.0
    missing_holes: float = 0.0
    torn_holes: float = 0.0
    rim_width: tuple[float, float] = (0.0, 0.0)
    fog: float = 0.0
    sensitivity: float = 0.0
    curl: float = 0.0
    dust: int = 0
    creases: int = 0
    rubs: int = 0
    pen_marks: int = 0
    glass_margin: float = 4.0

    @classmethod
    def none(cls) -> Disturbances:
        """Return a print made without any fault; its holes are 1 mm oversize."""
        return cls()

    @classmethod
    def typical(cls, rng: np.random.Generator) -> Disturbances:
        """Return what a careful bench sees, drawn at random."""
        return cls(
            rotation=float(rng.choice([0.0, 90.0, 180.0, 270.0]) + rng.normal(0, 1.0)),
            mirrored=bool(rng.random() < 0.5),
            scale_error=(float(rng.uniform(-0.004, 0.004)), float(rng.uniform(-0.004, 0.004))),
            wobble=0.03,
            border=(6.0, 10.0),
            edge_roughness=0.35,
            hole_roughness=0.06,
            hole_oversize=(1.0, 2.0),
            hole_shift=0.3,
            missing_holes=0.05,
            torn_holes=0.04,
            rim_width=(0.2, 0.4),
            fog=float(rng.uniform(-0.02, 0.02)),
            curl=0.8,
            dust=25,
            creases=1,
            pen_marks=1,
        )

    @classmethod
    def harsh(cls, rng: np.random.Generator) -> Disturbances:
        """Return a bad day at the bench, drawn at random; every option is on."""
        return cls(
            rotation=float(rng.uniform(0, 360)),
            mirrored=bool(rng.random() < 0.5),
            scale_error=(float(rng.uniform(-0.01, 0.01)), float(rng.uniform(-0.01, 0.01))),
            wobble=0.05,
            border=(6.0, 10.0),
            edge_roughness=0.6,
            hole_roughness=0.1,
            hole_oversize=(1.0, 2.0),
            hole_shift=0.3,
            missing_holes=0.25,
            torn_holes=0.05,
            rim_width=(0.3, 0.5),
            fog=float(rng.uniform(-0.03, 0.03)),
            curl=2.5,
            dust=80,
            creases=3,
            rubs=3,
            pen_marks=2,
        )
