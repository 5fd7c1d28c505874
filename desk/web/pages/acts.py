"""What the forms of a visit do: each is one change, then the visit's page again, at the place to go on from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from desk import days
from desk.checkbook import Checkbook
from desk.review import Words
from desk.web import answer, rows, when, words
from desk.web.answer import Form
from shared.errors import BadInput
from shared.record import Visit
from shared.store import Store, StoredVisit


@dataclass(frozen=True)
class Act:
    """One act on one visit. before: the visit as it stands; who: the person's name."""

    book: Checkbook
    before: StoredVisit
    who: str
    revision: int
    form: Form

    @property
    def id(self) -> int:
        return self.before.id

    @property
    def path(self) -> str:
        """The value it is about."""
        return self.form.get("path", "")

    @property
    def words(self) -> Words | None:
        """The words of the transcript that were chosen with it."""
        start, _, end = self.form.get("words", "").partition("-")
        return (answer.number(start, "words"), answer.number(end, "words")) if end else None


Place = str
"""Where the page is to begin: a path, or "" for what waits first."""


def accept(act: Act) -> Place:
    """A value, an ear or everything is right; go on to the next value."""
    act.book.accept(act.id, act.path, who=act.who, revision=act.revision)
    return _following(act.before.visit, act.path) if "." in act.path else act.path


def correct(act: Act) -> Place:
    """Put a value right. Choosing the one that stands confirms it."""
    given = act.form.get("value", "").strip() + ("?" if act.form.get("doubt") else "")
    item = rows.lay_out(act.before.visit).item(act.path)
    doubtful = item is not None and item.value.certainty == "possible"
    if item and act.words is None and given in (f"{item.value.value}{'?' * doubtful}", item.to_type):
        return accept(act)
    act.book.correct(act.id, act.path, given, words=act.words, who=act.who, revision=act.revision)
    return "" if act.form.get("notice") else act.path


def remove(act: Act) -> Place:
    """Take a value out; go on at what then stands in its place."""
    order = [item.path for item in rows.lay_out(act.before.visit).items()]
    after = act.book.remove(act.id, act.path, who=act.who, revision=act.revision)
    now = [item.path for item in rows.lay_out(after.visit).items()]
    place = order.index(act.path) if act.path in order else 0
    return "" if act.form.get("notice") or not now else now[min(place, len(now) - 1)]


def add(act: Act) -> Place:
    """Put in a value: `what` is its path, "=", and the value; `amount` is what was typed."""
    path, _, value = act.form.get("what", "").partition("=")
    value = value or act.form.get("amount", "").strip()
    if not path:
        raise BadInput("nothing was chosen", where="add", remedy="Choose what to add.")
    if not value:
        raise BadInput("it needs a number or a word", where=path, remedy="Type it in the box beside it.")
    visit = act.before.visit
    revision = act.revision
    above, _, name = path.rpartition(".")
    if above.endswith(".before.wax"):  # wax of which nothing was recorded yet
        revision = act.book.add(act.id, above, "whole", who=act.who, revision=revision).revision
        path = f"{above}[0].{name}"
    known = {p for p, _ in visit.values()}
    after = act.book.add(act.id, path, value, words=act.words, who=act.who, revision=revision)
    new = [item.path for item in rows.lay_out(after.visit).items() if item.path not in known]
    return new[-1] if new else path


def swap(act: Act) -> Place:
    """Exchange the sides of the ears."""
    act.book.swap_ears(act.id, who=act.who, revision=act.revision)
    return ""


def decide(act: Act) -> Place:
    """Decide a notice."""
    number = answer.number(act.form.get("number"), "notices")
    reason = act.form.get("reason", "")
    act.book.decide(
        act.id, number, act.form.get("decision", ""), reason=reason, who=act.who, revision=act.revision
    )
    return ""


def put_right(act: Act) -> Place:
    """Put words of the transcript right, those at `words` or all of them, and read them again."""
    store: Store = act.book.store
    transcript = store.transcript(act.before.transcript)
    new = act.form.get("text", "")
    chars = act.words
    if chars is None:
        start, end = words.stretch(act.before.visit, transcript)
        old, new = transcript.text[start:end], new.replace("\r\n", "\n")
        first, last, new = words.changed(old, new)
        if (first, last, new) == (len(old), len(old), ""):
            raise BadInput("the words are as they were", where="words", remedy="Change them first.")
        chars = (start + first, start + last)
    act.book.put_words_right(act.id, chars, new, who=act.who, revision=act.revision)
    return ""


def again(act: Act) -> Place:
    """Read the words again."""
    act.book.read_again(act.id, who=act.who, revision=act.revision)
    return ""


def split(act: Act) -> Place:
    """Begin another visit at a character."""
    act.book.split(act.id, answer.number(act.form.get("at"), "words"), who=act.who, revision=act.revision)
    return ""


def merge(act: Act) -> Place:
    """Make one visit of this and the next."""
    act.book.merge_next(act.id, who=act.who, revision=act.revision)
    return ""


def seen_by(act: Act) -> Place:
    """Say who saw the patient, and when."""
    name, began = act.form.get("clinician", ""), act.form.get("when", "")
    after = act.before
    if name and name != act.before.clinician:
        after = act.book.set_clinician(act.id, name, who=act.who, revision=act.revision)
    if began and began != when.to_type(act.before.when):
        try:
            at = datetime.fromisoformat(began)
        except ValueError:
            at = datetime.min
        if not days.meant(at.date()):
            raise BadInput(f"{began!r} is no time", where="when", remedy="Choose day and time.")
        act.book.set_when(act.id, at.astimezone(), who=act.who, revision=after.revision)
    return ""


def undo(act: Act) -> Place:
    """Take back the last change."""
    act.book.store.undo(act.id, act.who, revision=act.revision)
    return act.form.get("at", "")


def redo(act: Act) -> Place:
    """Do again what was taken back."""
    act.book.store.redo(act.id, act.who, revision=act.revision)
    return act.form.get("at", "")


ACTS: dict[str, Callable[[Act], Place]] = {
    "accept": accept,
    "correct": correct,
    "remove": remove,
    "add": add,
    "swap": swap,
    "decide": decide,
    "words": put_right,
    "again": again,
    "split": split,
    "merge": merge,
    "seen-by": seen_by,
    "undo": undo,
    "redo": redo,
}


def do(request: Request, form: Form) -> Response:
    """Do what was asked of the visit, and show it again."""
    visit_id, name = request.path_params["id"], request.path_params["act"]
    if name not in ACTS:
        raise BadInput("there is no such act", where=name, remedy="Open the visit again.")
    with answer.open_store(request) as store, request.app.state.bench.checkbook(store) as book:
        person = answer.somebody(request, store)
        revision = answer.number(form.get("revision"), "revision")
        place = ACTS[name](Act(book, store.visit(visit_id), person.name, revision, form))
    return answer.go(f"/visits/{visit_id}", at=place)


def sign(request: Request, form: Form) -> Response:
    """Sign the visit, and go back to the list."""
    with answer.open_store(request) as store:
        person = answer.somebody(request, store)
        revision = answer.number(form.get("revision"), "revision")
        reason = form.get("reason", "")
        signed = store.sign(request.path_params["id"], person.name, revision=revision, reason=reason)
    return answer.go("/", signed=signed.id)


def amend(request: Request, form: Form) -> Response:
    """Open a signed visit to be put right."""
    visit_id = request.path_params["id"]
    with answer.open_store(request) as store:
        person = answer.somebody(request, store)
        revision = answer.number(form.get("revision"), "revision")
        store.amend(visit_id, person.name, form.get("reason", ""), revision=revision)
    return answer.go(f"/visits/{visit_id}")


def _following(visit: Visit, path: str) -> Place:
    """The value after this one on the page; itself if it is the last."""
    order = [item.path for item in rows.lay_out(visit).items()]
    return order[min(order.index(path) + 1, len(order) - 1)] if path in order else path


ROUTES = [
    Route("/visits/{id:int}/sign", answer.form(sign), methods=["POST"]),
    Route("/visits/{id:int}/amend", answer.form(amend), methods=["POST"]),
    Route("/visits/{id:int}/{act}", answer.form(do), methods=["POST"], name="act"),
]
