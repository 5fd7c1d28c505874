"""Who works here. Without accounts, one says who is working at this browser, and a name is taken at its word."""

from __future__ import annotations

from typing import cast

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from desk.web import answer
from desk.web.answer import Form
from desk.web.door import here
from shared.errors import BadInput, NotAllowed
from shared.store import Store, passwords
from shared.store.rows import Role
from shared.store.rules import MOST_DAYS, MOST_LOCK_MINUTES

ROLES: dict[Role, str] = {
    "clinician": "checks, corrects and signs",
    "assistant": "checks and corrects drafts",
    "auditor": "only reads",
}


def page(request: Request) -> Response:
    """Everybody who works here."""
    with answer.open_store(request) as store:
        people, accounts = store.people(), store.accounts()
        rules = {"days": store.keep_days(), "lock": store.lock_minutes(), "notice": store.standing_notice()}
    return answer.show(
        request,
        "people.html",
        people=people,
        accounts=accounts,
        roles=ROLES,
        back=own_page(request.query_params.get("back", "")),
        told=request.query_params.get("told", ""),
        least=passwords.LEAST,
        rules=rules,
        most_days=MOST_DAYS,
        most_minutes=MOST_LOCK_MINUTES,
    )


def choose(request: Request, form: Form) -> Response:
    """Say who is working at this browser; where there are accounts, the door lets nobody do it."""
    with answer.open_store(request) as store:
        person = store.person(form.get("name", ""))
    response = answer.go(own_page(form.get("back", "")))
    answer.remember(request, response, person.name)
    return response


def add(request: Request, form: Form) -> Response:
    """Add a person, or change what they may do. Without accounts the first one is working here at once."""
    name, role, active = form.get("name", ""), form.get("role", ""), form.get("active", "yes") == "yes"
    with answer.open_store(request) as store:
        first = not store.people()
        if here(request).accounts:
            _somebody_signs(store, name, role, active=active)
        person = store.set_person(name, cast(Role, role), active=active, by=answer.who(request) or name)
        if form.get("password"):
            _first_password(store, person.name, form, by=answer.who(request))
    response = answer.go(own_page(form.get("back", "")) if first else "/people")
    if first:
        answer.remember(request, response, person.name)
    return response


def password(request: Request, form: Form) -> Response:
    """Give oneself another password or, where nobody has one yet, the first: from then on everybody signs in."""
    found = here(request)
    with answer.open_store(request) as store:
        if found.person:
            name = found.person.name
            store.sign_in(name, form.get("old", ""))
        else:
            name = store.person(form.get("name", "")).name
        store.set_password(name, _typed_twice(form), by=name)
        account = store.accounts()[name]
    response = answer.go("/people", told="password")
    answer.sign_in(request, response, account)
    return response


def rules(request: Request, form: Form) -> Response:
    """Set the practice's own rules; a clinician does."""
    days = form.get("days", "").strip()
    with answer.open_store(request) as store:
        person = answer.somebody(request, store)
        if person.role != "clinician" or not person.active:
            raise NotAllowed("only a clinician sets the rules", where=person.name, remedy="Ask one.")
        kept = {"keep": None, "signing": 0}
        sort = form.get("recordings", "")
        store.set_keep_days(kept[sort] if sort in kept else answer.number(days, "days"), by=person.name)
        store.set_lock_minutes(answer.number(form.get("lock"), "minutes"), by=person.name)
        store.set_standing_notice(form.get("notice", ""), by=person.name)
    return answer.go("/people", told="rules")


def own_page(address: str) -> str:
    """Where to go on: a page of ours, never another site."""
    return address if address.startswith("/") and not address.startswith(("//", "/\\")) else "/"


def _first_password(store: Store, name: str, form: Form, *, by: str) -> None:
    if name in store.accounts():
        raise BadInput(
            "has a password, and changes it themselves",
            where=name,
            remedy='If it is forgotten, set another at the terminal: earside people "NAME" --password',
        )
    store.set_password(name, _typed_twice(form), by=by)


def _typed_twice(form: Form) -> str:
    given = form.get("password", "")
    if given != form.get("again", ""):
        raise BadInput("it was not typed the same twice", where="password", remedy="Type it again.")
    return given


def _somebody_signs(store: Store, name: str, role: str, *, active: bool) -> None:
    """Raises BadInput if nobody who can sign would be left."""
    name = " ".join(name.split()).casefold()
    left = [
        person.name
        for person in (account.person for account in store.accounts().values())
        if person.active and person.role == "clinician" and person.name.casefold() != name
    ]
    if not left and not (active and role == "clinician"):
        raise BadInput(
            "nobody would be left who can sign in and sign",
            where="people",
            remedy="Give another clinician a password first.",
        )


ROUTES = [
    Route("/people", page, name="people"),
    Route("/people", answer.form(add), methods=["POST"]),
    Route("/people/now", answer.form(choose), methods=["POST"], name="people_now"),
    Route("/people/rules", answer.form(rules), methods=["POST"]),
    Route("/people/password", answer.form(password), methods=["POST"]),
]
