"""What a definition's model says of the places of a file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, get_args, get_origin

from pydantic import BaseModel, WithJsonSchema

__all__ = ["chosen_models", "field_of", "models_at", "models_in", "quantity_kind"]

_UNIT_NOTE = " with its unit"


def models_at(
    data: Mapping[str, Any], model: type[BaseModel], path: tuple[str | int, ...]
) -> tuple[type[BaseModel], ...]:
    """Return the models that a table of a file may be.

    Parameters
    ----------
    data : mapping
        What the file says.
    model : type
        What the file defines.
    path : tuple
        Keys and indices from 0 to the table.

    Returns
    -------
    tuple of type
        One, as a rule; empty where the model knows no such table.
    """
    models: tuple[type[BaseModel], ...] = (model,)
    here: Any = data
    for part in path:
        here = here[part]
        if isinstance(part, str):
            models = models_in(field_of(models, part)[0])
        if isinstance(here, dict):
            models = chosen_models(models, here)
    return models


def models_in(annotation: object) -> tuple[type[BaseModel], ...]:
    """Return the models that an annotation allows, those within lists and unions too."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return (annotation,)
    return tuple(model for inner in get_args(annotation) for model in models_in(inner))


def chosen_models(models: tuple[type[BaseModel], ...], data: object) -> tuple[type[BaseModel], ...]:
    """Narrow the members of a union to the one that the entry's own ``kind`` names."""
    kind = data.get("kind") if isinstance(data, dict) else None
    named = tuple(
        model
        for model in models
        if "kind" in model.model_fields and kind in get_args(model.model_fields["kind"].annotation)
    )
    return named or models


def field_of(owners: tuple[type[BaseModel], ...], key: str) -> tuple[object, str]:
    """Return annotation and description of a key, from the first of the models that has it."""
    for owner in owners:
        for name, info in owner.model_fields.items():
            if key == (info.alias or name):
                annotation: Any = info.annotation
                for extra in info.metadata:
                    annotation = Annotated[annotation, extra]
                return annotation, info.description or ""
    return None, ""


def quantity_kind(annotation: object) -> str:
    """Return the kind of quantity that an annotation reads, such as ``length``; empty for none."""
    if get_origin(annotation) is Annotated:
        for extra in get_args(annotation)[1:]:
            described = extra.json_schema or {} if isinstance(extra, WithJsonSchema) else {}
            if str(described.get("description", "")).endswith(_UNIT_NOTE):
                return str(described["description"]).removesuffix(_UNIT_NOTE).replace(" ", "_")
    kinds = (quantity_kind(inner) for inner in get_args(annotation) if get_origin(inner) or get_args(inner))
    return next((kind for kind in kinds if kind), "")
