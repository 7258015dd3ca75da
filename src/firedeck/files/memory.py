"""How much memory the machine has left."""

from __future__ import annotations

from pathlib import Path

__all__ = ["available_memory"]


def available_memory() -> float | None:
    """Return the memory that programs can still take [byte]; None where the machine does not say."""
    try:
        lines = Path("/proc/meminfo").read_text(encoding="ascii").splitlines()
    except (OSError, UnicodeDecodeError):
        return None
    known = {line.partition(":")[0]: line.split()[1] for line in lines if len(line.split()) > 1}
    return float(known["MemAvailable"]) * 1024.0 if "MemAvailable" in known else None
