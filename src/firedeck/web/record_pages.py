"""The form for a new film test."""

from __future__ import annotations

from starlette.routing import BaseRoute

__all__ = ["ROUTES"]

ROUTES: list[BaseRoute] = []
