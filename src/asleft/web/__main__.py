"""``python -m asleft.web --folder FOLDER --port PORT``: the page's process."""

from __future__ import annotations

import argparse
import contextlib
import socket
from pathlib import Path

import uvicorn

from .app import make_app


def main() -> None:
    """Listen on the loopback address, print one line when ready, serve until told to end."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--port", type=int, default=0)
    said = parser.parse_args()
    listener = socket.socket()
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind(("127.0.0.1", said.port))
    listener.listen(64)
    config = uvicorn.Config(make_app(said.folder), log_level="warning", timeout_graceful_shutdown=1)
    print(f"http://127.0.0.1:{listener.getsockname()[1]}/", flush=True)
    with contextlib.suppress(KeyboardInterrupt):  # Ctrl-C is how it is ended
        uvicorn.Server(config).run([listener])


if __name__ == "__main__":
    main()
