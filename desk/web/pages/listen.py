"""The dictating page, and the line its sound comes in by.

The page sends sound as binary messages: eight bytes, little endian, with the byte of the recording it begins
at, then 16-bit PCM, one channel, 16,000 a second. It keeps what it sent until that is said to be `safe` (on
disk), and after a lost connection goes on from where the desk says it is. All else is JSON both ways: `do` is
what the page asks (begin, go on, pause, resume, next, end, agreement), `is` what the desk tells. While the desk
is locked, sound is taken and a dictation can be paused and ended, but nothing that was said comes back.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import struct
from collections.abc import Sequence
from typing import Any, get_args

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route, WebSocketRoute
from starlette.templating import Jinja2Templates
from starlette.websockets import WebSocket, WebSocketDisconnect

from desk import complete
from desk.lines import sections
from desk.listening import MissingSound
from desk.web import answer
from desk.web.answer import Form
from desk.web.dictations import Dictation, Dictations, Message, Tell, failure, known
from desk.web.door import LOCKED, Here, here, still
from desk.web.sessions import Session, Sessions
from shared.errors import BadInput
from shared.record import Visit
from shared.store.agreements import Answer

_AT = struct.Struct("<Q")
_LONGEST = 320_000
"""Bytes of sound in one message: ten seconds."""

_WAITING = 200
"""Messages for a page that does not read them; from there on, what only shows how loud it is is left out."""


def page(request: Request) -> Response:
    """Where one dictates. Nothing of it works without JavaScript, and it says so."""
    with answer.open_store(request) as store:
        notice = store.standing_notice()
    return answer.show(
        request,
        "listen.html",
        notice=notice,
        unfinished=_dictations(request).unfinished(),
        record=so_far(request.app.state.templates, ()),
    )


def finish(request: Request, form: Form) -> Response:
    """End a dictation that was left, without its page: hear it and keep its visits."""
    visits = _dictations(request).finish(known(form.get("id")))
    return answer.go(f"/visits/{visits[0]}" if visits else "/")


def so_far(templates: Jinja2Templates, visits: Sequence[Visit]) -> str:
    """The record so far as HTML: the visit that is being dictated, and how many came before it."""
    visit = visits[-1] if visits else Visit()
    ears = [(ear.side.value, [s for s in sections(Visit(ears=[ear])) if s.depth]) for ear in visit.ears]
    named = {side for side, _ in ears}
    if "unstated" not in named:
        ears += [(side, []) for side in ("right", "left") if side not in named]
    html: str = templates.get_template("_so_far.html").render(
        earlier=max(len(visits) - 1, 0),
        ears=sorted(ears, key=lambda ear: ("right", "left", "unstated").index(ear[0])),
        rest=list(sections(visit.model_copy(update={"ears": []}))),
        unsaid=list(complete.unsaid(visit)),
    )
    return html


async def sound(socket: WebSocket) -> None:
    """One page that dictates, from its first word to the end of the connection."""
    await socket.accept()
    line = _Line(socket, here(socket))
    try:
        await line.serve()
    except WebSocketDisconnect:
        pass
    finally:
        line.close()


class _Line:
    """The connection of one page."""

    def __init__(self, socket: WebSocket, found: Here) -> None:
        self._socket, self._here, self._who = socket, found, found.name
        self._dictations: Dictations = socket.app.state.dictations
        self._sessions: Sessions = socket.app.state.sessions
        self._dictation: Dictation | None = None
        self._out: asyncio.Queue[Message] = asyncio.Queue()
        self._loop = asyncio.get_running_loop()
        self._tell: Tell = self._told

    def close(self) -> None:
        """The page is gone: the dictation stays, to be gone on with."""
        self._watch(None)

    async def serve(self) -> None:
        """Take what the page sends, and send what is told, until either ends."""
        sending = asyncio.create_task(self._send())
        try:
            while True:
                message = await self._socket.receive()
                if message["type"] == "websocket.disconnect":
                    return
                try:
                    if (piece := message.get("bytes")) is not None:
                        await self._take(piece)
                    else:
                        await self._do(message.get("text") or "")
                except MissingSound as gap:
                    self._out.put_nowait({"is": "missing", "bytes": gap.expected})
                except Exception as fault:
                    self._out.put_nowait(failure(fault))
        finally:
            sending.cancel()
            with contextlib.suppress(asyncio.CancelledError, WebSocketDisconnect, RuntimeError):
                await sending

    async def _send(self) -> None:
        while True:
            message: Message | None = await self._out.get()
            if message and not self._open():
                message = _covered(message)
            if message:
                await self._socket.send_json(message)

    def _open(self) -> bool:
        """Whether its page may show what is said; sound is taken either way."""
        session = self._here.session
        return session is None or self._sessions.left(session, self._here.lock_seconds) > 0

    def _told(self, message: Message) -> None:
        """Called from other threads."""
        if message["is"] == "level" and self._out.qsize() > _WAITING:
            return
        with contextlib.suppress(RuntimeError):  # the server is ending
            self._loop.call_soon_threadsafe(self._out.put_nowait, message)

    def _watch(self, dictation: Dictation | None) -> None:
        if self._dictation and self._tell in self._dictation.watching:
            self._dictation.watching.remove(self._tell)
        self._dictation = dictation
        if dictation:
            dictation.watching.append(self._tell)
            if self._here.session:
                self._here.session.dictations.add(dictation.id)

    async def _take(self, piece: bytes) -> None:
        if self._dictation is None or not _AT.size < len(piece) <= _LONGEST + _AT.size or len(piece) % 2:
            raise BadInput(
                "sound came that belongs to no dictation", where="listen", remedy="Open the page again."
            )
        (at,) = _AT.unpack_from(piece)
        listening = self._dictation.listening
        safe = await run_in_threadpool(listening.feed, piece[_AT.size :], at=at)
        self._out.put_nowait({"is": "safe", "bytes": safe})

    async def _do(self, text: str) -> None:
        asked = _asked(text)
        if session := self._here.session:
            await run_in_threadpool(still, self._socket.app, session)
            if not self._open():
                _while_locked(asked, session)
            elif asked["do"] != "safe":
                self._sessions.active(session)
        match asked["do"]:
            case "begin":
                self._watch(await run_in_threadpool(self._dictations.begin, self._who))
                self._say_state()
            case "go on":
                self._watch(await run_in_threadpool(self._dictations.go_on, known(asked.get("id"))))
                self._say_state()
            case "pause" | "resume" | "next" | "end" | "safe" | "agreement" if self._dictation:
                await self._act(asked, self._dictation)
            case _:
                raise BadInput("no dictation has begun", where="listen", remedy="Begin one.")

    async def _act(self, asked: Message, dictation: Dictation) -> None:
        listening = dictation.listening
        if isinstance(total := asked.get("bytes"), int) and total > listening.received:
            raise MissingSound(listening.received)
        match asked["do"]:
            case "pause":
                at = await run_in_threadpool(listening.pause)
                self._out.put_nowait({"is": "paused", "bytes": at})
            case "resume":
                await run_in_threadpool(listening.resume)
                self._out.put_nowait({"is": "resumed", "bytes": listening.received})
            case "agreement":
                dictation.agree(_answer(asked), self._who)
            case "safe":
                self._out.put_nowait({"is": "safe", "bytes": listening.confirmed})
            case "next":
                self._watch(await run_in_threadpool(self._dictations.begin, self._who))
                self._dictations.finish_aside(dictation.id, self._tell)
                self._say_state()
            case _:
                await run_in_threadpool(self._dictations.finish, dictation.id)

    def _say_state(self) -> None:
        assert self._dictation
        self._out.put_nowait(self._dictation.state())


def _answer(asked: Message) -> str:
    what = asked.get("what")
    if what not in get_args(Answer):
        raise BadInput("that is no answer", where="being recorded", remedy="Choose one of those offered.")
    return str(what)


def _while_locked(asked: Message, session: Session) -> None:
    """What a locked page may still do with its own dictation. Raises NotAllowed for all else."""
    name = asked.get("id")
    if asked["do"] not in ("pause", "resume", "end", "safe") and not (
        asked["do"] == "go on" and isinstance(name, str) and name in session.dictations
    ):
        raise LOCKED


def _covered(message: Message) -> Message | None:
    """What a locked page is told: nothing that was said, and no visit."""
    bare = {"words": "", "record": "", "visits": []}
    told = {key: bare.get(key, value) for key, value in message.items()}
    return None if message["is"] in ("guess", "said", "record") else told


def _asked(text: str) -> Message:
    try:
        asked: Any = json.loads(text)
    except ValueError:
        asked = None
    if not isinstance(asked, dict) or not isinstance(asked.get("do"), str):
        raise BadInput(
            "the page said what the desk does not understand", where="listen", remedy="Open it again."
        )
    return asked


def _dictations(request: Request) -> Dictations:
    found: Dictations = request.app.state.dictations
    return found


ROUTES = (
    Route("/listen", page, name="listen"),
    Route("/listen/finish", answer.form(finish), methods=["POST"]),
    WebSocketRoute("/listen/sound", sound),
)
