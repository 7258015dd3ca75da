"""The clamp page: a predicted joint to be played with, every number from the contact model."""

from __future__ import annotations

import json
import math
import shlex
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from firedeck.definition.shape import seal_line
from firedeck.drawing.picture_file import save
from firedeck.errors import DefinitionError, FiredeckError
from firedeck.report.cautions import prediction_limits_section
from firedeck.study.clamp.answer import (
    ClampAnswer,
    answer_columns,
    answer_of,
    answer_record,
    giveway_rows,
    level_rows,
    packed,
    step_rows,
    widths,
)
from firedeck.study.clamp.opened import HIGHEST_SEARCHED, OpenJoint
from firedeck.study.clamp.pictures import PICTURES, draw_clamp, state_words
from firedeck.study.clamp.setting import HIGHEST_MPA, ClampSetting, read_setting, setting_text
from firedeck.study.plan_shapes import shape_plan
from firedeck.study.prediction.notes import prediction_assumptions
from firedeck.web.looks import page_looks
from firedeck.web.shop import Shop, shop_of

__all__ = ["ROUTES"]

_TABLES = ("seals", "fasteners", "bow", "giveway", "tightening", "line-loads")

_IMAGES = {".png": "image/png", ".svg": "image/svg+xml"}


def _names(request: Request) -> tuple[str, str]:
    """Return the prediction's file and the gasket's, none where it is the prediction's own."""
    name = f"{request.path_params['prediction']}.toml"
    bench = shop_of(request).bench
    gasket = request.query_params.get("gasket", "")
    return name, "" if gasket == bench.check_prediction_inside(name).gasket else gasket


def _opened(request: Request) -> OpenJoint:
    return shop_of(request).clamps.opened(*_names(request))


def _setting(request: Request, opened: OpenJoint) -> ClampSetting:
    return read_setting(opened.files, opened.gas, request.query_params)


def _clamp(request: Request) -> Response:
    shop = shop_of(request)
    stem = request.path_params["prediction"]
    if not any(file.stem == stem and file.kind == "prediction" for file in shop.bench.files()):
        raise HTTPException(404)
    name, gasket = _names(request)
    entry = shop.clamps.entry(name, gasket, again=True)
    if entry.fault is not None:
        raise entry.fault
    if entry.opened is None:
        return shop.page(
            "clamp_wait.html.j2", name=stem, file=name, gasket=gasket, prediction=_title(shop, name)
        )
    return _open_page(shop, stem, entry.opened)


def _title(shop: Shop, name: str) -> str:
    return next((file.title for file in shop.bench.files() if file.name == name), name)


def _open_page(shop: Shop, stem: str, opened: OpenJoint) -> Response:
    files = opened.files
    stated = setting_text(read_setting(files, opened.gas, {}), files)
    hot = files.prediction.hot
    return shop.page(
        "clamp.html.j2",
        name=stem,
        own_gasket=shop.bench.check_prediction_inside(f"{stem}.toml").gasket,
        files=files,
        stated=stated,
        heights={"head": hot.head, "block": hot.block} if hot else {},
        bores=[bore.name for bore in files.plan.bores],
        gaskets=[file for file in shop.bench.files() if file.kind == "gasket"],
        seals=files.plan.seals,
        highest=HIGHEST_MPA,
        searched=HIGHEST_SEARCHED,
        assumptions=prediction_assumptions(files, opened.sizes, opened.gas.origin, opened.joint),
        limits=prediction_limits_section(),
        command=f"firedeck predict {shlex.quote(f'{stem}.toml')}",
        tables=_TABLES,
        pictures=list(PICTURES),
        prints=_prints(shop, files.prediction.deck, files.prediction.gasket),
    )


def _prints(shop: Shop, deck: str, gasket: str) -> list[dict[str, str]]:
    """Return the read prints of a gasket on a deck."""
    found = []
    for test in shop.bench.tests():
        if not test.report:
            continue
        record = shop.bench.check_inside(test.file.name)
        if (record.deck, record.gasket) == (deck, gasket):
            found.append({"stem": test.file.stem, "title": test.file.title, "headline": test.headline})
    return found


def _opening(request: Request) -> Response:
    again = "again" in request.query_params
    entry = shop_of(request).clamps.entry(*_names(request), again=again)
    fault = entry.fault
    words = "" if fault is None else f"{fault.where}: {fault.message}. To mend: {fault.remedy}."
    return JSONResponse({"state": entry.state, "fault": words})


def _data(request: Request) -> Response:
    opened = _opened(request)
    joint, files = opened.joint, opened.files
    lines = [seal_line(files.plan, one.seal, step=joint.laid.step) for one in joint.model.seals]
    limits = files.prediction.limits
    seals = [
        {
            "name": one.seal.name,
            "kind": str(one.seal.kind),
            "width_mm": width,
            "length_mm": line.length,
            "points": len(line.points),
            "round": line.is_round,
            "least_N_per_mm": limits.least(one.seal.kind),
        }
        for one, line, width in zip(joint.model.seals, lines, widths(opened), strict=True)
    ]
    return JSONResponse(
        {
            "plan": shape_plan(files.plan),
            "seals": seals,
            "places": packed([line.points.ravel() for line in lines]),
            "normals": packed([line.normals.ravel() for line in lines]),
            "angles": packed([line.angles for line in lines]),
            "fasteners": [{"name": seat.name, "place": list(seat.place)} for seat in joint.seats],
            "factor": limits.contact_factor,
            "looks": page_looks(),
        }
    )


def _answer(request: Request) -> Response:
    opened = _opened(request)
    try:
        setting = _setting(request, opened)
        asked = request.query_params
        step = _step(asked.get("step", ""))
        fast = answer_of(opened, setting, quick="quick" in asked, step=step)
        shown, difference = fast, None
        if "check" in asked:
            shown = answer_of(opened, setting, level="check", step=step)
            difference = level_rows(fast, shown)
    except DefinitionError as fault:
        faults = {one.key: f"{one.message}. To mend: {one.remedy}." for one in fault.faults}
        return JSONResponse({"faults": faults}, status_code=200)
    told = setting_text(setting, opened.files)
    record = answer_record(opened, shown)
    return _json(
        {
            **record,
            "words": state_words(shown),
            "difference": difference,
            "setting": told,
            "count": len(opened.moves(setting)),
        }
    )


def _json(value: Mapping[str, Any]) -> Response:
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return Response(text, media_type="application/json")


def _step(said: str) -> int | None:
    return int(said) if said.isdigit() else None


def _giveway(request: Request) -> Response:
    opened = _opened(request)
    rows = giveway_rows(opened, _setting(request, opened))
    return JSONResponse(
        {"rows": [{key: None if _open_end(value) else value for key, value in row.items()} for row in rows]}
    )


def _open_end(value: object) -> bool:
    return isinstance(value, float) and not math.isfinite(value)


def _steps(request: Request) -> Response:
    opened = _opened(request)
    return JSONResponse({"rows": step_rows(opened, _setting(request, opened))})


def _shown(request: Request, opened: OpenJoint) -> ClampAnswer:
    step = _step(request.query_params.get("step", ""))
    return answer_of(opened, _setting(request, opened), level="check", step=step)


def _picture(request: Request) -> Response:
    name = Path(request.path_params["name"])
    if name.stem not in PICTURES or name.suffix not in _IMAGES:
        raise HTTPException(404)
    opened = _opened(request)
    figure = draw_clamp(opened, _shown(request, opened), name.stem)
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / name.name
        save(figure, path)
        return Response(path.read_bytes(), media_type=_IMAGES[name.suffix])


def _table(request: Request) -> Response:
    name = Path(request.path_params["name"])
    if name.stem not in _TABLES or name.suffix != ".csv":
        raise HTTPException(404)
    from firedeck.files.table_file import write_table

    opened = _opened(request)
    columns = answer_columns(opened, _shown(request, opened), name.stem)
    if not columns:
        raise FiredeckError("this table has no rows for this joint")
    with tempfile.TemporaryDirectory() as scratch:
        stem = Path(scratch) / name.stem
        write_table(stem, columns, units={})
        text = stem.with_suffix(".csv").read_bytes()
    return Response(text, media_type="text/csv; charset=utf-8")


ROUTES = [
    Route("/clamp/{prediction}", _clamp),
    Route("/clamp/{prediction}/opening", _opening),
    Route("/clamp/{prediction}/data", _data),
    Route("/clamp/{prediction}/answer", _answer),
    Route("/clamp/{prediction}/giveway", _giveway),
    Route("/clamp/{prediction}/steps", _steps),
    Route("/clamp/{prediction}/picture/{name}", _picture),
    Route("/clamp/{prediction}/table/{name}", _table),
]
