"""The deck page: a deck plan with its openings, seals and fasteners, and what is wrong with it."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from firedeck.definition.deck import DeckPlan
from firedeck.definition.gasket import Gasket, plan_with_gasket
from firedeck.definition.plan_checks import check_plan
from firedeck.files.definition_file import read_definition
from firedeck.study.bench import Bench
from firedeck.study.plan_shapes import shape_plan
from firedeck.web.shop import shop_of

__all__ = ["ROUTES"]


def _plan(request: Request) -> tuple[DeckPlan, str]:
    """Return the plan asked for, with the seals of the gasket asked for, and that gasket's name."""
    bench = shop_of(request).bench
    plan = read_definition(bench.existing(f"{request.path_params['plan']}.toml"), DeckPlan)
    gasket = request.query_params.get("gasket", "")
    if not gasket:
        return plan, ""
    return plan_with_gasket(plan, read_definition(bench.existing(f"{gasket}.toml"), Gasket)), gasket


def _gaskets(bench: Bench) -> list[str]:
    return [file.stem for file in bench.files() if file.kind == "gasket"]


def _deck(request: Request) -> Response:
    shop = shop_of(request)
    name = request.path_params["plan"]
    if not any(file.stem == name and file.kind == "deck-plan" for file in shop.bench.files()):
        raise HTTPException(404)
    plan, gasket = _plan(request)
    return shop.page(
        "deck.html.j2",
        name=name,
        plan=plan,
        shapes=shape_plan(plan),
        gasket=gasket,
        gaskets=_gaskets(shop.bench),
        findings=check_plan(plan),
    )


def _data(request: Request) -> Response:
    return JSONResponse(shape_plan(_plan(request)[0]))


ROUTES = [Route("/deck/{plan}", _deck), Route("/deck/{plan}/data", _data)]
