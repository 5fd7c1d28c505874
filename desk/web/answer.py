"""What every page is made with: its form, its answer, and who works at this browser."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Any
from urllib.parse import quote, unquote, urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection, Request
from starlette.responses import RedirectResponse, Response

from shared.errors import BadInput
from shared.store import Person, Store

Form = Mapping[str, str]
Handler = Callable[[Request], Awaitable[Response]]

LARGEST_FORM = 200_000
"""Characters a form may bring: the words of a long visit fit many times."""


def show(request: Request, template: str, /, status_code: int = 200, **context: Any) -> Response:
    """A page from its template."""
    answer: Response = request.app.state.templates.TemplateResponse(
        request, template, {"who": who(request), **context}, status_code=status_code
    )
    return answer


def go(path: str, /, place: str = "", **query: str | int | None) -> Response:
    """Send the browser to a page, by GET. place: the id of what it is to begin at."""
    asked = urlencode({k: v for k, v in query.items() if v not in (None, "")})
    address = path + (f"?{asked}" if asked else "") + (f"#{quote(place)}" if place else "")
    return RedirectResponse(address, 303)


def open_store(request: Request) -> Store:
    """The store, for the length of one request."""
    return Store(request.app.state.folder)


def form(work: Callable[[Request, Form], Response]) -> Handler:
    """A handler that gives `work` the fields of the form, in a thread where it may wait for the disk."""

    async def handler(request: Request) -> Response:
        async with request.form(max_files=0, max_fields=50, max_part_size=LARGEST_FORM) as sent:
            fields = {key: value for key, value in sent.items() if isinstance(value, str)}
        return await run_in_threadpool(work, request, fields)

    return handler


def number(given: str | None, name: str) -> int:
    """A whole number from a form or an address. Raises BadInput."""
    if given is None or not (given.isascii() and given.isdigit() and len(given) < 19):
        raise BadInput("it needs a whole number", where=name, remedy="Go back, open the page again.")
    return int(given)


def who(request: HTTPConnection) -> str:
    """The name chosen at this browser, "" if nobody has been."""
    return unquote(request.cookies.get(_cookie(request), ""))


def somebody(request: Request, store: Store) -> Person:
    """The person who works at this browser. Raises BadInput if nobody was chosen or they are gone."""
    if not who(request):
        raise BadInput(
            "nobody has said who is working here", where="people", remedy="Choose your name under People."
        )
    return store.person(who(request))


def remember(request: Request, answer: Response, name: str) -> None:
    """Keep the name until the browser is closed."""
    answer.set_cookie(_cookie(request), quote(name), httponly=True, samesite="strict")


def _cookie(request: HTTPConnection) -> str:
    # Cookies know no ports, see the guard.
    return f"earside_who_{request.url.port or 80}"
