"""The whole history of a visit: every change, every signature, and the record as it was at any time."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from desk.lines import sections
from desk.web import answer


def page(request: Request) -> Response:
    """Everything that was done to a visit, the latest first."""
    visit_id = request.path_params["id"]
    with answer.open_store(request) as store:
        stored, entries = store.visit(visit_id), store.history(visit_id)
        signatures = store.signatures(visit_id)
    return answer.show(
        request,
        "history.html",
        stored=stored,
        entries=entries,
        signatures=signatures,
        sections=sections,
    )


def as_of(request: Request) -> Response:
    """The record as it was after one entry."""
    visit_id, number = request.path_params["id"], request.path_params["entry"]
    with answer.open_store(request) as store:
        visit = store.as_of(visit_id, number)
        stored = store.visit(visit_id)
        entry = next(e for e in store.history(visit_id) if e.number == number)
    return answer.show(request, "as_of.html", stored=stored, visit=visit, entry=entry, sections=sections)


ROUTES = [
    Route("/visits/{id:int}/history", page, name="history"),
    Route("/visits/{id:int}/history/{entry:int}", as_of, name="as_of"),
]
