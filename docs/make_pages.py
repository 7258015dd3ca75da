"""Write the generated pages again: run by ``make pages``."""

from __future__ import annotations

from pathlib import Path

from docs import make_commands, make_nomenclature
from firedeck.cli import EXIT_CODES, app


def pages() -> dict[Path, str]:
    """Return the text of every generated page by its path."""
    return {
        make_nomenclature.PAGE: make_nomenclature.page(),
        make_commands.PAGE: make_commands.page(app, EXIT_CODES),
    }


if __name__ == "__main__":
    for path, text in pages().items():
        path.parent.mkdir(parents=True, exist_ok=True)
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")
            print(f"written: {path}")
