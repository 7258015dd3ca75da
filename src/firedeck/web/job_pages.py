"""Jobs: begin one, ask how far it is, stop it."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from firedeck.errors import FiredeckError
from firedeck.web.jobs import Job
from firedeck.web.shop import Shop, shop_of

__all__ = ["ROUTES"]

#: Longest order for a job [bytes].
_LONGEST = 4000


async def _begin(request: Request) -> Response:
    order = await _order(request)
    shop = shop_of(request)
    job = _job(shop, str(order.get("what", "")), [str(name) for name in order.get("names", [])])
    return JSONResponse(shop.jobs.add(job).plain(), status_code=202)


async def _order(request: Request) -> dict[str, Any]:
    text = b""
    async for part in request.stream():
        text += part
        if len(text) > _LONGEST:
            raise HTTPException(413, "the order is too long")
    try:
        order = json.loads(text)
    except ValueError as fault:
        raise HTTPException(400, "the order is not JSON") from fault
    if not isinstance(order, dict) or not isinstance(order.get("names", []), list):
        raise HTTPException(400, "the order is not as a page would give it")
    return order


def _job(shop: Shop, what: str, names: list[str]) -> Job:
    for name in names:
        shop.bench.existing(name)
    stems = [name.removesuffix(".toml") for name in names]
    if what == "read" and len(names) == 1:
        return Job("read", (names[0],), f"Reading {stems[0]}", f"/film/{stems[0]}")
    if what == "lay" and len(names) == 1:
        return Job("lay", (names[0],), f"Looking at the scans of {stems[0]}", f"/film/{stems[0]}/lay")
    if what == "calibrate" and len(names) == 1:
        return Job("calibrate", (names[0],), f"Calibrating {stems[0]}", f"/calibration/{stems[0]}")
    if what == "compare" and len(names) == 2 and names[0] != names[1]:
        return Job(
            "compare", tuple(names), f"{stems[1]} against {stems[0]}", f"/against/{stems[0]}/{stems[1]}"
        )
    if what == "condense" and len(names) in (1, 2):
        gasket = f"?gasket={quote(names[1])}" if len(names) > 1 else ""
        return Job("condense", tuple(names), f"Condensing {stems[0]}", f"/clamp/{stems[0]}{gasket}")
    if what == "example" and not names:
        return Job("example", (), "Laying out the example", "/")
    raise FiredeckError("there is no such job", remedy="start it from a page")


def _asked(request: Request) -> Job:
    job = shop_of(request).jobs.get(request.path_params["key"])
    if job is None:
        raise HTTPException(404)
    return job


def _list(request: Request) -> Response:
    return JSONResponse({"jobs": [job.plain() for job in shop_of(request).jobs.all()]})


def _show(request: Request) -> Response:
    return JSONResponse(_asked(request).plain())


def _cancel(request: Request) -> Response:
    job = _asked(request)
    shop_of(request).jobs.cancel(job)
    return JSONResponse(job.plain())


ROUTES = [
    Route("/jobs", _begin, methods=["POST"]),
    Route("/jobs", _list),
    Route("/jobs/{key}", _show),
    Route("/jobs/{key}/cancel", _cancel, methods=["POST"]),
]
