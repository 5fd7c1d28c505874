"""Words that were put right the same way twice: offered for the clinic's vocabulary, with what they would change."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from desk import learning, own_words
from desk.learning import Suggestion
from desk.web import answer
from desk.web.answer import Form
from desk.web.bench import Bench
from shared.errors import BadInput, NotAllowed
from shared.store import Store


def page(request: Request) -> Response:
    """What could be learned; of one that is asked for, what it would have changed in past visits."""
    asked = request.query_params
    with answer.open_store(request) as store:
        found = learning.suggestions(store)
        chosen = _chosen(found, asked.get("phrase", ""), asked.get("kind", "")) if "phrase" in asked else None
        effects = _effects(request.app.state.bench, store, chosen) if chosen else []
        file = own_words.usual_file(store.folder)
    return answer.show(
        request,
        "learning.html",
        found=found,
        chosen=chosen,
        effects=effects,
        learned=asked.get("learned", ""),
        file=file,
    )


def add(request: Request, form: Form) -> Response:
    """Put the words into the clinic's vocabulary; from now on they are read so."""
    with answer.open_store(request) as store:
        person = answer.somebody(request, store)
        if person.role == "auditor":
            raise NotAllowed("may only read", where=person.name, remedy="Have a clinician do it.")
        chosen = _chosen(learning.suggestions(store), form.get("phrase", ""), form.get("kind", ""))
        learning.learn(store, chosen)
    request.app.state.bench.renew()
    return answer.go("/learning", learned=chosen.phrase)


def _chosen(found: list[Suggestion], phrase: str, kind: str) -> Suggestion:
    for suggestion in found:
        if (suggestion.phrase, suggestion.kind) == (phrase, kind):
            return suggestion
    raise BadInput("is not offered any more", where=phrase or "words", remedy="Open the page again.")


def _effects(bench: Bench, store: Store, chosen: Suggestion) -> list[learning.Effect]:
    return list(
        learning.preview(
            store, chosen, bench.rereader(), bench.with_words(learning.with_phrase(store, chosen))
        )
    )


ROUTES = [
    Route("/learning", page, name="learning"),
    Route("/learning", answer.form(add), methods=["POST"]),
]
