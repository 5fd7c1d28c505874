"""The checking page of a visit: what to decide first, the record by ear, the words beside it, signing."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from desk import agreeing, complete
from desk.checks import checks
from desk.ear_picture import ear_picture
from desk.letters.names import PAPERS
from desk.lines import sections
from desk.web import adding, answer, decisions, rows, words
from shared.record import Notice, Visit
from shared.store import Person, Store, StoredVisit
from shared.transcript import Transcript


def page(request: Request) -> Response:
    """The page, with the place it should begin at (`at`: a path, or nothing for what waits first)."""
    with answer.open_store(request) as store:
        stored = store.visit(request.path_params["id"])
        transcript = store.transcript(stored.transcript)
        person = _person(request, store)
        context: dict[str, Any] = {
            "signatures": store.signatures(stored.id),
            "sound": store.sound(stored.recording_id) is not None,
            "next_id": store.next_visit(stored.id),
            "people": [p for p in store.people() if p.active],
            "recorded": store.recording(stored.recording_id).kind == "sound",
            "agreement": store.agreement(stored.id),
            "notice": store.standing_notice(),
        }
    agreed_at = agreeing.said(transcript.text, *words.stretch(stored.visit, transcript))
    context |= {
        "agreed_at": agreed_at,
        "agreed_words": transcript.text[slice(*agreed_at)] if agreed_at else "",
    }
    may = {
        "correct": person is not None and person.role != "auditor" and not stored.locked,
        "sign": person is not None and person.role == "clinician" and not stored.locked,
    }
    if stored.status == "amending" and person is not None and person.role != "clinician":
        may["correct"] = False
    if stored.status == "replaced":
        may = dict.fromkeys(may, False)
    context |= _record(stored, transcript, request.query_params.get("at", ""))
    return answer.show(
        request, "visit.html", stored=stored, person=person, may=may, sections=sections, **context
    )


def words_page(request: Request) -> Response:
    """The words alone, to be put right or divided, without any script."""
    with answer.open_store(request) as store:
        stored = store.visit(request.path_params["id"])
        transcript = store.transcript(stored.transcript)
    start, end = words.stretch(stored.visit, transcript)
    return answer.show(
        request,
        "words.html",
        stored=stored,
        text=transcript.text[start:end],
        sentences=words.sentences(stored.visit, transcript),
    )


def _person(request: Request, store: Store) -> Person | None:
    name = answer.who(request)
    found = [p for p in store.people() if p.active and p.name == name]
    return found[0] if found else None


def _record(stored: StoredVisit, transcript: Transcript, at: str) -> dict[str, Any]:
    visit = stored.visit
    laid = rows.lay_out(visit)
    notices = decisions.shown(visit, laid)
    waiting = [n for n in notices if n.notice.decision is None]
    begin = at
    if laid.item(at) is None and not at.startswith("add-"):
        first = next((n for n in waiting if n.buttons and n.notice.must_decide), None)
        begin = f"notice-{first.number}" if first else next((i.path for i in laid.items()), "")
        begin = "" if stored.locked else begin
    return {
        "laid": laid,
        "waiting": waiting,
        "decided": [n for n in notices if n.notice.decision is not None],
        "must": sum(n.notice.must_decide for n in waiting),
        "also": _also(visit, laid, waiting),
        "begin": begin,
        "marked": laid.item(at),
        "unsaid": list(complete.unsaid(visit)),
        "spoken": words.spoken(visit, transcript),
        "pictures": {
            ear.number: {moment: ear_picture(ear.ear, moment) for moment in ("before", "after")}
            for ear in laid.ears
        },
        "add_ear": {ear.number: adding.to_ear(ear.ear, ear.number) for ear in laid.ears},
        "add_visit": adding.to_visit(visit),
        "papers": PAPERS,
    }


def _also(visit: Visit, laid: rows.Laid, waiting: list[decisions.Shown]) -> list[tuple[str, rows.Item]]:
    """Values said with doubt or not heard clearly that no notice speaks of, each with what to look at."""
    told = {n.item.path for n in waiting if n.item}
    items = {id(item.value): item for item in laid.items()}
    found = []
    for check in checks(visit):
        for about in check.about:
            item = None if isinstance(about, Notice) else items.get(id(about))
            if item and item.path not in told and item.value.confirmed_by is None and item.field != "side":
                told.add(item.path)
                found.append((check.message.partition(":")[0], item))
                break
    return found


ROUTES = [
    Route("/visits/{id:int}", page, name="visit"),
    Route("/visits/{id:int}/words", words_page, name="visit_words"),
]
