"""Reports whose pictures are put together and not drawn, where the same were drawn before."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from PIL import Image

from firedeck.study.prediction import pictures as predicted
from firedeck.study.prints import pictures as read


@contextmanager
def undrawn() -> Iterator[None]:
    """Let a blank stand for every picture of a print or prediction, which takes most of a report's time."""
    with pytest.MonkeyPatch.context() as patch:
        _blank_in(patch)
        yield


def stay_undrawn() -> None:
    """Do so in a process that is begun for such a report, to its end."""
    _blank_in(pytest.MonkeyPatch())


def _blank_in(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(read, "to_png_and_svg", lambda figure: _BLANK)
    patch.setattr(predicted, "to_png_bytes", lambda figure: _BLANK[0])


def _blank() -> tuple[bytes, bytes]:
    png = io.BytesIO()
    Image.new("RGB", (2, 2)).save(png, "png")
    return png.getvalue(), b"<svg xmlns='http://www.w3.org/2000/svg'/>"


_BLANK = _blank()
