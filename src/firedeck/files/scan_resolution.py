"""Which resolution a scan has, and whether to believe it.

A wrong resolution scales every length and, squared, every force. So a figure that no flatbed
scanner works at is not taken, and one that programs write when they know nothing is pointed out.
"""

from __future__ import annotations

from firedeck.errors import ScanError

__all__ = ["check_given_resolution", "credible_resolution", "differing_note", "in_dpi"]

_MM_PER_INCH = 25.4
#: Flatbed scanners work between these [pixel/inch] (common practice, no source).
_LOWEST_DPI, _HIGHEST_DPI = 50.0, 10_000.0
#: What programs write for want of a real figure [pixel/inch] (common practice, no source).
_PLACEHOLDERS_DPI = (72.0, 96.0)


def in_dpi(per_mm: float) -> float:
    """Return a resolution [pixel/mm] in pixels per inch."""
    return per_mm * _MM_PER_INCH


def _shown(resolution: tuple[float, float]) -> str:
    x, y = (f"{in_dpi(part):.6g}" for part in resolution)
    return f"{x} dpi" if x == y else f"{x} by {y} dpi"


def _possible(resolution: tuple[float, float]) -> bool:
    return all(_LOWEST_DPI <= in_dpi(part) <= _HIGHEST_DPI for part in resolution)


def credible_resolution(
    x: float | None, y: float | None
) -> tuple[tuple[float, float] | None, tuple[str, ...]]:
    """Judge the resolution a file states.

    Parameters
    ----------
    x, y : float or None
        Stated resolution along rows and columns [pixel/mm]; None if not stated.

    Returns
    -------
    resolution : tuple of float or None
        The same figures if they can be a scanner's [pixel/mm].
    notes : tuple of str
        What is odd about them.
    """
    if not x and not y:
        return None, ("The file does not state its resolution.",)
    resolution = (x or y or 0.0, y or x or 0.0)
    if not _possible(resolution):
        return None, (
            f"The file states {_shown(resolution)}, which no flatbed scanner works at; this is not used.",
        )
    notes: list[str] = []
    if not (x and y):
        notes.append("The file states its resolution along one axis only; both are taken to be the same.")
    if any(abs(in_dpi(part) - odd) < 0.5 for part in resolution for odd in _PLACEHOLDERS_DPI):
        notes.append(
            f"The file states {_shown(resolution)}, which many programs write when they do not know "
            "the resolution; check it against a known length."
        )
    if abs(resolution[0] / resolution[1] - 1.0) > 1e-4:
        notes.append(
            f"The resolution differs between the axes: {_shown(resolution)} along stored rows and columns."
        )
    return resolution, tuple(notes)


def check_given_resolution(resolution: tuple[float, float], name: str) -> None:
    """Refuse a given resolution [pixel/mm] that cannot be a scanner's.

    Raises
    ------
    ScanError
        If either axis is outside 50 to 10 000 pixels per inch.
    """
    if not _possible(resolution):
        raise ScanError(
            f"the resolution given for it, {_shown(resolution)}, is one no flatbed scanner works at",
            where=name,
            remedy="give the resolution the scanner was set to, commonly 300 to 1200 dpi",
        )


def differing_note(given: tuple[float, float], stated: tuple[float, float] | None) -> tuple[str, ...]:
    """Say so if a given resolution overrules another one in the file; both upright [pixel/mm]."""
    if stated is None or all(abs(g / s - 1.0) < 1e-3 for g, s in zip(given, stated, strict=True)):
        return ()
    return (f"The file states {_shown(stated)}; the given {_shown(given)} is used instead.",)
