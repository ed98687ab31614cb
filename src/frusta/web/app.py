"""The app behind the page, made from its arguments: no globals, nothing opened on import."""

from __future__ import annotations

import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib import resources
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from frusta.errors import FrustaError
from frusta.publish import render
from frusta.version import __version__
from frusta.web.access import Access, Guard
from frusta.web.desk import Desk
from frusta.web.problems import REFUSALS, Problem, problem_of
from frusta.web.rooms import bench, campaign, cones, differences, importing, next_cone, report
from frusta.web.views import Views

STATIC = Path(str(resources.files("frusta.web").joinpath("static")))


def make_app(desk: Desk, access: Access) -> Guard:
    """Return the ASGI app of the page.

    Parameters
    ----------
    desk : Desk
        What is open.
    access : Access
        Who may come in.
    """
    views = Views(desk, access)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        await run_in_threadpool(views.sitting.close)
        await run_in_threadpool(views.forecaster.close)
        await run_in_threadpool(desk.close)

    app = FastAPI(
        title="frusta",
        version=__version__,
        description="Everything that the page does, it does through these calls.",
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        lifespan=lifespan,
        responses=REFUSALS,
    )
    app.add_exception_handler(FrustaError, _told)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(HTTPException, _not_there)
    app.add_exception_handler(Exception, _slip)
    for room in (campaign, bench, cones, differences, next_cone, report, importing):
        app.include_router(room.router(views))

    @app.get("/static/font.woff2", include_in_schema=False)
    def font() -> Response:
        return Response(render.asset(render.WEB_FONT), media_type="font/woff2", headers=_LASTING)

    @app.get("/static/readout.js", include_in_schema=False)
    def readout() -> Response:
        return Response(render.asset("assets/report.js"), media_type="text/javascript")

    @app.get("/", include_in_schema=False)
    def enter(request: Request) -> Response:
        return RedirectResponse(f"{request.scope['root_path']}/bench", 303)

    app.mount("/static", StaticFiles(directory=STATIC), name="static")

    async def problem_page(request: Request, problem: Problem, status: int) -> Response:
        return await run_in_threadpool(views.problem_page, request, problem, status)

    app.state.problem_page = problem_page
    app.openapi()  # builds every schema here, in one thread: first requests may come at the same moment
    return Guard(app, access)


_LASTING = {"cache-control": "max-age=31536000, immutable"}


async def _told(request: Request, error: Exception) -> Response:
    """An error that a user can mend."""
    assert isinstance(error, FrustaError)
    return await _answer(request, problem_of(error), 422)


async def _slip(request: Request, error: Exception) -> Response:
    """A mistake of frusta's own: told in the same form, with the trace in the terminal and the log."""
    logging.getLogger("frusta").error("a mistake of frusta's own, in the page", exc_info=error)
    told = f"{type(error).__name__}: {error}"[:300]
    return await _answer(request, Problem("Something went wrong inside frusta.", told, "Reload; tables are safe."), 500)


async def _invalid(request: Request, error: Exception) -> Response:
    details = error.errors() if isinstance(error, RequestValidationError) else []
    first: dict[str, Any] = dict(details[0]) if details else {"loc": (), "msg": "not understood"}
    where = ", ".join(str(part) for part in first["loc"][1:])
    return await _answer(request, Problem("The request was not understood.", where, f"{first['msg']}."), 422)


async def _not_there(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    told = error.detail if isinstance(error, HTTPException) else "Not done"
    what = {404: "There is nothing here.", 405: "That cannot be done here."}.get(status, f"{told}.")
    return await _answer(request, Problem(what, request.url.path.split("/", 2)[-1], "Go to one of the rooms."), status)


async def _answer(request: Request, problem: Problem, status: int) -> Response:
    """JSON for the API and for fragments, a page for who opens one."""
    wants_page = "text/html" in request.headers.get("accept", "") and "hx-request" not in request.headers
    if wants_page and request.method == "GET" and "/api/" not in request.url.path:
        page: HTMLResponse = await request.app.state.problem_page(request, problem, status)
        return page
    return JSONResponse(problem.body(), status)
