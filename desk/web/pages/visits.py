"""The list of visits."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from shared.store import Store


def page(request: Request) -> Response:
    """All visits that stand, the latest first."""
    with Store(request.app.state.folder) as store:
        found = store.visits()
    response: Response = request.app.state.templates.TemplateResponse(
        request, "visits.html", {"visits": found}
    )
    return response
