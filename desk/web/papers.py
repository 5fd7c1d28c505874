"""The papers of a visit, to be downloaded from its page."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from desk.web import answer

_DOCX = "application/vnd.openxmlformats-officedocument.wordprocessingml.document"


def download(request: Request) -> Response:
    """One paper, made now."""
    from desk.letters.papers import Papers  # noqa: PLC0415  (slow to import)

    with answer.open_store(request) as store:
        papers = Papers(store, request.path_params["id"], request.app.state.folder)
    made = papers.one(request.path_params["paper"])
    return Response(
        made.content,
        media_type="application/pdf" if made.name.endswith(".pdf") else _DOCX,
        headers={"Content-Disposition": f'attachment; filename="{made.name}"', "Cache-Control": "no-store"},
    )


ROUTES = [Route("/visits/{id:int}/papers/{paper}", download, name="paper")]
