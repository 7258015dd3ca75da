"""Reports of prints whose pictures are put together and not drawn, where the same were drawn before."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from PIL import Image

from firedeck.study.prints import pictures


@contextmanager
def undrawn() -> Iterator[None]:
    """Let a blank stand for every picture of a print; to draw them takes longer than all else of a report."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pictures, "to_png_and_svg", lambda figure: _BLANK)
        yield


def _blank() -> tuple[bytes, bytes]:
    png = io.BytesIO()
    Image.new("RGB", (2, 2)).save(png, "png")
    return png.getvalue(), b"<svg xmlns='http://www.w3.org/2000/svg'/>"


_BLANK = _blank()
