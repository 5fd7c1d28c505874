"""The server, on this computer alone, and the address that opens it."""

from __future__ import annotations

import secrets
import socket
import threading
import webbrowser
from pathlib import Path

import uvicorn

from desk.shell import report, say
from desk.web.app import application
from desk.web.guard import kept_secret
from shared.errors import BadInput, EarsideError
from shared.store import Store

LOOPBACK = "127.0.0.1"


PORT = 8701
"""Always the same where it can be, so that a page goes on when the desk is started again. Unassigned at IANA
(from memory)."""


def serve(folder: Path, *, port: int | None, browser: bool) -> None:
    """Serve the desk until it is interrupted.

    port: None for the usual one, or any free one if it is taken. browser: whether to open the pages.
    Raises BadInput if the port is taken, StoreError if the store cannot be used.
    """
    Store(folder).close()
    with _listening(port) as listener:
        port = listener.getsockname()[1]
        key, once = secrets.token_urlsafe(24), secrets.token_urlsafe(24)
        hosts = (f"{LOOPBACK}:{port}", f"localhost:{port}")
        app = application(folder, key=key, cookie=kept_secret(folder), hosts=hosts, once=once)
        app.state.bench.warm()
        threading.Thread(target=_tidy, args=(folder,), name="tidying", daemon=True).start()
        address = f"http://{LOOPBACK}:{port}/?key={key}"
        say(f"The desk is open at {address}\nOnly this computer can reach it. End it with Ctrl-C.")
        if browser:
            threading.Timer(0.5, webbrowser.open, [f"http://{LOOPBACK}:{port}/?key={once}"]).start()
        # No access log: addresses hold what was searched for.
        options = uvicorn.Config(
            app, log_level="error", access_log=False, server_header=False, ws_max_size=1 << 20
        )
        uvicorn.Server(options).run(sockets=[listener])


def _tidy(folder: Path) -> None:
    """Delete what the practice's rule says of recordings, and what a crash left to be deleted."""
    try:
        with Store(folder) as store:
            if count := store.delete_due_sounds():
                say(f"{count} recordings of signed visits were deleted, as the practice decided.")
    except (EarsideError, OSError) as fault:
        report(fault)


def _listening(port: int | None) -> socket.socket:
    try:
        return _bound(PORT if port is None else port)
    except OSError as fault:
        if port is None:
            return _bound(0)
        raise BadInput(
            "is in use by another program, or not allowed",
            where=f"port {port}",
            remedy="Leave --port out to take any that is free.",
        ) from fault


def _bound(port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((LOOPBACK, port))
        listener.listen()  # from now on the address can be opened, and is answered as soon as all is loaded
    except OSError:
        listener.close()
        raise
    return listener
