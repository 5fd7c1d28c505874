"""What each role may do, route by route. What is not named here is nobody's.

Where there are no accounts this is not asked: there each act is checked by the store, for the name chosen.
"""

from __future__ import annotations

from collections.abc import Iterable

from starlette.routing import BaseRoute, Match, Route, WebSocketRoute
from starlette.types import Scope

from shared.store.rows import Role

ANYONE: frozenset[Role | None] = frozenset({None, "clinician", "assistant", "auditor"})
"""Also whoever has not signed in, but has the start address."""
READS: frozenset[Role | None] = frozenset({"clinician", "assistant", "auditor"})
WORKS: frozenset[Role | None] = frozenset({"clinician", "assistant"})
SIGNS: frozenset[Role | None] = frozenset({"clinician"})
NOBODY: frozenset[Role | None] = frozenset()

MAY: dict[str, frozenset[Role | None]] = {
    "GET /": READS,
    "GET /recordings": READS,
    "GET /visits/{id:int}": READS,
    "GET /visits/{id:int}/words": READS,
    "GET /visits/{id:int}/sound": READS,
    "GET /visits/{id:int}/history": READS,
    "GET /visits/{id:int}/history/{entry:int}": READS,
    "GET /visits/{id:int}/papers/{paper}": READS,
    "POST /visits/{id:int}/{act}": WORKS,
    "POST /visits/{id:int}/sign": SIGNS,
    "POST /visits/{id:int}/amend": SIGNS,
    "POST /visits/{id:int}/agreement": WORKS,
    "GET /patient/held.zip": READS,
    "GET /patient/erase": SIGNS,
    "POST /patient/erase": SIGNS,
    "GET /listen": WORKS,
    "POST /listen/finish": WORKS,
    "WEBSOCKET /listen/sound": WORKS,
    "GET /recall": READS,
    "GET /recall.ics": READS,
    "GET /recall.csv": READS,
    "POST /recall/{visit}": WORKS,
    "GET /register": READS,
    "GET /register.csv": READS,
    "GET /register/{name}.svg": READS,
    "GET /learning": READS,
    "POST /learning": WORKS,
    "GET /patient": READS,
    "GET /people": READS,
    "POST /people": SIGNS,
    "POST /people/now": NOBODY,
    "POST /people/password": READS,
    "POST /people/rules": SIGNS,
    "GET /sign-in": ANYONE,
    "POST /sign-in": ANYONE,
    "POST /sign-out": ANYONE,
    "POST /lock": ANYONE,
    "GET /session": ANYONE,
    "POST /session": READS,
}


def names(route: BaseRoute) -> list[str]:
    """A route as it is named in `MAY`, once for each method."""
    if isinstance(route, WebSocketRoute):
        return [f"WEBSOCKET {route.path}"]
    if isinstance(route, Route):
        return [f"{method} {route.path}" for method in sorted((route.methods or set()) - {"HEAD"})]
    return []


def asked(routes: Iterable[BaseRoute], scope: Scope) -> str:
    """The route that a request leads to, as it is named in `MAY`; "" if to none."""
    method = "WEBSOCKET" if scope["type"] == "websocket" else scope["method"].replace("HEAD", "GET")
    for route in routes:
        if route.matches(scope)[0] is Match.FULL:
            return next((name for name in names(route) if name.startswith(f"{method} ")), "")
    return ""
