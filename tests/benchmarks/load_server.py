"""The desk as a server of its own, for the load upon it: python load_server.py FOLDER KEY [--real]. Prints its port.

Its recogniser is scripted (`listening_script`) unless --real is given; all else is the desk's own.
"""

from __future__ import annotations

import socket
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "desk"))

import uvicorn
from listening_script import find, scripted_parts

from desk.rereading import Rereader
from desk.web.app import application
from dictate import speech
from extract.reader import Reader


def main(folder: Path, key: str, *, real: bool) -> None:
    """Serve until it is ended."""
    reader, parts = Reader(), None
    if not real:
        speech.find = find
        parts = scripted_parts(lambda: reader)
    listener = socket.create_server(("127.0.0.1", 0))
    port = listener.getsockname()[1]
    app = application(folder, key=key, hosts=(f"127.0.0.1:{port}",), parts=parts)
    app.state.bench._rereader = Rereader(reader)
    print(port, flush=True)
    options = uvicorn.Config(app, log_level="error", access_log=False, ws_max_size=1 << 20)
    uvicorn.Server(options).run(sockets=[listener])


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], real="--real" in sys.argv)
