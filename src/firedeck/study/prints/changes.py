"""What a new reading of a print says otherwise than the one before, and what was given otherwise."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

from firedeck.study.prints.stored_record import FORMAT, RECORD_NAME

__all__ = ["changes_between", "earlier_record"]

Record = dict[str, Any]

#: Line loads that are compared: key in the record, words.
_LOADS = {"weakest": "weakest place", "mean": "mean line load"}


def earlier_record(folder: Path) -> Record | None:
    """Return what a report's folder keeps of its reading; None where there is none that can be compared."""
    try:
        record = json.loads((folder / RECORD_NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return record if isinstance(record, dict) and record.get("format") == FORMAT else None


def changes_between(before: Record, now: Record) -> dict[str, object]:
    """Compare two records of the same film test.

    Parameters
    ----------
    before, now : dict
        What `store_reading` keeps.

    Returns
    -------
    dict
        ``given``: sentences on what was given otherwise; ``rows``: one dict for every seal whose verdict
        changed, whose line load [N/mm] lies outside the interval that it had, or that is weakest
        elsewhere; ``count``: seals compared.
    """
    old = {seal["name"]: seal for seal in before["seals"]}
    pairs = [(old[seal["name"]], seal) for seal in now["seals"] if seal["name"] in old]
    rows = [row for first, second in pairs if (row := _moved(first, second))]
    return {"given": _given(before, now), "rows": rows, "count": len(pairs)}


def _given(before: Record, now: Record) -> list[str]:
    told = []
    if before.get("landmarks", 0) != now["landmarks"]:
        told.append(f"{now['landmarks']} landmarks instead of {before.get('landmarks', 0)}")
    masks = before.get("masks", [])
    if masks != now["masks"]:
        reasons = ", ".join(dict.fromkeys(one["reason"] for one in now["masks"]))
        noun = "area" if len(now["masks"]) == 1 else "areas"
        words = f"{len(now['masks'])} {noun} left out ({reasons})" if reasons else "no area left out"
        told.append(f"{words} instead of {len(masks) or 'none'}")
    others = [name for name in now["inputs"] if before["inputs"].get(name) != now["inputs"][name]]
    told += [f"another text of {name}" for name in others if not (told and name == now["record"])]
    told += [
        f"another scan {name}" for name in now["scans"] if before["scans"].get(name) != now["scans"][name]
    ]
    if before["firedeck"] != now["firedeck"]:
        told.append(f"firedeck {now['firedeck']} instead of {before['firedeck']}")
    return told


def _moved(before: Record, now: Record) -> dict[str, object] | None:
    """Return what is told of one seal, or None where all stays within its interval."""
    words = [text for key, text in _LOADS.items() if _outside(before[key], now[key])]
    if _elsewhere(before, now):
        words.append("where it is weakest")
    if before["state"] != now["state"]:
        words.insert(0, "verdict")
    if not words:
        return None
    return {
        "seal": now["name"],
        "what": ", ".join(words),
        "before": {"state": before["state"], **{key: _text(before[key]) for key in _LOADS}},
        "now": {"state": now["state"], **{key: _text(now[key]) for key in _LOADS}},
    }


def _text(one: Record | None) -> str:
    return str(one["text"]) if one else "not shown"


def _elsewhere(before: Record, now: Record) -> bool:
    """Tell whether the weakest place is another one: off by more than half the way averaged over."""
    if before["weakest"] is None or now["weakest"] is None:
        return False
    apart = math.dist(before["weakest"]["point"], now["weakest"]["point"])
    return apart > float(now["curve"]["window_mm"]) / 2


def _outside(before: Record | None, now: Record | None) -> bool:
    """Tell whether a value left the interval that it had; an end that is null is open."""
    if before is None or now is None:
        return (before is None) != (now is None)
    if before["value"] is None or now["value"] is None:
        return (before["value"] is None) != (now["value"] is None)
    low = -math.inf if before["low"] is None else float(before["low"])
    high = math.inf if before["high"] is None else float(before["high"])
    return not low <= float(now["value"]) <= high
