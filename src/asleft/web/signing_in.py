"""Signing in and out, and links to watch one job: handlers of the page's server."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from pathlib import Path

import segno
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response

from asleft.job.client import JobClient
from asleft.job.people import LONGEST_NAME, LONGEST_PASSWORD, person_of

from .access import SIGN_IN, SIGN_IN_COOKIE, WATCH, WATCH_COOKIE, who_asks
from .guard import same_token
from .limits import Limit
from .passes import SHIFT_S, WATCH_S, Pass, own_secret, read_pass, write_pass
from .problems import FormRefusedError
from .rendering import render_plain, safe


class Door:
    """Handlers for people who come in.

    Args:
        folder: data folder. client: the jobs. token: what every form carries. shared: reached by TLS from the network.
        now: time of day, s since 1970.
    """

    def __init__(
        self, folder: Path, client: JobClient, token: str, shared: bool, now: Callable[[], float] = time.time
    ) -> None:
        self._folder = folder
        self._client = client
        self._token = token
        self._shared = shared
        self._now = now
        self._tries = Limit(burst=5, every_s=20.0)
        self._one_guess = asyncio.Lock()  # a guess costs 32 MiB: one at a time

    async def ask(self, request: Request) -> Response:
        """The form to sign in."""
        return HTMLResponse(self._page(_then(request.query_params.get("then", "/"))))

    async def take(self, request: Request) -> Response:
        """Sign in with name and password."""
        form = await request.form(max_fields=8, max_files=0)
        if not same_token(str(form.get("token", "")), self._token):
            raise FormRefusedError
        then, name = _then(_field(form, "then")), _field(form, "name")[:LONGEST_NAME]
        wait = self._tries.take(f"{request.client.host if request.client else ''} {name}", self._now())
        if wait:
            words = f"Too many tries. Wait {int(wait) + 1} s, then try once."
            return HTMLResponse(self._page(then, words, name), 429, {"retry-after": f"{int(wait) + 1}"})
        async with self._one_guess:
            password = _field(form, "password")[: LONGEST_PASSWORD + 1]
            person = await run_in_threadpool(person_of, self._folder, name, password)
        if person is None:
            return HTMLResponse(self._page(then, "Name and password do not belong together.", name), 403)
        response = RedirectResponse(then, 303)
        said = Pass("sign-in", person.name, int(self._now()) + SHIFT_S, person.proof[:16])
        self._keep(response, SIGN_IN_COOKIE, said, SHIFT_S)
        return response

    async def leave(self, request: Request) -> Response:
        """Sign out on this device."""
        form = await request.form(max_fields=4, max_files=0)
        if not same_token(str(form.get("token", "")), self._token):
            raise FormRefusedError
        response = RedirectResponse(SIGN_IN, 303)
        response.delete_cookie(SIGN_IN_COOKIE)
        return response

    async def share(self, request: Request) -> Response:
        """A link, and its bar code, with which a class or a colleague follows this job, reading only."""
        job = request.path_params["job"]
        self._client.watch(job)
        if who_asks(request).job:
            return PlainTextResponse("refused: a link to watch cannot be passed on", 403)
        until = int(self._now()) + WATCH_S
        text = write_pass(own_secret(self._folder), Pass("watch", job, until))
        address = f"{request.url.scheme}://{request.headers['host']}{WATCH}{text}"
        code = segno.make(address, micro=False, error="m")
        drawn = code.svg_inline(scale=5, border=4, dark="#000", light="#fff", omitsize=True)
        values = {"job": job, "address": address, "code": safe(drawn), "hours": WATCH_S // 3600}
        return HTMLResponse(render_plain("share.html", shared=self._shared, **values))

    async def watch(self, request: Request) -> Response:
        """Follow a link to watch: a cookie for this job, then the sheet."""
        text = request.path_params["text"]
        said = read_pass(own_secret(self._folder), text, "watch", self._now())
        if said is None:
            words = "This link to watch is over, or was not copied whole."
            return HTMLResponse(
                render_plain("problem.html", heading="Not open", text=words, advice="Ask for a new one at the car."),
                403,
            )
        response = RedirectResponse(f"/job/{said.subject}", 303)
        self._keep(response, WATCH_COOKIE, said, WATCH_S)
        return response

    def _page(self, then: str, problem: str = "", name: str = "") -> str:
        return render_plain("sign_in.html", token=self._token, then=then, problem=problem, name=name)

    def _keep(self, response: Response, cookie: str, said: Pass, seconds: int) -> None:
        text = write_pass(own_secret(self._folder), said)
        # a link to watch is followed from elsewhere (a bar code), so its cookie may come with the first visit: lax
        strict = "strict" if cookie == SIGN_IN_COOKIE else "lax"
        response.set_cookie(cookie, text, max_age=seconds, samesite=strict, httponly=True, secure=self._shared)


def _field(form: FormData, name: str) -> str:
    return str(form.get(name, ""))


def _then(path: str) -> str:
    """Where to go after signing in: a path of this server, never elsewhere."""
    fits = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable() and "\\" not in path
    return path if fits else "/"
