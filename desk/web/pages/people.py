"""Who works here, and who is working at this browser now. A name is taken at its word: no passwords yet."""

from __future__ import annotations

from typing import cast

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from desk.web import answer
from desk.web.answer import Form
from shared.store.rows import Role

ROLES: dict[Role, str] = {
    "clinician": "checks, corrects and signs",
    "assistant": "checks and corrects",
    "auditor": "only reads",
}


def page(request: Request) -> Response:
    """Everybody who works here."""
    with answer.open_store(request) as store:
        people = store.people()
    back = _back(request.query_params.get("back", ""))
    return answer.show(request, "people.html", people=people, roles=ROLES, back=back)


def choose(request: Request, form: Form) -> Response:
    """Say who is working at this browser."""
    with answer.open_store(request) as store:
        person = store.person(form.get("name", ""))
    response = answer.go(_back(form.get("back", "")))
    answer.remember(request, response, person.name)
    return response


def add(request: Request, form: Form) -> Response:
    """Add a person, or change what they may do; the first one is working here at once."""
    with answer.open_store(request) as store:
        first = not store.people()
        person = store.set_person(
            form.get("name", ""),
            cast(Role, form.get("role", "")),
            active=form.get("active", "yes") == "yes",
            by=answer.who(request) or form.get("name", ""),
        )
    response = answer.go(_back(form.get("back", "")) if first else "/people")
    if first:
        answer.remember(request, response, person.name)
    return response


def _back(address: str) -> str:
    """Where to go on: a page of ours, never another site."""
    return address if address.startswith("/") and not address.startswith(("//", "/\\")) else "/"


ROUTES = [
    Route("/people", page, name="people"),
    Route("/people", answer.form(add), methods=["POST"]),
    Route("/people/now", answer.form(choose), methods=["POST"], name="people_now"),
]
