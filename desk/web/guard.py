"""Who is let in. Everything that reaches the server passes here, WebSockets too.

Another page in the same browser, or a name that was made to point at this computer, must not read or
change a record (DNS rebinding, cross-site requests). So the Host must be ours, whatever changes
something must come from a page of ours (Origin), and the browser must hold the cookie that the address
printed at the start gave it. Header values follow OWASP's secure headers project (from memory).
"""

from __future__ import annotations

import os
import secrets
import time
from collections.abc import Sequence
from http.cookies import SimpleCookie
from pathlib import Path
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from shared.errors import BadInput
from shared.store.faults import faults

READING = ("GET", "HEAD")
SECRET_SECONDS = 14 * 3600
ONCE_SECONDS = 60
MOST_BYTES = 2_000_000
"""What one request may bring: the words of a long visit fit many times. Sound comes by WebSocket, piece by piece."""

LOCKED = (
    "This page opens only from the address that Earside printed when the desk was started on this computer. "
    "Open that address again, or start the desk again: earside desk"
)


class Guard:
    """Lets through what comes from this desk's own pages.

    key: the secret in the start address. cookie: the one that a browser holds once it has opened that address.
    hosts: the names this server goes by, with the port. once: another secret that opens it once, before the
    monotonic clock says `until`: the one a browser is started with, which other users of a computer can see.
    """

    def __init__(
        self, app: ASGIApp, *, key: str, cookie: str, hosts: Sequence[str], once: str = "", until: float = 0.0
    ) -> None:
        self._once, self._until = once, until
        self._app, self._key, self._secret, self._hosts = app, key, cookie, tuple(hosts)
        # Cookies know no ports: two desks on one computer must not put each other's out.
        self.cookie = f"earside_{hosts[0].rpartition(':')[2]}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or pass on to the pages."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal is None:
            await self._app(scope, _bounded(receive), self._headed(scope, send))
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 4403})
        else:
            await refusal(scope, receive, self._headed(scope, send))

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        host, length = headers.get("host", ""), headers.get("content-length", "0")
        if host not in self._hosts:
            return PlainTextResponse("This is not the address of the desk.", 421)
        changing = scope["type"] == "websocket" or scope["method"] not in READING
        if changing and headers.get("origin") != f"http://{host}":
            return PlainTextResponse("Only the desk's own pages may do this.", 403)
        if not length.isdigit() or int(length) > MOST_BYTES:
            return PlainTextResponse("That is more than the desk takes at once.", 413)
        if scope["type"] == "http" and (
            given := parse_qs(scope["query_string"].decode("latin-1")).get("key")
        ):
            return self._opened(given[-1], scope)
        morsel = SimpleCookie(headers.get("cookie", "")).get(self.cookie)
        if morsel is None or not _same(morsel.value, self._secret):
            return PlainTextResponse(LOCKED, 403)
        return None

    def _opened(self, given: str, scope: Scope) -> Response:
        """Trade the key in the address for a cookie, so that it stays in no history or bookmark."""
        first = bool(self._once) and _same(given, self._once) and time.monotonic() < self._until
        if first:
            self._once = ""
        elif not _same(given, self._key):
            return PlainTextResponse(LOCKED, 403)
        response = RedirectResponse(scope["path"], 303)
        response.set_cookie(self.cookie, self._secret, httponly=True, samesite="strict")
        return response

    def _headed(self, scope: Scope, send: Send) -> Send:
        sockets = " ".join(f"ws://{host}" for host in self._hosts)
        policy = (
            "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self' blob:; "
            f"connect-src 'self' {sockets}; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
        )

        async def headed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["Content-Security-Policy"] = policy
                headers["X-Frame-Options"] = "DENY"
                headers["X-Content-Type-Options"] = "nosniff"
                # Not no-referrer: with it, browsers send no Origin when a form is posted.
                headers["Referrer-Policy"] = "same-origin"
                headers["Cross-Origin-Opener-Policy"] = "same-origin"
                headers["Cross-Origin-Resource-Policy"] = "same-origin"
                headers["Permissions-Policy"] = "microphone=(self), camera=(), geolocation=()"
                static = scope["path"].startswith("/static/")
                headers["Cache-Control"] = "no-cache" if static else "no-store"
            await send(message)

        return headed


def _bounded(receive: Receive) -> Receive:
    """What is received; raises BadInput where it grows too large without having said how large it is."""
    taken = 0

    async def bounded() -> Message:
        nonlocal taken
        message = await receive()
        if message["type"] == "http.request":
            taken += len(message.get("body", b""))
            if taken > MOST_BYTES:
                raise BadInput(
                    "more was sent than the desk takes at once", where="the desk", remedy="Send less."
                )
        return message

    return bounded


def _same(given: str, secret: str) -> bool:
    return secrets.compare_digest(given.encode(), secret.encode())


def kept_secret(folder: Path) -> str:
    """The browsers' secret, kept for a working day, so that a page goes on when the desk is started again.

    Only this user can read it. Raises StoreError if it cannot be kept.
    """
    path = folder / "desk.secret"
    with faults(path):
        if (
            path.is_file()
            and time.time() - path.stat().st_mtime < SECRET_SECONDS
            and (kept := path.read_text())
        ):
            return kept
        path.unlink(missing_ok=True)
        secret = secrets.token_urlsafe(32)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(secret)
    return secret
