"""Pages on which definition files are read and edited: the deck plan, the gasket, and every other kind."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from firedeck.definition.deck import DeckPlan
from firedeck.definition.gasket import Gasket, plan_with_gasket
from firedeck.files.definition_file import LARGEST_FILE, read_definition
from firedeck.study.bench import Bench
from firedeck.study.editing.drafts import Draft, revision
from firedeck.study.editing.entry import Edited
from firedeck.study.editing.named_elsewhere import named_elsewhere
from firedeck.study.editing.new_plan import new_plan
from firedeck.study.editing.paper import Paper, draft_state, write_draft
from firedeck.study.editing.papers import kind_said, paper_of, plan_of
from firedeck.study.editing.retyping import retype
from firedeck.study.plan_shapes import shape_plan
from firedeck.web.shop import shop_of

__all__ = ["ROUTES", "page_of"]

#: First part of the address -> kind of the files that are edited there; any kind where none stands.
_PLACES = {"deck": "deck-plan", "gasket": "gasket", "file": ""}


def page_of(name: str, kind: str) -> str:
    """Return the address of the page on which a file is edited.

    Parameters
    ----------
    name : str
        Name of the file, without its ending.
    kind : str
        What it says under ``kind``; empty where it cannot be read.
    """
    place = next((place for place, own in _PLACES.items() if own == kind), "file")
    return f"/{place}/{name}"


Order = dict[str, Any]


def _name(request: Request) -> str:
    return f"{request.path_params['name']}.toml"


def _place(request: Request) -> str:
    return request.url.path.split("/")[1]


def _draft(request: Request) -> Draft:
    """Return the draft asked for; a file that says it is something else has another page."""
    shop, name, wanted = shop_of(request), _name(request), _PLACES[_place(request)]
    kinds = {file.name: file.kind for file in shop.bench.files()}
    if wanted and kinds.get(name, "") not in (wanted, ""):
        raise HTTPException(404)
    return shop.drafts.look(name)


def _paper(request: Request, draft: Draft) -> Paper:
    bench, plan = shop_of(request).bench, _plan_asked(request)
    return paper_of(bench, draft.name, draft.text, f"{plan}.toml" if plan else "")


def _plan_asked(request: Request) -> str:
    """Return the plan that a gasket is to be shown on, where the page names one of the bench."""
    plan = request.query_params.get("deck", "")
    return plan if plan in _stems(shop_of(request).bench, "deck-plan") else ""


def _stems(bench: Bench, kind: str) -> list[str]:
    return [file.stem for file in bench.files() if file.kind == kind]


def _page(request: Request) -> Response:
    shop, draft, place = shop_of(request), _draft(request), _place(request)
    paper, stem = _paper(request, draft), request.path_params["name"]
    own = page_of(stem, kind_said(draft.text))
    if place == "file" and own != f"/file/{stem}":
        return RedirectResponse(own)
    gaskets, plans = _stems(shop.bench, "gasket"), _stems(shop.bench, "deck-plan")
    gasket = request.query_params.get("gasket", "")
    plan = _plan_asked(request) or plan_of(shop.bench, draft.name).removesuffix(".toml")
    return shop.page(
        "edit.html.j2",
        base=f"/{place}/{stem}",
        name=stem,
        file=draft.name,
        place=place,
        paper=paper,
        drawn=place == "deck" or (place == "gasket" and bool(plans)),
        gasket=gasket if place == "deck" and gasket in gaskets else "",
        gaskets=gaskets,
        plan=plan,
        plans=plans,
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
    shop, paper = shop_of(request), _paper(request, draft)
    named = [vars(one) for one in named_elsewhere(shop.bench, draft, paper)]
    return shop.states.answer(draft.name, {**draft_state(draft, paper), "named": named}, had)


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
_EDITS: dict[str, Callable[[Paper, str, Order], Edited]] = {
    "enter": lambda paper, text, order: paper.enter(
        text, str(order["key"]), str(order["field"]), str(order["value"])
    ),
    "move": lambda paper, text, order: paper.move(text, str(order["key"]), _pair(order, "shift")),
    "add": lambda paper, text, order: paper.add(
        text, str(order["group"]), str(order["kind"]), _pair(order, "at"), str(order.get("around", ""))
    ),
    "delete": lambda paper, text, order: paper.delete(text, str(order["key"])),
    "text": lambda _, text, order: (retype(text, str(order["text"])), "text", ""),
}


def _change(request: Request, name: str, order: Order) -> tuple[Draft, str]:
    """Do what a page asks for; return the draft and the entry to look at."""
    drafts, seen = shop_of(request).drafts, str(order["seen"])
    what = str(order["what"])
    if what in _EDITS:
        with drafts.lock:
            draft = drafts.look(name)
            text, label, key = _EDITS[what](_paper(request, draft), draft.text, order)
            return drafts.change(name, seen, text, label, burst=str(order.get("burst", ""))), key
    if what in ("undo", "redo"):
        return getattr(drafts, what)(name, seen), ""
    disk = str(order["disk"])
    if what == "write":
        paper = _paper(request, drafts.look(name))
        return write_draft(drafts, paper, name, seen, disk, faulty=order.get("faulty") is True), ""
    if what in ("keep", "take"):
        return drafts.settle(name, seen, disk, take_file=what == "take"), ""
    raise HTTPException(400, "the change is not as a page would give it")


async def _edit(request: Request) -> Response:
    order = await _order(request)

    def work() -> dict[str, object]:
        name = _draft(request).name
        try:
            draft, key = _change(request, name, order)
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
    Route("/deck/{name}/data", _data),
    *(
        route
        for place in _PLACES
        for route in (
            Route(f"/{place}/{{name}}", _page),
            Route(f"/{place}/{{name}}/state", _state),
            Route(f"/{place}/{{name}}/revision", _revision),
            Route(f"/{place}/{{name}}/edit", _edit, methods=["POST"]),
        )
    ),
]
