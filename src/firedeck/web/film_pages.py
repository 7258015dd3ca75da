"""The film page: a print that was read, its map, its seals, its leak paths and its balance."""

from __future__ import annotations

import dataclasses
import json
import shlex
from typing import Any
from weakref import WeakKeyDictionary

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from firedeck.evidence import FLAGS
from firedeck.report.words import share
from firedeck.study.bench import BenchTest
from firedeck.study.prints.stored_reading import StoredReading
from firedeck.study.prints.stored_record import THUMBNAIL_NAME
from firedeck.study.prints.tiles import TILE_CELLS, Pooling
from firedeck.web.bench_pages import report_response
from firedeck.web.downloads import downloads_of, file_response
from firedeck.web.looks import page_looks
from firedeck.web.shop import Shop, shop_of

__all__ = ["ROUTES"]

#: Addresses with a revision in them never change what they answer.
_FOR_GOOD = {"Cache-Control": "private, max-age=31536000, immutable"}


def _record_name(request: Request) -> str:
    return f"{request.path_params['test']}.toml"


def _reading(request: Request) -> StoredReading:
    shop = shop_of(request)
    shop.bench.existing(_record_name(request))
    return shop.reading(_record_name(request))


def _film(request: Request) -> Response:
    shop, name = shop_of(request), _record_name(request)
    shop.bench.existing(name)
    test = shop.bench.test(name)
    if test is None:
        raise HTTPException(404)
    if not test.report:
        return shop.page("film_unread.html.j2", test=test, command=_command(test))
    return _read_page(shop, test)


def _read_page(shop: Shop, test: BenchTest) -> Response:
    reading = shop.reading(test.file.name)
    return shop.page(
        "film.html.j2",
        test=test,
        revision=reading.revision,
        record=reading.record,
        share=share,
        kinds={flag.name: flag.short for flag in FLAGS.values()},
        command=_command(test),
        downloads=downloads_of(reading.folder),
        others=[file for file in shop.bench.test_files() if file.name != test.file.name],
    )


def _command(test: BenchTest) -> str:
    out = test.report or f"{test.file.stem}-report"
    return f"firedeck film read {shlex.quote(test.file.name)} --out {shlex.quote(out)}"


def _data(request: Request) -> Response:
    reading = _reading(request)
    text = _TEXTS.get(reading)
    if text is None:
        text = _TEXTS[reading] = _data_text(reading)
    return Response(text, media_type="application/json")


#: What the film page's script asks for first, made once for every reading that is open.
_TEXTS: WeakKeyDictionary[StoredReading, bytes] = WeakKeyDictionary()


def _data_text(reading: StoredReading) -> bytes:
    # What is not shown with the map, or stands in the page, would hold it up.
    record = reading.record
    told = {
        **record,
        "seals": [_without(seal, "curve", "reasons") for seal in record["seals"]],
        "leaks": [_without(leak, "way") for leak in record["leaks"]],
        "revision": reading.revision,
        "looks": {**page_looks(), "tile": TILE_CELLS},
    }
    return json.dumps(told, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


def _without(told: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: part for name, part in told.items() if name not in names}


def _rules(request: Request) -> Response:
    """Answer with the table of all rules, which is longer than the rest of the page and seldom opened."""
    reading = _reading(request)
    _same_revision(reading, request.path_params["revision"])
    return shop_of(request).page("film_rules.html.j2", record=reading.record)


def _ways(request: Request) -> Response:
    """Answer with the leak paths' points [mm], in the record's order."""
    reading = _reading(request)
    _same_revision(reading, request.path_params["revision"])
    return JSONResponse([leak["way"] for leak in reading.record["leaks"]], headers=_FOR_GOOD)


def _curve(request: Request) -> Response:
    reading, seal = _reading(request), request.path_params["seal"]
    _same_revision(reading, request.path_params["revision"])
    if seal >= len(reading.record["seals"]):
        raise HTTPException(404)
    return JSONResponse(reading.record["seals"][seal]["curve"], headers=_FOR_GOOD)


def _tile(request: Request) -> Response:
    where = request.path_params
    try:
        pooling = Pooling(where["pooling"])
    except ValueError as fault:
        raise HTTPException(404) from fault
    reading = _reading(request)
    _same_revision(reading, where["revision"])
    content = reading.tile(pooling, where["level"], where["column"], where["row"])
    # Tiles are stored packed and handed on as they are: the browser unpacks them.
    headers = {**_FOR_GOOD, "Content-Encoding": "gzip"}
    return Response(content, media_type="application/octet-stream", headers=headers)


def _same_revision(reading: StoredReading, revision: str) -> None:
    if revision != reading.revision:
        raise HTTPException(410, "the print was read anew; load the page again")


def _strip(request: Request) -> Response:
    reading = _reading(request)
    _same_revision(reading, request.path_params["revision"])
    (across, along), content = reading.strip(request.path_params["seal"])
    headers = {**_FOR_GOOD, "X-Shape": f"{across} {along}"}
    return Response(content, media_type="application/octet-stream", headers=headers)


def _point(request: Request) -> Response:
    try:
        x, y = (float(request.query_params[name]) for name in ("x", "y"))
    except (KeyError, ValueError) as fault:
        raise HTTPException(400, "a point is asked for as x and y in mm") from fault
    return JSONResponse(dataclasses.asdict(_reading(request).at(x, y)))


def _file(request: Request) -> Response:
    name, prefix = request.path_params["name"], request.path_params["test"]
    return file_response(_reading(request).folder, name, prefix, shown=(THUMBNAIL_NAME,))


def _report(request: Request) -> Response:
    return report_response(shop_of(request), [_record_name(request)])


ROUTES = [
    Route("/film/{test}", _film),
    Route("/film/{test}/data", _data),
    Route("/film/{test}/tile/{revision}/{pooling}/{level:int}/{column:int}/{row:int}", _tile),
    Route("/film/{test}/strip/{revision}/{seal:int}", _strip),
    Route("/film/{test}/curve/{revision}/{seal:int}", _curve),
    Route("/film/{test}/rules/{revision}", _rules),
    Route("/film/{test}/ways/{revision}", _ways),
    Route("/film/{test}/at", _point),
    Route("/film/{test}/file/{name}", _file),
    Route("/film/{test}/report", _report),
]
