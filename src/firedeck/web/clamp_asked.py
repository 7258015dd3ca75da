"""What a request to the clamp page asks for: the joint, the setting, the step, and whether it still waits."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from typing import TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from firedeck.study.clamp.doubted import ClampDoubts
from firedeck.study.clamp.opened import OpenJoint
from firedeck.study.clamp.setting import UNITS, ClampSetting, read_setting
from firedeck.web.shop import shop_of

__all__ = [
    "asked_joint",
    "asked_names",
    "asked_setting",
    "asked_step",
    "asked_units",
    "while_awaited",
]

_T = TypeVar("_T")

#: How often it is looked whether a page still waits for its answer [s].
_LOOK = 0.1


def asked_names(request: Request) -> tuple[str, str]:
    """Return the prediction's file and the gasket's, none where it is the prediction's own."""
    name = f"{request.path_params['prediction']}.toml"
    gasket = request.query_params.get("gasket", "")
    return name, "" if gasket == shop_of(request).bench.check_prediction_inside(name).gasket else gasket


def asked_joint(request: Request) -> tuple[OpenJoint, ClampDoubts]:
    """Return the joint, which is open, and how far its answers may be off."""
    return shop_of(request).clamps.opened(*asked_names(request))


def asked_setting(request: Request, opened: OpenJoint) -> ClampSetting:
    """Return the setting."""
    return read_setting(opened.files, opened.gas, request.query_params)


def asked_step(request: Request) -> int | None:
    """Return the step of the tightening; None for the finished joint."""
    said = request.query_params.get("step", "")
    return int(said) if said.isdigit() and len(said) < 6 else None


def asked_units(request: Request) -> str:
    """Return the units in which settings are told."""
    said = request.query_params.get("units", "")
    return said if said in UNITS else next(iter(UNITS))


async def while_awaited(request: Request, work: Callable[[Callable[[], bool]], _T]) -> _T:
    """Carry out work beside the server, and tell it once its page does not wait for it any more.

    Parameters
    ----------
    request : Request
        The request.
    work : callable
        Given what it is to ask whether to go on.
    """
    await request.body()
    gone = threading.Event()
    task = asyncio.ensure_future(run_in_threadpool(work, lambda: not gone.is_set()))
    while not task.done():
        await asyncio.wait({task}, timeout=_LOOK)
        if await request.is_disconnected():
            gone.set()
    return await task
