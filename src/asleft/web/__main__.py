"""``python -m asleft.web --folder FOLDER --port PORT``: the page's process."""

from __future__ import annotations

import argparse
import contextlib
import socket
from datetime import UTC, datetime
from pathlib import Path

import uvicorn

from asleft.job.settings import use_folder

from .app import make_app
from .tls import own_certificate, own_names


def main() -> None:
    """Listen, print the address when ready (shared: and the certificate's fingerprint), serve until told to end."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--port", type=int, default=0)
    parser.add_argument("--shared", action="store_true", help="on the workshop's network, with sign-in and TLS")
    said = parser.parse_args()
    use_folder(said.folder)
    listener = socket.socket()
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind(("" if said.shared else "127.0.0.1", said.port))
    listener.listen(64)
    port = listener.getsockname()[1]
    with contextlib.suppress(KeyboardInterrupt):  # Ctrl-C is how it is ended
        uvicorn.Server(_shared(said.folder, port) if said.shared else _alone(said.folder, port)).run([listener])


def _alone(folder: Path, port: int) -> uvicorn.Config:
    print(f"http://127.0.0.1:{port}/", flush=True)
    return uvicorn.Config(make_app(folder), log_level="warning", timeout_graceful_shutdown=1)


def _shared(folder: Path, port: int) -> uvicorn.Config:
    """The same with TLS; whoever opens it compares the fingerprint once."""
    names = own_names()
    own = own_certificate(folder, names, datetime.now(UTC))
    shown = [n for n in names if n not in ("localhost", "127.0.0.1")]
    print(" ".join(f"https://{name}:{port}/" for name in shown or ["127.0.0.1"]), flush=True)
    print(f"certificate SHA-256 {own.fingerprint}", flush=True)
    return uvicorn.Config(
        make_app(folder, shared=True, hosts={*names, "[::1]"}),
        log_level="warning",
        timeout_graceful_shutdown=1,
        ssl_certfile=str(own.certificate),
        ssl_keyfile=str(own.key),
    )


if __name__ == "__main__":
    main()
