"""What every page is made with: its form, its answer, and who works at this browser."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Any
from urllib.parse import quote, urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection, Request
from starlette.responses import RedirectResponse, Response

from desk.web.door import cookie, here
from shared.errors import BadInput
from shared.store import Person, Store
from shared.store.accounts import Account

Form = Mapping[str, str]
Handler = Callable[[Request], Awaitable[Response]]

LARGEST_FORM = 200_000
"""Characters a form may bring: the words of a long visit fit many times."""


def show(request: Request, template: str, /, status_code: int = 200, **context: Any) -> Response:
    """A page from its template."""
    answer: Response = request.app.state.templates.TemplateResponse(
        request,
        template,
        {"who": who(request), "door": here(request), "back_here": request.url.path, **context},
        status_code=status_code,
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
    """Who works at this browser: signed in or, without accounts, as chosen; "" if nobody."""
    return here(request).name


def somebody(request: Request, store: Store) -> Person:
    """The person who works at this browser. Raises BadInput if nobody was chosen or they are gone."""
    found = here(request)
    if found.person:
        return found.person
    if not found.name:
        raise BadInput(
            "nobody has said who is working here", where="people", remedy="Choose your name under People."
        )
    return store.person(found.name)


def remember(request: Request, answer: Response, name: str) -> None:
    """Keep the name that was chosen until the browser is closed."""
    _keep(answer, cookie(request, "who"), quote(name))


def sign_in(request: Request, answer: Response, account: Account) -> None:
    """Begin a session at this browser; the one that was there ends."""
    earlier = request.cookies.get(cookie(request, "in"), "")
    secret = request.app.state.sessions.begin(account.person.name, account.changed, earlier)
    _keep(answer, cookie(request, "in"), secret)


def _keep(answer: Response, name: str, value: str) -> None:
    answer.set_cookie(name, value, httponly=True, samesite="strict")
