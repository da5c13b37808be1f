"""What every request passes: only this machine, only this page's own forms, nothing from elsewhere."""

from __future__ import annotations

import secrets

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HOSTS = ("127.0.0.1", "localhost", "[::1]")


def same_token(given: str, ours: str) -> bool:
    """Whether a form carries this server's token."""
    return secrets.compare_digest(given.encode(), ours.encode())


def _host(value: str) -> str:
    """Host without its port."""
    return value.rsplit(":", 1)[0] if not value.endswith("]") else value


class Guard:
    """Refuses foreign hosts and origins, and sets the headers that keep foreign content out."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        origin = headers.get("origin", "")
        host = headers.get("host", "")
        if _host(host) not in _HOSTS or (origin and origin.split("://")[-1] != host):
            await PlainTextResponse("refused: not from this page", 403)(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                out["content-security-policy"] = _POLICY
                out["x-content-type-options"] = "nosniff"
                out["referrer-policy"] = "no-referrer"
                out.setdefault("cache-control", "no-store")
            await send(message)

        await self._app(scope, receive, guarded)
