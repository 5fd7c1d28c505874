"""The register: the practice's own figures over a period, with pictures, to be read and printed."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from threading import Lock
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from desk import days
from desk.register import figures, pictures, telling
from desk.register.figures import Register
from desk.register.words import period
from desk.web import answer, when
from shared.errors import BadInput
from shared.store import Store


class Registers:
    """The last register that was made, kept for the pictures that follow its page, until anything changes."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._lock = folder, Lock()
        self._key: object = None
        self._made: Register | None = None

    def get(self, since: date, until: date, *, drafts: bool) -> Register:
        """A register. Raises as `figures.register`."""
        with self._lock, Store(self._folder) as store:
            today = when.today()
            key = (since, until, drafts, today, store.last_entry())
            if self._made is None or key != self._key:
                self._made = figures.register(store, since, until, today=today, drafts=drafts)
                self._key = key
            return self._made


def page(request: Request) -> Response:
    """All figures of a period."""
    made = _made(request)
    drawn = pictures.pictures(made)
    asked = {"from": str(made.since), "to": str(made.until)} | ({"drafts": "yes"} if made.drafts else {})
    return answer.show(
        request,
        "register.html",
        made=made,
        tables={table.heading: table for table in made.tables},
        charts={chart.name: chart for chart in made.charts()},
        drawn=drawn,
        asked=urlencode(asked),
        telling=telling,
        at=datetime.now().astimezone(),
    )


def picture(request: Request) -> Response:
    """One of its pictures, on light or dark paper."""
    drawn = pictures.pictures(_made(request), dark="dark" in request.query_params)
    name = request.path_params["name"]
    if name not in drawn:
        raise BadInput("there is nothing to draw", where=name, remedy="Choose another period.")
    return Response(drawn[name](), media_type="image/svg+xml")


def table(request: Request) -> Response:
    """All its numbers as CSV."""
    made = _made(request)
    name = f"register-{made.since}-{made.until}.csv"
    return Response(
        telling.table_text(made),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _made(request: Request) -> Register:
    query = request.query_params
    since, until = (days.typed(query.get(name, "").strip(), "period") for name in ("from", "to"))
    first, last = period(since, until, when.today())
    registers: Registers = request.app.state.registers
    return registers.get(first, last, drafts=query.get("drafts") == "yes")


ROUTES = [
    Route("/register", page, name="register"),
    Route("/register.csv", table, name="register_table"),
    Route("/register/{name}.svg", picture, name="register_picture"),
]
