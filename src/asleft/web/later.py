"""Handlers whose rooms are imported when they are first asked for: the page is ready sooner."""

from __future__ import annotations

import threading
from collections.abc import Awaitable, Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

Handler = Callable[[Request], Awaitable[Response]]


class Later:
    """Pages made once, in a thread, at the first request for any of them.

    Args: make: imports what they need and makes the object whose methods handle requests.
    """

    def __init__(self, make: Callable[[], Any]) -> None:
        self._make = make
        self._lock = threading.Lock()
        self._pages: Any = None

    def handler(self, name: str) -> Handler:
        """The handler of this name."""

        async def handle(request: Request) -> Response:
            pages = self._pages or await run_in_threadpool(self._made)
            return await getattr(pages, name)(request)

        return handle

    def _made(self) -> Any:
        with self._lock:
            self._pages = self._pages or self._make()
        return self._pages
