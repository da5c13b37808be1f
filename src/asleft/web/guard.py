"""What every request passes: only known host names, this page's own forms, nothing from elsewhere, nothing too long."""

from __future__ import annotations

import os
import re
import secrets
from collections.abc import Container
from pathlib import Path

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": _POLICY,
    "x-content-type-options": "nosniff",
    # with "no-referrer" a browser sends a plain form with origin "null", which is refused
    "referrer-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
}
#: Names under which this machine reaches itself.
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
#: A form of ours is far below this, bytes.
LONGEST_BODY = 64 * 1024
#: A document that is attached to a run, with its form, bytes.
LONGEST_DOCUMENT = 740_000
_ATTACHES = re.compile(r"/job/[^/]+/attach")
_TOKEN_FILE = "page-token"  # noqa: S105 - a file's name


def page_token(folder: Path) -> str:
    """The token that this data folder's forms carry; it outlives the page's process, so that open forms stay valid."""
    path = folder / _TOKEN_FILE
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(secrets.token_urlsafe(24))
    except FileExistsError:
        pass
    except OSError:
        return secrets.token_urlsafe(24)
    return path.read_text() or secrets.token_urlsafe(24)


def same_token(given: str, ours: str) -> bool:
    """Whether a form carries this server's token."""
    return secrets.compare_digest(given.encode("utf-8", "replace"), ours.encode())


def _host(value: str) -> str:
    """Host without its port."""
    return value.rsplit(":", 1)[0] if not value.endswith("]") else value


def longest(path: str) -> int:
    """The longest body that this address takes, bytes."""
    return LONGEST_DOCUMENT if _ATTACHES.fullmatch(path) else LONGEST_BODY


def refusal(headers: Headers, hosts: Container[str] = LOOPBACK, most: int = LONGEST_BODY) -> tuple[int, str] | None:
    """Status and words when a request must not pass.

    Args: hosts: names under which this server may be reached. most: longest body, bytes.
    """
    host, origin = headers.get("host", ""), headers.get("origin", "")
    if _host(host) not in hosts or (origin and origin.split("://")[-1] != host):
        return 403, "refused: not from this page"
    length = headers.get("content-length", "0")
    if not length.isdigit() or int(length) > most:
        return 413, "refused: too long"
    return None


class BodyTooLongError(Exception):
    """A body without a stated length went on for too long."""


class Guard:
    """Refuses foreign hosts and origins and long bodies, and sets the headers that keep foreign content out.

    Args: hosts: names under which this server may be reached.
    """

    def __init__(self, app: ASGIApp, hosts: Container[str] = LOOPBACK) -> None:
        self._app = app
        self._hosts = hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    out[name] = value
                out.setdefault("cache-control", "no-cache" if scope["path"].startswith("/static/") else "no-store")
            await send(message)

        most = longest(scope["path"])
        refused = refusal(Headers(scope=scope), self._hosts, most)
        if refused is not None:
            status, words = refused
            await PlainTextResponse(words, status)(scope, receive, guarded)
            return
        await self._app(scope, _counted(receive, most), guarded)


def _counted(receive: Receive, most: int = LONGEST_BODY) -> Receive:
    """A body that gets longer than it may raises BodyTooLongError, whatever length was stated."""
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > most:
            raise BodyTooLongError
        return message

    return counted
