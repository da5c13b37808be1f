"""Requests to the page's application without a server.

Example::

    assert get(folder, "/book").status_code == 200
    post(folder, "/book/quick", page="12-40", what="read")       # carries the folder's token
"""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import httpx

from asleft.web.app import make_app
from asleft.web.guard import page_token

HOST = "127.0.0.1:8899"


def ask(folder: Path, method: str, path: str, **more: Any) -> httpx.Response:
    """One request, as a browser on the machine itself sends it."""

    async def go() -> httpx.Response:
        transport = httpx.ASGITransport(make_app(folder), raise_app_exceptions=True)
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as client:
            return await client.request(method, path, **more)

    return asyncio.run(go())


def get(folder: Path, path: str, **more: Any) -> httpx.Response:
    """Read a page."""
    return ask(folder, "GET", path, **more)


def post(folder: Path, path: str, *, files: Any = None, **form: str) -> httpx.Response:
    """Send a form."""
    return ask(folder, "POST", path, data={"token": page_token(folder), **form}, files=files)
