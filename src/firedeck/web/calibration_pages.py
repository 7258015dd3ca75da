"""The page of a film calibration: its curve with its doubt, and what every piece showed."""

from __future__ import annotations

from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response
from starlette.routing import Route

from firedeck.study.bench import Bench
from firedeck.study.prints.found_pieces import SCAN_NAME, USED
from firedeck.study.prints.stored_calibration import stored_calibration
from firedeck.web.downloads import downloads_of, file_response
from firedeck.web.guard import REPORT_POLICY
from firedeck.web.shop import shop_of

__all__ = ["ROUTES"]

#: The picture that the page shows.
_CURVE = "response.svg"


def _record_name(request: Request) -> str:
    bench, name = shop_of(request).bench, f"{request.path_params['record']}.toml"
    bench.existing(name)
    if not any(file.name == name and file.kind == "film-calibration" for file in bench.files()):
        raise HTTPException(404)
    return name


def _folder(bench: Bench, name: str) -> Path:
    return bench.calibration_of(name)


def _page(request: Request) -> Response:
    shop, name = shop_of(request), _record_name(request)
    shop.bench.check_calibration_inside(name)
    folder = _folder(shop.bench, name)
    refused = f"{folder.name}-refused.png"
    return shop.page(
        "calibration.html.j2",
        name=name,
        stem=name.removesuffix(".toml"),
        one=stored_calibration(shop.bench.existing(name), folder),
        used=USED,
        refused=refused if shop.bench.place(refused).is_file() else "",
        curve=_CURVE if (folder / _CURVE).is_file() else "",
        downloads=downloads_of(folder),
    )


def _file(request: Request) -> Response:
    name = _record_name(request)
    folder = _folder(shop_of(request).bench, name)
    return file_response(folder, request.path_params["name"], name.removesuffix(".toml"), shown=(_CURVE,))


def _scan(request: Request) -> Response:
    scan = _folder(shop_of(request).bench, _record_name(request)) / SCAN_NAME
    if not scan.is_file():
        raise HTTPException(404)
    return FileResponse(scan, media_type="image/jpeg")


def _report(request: Request) -> Response:
    report = _folder(shop_of(request).bench, _record_name(request)) / "report.html"
    if not report.is_file():
        raise HTTPException(404)
    text = report.read_text(encoding="utf-8")
    return HTMLResponse(text, headers={"Content-Security-Policy": REPORT_POLICY})


ROUTES = [
    Route("/calibration/{record}", _page),
    Route("/calibration/{record}/file/{name}", _file),
    Route("/calibration/{record}/scan", _scan),
    Route("/calibration/{record}/report", _report),
]
