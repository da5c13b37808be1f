"""Errors as pages: what, why and what to do; scripts get the same as JSON."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from asleft.model.errors import AsleftError, Code

from .guard import BodyTooLongError
from .pages import Pages

Handler = Callable[[Request, Exception], Awaitable[Response]]


class FormRefusedError(Exception):
    """A form without this server's token."""


def _answer(request: Request, status: int, title: str, text: str, advice: str = "") -> Response:
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"error": f"{text} {advice}".strip()}, status_code=status)
    return HTMLResponse(Pages.problem(title, text, advice), status_code=status)


async def _ours(request: Request, error: Exception) -> Response:
    """An error of ours, with its cause and advice."""
    assert isinstance(error, AsleftError)
    status = 404 if error.code in (Code.JOB_UNKNOWN, Code.PROCEDURE_MISSING) else 400
    detail = f" ({error.detail})" if error.detail else ""
    return _answer(request, status, "That did not work", f"{error.cause}{detail}", error.advice)


async def _refused(request: Request, _error: Exception) -> Response:
    """A form that this server did not make."""
    text = "This form is out of date or not from this page; nothing was done."
    return _answer(request, 403, "Not taken", text, "Load the page again and press once more.")


async def _too_long(request: Request, _error: Exception) -> Response:
    """More than any form of ours holds."""
    return _answer(request, 413, "Not taken", "This is too long for a form of this page.")


async def _http(request: Request, error: Exception) -> Response:
    """No such page, or not asked for like this."""
    assert isinstance(error, HTTPException)
    if error.status_code == 404:
        return _answer(request, 404, "No such page", "There is nothing at this address.", "Begin with today's jobs.")
    return _answer(request, error.status_code, "Not taken", str(error.detail))


HANDLERS: Mapping[Any, Handler] = {
    AsleftError: _ours,
    FormRefusedError: _refused,
    BodyTooLongError: _too_long,
    HTTPException: _http,
}
