"""Who is at the browser, and whether they may. Every request passes here, WebSockets too, after the guard.

Where somebody has a password, everybody signs in; what a role may do stands in `roles`. A WebSocket of a locked
session is let in, because it carries sound: `pages.listen` sees to it that no words come back.
"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote, unquote

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection, Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from desk.web import roles
from desk.web.sessions import Session, Sessions
from shared.errors import EarsideError, NotAllowed
from shared.store import Person, Store
from shared.store.accounts import Account

NOT_SIGNED_IN, NOT_ALLOWED = 4401, 4403
"""What a WebSocket is closed with."""

LOCKED = NotAllowed(
    "nobody is signed in any more, or the desk is locked",
    where="the desk",
    remedy="Nothing was changed. Sign in, then do it again.",
)


@dataclass(frozen=True)
class Here:
    """Who is at a browser.

    name: "" if nobody is signed in, or the session is locked; without accounts, the name that was chosen.
    accounts: whether there are any. person: with accounts, who is signed in. lock_seconds: until it locks.
    """

    name: str = ""
    accounts: bool = False
    person: Person | None = None
    session: Session | None = None
    lock_seconds: int = 0


def here(connection: HTTPConnection) -> Here:
    """Who is at the browser that this comes from."""
    found: Here = connection.scope.get("earside.here", Here())
    return found


def cookie(connection: HTTPConnection, what: str) -> str:
    """The name of a cookie of this desk. Cookies know no ports, see the guard."""
    return f"earside_{what}_{connection.url.port or 80}"


class Door:
    """Lets through what whoever is at the browser may do."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or pass on to the pages."""
        if scope["type"] == "lifespan" or scope["path"].startswith("/static/"):
            await self._app(scope, receive, send)
            return
        name = roles.asked(scope["app"].routes, scope)
        try:
            found = scope["earside.here"] = await run_in_threadpool(_find, scope)
        except EarsideError as fault:
            await self._refuse(scope, receive, send, fault, 500, NOT_ALLOWED)
            return
        may = roles.MAY.get(name, roles.NOBODY) if name else roles.READS
        role = found.person.role if found.person else None
        locked_line = name.startswith("WEBSOCKET") and found.session is not None and found.session.locked
        if not found.accounts or role in may or locked_line:
            if found.session and name != "GET /session" and not found.session.locked:
                scope["app"].state.sessions.active(found.session)
            await self._app(scope, receive, send)
        elif found.person is None:
            await self._refuse(scope, receive, send, LOCKED, 401, NOT_SIGNED_IN)
        else:
            refusal = NotAllowed(
                f"{found.person.name} is here as {role}, who may not do this",
                where="the desk",
                remedy="Have somebody do it who may; see People.",
            )
            await self._refuse(scope, receive, send, refusal, 403, NOT_ALLOWED)

    async def _refuse(
        self, scope: Scope, receive: Receive, send: Send, fault: EarsideError, status: int, code: int
    ) -> None:
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.accept"})
            await send({"type": "websocket.close", "code": code})
            return
        from desk.web import answer  # noqa: PLC0415  (it asks who is here)

        response: Response
        if status == 401 and scope["method"] in ("GET", "HEAD") and scope["path"] != "/session":
            back = scope["path"] + (f"?{query}" if (query := scope["query_string"].decode("latin-1")) else "")
            response = RedirectResponse(f"/sign-in?back={quote(back, safe='')}", 303)
        else:
            response = answer.show(Request(scope), "problem.html", status, fault=fault)
        await response(scope, receive, send)


def still(app: Starlette, session: Session) -> None:
    """Lock a session whose person left, or has another password now."""
    with Store(app.state.folder) as store:
        account = store.accounts().get(session.name)
    if not _is_of(session, account):
        session.locked = True


def _is_of(session: Session, account: Account | None) -> bool:
    return account is not None and account.person.active and account.changed == session.account


def _find(scope: Scope) -> Here:
    connection = HTTPConnection(scope)
    app = scope["app"]
    sessions: Sessions = app.state.sessions
    with Store(app.state.folder) as store:
        accounts = store.accounts()
        if not accounts:
            return Here(unquote(connection.cookies.get(cookie(connection, "who"), "")))
        idle = 60 * store.lock_minutes()
    secret = connection.cookies.get(cookie(connection, "in"), "")
    session = sessions.find(secret, idle)
    account = accounts.get(session.name) if session else None
    if session and not _is_of(session, account):
        sessions.end(secret)
        session = None
    if session is None or account is None or session.locked:
        return Here(accounts=True, session=session, lock_seconds=idle)
    return Here(account.person.name, True, account.person, session, idle)
