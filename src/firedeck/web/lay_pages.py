"""The page where a person sees how the scans lie on the plan; landmarks and masks that a person sets."""

from __future__ import annotations

import json
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from firedeck.definition.film_test import FilmTest
from firedeck.files.definition_file import read_definition
from firedeck.files.scan_file import file_hash
from firedeck.study.prints.record_edits import save_landmarks, save_masks
from firedeck.study.prints.stored_laying import LAYING_NAME
from firedeck.web.shop import shop_of

__all__ = ["ROUTES"]

#: Longest list of landmarks or masks [bytes].
_LONGEST = 400_000


def _record(request: Request) -> Path:
    bench, name = shop_of(request).bench, f"{request.path_params['test']}.toml"
    bench.existing(name)
    if bench.test(name) is None:
        raise HTTPException(404)
    return bench.existing(name)


def _folder(request: Request) -> Path:
    return shop_of(request).bench.place(f"{request.path_params['test']}-laying")


def _page(request: Request) -> Response:
    shop, record = shop_of(request), _record(request)
    there = (_folder(request) / LAYING_NAME).is_file()
    return shop.page("lay.html.j2", test=shop.bench.test(record.name), there=there)


def _data(request: Request) -> Response:
    record, stored = _record(request), _folder(request) / LAYING_NAME
    if not stored.is_file():
        raise HTTPException(404, "the scans were not looked at yet")
    test = read_definition(record, FilmTest)
    marks = [{"scan": one.scan, "pixel": one.pixel, "plan": one.plan} for one in test.landmarks]
    laying = json.loads(stored.read_text(encoding="utf-8"))
    return JSONResponse({**laying, "landmarks": marks, "known": file_hash(record)})


def _picture(request: Request) -> Response:
    _record(request)
    path = _folder(request) / f"sheet-{request.path_params['number']}.jpg"
    if not path.is_file():
        raise HTTPException(404)
    return FileResponse(path, media_type="image/jpeg")


def _masks(request: Request) -> Response:
    record = _record(request)
    masks = [{"reason": one.reason, "path": one.path} for one in read_definition(record, FilmTest).masks]
    return JSONResponse({"masks": masks, "known": file_hash(record)})


async def _sent(request: Request, key: str) -> tuple[list[dict[str, object]], str]:
    """Return the tables that a page sends, and the hash of the record that they were made over."""
    text = b""
    async for part in request.stream():
        text += part
        if len(text) > _LONGEST:
            raise HTTPException(413, f"these are too many {key}")
    try:
        told = json.loads(text)
        tables, known = told[key], told["known"]
    except (ValueError, KeyError, TypeError) as fault:
        raise HTTPException(400, f"the {key} are not as a page would send them") from fault
    if not isinstance(tables, list) or not isinstance(known, str):
        raise HTTPException(400, f"the {key} are not as a page would send them")
    return tables, known


async def _save_landmarks(request: Request) -> Response:
    record = _record(request)
    save_landmarks(record, *await _sent(request, "landmarks"))
    return JSONResponse({"known": file_hash(record)})


async def _save_masks(request: Request) -> Response:
    record = _record(request)
    save_masks(record, *await _sent(request, "masks"))
    return JSONResponse({"known": file_hash(record)})


ROUTES = [
    Route("/film/{test}/lay", _page),
    Route("/film/{test}/lay/data", _data),
    Route("/film/{test}/lay/sheet/{number:int}", _picture),
    Route("/film/{test}/lay/landmarks", _save_landmarks, methods=["POST"]),
    Route("/film/{test}/masks", _masks),
    Route("/film/{test}/masks", _save_masks, methods=["POST"]),
]
