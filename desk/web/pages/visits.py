"""The list: what waits for checking, what was signed today, recordings in trouble; and finding any visit."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, cast

from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from desk import days, fields, learning, wording
from desk.web import answer, when
from shared.errors import BadInput
from shared.store import Store
from shared.store.lists import Which

WHICH = {
    "standing": "all visits",
    "waiting": "to check",
    "undecided": "with something to decide",
    "signed": "signed",
    "amended": "signed and amended",
}
ASKED = ("words", "patient", "since", "until", "finding", "ear", "which")
_A_PAGE = 50
_TROUBLES = 10


def page(request: Request) -> Response:
    """The list, or what was searched for."""
    asked = {name: request.query_params.get(name, "").strip() for name in ASKED}
    with answer.open_store(request) as store:
        context = _found(store, asked, request.query_params) if any(asked.values()) else _today(store)
        context["counts"] = store.counts()
        done = request.query_params.get("signed", "")
        context["just_signed"] = store.visit(int(done)) if done.isdigit() else None
    return answer.show(
        request,
        "visits.html",
        asked=asked,
        which=WHICH,
        findings=fields.groups(),
        name_of=wording.STATUS,
        **context,
    )


def recordings(request: Request) -> Response:
    """Recordings that could not be read, wait to be read, or hold no speech."""
    with answer.open_store(request) as store:
        found = {s: store.recordings(s, limit=200) for s in ("failed", "waiting", "no_speech")}
    return answer.show(request, "recordings.html", found=found)


def _today(store: Store) -> dict[str, Any]:
    signed = store.visits(since=when.midnight(when.today()), limit=_A_PAGE * 2).rows
    return {
        "searching": False,
        "waiting": store.visits("waiting", limit=_A_PAGE),
        "signed": [row for row in signed if row.status in ("signed", "amended")],
        "failed": store.recordings("failed", limit=_TROUBLES),
        "unread": store.recordings("waiting", limit=_TROUBLES),
        "to_learn": len(learning.suggestions(store)) if store.corrected_alike() else 0,
    }


def _found(store: Store, asked: dict[str, str], query: QueryParams) -> dict[str, Any]:
    which = asked["which"] or "standing"
    if which not in WHICH:
        raise BadInput("there is no such list", where=which, remedy=f"It can be: {', '.join(WHICH)}.")
    field, _, value = asked["finding"].partition("=")
    since, until = days.typed(asked["since"], "dates"), days.typed(asked["until"], "dates")
    found = store.visits(
        cast(Which, which),
        since=when.midnight(since) if since else None,
        until=when.midnight(until + timedelta(days=1)) if until else None,
        patient=asked["patient"] or None,
        words=asked["words"] or None,
        field=field or None,
        value=value or None,
        ear=(asked["ear"] or None) if field else None,
        after=query.get("after"),
        limit=_A_PAGE,
    )
    more = QueryParams({k: v for k, v in asked.items() if v} | {"after": found.next}) if found.next else None
    return {"searching": True, "found": found, "more": str(more) if more else None}


ROUTES = [
    Route("/", page, name="visits"),
    Route("/recordings", recordings, name="recordings"),
]
