"""The bench page: what the folder holds and what can be done with it."""

from __future__ import annotations

from itertools import groupby

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response
from starlette.routing import Route

from firedeck.study.bench import BenchFile
from firedeck.web.editing_pages import page_of
from firedeck.web.guard import REPORT_POLICY
from firedeck.web.shop import Shop, shop_of

__all__ = ["ROUTES"]

#: Kind of file -> heading, in the page's order.
_HEADINGS = {
    "deck-plan": "Deck plans",
    "gasket": "Gaskets",
    "film-batch": "Film batches",
    "film-calibration": "Film calibrations",
    "fastening": "Fastenings",
    "duty": "Duties",
    "trace-mapping": "Trace mappings",
    "criteria": "Criteria",
    "": "Files that cannot be read",
}


def _bench(request: Request) -> Response:
    shop = shop_of(request)
    files = shop.bench.files()
    tests = shop.bench.tests()
    unwritten = shop.drafts.unwritten()
    there = {file.name for file in files}
    return shop.page(
        "bench.html.j2",
        groups=_groups([file for file in files if file.kind != "prediction"]),
        tests=tests,
        predictions=[file for file in files if file.kind == "prediction"],
        scans=shop.bench.scans(),
        empty=not files,
        cut_short=shop.cut_short,
        plans=[file for file in files if file.kind == "deck-plan"],
        page_of=page_of,
        unwritten=unwritten,
        lost=[name for name in unwritten if name not in there],
    )


def _groups(files: list[BenchFile]) -> list[tuple[str, str, list[BenchFile]]]:
    order = list(_HEADINGS)
    others = sorted((one for one in files if one.kind != "film-test"), key=lambda one: order.index(one.kind))
    return [(kind, _HEADINGS[kind], list(part)) for kind, part in groupby(others, key=lambda one: one.kind)]


def _refused(request: Request) -> Response:
    name = request.path_params["name"]
    if not name.endswith("-refused.png"):
        raise HTTPException(404)
    return FileResponse(shop_of(request).bench.existing(name), media_type="image/png")


def report_response(shop: Shop, names: list[str]) -> Response:
    """Return a finished report, of one test or of the comparison of two, under its own policy."""
    folder = shop.bench.report_of(names[0]) if len(names) == 1 else shop.bench.comparison_of(*names)
    report = folder / "report.html" if folder else None
    if report is None or not report.is_file():
        raise HTTPException(404)
    text = report.read_text(encoding="utf-8")
    return HTMLResponse(text, headers={"Content-Security-Policy": REPORT_POLICY})


ROUTES = [
    Route("/", _bench),
    Route("/refused/{name}", _refused),
]
