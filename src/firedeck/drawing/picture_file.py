"""Finished pictures as files, or as text and bytes to be embedded in a page."""

from __future__ import annotations

import html
import io
import re
from pathlib import Path

from matplotlib.figure import Figure

from firedeck.drawing.style import house_style
from firedeck.errors import FiredeckError

__all__ = ["save", "to_png_and_svg", "to_png_bytes", "to_svg_text"]

_DPI = 200

#: How hard pictures are packed: half the time of the library's own level, for up to a sixth more space.
_PACKED = 3


def save(figure: Figure, path: str | Path) -> None:
    """Write a picture, as SVG or PNG by the file's ending.

    Parameters
    ----------
    figure : Figure
        The picture.
    path : str or Path
        File ending in ``.svg`` or ``.png``.

    Raises
    ------
    FiredeckError
        If the ending is another, or the file cannot be written.
    """
    ending = Path(path).suffix.lower()
    if ending not in (".svg", ".png"):
        raise FiredeckError(
            "pictures are written as SVG or PNG", where=str(path), remedy="let the name end in .svg or .png"
        )
    content = to_png_bytes(figure) if ending == ".png" else _svg_file(figure).encode()
    try:
        Path(path).write_bytes(content)
    except OSError as fault:
        reason = (fault.strerror or type(fault).__name__).lower()
        raise FiredeckError(
            f"the picture cannot be written ({reason})", where=str(path), remedy="check folder and rights"
        ) from fault


def to_png_bytes(figure: Figure, *, dpi: float = _DPI) -> bytes:
    """Return a picture as PNG at a resolution [pixels/inch]."""
    target = io.BytesIO()
    with house_style():
        figure.savefig(
            target, format="png", dpi=dpi, metadata={"Software": None}, pil_kwargs={"compress_level": _PACKED}
        )
    return target.getvalue()


def to_png_and_svg(figure: Figure) -> tuple[bytes, bytes]:
    """Return a picture as PNG and as the text of an SVG file; what is cells stays a picture of them there.

    The figure is laid out once: it takes no changes afterwards.
    """
    png = to_png_bytes(figure)
    # What the first drawing placed stays where it is: to lay it out again takes longer than to draw it.
    figure.set_layout_engine("none")
    return png, _svg_file(figure).encode()


def to_svg_text(figure: Figure, name: str, *, label: str = "") -> str:
    """Return a picture as an ``<svg>`` element for a page.

    Parameters
    ----------
    figure : Figure
        The picture.
    name : str
        Name of the picture on its page, a word; put before all its marks so that two pictures
        on one page do not take each other's.
    label : str
        What the picture shows, for those who cannot see it.

    Returns
    -------
    str
        The element, without a file's preamble.
    """
    text = _svg_file(figure)
    text = text[text.index("<svg") :]
    text = re.sub(r'(\bid="|url\(#|href="#)', rf"\g<1>{name}-", text)
    described = html.escape(label or name, quote=True)
    return text.replace("<svg", f'<svg role="img" aria-label="{described}"', 1)


def _svg_file(figure: Figure) -> str:
    target = io.StringIO()
    with house_style():
        figure.savefig(target, format="svg", metadata={"Date": None, "Creator": None})
    return target.getvalue()
