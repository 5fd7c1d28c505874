"""Which address leads to which page."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path
from time import monotonic

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles
from starlette.templating import Jinja2Templates

from desk import wording
from desk.listening import Parts
from desk.web import answer, papers, when
from desk.web.bench import Bench
from desk.web.dictations import Dictations
from desk.web.door import Door
from desk.web.guard import ONCE_SECONDS, Guard
from desk.web.mishaps import Mishaps
from desk.web.pages import (
    acts,
    history,
    learning,
    listen,
    patient,
    people,
    recall,
    register,
    rights,
    sign_in,
    sound,
    visit,
    visits,
)
from desk.web.sessions import Sessions
from shared.errors import BadInput, Conflict, EarsideError

ROOMS = (("visits", "Visits"), ("listen", "Listen"), ("recall", "Recall"), ("register", "Register"),
         ("learning", "Words"), ("people", "People"))  # fmt: skip
"""The pages that every page leads to: the route's name, and what it is called."""

_HERE = Path(__file__).parent


def application(
    folder: Path,
    *,
    key: str,
    hosts: Sequence[str],
    cookie: str = "",
    once: str = "",
    parts: Parts | None = None,
) -> Starlette:
    """The desk over the store in `folder`.

    key: the secret of the start address; cookie: the browsers', the same if not given; once: see `guard`. hosts:
    what this server is called, e.g. ["127.0.0.1:8701"]. parts: what it listens with, the usual if not given.
    """
    environment = Environment(
        loader=FileSystemLoader(_HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals |= {"wording": wording, "rooms": ROOMS, "here": ""}
    environment.filters |= {
        "day": when.day,
        "moment": when.moment,
        "clock": when.clock,
        "to_type": when.to_type,
    }
    app = Starlette(
        routes=[
            *visits.ROUTES,
            *visit.ROUTES,
            *sound.ROUTES,
            *history.ROUTES,
            *papers.ROUTES,
            *rights.ROUTES,
            *acts.ROUTES,
            *listen.ROUTES,
            *recall.ROUTES,
            *register.ROUTES,
            *learning.ROUTES,
            *people.ROUTES,
            *sign_in.ROUTES,
            *patient.ROUTES,
            Mount("/static", StaticFiles(directory=_HERE / "static"), name="static"),
        ],
        middleware=[
            Middleware(
                Guard,
                key=key,
                cookie=cookie or key,
                hosts=hosts,
                once=once,
                until=monotonic() + ONCE_SECONDS,
            ),
            Middleware(Mishaps),
            Middleware(Door),
        ],
        exception_handlers={EarsideError: _problem, 404: _nothing_here},
        lifespan=_lifespan,
    )
    app.state.folder, app.state.sessions = folder, Sessions()
    app.state.bench = Bench(folder)
    app.state.registers = register.Registers(folder)
    app.state.templates = templates = Jinja2Templates(env=environment)
    app.state.dictations = Dictations(folder, partial(listen.so_far, templates), parts=parts)
    return app


@asynccontextmanager
async def _lifespan(app: Starlette) -> AsyncIterator[None]:
    yield
    await run_in_threadpool(app.state.dictations.leave)


def _problem(request: Request, fault: Exception) -> Response:
    """A page that says what is wrong, where, and what to do."""
    assert isinstance(fault, EarsideError)
    code = 409 if isinstance(fault, Conflict) else 400 if isinstance(fault, BadInput) else 500
    return _answer(request, fault, code)


def _nothing_here(request: Request, _: Exception) -> Response:
    return _answer(
        request, BadInput("There is no such page", where=request.url.path, remedy="See the visits."), 404
    )


def _answer(request: Request, fault: EarsideError, code: int) -> Response:
    return answer.show(request, "problem.html", code, fault=fault)
