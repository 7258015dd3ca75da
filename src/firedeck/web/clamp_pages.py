"""The clamp page: a predicted joint to be played with, every number from the contact model."""

from __future__ import annotations

import json
import math
import shlex
from collections.abc import Callable, Mapping
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from firedeck.errors import DefinitionError
from firedeck.report.cautions import prediction_limits_section
from firedeck.study.clamp.answer import (
    TABLES,
    answer_of,
    answer_record,
    giveway_rows,
    level_rows,
    packed,
    step_rows,
    widths,
)
from firedeck.study.clamp.doubted import WorkDroppedError
from firedeck.study.clamp.opened import HIGHEST_SEARCHED, OpenJoint
from firedeck.study.clamp.pictures import PICTURES, gas_words, state_words
from firedeck.study.clamp.setting import ENTRIES, HIGHEST_MPA, UNITS, read_setting, setting_text
from firedeck.study.plan_shapes import shape_plan
from firedeck.study.prediction.notes import prediction_assumptions
from firedeck.web import clamp_files
from firedeck.web.clamp_asked import (
    asked_joint,
    asked_names,
    asked_setting,
    asked_step,
    asked_units,
    while_awaited,
)
from firedeck.web.looks import page_looks, page_units
from firedeck.web.shop import SIGNS, Shop, shop_of

__all__ = ["ROUTES"]

#: Pictures of the predicted print: what each shows, and the picture of a read print to lay beside it.
_PRINT_WORDS = {
    "print-film": ("The film as it would look", ""),
    "print-map": ("Pressure that the film would feel", "map.png"),
    "print-line-loads": ("Line load that the film would feel", ""),
}


def _clamp(request: Request) -> Response:
    shop = shop_of(request)
    stem = request.path_params["prediction"]
    if not any(file.stem == stem and file.kind == "prediction" for file in shop.bench.files()):
        raise HTTPException(404)
    name, gasket = asked_names(request)
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
    stated = read_setting(files, opened.gas, {})
    hot = files.prediction.hot
    return shop.page(
        "clamp.html.j2",
        name=stem,
        own_gasket=shop.bench.check_prediction_inside(f"{stem}.toml").gasket,
        files=files,
        stated=setting_text(stated, files),
        fires=stated.bore,
        heights={"head": hot.head, "block": hot.block} if hot else {},
        bores=[bore.name for bore in files.plan.bores],
        gaskets=[file for file in shop.bench.files() if file.kind == "gasket"],
        seals=files.plan.seals,
        highest=HIGHEST_MPA,
        searched=HIGHEST_SEARCHED,
        assumptions=prediction_assumptions(files, opened.sizes, opened.gas.origin, opened.joint),
        limits=prediction_limits_section(),
        command=f"firedeck predict {shlex.quote(f'{stem}.toml')}",
        giveway_command=f"firedeck predict giveway {shlex.quote(f'{stem}.toml')}",
        tables=TABLES,
        pictures=list(PICTURES),
        film=files.film,
        print_pictures=_print_pictures(opened),
        prints=clamp_files.read_prints(shop, opened),
    )


def _print_pictures(opened: OpenJoint) -> dict[str, tuple[str, str]]:
    """Return what is shown of the predicted print; how dark a film gets only where it is calibrated."""
    film = opened.files.film
    if film is None:
        return {}
    return {key: told for key, told in _PRINT_WORDS.items() if film.response or key != "print-film"}


def _opening(request: Request) -> Response:
    again = "again" in request.query_params
    entry = shop_of(request).clamps.entry(*asked_names(request), again=again)
    fault = entry.fault
    words = "" if fault is None else f"{fault.where}: {fault.message}. To mend: {fault.remedy}."
    return JSONResponse({"state": entry.state, "fault": words})


def _data(request: Request) -> Response:
    opened, _ = asked_joint(request)
    joint, files = opened.joint, opened.files
    lines = joint.laid.lines
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
    stated = read_setting(files, opened.gas, {})
    return JSONResponse(
        {
            "plan": shape_plan(files.plan),
            "seals": seals,
            "places": packed([line.points.ravel() for line in lines]),
            "angles": packed([line.angles for line in lines]),
            "fasteners": [{"name": seat.name, "place": list(seat.place)} for seat in joint.seats],
            "stated": {system: setting_text(stated, files, system) for system in UNITS},
            "units": page_units(),
            "signs": SIGNS,
            "looks": page_looks(),
        }
    )


async def _answer(request: Request) -> Response:
    return await while_awaited(request, lambda go_on: _told(request, go_on))


def _told(request: Request, go_on: Callable[[], bool]) -> Response:
    """Answer a setting: quick, on the check level, or there with its doubts while the page waits."""
    opened, weighed = asked_joint(request)
    asked = request.query_params
    try:
        setting = asked_setting(request, opened)
        step = asked_step(request)
        fast = answer_of(opened, setting, quick="quick" in asked, step=step)
        shown, difference, doubts = fast, None, None
        if "check" in asked:
            shown = answer_of(opened, setting, level="check", step=step)
            difference = level_rows(fast, shown)
        if "doubts" in asked and step is None:
            doubts = weighed.seals(setting, go_on)
    except DefinitionError as fault:
        faults = {one.key: f"{one.message}. To mend: {one.remedy}." for one in fault.faults}
        return JSONResponse({"faults": faults}, status_code=200)
    except WorkDroppedError:
        return Response(status_code=204)
    moves = opened.moves(setting)
    record = answer_record(opened, shown, doubts)
    return _json(
        {
            **record,
            "words": state_words(shown, asked_units(request)),
            "gas_words": gas_words(setting.pressure, asked_units(request)),
            "setting_MPa": setting.pressure,
            "move": step_rows(opened, setting)[shown.step - 1] if shown.step else None,
            "difference": difference,
            "setting": setting_text(setting, opened.files, asked_units(request)),
            "command": _command(request),
            "count": len(moves),
        }
    )


def _command(request: Request) -> str:
    """Return the command line that answers the same setting."""
    said = request.query_params
    words = ["firedeck", "predict", "what-if", f"{request.path_params['prediction']}.toml"]
    for name in (*ENTRIES, "step"):
        if said.get(name, "").strip():
            words += [f"--{name}", said[name].strip()]
    return shlex.join(words)


def _json(value: Mapping[str, Any]) -> Response:
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return Response(text, media_type="application/json")


async def _giveway(request: Request) -> Response:
    return await while_awaited(request, lambda go_on: _order(request, go_on))


def _order(request: Request, go_on: Callable[[], bool]) -> Response:
    opened, weighed = asked_joint(request)
    setting = asked_setting(request, opened)
    try:
        ends = weighed.order(setting, go_on) if "doubts" in request.query_params else None
    except WorkDroppedError:
        return Response(status_code=204)
    rows = giveway_rows(opened, setting, ends)
    return JSONResponse(
        {"rows": [{key: None if _open_end(value) else value for key, value in row.items()} for row in rows]}
    )


def _open_end(value: object) -> bool:
    return isinstance(value, float) and not math.isfinite(value)


def _steps(request: Request) -> Response:
    opened, _ = asked_joint(request)
    return JSONResponse({"rows": step_rows(opened, asked_setting(request, opened))})


ROUTES = [
    Route("/clamp/{prediction}", _clamp),
    Route("/clamp/{prediction}/opening", _opening),
    Route("/clamp/{prediction}/data", _data),
    Route("/clamp/{prediction}/answer", _answer),
    Route("/clamp/{prediction}/giveway", _giveway),
    Route("/clamp/{prediction}/steps", _steps),
    *clamp_files.ROUTES,
]
