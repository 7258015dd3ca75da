"""A scan as a small picture to be looked at, never measured on."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from firedeck.film.picture import ScanPicture

__all__ = ["jpeg_of"]

_QUALITY = 80


def jpeg_of(picture: ScanPicture) -> bytes:
    """Return the measuring channel of a scan as a grey JPEG, upright as scanned.

    Parameters
    ----------
    picture : ScanPicture
        The scan.

    Returns
    -------
    bytes
        The file.
    """
    shown = np.rint(255 * np.clip(picture.fine, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    target = io.BytesIO()
    Image.fromarray(shown).save(target, "JPEG", quality=_QUALITY)
    return target.getvalue()
