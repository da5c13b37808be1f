"""Who may do what. On the machine itself nobody signs in; from the workshop's network everybody does, by TLS.

Watchers read; technicians work jobs; the lead also sees set-up. A link to watch opens one job, reading only, without a
name. Who is asking is put into the request's state, so that what a person does carries the signed-in name.
"""

from __future__ import annotations

import re
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from asleft.job.people import Role, read_people

from .limits import Limit
from .passes import Pass, own_secret, read_pass

SIGN_IN = "/sign-in"
SIGN_IN_COOKIE = "asleft_in"
WATCH_COOKIE = "asleft_watch"
DEVICE = "asleft_device"
WATCH = "/watch/"
#: Open to everybody: nothing of a job stands there.
_OPEN = ("/static/", "/figure.css", SIGN_IN, WATCH)
#: Only for the lead.
_LEADS = ("/set-up",)
_DEVICE_NAME = re.compile(r"device-[0-9A-F]{6}")
_LOOPBACK = ("127.0.0.1", "::1")


@dataclass(frozen=True)
class Who:
    """Who asks.

    Attributes:
        name: as signed in; empty on the machine itself. role: what they may do.
        job: the only job they may see, for a link to watch; empty: all.
        local: on the machine itself.
    """

    name: str
    role: Role
    job: str = ""
    local: bool = False

    def may(self, method: str, path: str) -> bool:
        """Whether this request is within what they may do."""
        if self.job:
            return method == "GET" and (path == f"/job/{self.job}" or path.startswith(f"/job/{self.job}/"))
        if path.startswith(_LEADS):
            return self.role >= Role.LEAD
        return method in ("GET", "HEAD") or path == "/sign-out" or self.role >= Role.TECHNICIAN


HERE = Who("", Role.LEAD, local=True)


def who_asks(request: Request) -> Who:
    """Who was let in. Without sign-in (loopback only) it is whoever stands at the machine."""
    return getattr(request.state, "who", HERE)


def device_of(request: Request) -> str:
    """What the device is called, as its cookie says; empty before its first visit."""
    name = request.cookies.get(DEVICE, "")
    return name if _DEVICE_NAME.fullmatch(name) else ""


def new_device() -> str:
    """A name for a device, short enough to be said aloud."""
    return f"device-{secrets.token_hex(3).upper()}"


class Access:
    """Lets in who may come in.

    Args:
        app: what lies behind. folder: data folder. shared: reached from the workshop's network.
        now: time of day, s since 1970.
    """

    def __init__(self, app: ASGIApp, folder: Path, shared: bool, now: Callable[[], float] = time.time) -> None:
        self._app = app
        self._folder = folder
        self._shared = shared
        self._now = now
        self._acts = Limit(burst=40, every_s=0.25)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on with its person, or answer it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        who = self._who(request)
        refused = self._refusal(request, who)
        if refused is not None:
            await refused(scope, receive, send)
            return
        scope.setdefault("state", {})["who"] = who or Who("", Role.WATCHER, job="-")
        await self._app(scope, receive, send)

    def _refusal(self, request: Request, who: Who | None) -> Response | None:
        address = request.client.host if request.client else ""
        wait = self._acts.take(address, self._now()) if request.method == "POST" else 0.0
        if wait:
            return PlainTextResponse(
                "refused: too many requests; wait a little", 429, {"retry-after": f"{int(wait) + 1}"}
            )
        if request.url.path.startswith(_OPEN):
            return None
        if who is None:
            return _sign_in_first(request)
        if not who.may(request.method, request.url.path):
            return PlainTextResponse("refused: this is not for a link to watch, or not for your role", 403)
        return None

    def _who(self, request: Request) -> Who | None:
        local = request.client is None or request.client.host in _LOOPBACK
        if not self._shared or local:
            return HERE
        signed = self._read(request, SIGN_IN_COOKIE, "sign-in")
        if signed is not None:
            person = next((p for p in read_people(self._folder) if p.name == signed.subject), None)
            if person is not None and person.proof[:16] == signed.bound:
                return Who(person.name, person.role)
        watching = self._read(request, WATCH_COOKIE, "watch")
        return Who("", Role.WATCHER, job=watching.subject) if watching else None

    def _read(self, request: Request, cookie: str, kind: str) -> Pass | None:
        return read_pass(own_secret(self._folder), request.cookies.get(cookie, ""), kind, self._now())


def _sign_in_first(request: Request) -> Response:
    if request.method == "GET" and "text/html" in request.headers.get("accept", "text/html"):
        return RedirectResponse(f"{SIGN_IN}?then={quote(request.url.path)}", 303)
    return PlainTextResponse("refused: sign in first", 401)
