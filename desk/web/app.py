"""Which address leads to which page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles
from starlette.templating import Jinja2Templates

from desk import wording
from desk.web import answer, when
from desk.web.bench import Bench
from desk.web.guard import Guard
from desk.web.pages import acts, history, people, sound, visit, visits
from shared.errors import BadInput, Conflict, EarsideError

ROOMS = (("visits", "Visits"), ("people", "People"))
"""The pages that every page leads to: the route's name, and what it is called."""

_HERE = Path(__file__).parent


def application(folder: Path, *, key: str, hosts: Sequence[str]) -> Starlette:
    """The desk over the store in `folder`.

    key: the secret of the start address. hosts: what this server is called, e.g. ["127.0.0.1:8701"].
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
            *acts.ROUTES,
            *people.ROUTES,
            Mount("/static", StaticFiles(directory=_HERE / "static"), name="static"),
        ],
        middleware=[Middleware(Guard, key=key, hosts=hosts)],
        exception_handlers={EarsideError: _problem, 404: _nothing_here},
    )
    app.state.folder = folder
    app.state.bench = Bench(folder)
    app.state.templates = Jinja2Templates(env=environment)
    return app


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
