"""Two prints against each other: their maps side by side, and what the comparison of their seals says."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from firedeck.study.bench import BenchTest
from firedeck.study.prints.stored_comparison import seal_differences
from firedeck.web.bench_pages import report_response
from firedeck.web.downloads import downloads_of, file_response
from firedeck.web.shop import Shop, shop_of

__all__ = ["ROUTES"]


def _names(request: Request) -> list[str]:
    return [f"{request.path_params[one]}.toml" for one in ("first", "second")]


def _against(request: Request) -> Response:
    shop, names = shop_of(request), _names(request)
    for name in names:
        shop.bench.existing(name)
    tests = [_test(shop, name) for name in names]
    report = shop.bench.comparison_of(*names) / "report.html"
    return shop.page(
        "against.html.j2",
        tests=tests,
        shown=all(test.report for test in tests),
        there=report.is_file(),
        older=report.is_file() and _is_older(shop, tests),
        seals=seal_differences(report.parent) if report.is_file() else [],
        downloads=downloads_of(report.parent),
    )


def _test(shop: Shop, name: str) -> BenchTest:
    test = shop.bench.test(name)
    if test is None:
        raise HTTPException(404)
    return test


def _is_older(shop: Shop, tests: list[BenchTest]) -> bool:
    """Tell whether a print was read again since the two were compared."""
    compared = shop.bench.comparison_of(*(test.file.name for test in tests)) / "report.html"
    reports = [shop.bench.place(test.report) / "report.html" for test in tests if test.report]
    return any(path.stat().st_mtime_ns > compared.stat().st_mtime_ns for path in reports)


def _report(request: Request) -> Response:
    return report_response(shop_of(request), _names(request))


def _file(request: Request) -> Response:
    first, second = (request.path_params[one] for one in ("first", "second"))
    folder = shop_of(request).bench.comparison_of(*_names(request))
    return file_response(folder, request.path_params["name"], f"{second}-against-{first}")


ROUTES = [
    Route("/against/{first}/{second}", _against),
    Route("/against/{first}/{second}/report", _report),
    Route("/against/{first}/{second}/file/{name}", _file),
]
