"""What nobody expected: a page that says so, and a line that names the kind of fault and nothing else.

The message of a fault may quote a dictation, so it reaches neither the page nor any log.
"""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from desk import shell
from desk.web import answer
from shared.errors import EarsideError


class Mishaps:
    """Stands around the pages, inside the guard."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on; answer in place of a page that failed before it began."""
        begun = False

        async def sent(message: Message) -> None:
            nonlocal begun
            begun = begun or message["type"] == "http.response.start"
            await send(message)

        try:
            await self._app(scope, receive, sent)
        except Exception as fault:
            shell.report(fault)
            if scope["type"] == "http" and not begun:
                await _page(scope, fault)(scope, receive, send)


def _page(scope: Scope, fault: Exception) -> Response:
    told = EarsideError(
        f"something went wrong that Earside did not expect ({type(fault).__name__})",
        where="the desk",
        remedy="Nothing of what you last did was saved. Open the page again; if it stays, start the desk again.",
    )
    try:
        return answer.show(Request(scope), "problem.html", 500, fault=told)
    except Exception:
        return PlainTextResponse(told.line, 500)
