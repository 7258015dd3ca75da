"""The forms for a new film test and for a new calibration."""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import parse_qs

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from firedeck.errors import DefinitionError, FiredeckError
from firedeck.study.prints.new_record import CALIBRATION, FILM_TEST, Form, entries_of, write_record
from firedeck.web.shop import Shop, shop_of

__all__ = ["ROUTES"]

#: Longest form [bytes] and most fields in it.
_LONGEST = 100_000
_MOST_FIELDS = 200

#: What the form holds beside the record's own keys.
_FILE, _SCAN, _LIKE = "file", "scan", "like"


@dataclass(frozen=True)
class _Page:
    """What a form's page says, and where it leads."""

    form: Form
    address: str
    result: str
    title: str
    lead: str
    scan: str
    single: bool = False


_PAGES = {
    one.address: one
    for one in (
        _Page(
            FILM_TEST,
            "/new-test",
            "/film/",
            "New film test",
            "One assembly on one gasket, with its print.",
            "Scans of the print",
        ),
        _Page(
            CALIBRATION,
            "/new-calibration",
            "/calibration/",
            "New calibration of a film",
            "Pieces of one film batch, pressed to known pressures and scanned together, on the scanner that "
            "will scan the prints.",
            "Scan of the pieces",
            single=True,
        ),
    )
}


def _asked(request: Request) -> _Page:
    return _PAGES[request.url.path]


def _empty(request: Request) -> Response:
    shop, page, like = shop_of(request), _asked(request), request.query_params.get(_LIKE, "")
    known = entries_of(shop.bench, page.form, like)[0]
    return _form(shop, page, {_LIKE: [like], **{key: [text] for key, text in known.items()}})


def _form(
    shop: Shop,
    page: _Page,
    given: dict[str, list[str]],
    faults: dict[str, str] | None = None,
    general: str = "",
) -> Response:
    files: dict[str, list[str]] = {}
    for file in shop.bench.files():
        files.setdefault(file.kind, []).append(file.name)
    return shop.page(
        "record.html.j2",
        status=422 if faults or general else 200,
        page=page,
        parts=page.form.parts,
        given={key: values[0] for key, values in given.items() if values},
        chosen=given.get(_SCAN, []),
        faults=faults or {},
        general=general,
        files=files,
        scans=shop.bench.scans(),
    )


async def _send(request: Request) -> Response:
    given = await _given(request)
    shop, page = shop_of(request), _asked(request)
    single = {key: values[0] for key, values in given.items()}
    scans = given.get(_SCAN, [])
    try:
        name = write_record(
            shop.bench, page.form, single.get(_FILE, ""), single, scans, like=single.get(_LIKE, "")
        )
    except DefinitionError as fault:
        shown = {entry.key for entry in page.form.entries} | {_SCAN}
        told: dict[str, str] = {}
        others = []
        for one in fault.faults:
            # A fault of one entry of a list stands at the list.
            key = one.key if one.key in shown else re.split(r"\W", one.key)[0]
            if key in shown:
                told.setdefault(key, _words(one.message, one.remedy))
            else:
                others.append(f"{one.key}: {_words(one.message, one.remedy)}")
        return _form(shop, page, given, told, "; ".join(others))
    except FiredeckError as fault:
        return _form(shop, page, given, {_FILE: _words(fault.message, fault.remedy)})
    return RedirectResponse(f"{page.result}{name.removesuffix('.toml')}", status_code=303)


async def _given(request: Request) -> dict[str, list[str]]:
    """Return what was filled in."""
    text = b""
    async for part in request.stream():
        text += part
        if len(text) > _LONGEST:
            raise HTTPException(413, "the form is too long")
    try:
        return parse_qs(text.decode("utf-8"), keep_blank_values=True, max_num_fields=_MOST_FIELDS)
    except ValueError as fault:
        raise HTTPException(400, "the form is not as a page would send it") from fault


def _words(message: str, remedy: str) -> str:
    return f"{message}: {remedy}" if remedy else message


ROUTES = [
    route for address in _PAGES for route in (Route(address, _empty), Route(address, _send, methods=["POST"]))
]
