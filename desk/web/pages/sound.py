"""The seconds behind a value, as sound."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from desk.web import answer
from shared.errors import BadInput

LEAD_IN_SECONDS, LEAD_OUT_SECONDS = 0.4, 0.3
"""Before and after the words: a first syllable is lost on the ear without. Set by us; no source."""


def play(request: Request) -> Response:
    """From `from` to `to` (seconds of the recording), with a little before and after, as WAV."""
    from dictate.clip import clip  # noqa: PLC0415  (slow to import)

    with answer.open_store(request) as store:
        stored = store.visit(request.path_params["id"])
        path = store.sound(stored.recording_id)
    if path is None:
        raise BadInput(
            "its sound is not here any more", where=stored.recording, remedy="Check it against the words."
        )
    start, end = (_seconds(request.query_params.get(name)) for name in ("from", "to"))
    sound = clip(path, start - LEAD_IN_SECONDS, end + LEAD_OUT_SECONDS)
    return Response(sound, media_type="audio/wav", headers={"Accept-Ranges": "none"})


def _seconds(given: str | None) -> float:
    try:
        seconds = float(given or "")
    except ValueError:
        seconds = -1.0
    if not 0 <= seconds < 1e6:
        raise BadInput("it needs seconds of the recording", where="from, to")
    return seconds


ROUTES = [Route("/visits/{id:int}/sound", play, name="sound")]
