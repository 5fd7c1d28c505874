"""What patients have a right to: to be asked about being recorded, to have all that is held, to have it erased."""

from __future__ import annotations

from typing import cast

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from desk.web import answer
from desk.web.answer import Form
from shared.errors import BadInput
from shared.store import rows
from shared.store.agreements import Answer


def agree(request: Request, form: Form) -> Response:
    """Put down what the patient said to being recorded; `words` if it was said in the visit."""
    number = request.path_params["id"]
    start, _, end = form.get("words", "").partition("-")
    chars = (answer.number(start, "words"), answer.number(end, "words")) if end else None
    with answer.open_store(request) as store:
        name = answer.somebody(request, store).name
        store.set_agreement(number, cast(Answer, form.get("what", "")), name, chars=chars)
    return answer.go(f"/visits/{number}", place="agreement")


def everything(request: Request) -> Response:
    """All that is held under a reference, as a ZIP file."""
    from desk import held  # noqa: PLC0415  (slow to import)

    with answer.open_store(request) as store:
        content = held.zipped(store, request.query_params.get("ref", ""))
    return Response(
        content,
        media_type="application/zip",
        headers={"Content-Disposition": 'attachment; filename="held-on-one-patient.zip"'},
    )


def ask(request: Request) -> Response:
    """What erasing would erase, to be confirmed."""
    reference = request.query_params.get("ref", "").strip()
    with answer.open_store(request) as store:
        found = store.held(reference)
        seen = [store.visit(number) for number in found.visits]
    return answer.show(request, "erase.html", reference=reference, held=found, seen=seen)


def erase(request: Request, form: Form) -> Response:
    """Erase a patient's recordings, or everything of theirs; the reference must be typed again."""
    reference, typed = form.get("ref", ""), form.get("again", "")
    if rows.folded(reference) != rows.folded(typed):
        raise BadInput(
            "that is another reference", where="erase", remedy="Nothing was erased. Type it again."
        )
    with answer.open_store(request) as store:
        name = answer.somebody(request, store).name
        match form.get("what"):
            case "recordings":
                done = store.erase_recordings(reference, name, form.get("reason", ""))
            case "everything":
                done = store.erase_patient(reference, name, form.get("reason", ""))
            case _:
                raise BadInput("it was not said what", where="erase", remedy="Nothing was erased. Choose it.")
    return answer.show(request, "erased.html", done=done)


ROUTES = [
    Route("/visits/{id:int}/agreement", answer.form(agree), methods=["POST"]),
    Route("/patient/held.zip", everything, name="held"),
    Route("/patient/erase", ask, name="erase"),
    Route("/patient/erase", answer.form(erase), methods=["POST"]),
]
