"""The form for a new film test."""

from __future__ import annotations

from urllib.parse import parse_qs

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from firedeck.errors import DefinitionError, FiredeckError
from firedeck.study.prints.new_record import ENTRIES, entries_of, write_record
from firedeck.web.shop import Shop, shop_of

__all__ = ["ROUTES"]

#: Longest form [bytes] and most fields in it.
_LONGEST = 100_000
_MOST_FIELDS = 200

#: What the form holds beside the record's own keys.
_FILE, _SCAN, _LIKE = "file", "scan", "like"


def _empty(request: Request) -> Response:
    shop, like = shop_of(request), request.query_params.get(_LIKE, "")
    return _form(
        shop, {_LIKE: [like], **{key: [text] for key, text in entries_of(shop.bench, like)[0].items()}}
    )


def _form(
    shop: Shop, given: dict[str, list[str]], faults: dict[str, str] | None = None, general: str = ""
) -> Response:
    files: dict[str, list[str]] = {}
    for file in shop.bench.files():
        files.setdefault(file.kind, []).append(file.name)
    return shop.page(
        "record.html.j2",
        status=422 if faults or general else 200,
        parts=ENTRIES,
        given={key: values[0] for key, values in given.items() if values},
        chosen=given.get(_SCAN, []),
        faults=faults or {},
        general=general,
        files=files,
        scans=shop.bench.scans(),
    )


async def _send(request: Request) -> Response:
    text = b""
    async for part in request.stream():
        text += part
        if len(text) > _LONGEST:
            raise HTTPException(413, "the form is too long")
    try:
        given = parse_qs(text.decode("utf-8"), keep_blank_values=True, max_num_fields=_MOST_FIELDS)
    except ValueError as fault:
        raise HTTPException(400, "the form is not as a page would send it") from fault
    shop = shop_of(request)
    single = {key: values[0] for key, values in given.items()}
    try:
        name = write_record(
            shop.bench, single.get(_FILE, ""), single, given.get(_SCAN, []), like=single.get(_LIKE, "")
        )
    except DefinitionError as fault:
        told = {one.key: _words(one.message, one.remedy) for one in fault.faults}
        shown = {entry.key for part in ENTRIES.values() for entry in part} | {_SCAN}
        others = "; ".join(f"{key}: {words}" for key, words in told.items() if key not in shown)
        return _form(shop, given, told, others)
    except FiredeckError as fault:
        return _form(shop, given, {_FILE: _words(fault.message, fault.remedy)})
    return RedirectResponse(f"/film/{name.removesuffix('.toml')}", status_code=303)


def _words(message: str, remedy: str) -> str:
    return f"{message}: {remedy}" if remedy else message


ROUTES = [Route("/new-test", _empty), Route("/new-test", _send, methods=["POST"])]
