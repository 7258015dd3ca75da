"""The deck page: a deck plan with its openings, seals and fasteners, read and edited."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from firedeck.definition.deck import DeckPlan
from firedeck.definition.gasket import Gasket, plan_with_gasket
from firedeck.files.definition_file import LARGEST_FILE, read_definition
from firedeck.study.bench import Bench
from firedeck.study.editing.deck_edits import (
    Edited,
    add_feature,
    delete_feature,
    enter_value,
    move_feature,
    retype,
)
from firedeck.study.editing.deck_state import deck_state, write_plan
from firedeck.study.editing.drafts import Draft, revision
from firedeck.study.editing.named_elsewhere import named_elsewhere
from firedeck.study.editing.new_plan import new_plan
from firedeck.study.plan_shapes import shape_plan
from firedeck.web.shop import Shop, shop_of

__all__ = ["ROUTES"]

Order = dict[str, Any]


def _name(request: Request) -> str:
    return f"{request.path_params['plan']}.toml"


def _draft(request: Request) -> Draft:
    """Return the draft asked for; a file that says it is something else is no plan."""
    shop, name = shop_of(request), _name(request)
    kinds = {file.name: file.kind for file in shop.bench.files()}
    if kinds.get(name, "") not in ("deck-plan", ""):
        raise HTTPException(404)
    return shop.drafts.look(name)


def _gaskets(bench: Bench) -> list[str]:
    return [file.stem for file in bench.files() if file.kind == "gasket"]


def _deck(request: Request) -> Response:
    shop, draft = shop_of(request), _draft(request)
    gasket = request.query_params.get("gasket", "")
    return shop.page(
        "deck.html.j2",
        name=request.path_params["plan"],
        title=draft.name.removesuffix(".toml"),
        gasket=gasket if gasket in _gaskets(shop.bench) else "",
        gaskets=_gaskets(shop.bench),
    )


def _data(request: Request) -> Response:
    """Answer the plan of the file with the seals of a gasket, where one is asked for."""
    bench = shop_of(request).bench
    plan = read_definition(bench.existing(_name(request)), DeckPlan)
    gasket = request.query_params.get("gasket", "")
    if gasket:
        plan = plan_with_gasket(plan, read_definition(bench.existing(f"{gasket}.toml"), Gasket))
    return JSONResponse(shape_plan(plan))


def _state(request: Request) -> Response:
    return JSONResponse(_told(request, _draft(request), request.query_params.get("had", "")))


def _told(request: Request, draft: Draft, had: str) -> Order:
    shop = shop_of(request)
    named = [vars(one) for one in named_elsewhere(shop.bench, draft)]
    return shop.states.answer(draft.name, {**deck_state(draft), "named": named}, had)


def _revision(request: Request) -> Response:
    draft = _draft(request)
    return JSONResponse({"revision": draft.revision, "disk": revision(draft.disk)})


async def _order(request: Request) -> Order:
    text = b""
    async for part in request.stream():
        text += part
        if len(text) > 2 * LARGEST_FILE:
            raise HTTPException(413, "the change is too long")
    try:
        order = json.loads(text)
    except ValueError as fault:
        raise HTTPException(400, "the change is not JSON") from fault
    if not isinstance(order, dict):
        raise HTTPException(400, "the change is not as a page would give it")
    return order


def _pair(order: Order, key: str) -> tuple[float, float]:
    try:
        x, y = (float(one) for one in order[key])
    except (KeyError, TypeError, ValueError) as fault:
        raise HTTPException(400, "the change is not as a page would give it") from fault
    if not (abs(x) < 1e6 and abs(y) < 1e6):
        raise HTTPException(400, "no deck is as large as that")
    return x, y


#: What a page may ask for -> how the text becomes another.
_EDITS: dict[str, Callable[[str, Order], Edited]] = {
    "enter": lambda text, order: enter_value(
        text, str(order["key"]), str(order["field"]), str(order["value"])
    ),
    "move": lambda text, order: move_feature(text, str(order["key"]), _pair(order, "shift")),
    "add": lambda text, order: add_feature(
        text, str(order["group"]), str(order["kind"]), _pair(order, "at"), str(order.get("around", ""))
    ),
    "delete": lambda text, order: delete_feature(text, str(order["key"])),
    "text": lambda text, order: (retype(text, str(order["text"])), "text", ""),
}


def _change(shop: Shop, name: str, order: Order) -> tuple[Draft, str]:
    """Do what a page asks for; return the draft and the entry to look at."""
    drafts, seen = shop.drafts, str(order["seen"])
    what = str(order["what"])
    if what in _EDITS:
        with drafts.lock:
            text, label, key = _EDITS[what](drafts.look(name).text, order)
            return drafts.change(name, seen, text, label, burst=str(order.get("burst", ""))), key
    if what in ("undo", "redo"):
        return getattr(drafts, what)(name, seen), ""
    disk = str(order["disk"])
    if what == "write":
        return write_plan(drafts, name, seen, disk, faulty=order.get("faulty") is True), ""
    if what in ("keep", "take"):
        return drafts.settle(name, seen, disk, take_file=what == "take"), ""
    raise HTTPException(400, "the change is not as a page would give it")


async def _edit(request: Request) -> Response:
    order = await _order(request)

    def work() -> dict[str, object]:
        name = _draft(request).name
        try:
            draft, key = _change(shop_of(request), name, order)
        except KeyError as fault:
            raise HTTPException(400, "the change is not as a page would give it") from fault
        return {**_told(request, draft, str(order.get("had", ""))), "chosen": key}

    return JSONResponse(await run_in_threadpool(work))


async def _new(request: Request) -> Response:
    order = await _order(request)
    shop = shop_of(request)

    def work() -> str:
        like = str(order.get("like", ""))
        text = shop.drafts.look(f"{like}.toml").text if like else _example()
        return new_plan(shop.bench, str(order.get("file", "")), text)

    name = await run_in_threadpool(work)
    return JSONResponse({"page": f"/deck/{name.removesuffix('.toml')}"}, status_code=201)


def _example() -> str:
    from firedeck.scenario.engine import engine_plan, write_text

    return write_text(engine_plan())


ROUTES = [
    Route("/deck-new", _new, methods=["POST"]),
    Route("/deck/{plan}", _deck),
    Route("/deck/{plan}/data", _data),
    Route("/deck/{plan}/state", _state),
    Route("/deck/{plan}/revision", _revision),
    Route("/deck/{plan}/edit", _edit, methods=["POST"]),
]
