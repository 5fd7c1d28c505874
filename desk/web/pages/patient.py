"""One patient over time: all visits of a reference, side by side for each ear."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from desk.exchange import over_time
from desk.web import answer


def page(request: Request) -> Response:
    """The visits of the reference asked for; without one, a form to ask."""
    reference = request.query_params.get("ref", "").strip()
    with answer.open_store(request) as store:
        found = over_time.of(store, reference) if reference else None
    return answer.show(request, "patient.html", reference=reference, found=found, not_said=over_time.NOT_SAID)


ROUTES = [Route("/patient", page, name="patient")]
