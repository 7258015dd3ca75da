"""Telling a camera's picture from a scanner's by the data it carries.

Source of the tags: CIPA DC-008 / JEITA CP-3451 (Exif), attribute information; numbers from memory.
"""

from __future__ import annotations

from firedeck.errors import ScanError
from firedeck.files.tiff_directory import Directory

__all__ = ["camera_reason"]

_EXIF_DIRECTORY, _POSITION_DIRECTORY, _RAW_CAMERA_VERSION = 34665, 34853, 50706
_FILE_SOURCE = 41728
_SCANNER_SOURCES = (1, 2)
_CAMERA_SOURCE = 3
#: Exposure time, f-number, exposure programme, aperture, subject distance, focal length, lens.
_CAMERA_TAGS = (33434, 33437, 34850, 37378, 37382, 37386, 42036)

CAMERA = (
    "It carries a camera's exposure data: a camera's light, angle and lens shading are not "
    "those of a flatbed scanner, so no density can be read from it."
)


def camera_reason(directory: Directory) -> tuple[str, tuple[str, ...]]:
    """Say whether a picture was taken by a camera.

    Parameters
    ----------
    directory : Directory
        Tags of the picture, or of the camera data embedded in it.

    Returns
    -------
    reason : str
        Why nothing may be measured from it; empty if no camera shows. Maker and model alone show
        nothing, since scanners write theirs too.
    notes : tuple of str
        What could not be read.
    """
    try:
        return (CAMERA if _by_camera(directory) else ""), ()
    except ScanError:
        return "", ("The file's camera data is damaged and was ignored.",)


def _by_camera(directory: Directory) -> bool:
    if _RAW_CAMERA_VERSION in directory or _POSITION_DIRECTORY in directory:
        return True
    exif = directory.stream.child(directory, _EXIF_DIRECTORY)
    if exif is None:
        return False
    source = exif.number(_FILE_SOURCE, 0)
    if source in _SCANNER_SOURCES:
        return False
    return source == _CAMERA_SOURCE or any(tag in exif for tag in _CAMERA_TAGS)
