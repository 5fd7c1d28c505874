"""Whom to see again: overdue, due, coming; marking what became of it; the list for other programs."""

from __future__ import annotations

from datetime import datetime
from typing import cast

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from desk import days
from desk.register import due, recall_files, words
from desk.web import answer, when
from desk.web.answer import Form
from shared.store.recalls import Outcome

_A_SECTION = 100
_CLOSED: tuple[due.State, ...] = ("done", "declined", "seen", "replaced")


def page(request: Request) -> Response:
    """The list."""
    with answer.open_store(request) as store:
        found = due.by_state(due.recalls(store, when.today()))
        marked = request.query_params.get("marked", "")
        told = store.history(int(marked))[-1].what if marked.isdigit() else ""
    shown = {state: found[state][:_A_SECTION] for state in found}
    return answer.show(
        request,
        "recall.html",
        found=found,
        shown=shown,
        open_states=due.OPEN,
        closed=_CLOSED,
        headings=words.HEADINGS,
        rules=words.RULES,
        moves=words.MOVES if any(one.moved_mm is not None for s in due.OPEN for one in shown[s]) else "",
        waiting=sum(len(found[state]) for state in due.OPEN),
        told=told,
        marked=marked,
    )


def mark(request: Request, form: Form) -> Response:
    """Put down what became of a recall."""
    number, what = answer.number(request.path_params["visit"], "visit"), form.get("what", "")
    until = days.typed(form.get("until", ""), "recall") if what == "postponed" else None
    with answer.open_store(request) as store:
        store.mark_recall(number, cast(Outcome, what), answer.somebody(request, store).name, until=until)
    return answer.go("/recall", marked=number)


def written(request: Request) -> Response:
    """The open recalls as a file: a calendar or a table."""
    now = datetime.now().astimezone()
    with answer.open_store(request) as store:
        found = due.by_state(due.recalls(store, now.date()))
    listed = [one for state in due.OPEN for one in found[state]]
    calendar = request.url.path.endswith(".ics")
    content = recall_files.calendar_text(listed, now) if calendar else recall_files.table_text(listed)
    name = f"recall-{now:%Y-%m-%d}.{'ics' if calendar else 'csv'}"
    return Response(
        content,
        media_type="text/calendar; charset=utf-8" if calendar else "text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


ROUTES = [
    Route("/recall", page, name="recall"),
    Route("/recall.ics", written),
    Route("/recall.csv", written),
    Route("/recall/{visit}", answer.form(mark), methods=["POST"], name="recall_mark"),
]
