"""The application: page, interface and guard put together."""

from __future__ import annotations

import io
import logging
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, Response
from fastapi.staticfiles import StaticFiles
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.exceptions import HTTPException

from desk.say import CAUTION
from desk.web import card_routes, colour_routes, making, shelf_routes, spread_routes
from desk.web.crew import Crew, WorkerLost
from desk.web.errors import Refusal
from desk.web.files import Files
from desk.web.guard import Asgi, Door, Guard
from desk.web.journal import Journal
from desk.web.office import Office
from desk.web.routes import router
from desk.web.sessions import COOKIE, SESSION_S, Sessions
from desk.web.work import NICENESS
from scoring.errors import TallyglassError

LOG = logging.getLogger("tallyglass.desk")
HERE = Path(__file__).parent
WORKERS = 2


@dataclass(frozen=True)
class Desk:
    """What is served: the data folder, the archive's, who is let in, the address phones open.

    ``demo`` says on every screen that all this is invented.
    """

    data: Path
    archive: Path | str
    door: Door
    address: str
    workers: int = WORKERS
    niceness: int = NICENESS
    demo: bool = False


def create_app(desk: Desk) -> Asgi:
    """The guarded application; ``create_app(...).app`` is the FastAPI application inside."""
    journal = Journal(desk.data / "evenings.sqlite")
    sessions = Sessions(journal)
    templates = Environment(
        loader=FileSystemLoader(HERE / "templates"), autoescape=True, undefined=StrictUndefined
    )

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        office = Office(
            Files(desk.data), journal, desk.archive, Crew(desk.workers, desk.niceness), Crew(1, 0)
        )
        office.reader.start()
        office.weigher.start()
        app.state.office = office
        office.resume()
        yield
        await office.close()

    app = FastAPI(
        title="Tallyglass web desk",
        version="1",
        description=__doc__,
        lifespan=lifespan,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
    )
    app.state.door, app.state.sessions, app.state.demo = desk.door, sessions, desk.demo
    app.state.invite = inviter(sessions, desk.address)
    app.include_router(router)
    for part in (making, shelf_routes, spread_routes, colour_routes, card_routes):
        app.include_router(part.router)
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    add_pages(app, templates, sessions)
    add_refusals(app)
    return Guard(app, desk.door, sessions)


def inviter(sessions: Sessions, address: str) -> Callable[[], tuple[str, str]]:
    """What makes an address with a fresh key, and its QR code as SVG."""

    def invite() -> tuple[str, str]:
        import segno

        url = f"{address}/join?key={sessions.new_key()}"
        out = io.BytesIO()
        segno.make(url, error="m").save(out, kind="svg", scale=6, border=4, light="#fff")
        return url, out.getvalue().decode()

    return invite


def add_pages(app: FastAPI, templates: Environment, sessions: Sessions) -> None:
    """The page itself, joining with a key, and the interface's documentation for people."""

    def page(name: str, **values: Any) -> HTMLResponse:
        return HTMLResponse(templates.get_template(name).render(**values))

    @app.get("/", include_in_schema=False)
    async def home() -> HTMLResponse:
        return page("desk.html", caution=CAUTION, demo=app.state.demo)

    @app.get("/join", include_in_schema=False)
    def join(key: str = "") -> Response:
        token = sessions.trade(key[:100])
        if token is None:
            LOG.warning("refused a key that is no good")
            words = "This code was used before or is too old. Ask the host for a new one."
            return Response(words, 401, media_type="text/plain; charset=utf-8")
        # A page, not a redirect: a browser that came from a message would not send a strict
        # cookie along with a redirect.
        answer = page("joined.html")
        answer.set_cookie(COOKIE, token, max_age=SESSION_S, httponly=True, samesite="strict")
        return answer

    @app.get("/api", include_in_schema=False)
    async def interface() -> HTMLResponse:
        return page("interface.html", paths=app.openapi()["paths"])


def add_refusals(app: FastAPI) -> None:
    """Every failure becomes a sentence; a traceback goes to the log, never to a phone."""

    @app.exception_handler(TallyglassError)
    async def refused(request: Request, error: TallyglassError) -> JSONResponse:
        status = error.status if isinstance(error, Refusal) else 422
        LOG.warning("refused %s %s: %s", request.method, ascii(request.url.path)[:200], error)
        headers = {"connection": "close"} if status in (408, 413) else {}
        return JSONResponse({"problem": str(error)}, status, headers=headers)

    @app.exception_handler(RequestValidationError)
    async def invalid(request: Request, error: RequestValidationError) -> JSONResponse:
        words = in_words(error.errors())
        LOG.warning("refused %s %s: %s", request.method, ascii(request.url.path)[:200], words)
        return JSONResponse({"problem": words}, 422)

    @app.exception_handler(HTTPException)
    async def http(_request: Request, error: HTTPException) -> JSONResponse:
        words = {404: "There is nothing at this address.", 405: "This cannot be done here."}
        problem = words.get(error.status_code, "The request cannot be understood.")
        return JSONResponse({"problem": problem}, error.status_code, headers=error.headers)

    @app.exception_handler(WorkerLost)
    async def lost(request: Request, error: WorkerLost) -> JSONResponse:
        LOG.warning("gave up %s %s: %s", request.method, ascii(request.url.path)[:200], error)
        words = "This could not be worked out: it took too long, or too much memory. Nothing that "
        words += "was kept is lost; try again, with another photo if it was about one."
        return JSONResponse({"problem": words}, 503)

    @app.exception_handler(Exception)
    async def fault(_request: Request, _error: Exception) -> JSONResponse:
        words = "Something went wrong inside. Nothing that was kept is lost; try again."
        return JSONResponse({"problem": words}, 500)


def in_words(errors: Sequence[Any]) -> str:
    """The first thing that is wrong with a form, as a sentence."""
    first = errors[0]
    place = ", ".join(str(part) for part in first["loc"] if part not in ("body", "query", "path"))
    reason = str(first["msg"]).removeprefix("Value error, ")
    more = f" ({len(errors) - 1} more like it.)" if len(errors) > 1 else ""
    return f"{place or 'The request'}: {reason[:1].lower()}{reason[1:]}.{more}"
