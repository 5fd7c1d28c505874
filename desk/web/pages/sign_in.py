"""Signing in and out, and the lock. These pages show nothing of any patient."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from desk.web import answer
from desk.web.answer import Form
from desk.web.door import cookie, here
from desk.web.pages.people import own_page
from shared.errors import NotAllowed


def page(request: Request) -> Response:
    """Who signs in; where nobody has a password there is nothing to sign in to."""
    if not here(request).accounts:
        return answer.go("/people")
    return _asked(request, own_page(request.query_params.get("back", "")))


def sign_in(request: Request, form: Form) -> Response:
    """Sign in, or open a locked desk, and go on where one was."""
    back = own_page(form.get("back", ""))
    with answer.open_store(request) as store:
        try:
            account = store.sign_in(form.get("name", ""), form.get("password", ""))
        except NotAllowed as fault:
            return _asked(request, back, fault, form.get("name", ""))
    response = answer.go(back)
    answer.sign_in(request, response, account)
    return response


def sign_out(request: Request, form: Form) -> Response:
    """End the session."""
    name = cookie(request, "in")
    request.app.state.sessions.end(request.cookies.get(name, ""))
    response = answer.go("/sign-in")
    response.delete_cookie(name, httponly=True, samesite="strict")
    return response


def lock(request: Request, form: Form) -> Response:
    """Lock the desk now."""
    if session := here(request).session:
        session.locked = True
    return answer.go("/sign-in", back=own_page(form.get("back", "")))


def left(request: Request) -> Response:
    """How many seconds until it locks; asking does not count as doing something, sending it by POST does."""
    found = here(request)
    session = found.session if found.person else None
    seconds = request.app.state.sessions.left(session, found.lock_seconds) if session else 0.0
    return JSONResponse({"left": round(seconds, 1)})


def _asked(request: Request, back: str, fault: NotAllowed | None = None, name: str = "") -> Response:
    found = here(request)
    with answer.open_store(request) as store:
        people = [account.person for account in store.accounts().values() if account.person.active]
    locked = found.session.name if found.session and found.session.locked else ""
    return answer.show(
        request,
        "sign_in.html",
        401 if fault else 200,
        people=people,
        chosen=name or locked,
        locked=locked,
        fault=fault,
        back=back,
    )


ROUTES = [
    Route("/sign-in", page, name="sign_in"),
    Route("/sign-in", answer.form(sign_in), methods=["POST"]),
    Route("/sign-out", answer.form(sign_out), methods=["POST"]),
    Route("/lock", answer.form(lock), methods=["POST"]),
    Route("/session", left, methods=["GET"]),
    Route("/session", left, methods=["POST"]),
]
