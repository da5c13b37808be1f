"""The page's server: renders the folded journal, follows it over server-sent events, passes answers to the engine.

It holds no state of a job: kill it at any moment and start it again. On the loopback address only.
"""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable
from pathlib import Path

from starlette.applications import Starlette
from starlette.datastructures import FormData
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from asleft.job.client import JobClient
from asleft.job.figures import STYLESHEET
from asleft.model.errors import AsleftError, Code, RecordError

from .guard import Guard, same_token
from .pages import Pages
from .stream import job_events, live_values

_HERE = Path(__file__).parent
Handler = Callable[[Request], Awaitable[Response]]


class Face:
    """Handlers of the page."""

    def __init__(self, folder: Path) -> None:
        self.client = JobClient(folder)
        self.token = secrets.token_urlsafe(24)
        self.pages = Pages(self.client, self.token)

    async def today(self, request: Request) -> Response:
        """The cars in the shop and what each waits for; a form to open a job."""
        return HTMLResponse(await self.pages.today(request.query_params.get("error", "")))

    async def open_job(self, request: Request) -> Response:
        """Open a job from the form."""
        form = await self._form(request)
        order = {name: str(form.get(name, "")) for name in ("vin", "make", "model", "year", "order")}
        items = [str(item) for item in form.getlist("work_items")]
        try:
            job = await self.client.open_job({**order, "work_items": items})
        except AsleftError as error:
            return HTMLResponse(await self.pages.today(error.sentence(), dict(order), items), status_code=400)
        return RedirectResponse(f"/job/{job}", status_code=303)

    async def sheet(self, request: Request) -> Response:
        """The job sheet."""
        return HTMLResponse(await self.pages.sheet(request.path_params["job"], request.query_params.get("error", "")))

    async def part(self, request: Request) -> Response:
        """One part of the sheet, to be put in place."""
        return HTMLResponse(await self.pages.part(request.path_params["job"], request.path_params["name"]))

    async def answer(self, request: Request) -> Response:
        """Answer the open question."""
        job, form = request.path_params["job"], await self._form(request)
        by = str(form.get("by", "")).strip()
        answer = self.client.answer(job, str(form.get("question", "")), str(form.get("text", "")), by)
        if form.get("act"):
            await self._done(request, job, self.client.bench_act(str(form["act"])))
        response = await self._done(request, job, answer)
        response.set_cookie("asleft_by", by, max_age=8 * 3600, samesite="strict", httponly=True)
        return response

    async def stop(self, request: Request) -> Response:
        """Say stop."""
        await self._form(request)
        job = request.path_params["job"]
        return await self._done(request, job, self.client.stop(job))

    async def go_on(self, request: Request) -> Response:
        """Take a stopped job up again."""
        await self._form(request)
        job = request.path_params["job"]
        return await self._done(request, job, self.client.go_on(job))

    async def events(self, request: Request) -> Response:
        """New events of the journal, as names of the parts that changed; id is the sequence."""
        after = request.headers.get("last-event-id") or request.query_params.get("after", "0")
        return job_events(self.client.watch(request.path_params["job"]), int(after) if after.isdigit() else 0)

    async def live(self, request: Request) -> Response:
        """The engine's live feed, rendered."""
        return live_values(self.client, self.pages, request.path_params["job"])

    async def report(self, request: Request) -> Response:
        """The report as it stands."""
        paper = "letter" if request.query_params.get("paper") == "letter" else "a4"
        pdf = self.client.report_pdf(request.path_params["job"], paper)
        return Response(pdf, media_type="application/pdf")

    async def record(self, request: Request) -> Response:
        """The signed record."""
        job = request.path_params["job"]
        headers = {"content-disposition": f'attachment; filename="{job}.record.zip"'}
        return Response(self.client.record_zip(job), media_type="application/zip", headers=headers)

    async def _form(self, request: Request) -> FormData:
        form = await request.form(max_fields=60, max_files=0)
        if not same_token(str(form.get("token", "")), self.token):
            raise RecordError(Code.INTERNAL, "this form is out of date; load the page again")
        return form

    async def _done(self, request: Request, job: str, command: Awaitable[None]) -> Response:
        """Give a command; say its error on the page. Scripts get JSON, a plain form is sent back to the sheet."""
        error = ""
        try:
            await command
        except AsleftError as problem:
            error = problem.sentence()
        if "application/json" in request.headers.get("accept", ""):
            return JSONResponse({"error": error}, status_code=409 if error else 200)
        query = f"?error={_quote(error)}" if error else ""
        return RedirectResponse(f"/job/{job}{query}", status_code=303)


def _quote(text: str) -> str:
    from urllib.parse import quote  # noqa: PLC0415

    return quote(text)


async def _figure_css(_request: Request) -> Response:
    """The figures' own styles."""
    return Response(STYLESHEET, media_type="text/css")


async def _problem(_request: Request, error: Exception) -> Response:
    """An error of ours as a page, with its cause and advice."""
    assert isinstance(error, AsleftError)
    status = 404 if error.code is Code.JOB_UNKNOWN else 400
    return HTMLResponse(Pages.problem(error), status_code=status)


def make_app(folder: Path) -> Starlette:
    """The application for one data folder."""
    face = Face(folder)
    return Starlette(
        routes=[
            Route("/", face.today),
            Route("/open", face.open_job, methods=["POST"]),
            Route("/job/{job}", face.sheet),
            Route("/job/{job}/part/{name}", face.part),
            Route("/job/{job}/answer", face.answer, methods=["POST"]),
            Route("/job/{job}/stop", face.stop, methods=["POST"]),
            Route("/job/{job}/go-on", face.go_on, methods=["POST"]),
            Route("/job/{job}/events", face.events),
            Route("/job/{job}/live", face.live),
            Route("/job/{job}/report.pdf", face.report),
            Route("/job/{job}/record.zip", face.record),
            Route("/figure.css", _figure_css),
            Mount("/static", StaticFiles(directory=_HERE / "static")),
        ],
        middleware=[Middleware(Guard)],
        exception_handlers={AsleftError: _problem},
    )
