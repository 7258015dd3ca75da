"""Which kinds of definition file there are, and their published schema."""

from __future__ import annotations

from typing import Any, get_args

from firedeck.definition.calibration import FilmCalibration
from firedeck.definition.criteria import Criteria
from firedeck.definition.deck import DeckPlan
from firedeck.definition.duty import DutyDefinition
from firedeck.definition.fastening import Fastening
from firedeck.definition.film import FilmBatch
from firedeck.definition.film_test import FilmTest
from firedeck.definition.gasket import Gasket
from firedeck.definition.prediction import Prediction
from firedeck.definition.quantities import Definition
from firedeck.definition.trace_mapping import TraceMapping
from firedeck.errors import FiredeckError

__all__ = ["KINDS", "kind_of", "schema_for"]


def kind_of(model: type[Definition]) -> str:
    """Return what a file of this model says under ``kind``; empty for a model without that key."""
    field = model.model_fields.get("kind")
    return str(get_args(field.annotation)[0]) if field is not None else ""


#: Word under ``kind`` -> model of the file.
KINDS: dict[str, type[Definition]] = {
    kind_of(model): model
    for model in (
        DeckPlan,
        Gasket,
        Fastening,
        Prediction,
        FilmBatch,
        FilmCalibration,
        FilmTest,
        Criteria,
        DutyDefinition,
        TraceMapping,
    )
}


def schema_for(kind: str) -> dict[str, Any]:
    """Return the JSON schema of a kind of definition file.

    Parameters
    ----------
    kind : str
        A key of `KINDS`.

    Returns
    -------
    dict
        The schema, draft 2020-12.

    Raises
    ------
    FiredeckError
        If there is no such kind.
    """
    if kind not in KINDS:
        raise FiredeckError(f"{kind!r} is not a kind of file", remedy=f"use one of: {', '.join(KINDS)}")
    schema = KINDS[kind].model_json_schema(by_alias=True)
    _allow_bare_fractions(schema)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": kind}


def _allow_bare_fractions(node: object) -> None:
    """Say wherever a fraction stands that it may be text or a bare number."""
    if isinstance(node, list):
        for item in node:
            _allow_bare_fractions(item)
    if isinstance(node, dict):
        if node.get("type") == "string" and str(node.get("description", "")).startswith("fraction"):
            node["type"] = ["string", "number"]
        for item in node.values():
            _allow_bare_fractions(item)
