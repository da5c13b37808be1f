"""The page's server: renders the folded journal, follows it over server-sent events, passes answers to the engine.

It holds no state of a job: kill it at any moment and start it again. On the loopback address, or, shared, on the
workshop's network with sign-in and TLS.
"""

from __future__ import annotations

from collections.abc import Awaitable, Container
from dataclasses import replace
from pathlib import Path
from urllib.parse import quote, unquote

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from asleft.job.client import JobClient
from asleft.job.figures import STYLESHEET
from asleft.model.errors import AsleftError

from . import helping, whole_path
from .access import DEVICE, Access, device_of, new_device, who_asks
from .adding import adding_page, extended
from .answers import Given, bench_act, unfit
from .guard import LOOPBACK, Guard, page_token, same_token
from .job_pages import JobPages, attached, with_text
from .later import Later
from .live import LiveHub
from .orders import read_form
from .pages import Pages, Viewer
from .practice import practice
from .problems import HANDLERS, FormRefusedError
from .sight import EngineSight
from .signing_in import Door
from .stating import stated, stating_page
from .stream import Follower, Sources, follow_job

_HERE = Path(__file__).parent
_BY = "asleft_by"
_NARROW = "asleft_narrow"
_SHIFT_S = 8 * 3600
_YEAR_S = 365 * 24 * 3600
#: The interface for programs refuses what it does not do in its own form.
EVERY_METHOD = ("GET", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE")


class Face:
    """Handlers of the page."""

    def __init__(self, folder: Path) -> None:
        self.client = JobClient(folder)
        self.token = page_token(folder)
        self.sight = EngineSight(self.client)
        self.pages = Pages(self.client, self.sight, self.token)
        self.hub = LiveHub(self.client)
        self.beside = JobPages(self.client, self.sight, self.token)

    # -- reading -----------------------------------------------------------------------------------------------------

    async def today(self, request: Request) -> Response:
        """The cars in the shop and what each waits for; a form to open a job."""
        return HTMLResponse(await self.pages.today(_viewer(request)))

    async def sheet(self, request: Request) -> Response:
        """The job sheet; a device that comes for the first time gets its name."""
        name = device_of(request) or new_device()
        viewer = replace(_viewer(request), device=name)
        response = HTMLResponse(await self.pages.sheet(request.path_params["job"], viewer))
        if not device_of(request):
            response.set_cookie(DEVICE, name, max_age=_YEAR_S, samesite="strict", httponly=True)
        return response

    async def parts(self, request: Request) -> Response:
        """All parts of the sheet by name, for a page that begins anew (turned, woken)."""
        job, viewer = request.path_params["job"], _viewer(request)
        sequence = self.client.watch(job).state.sequence  # before they are drawn: they are at least as new
        return JSONResponse({"sequence": sequence, "parts": await self.pages.parts(job, self.pages.names, viewer)})

    async def events(self, request: Request) -> Response:
        """What changes: parts of the sheet with the journal's sequence as id, and live values."""
        job = request.path_params["job"]
        after = request.headers.get("last-event-id") or request.query_params.get("after", "0")
        sources = Sources(self.pages, self.hub, self.sight)
        begin = int(after) if after.isascii() and after.isdigit() else 0
        return follow_job(Follower(sources, self.client.watch(job), _viewer(request), job, begin), self.hub)

    async def report(self, request: Request) -> Response:
        """The report as it stands."""
        job = request.path_params["job"]
        self.client.watch(job)
        said = request.query_params
        paper, language = said.get("paper", ""), said.get("language", "")
        pdf = await run_in_threadpool(self.client.report_pdf, job, paper, language)
        headers = {"content-disposition": f'inline; filename="{job}.report.pdf"'}
        return Response(pdf, media_type="application/pdf", headers=headers)

    async def record(self, request: Request) -> Response:
        """The signed record."""
        job = request.path_params["job"]
        self.client.watch(job)
        headers = {"content-disposition": f'attachment; filename="{job}.record.zip"'}
        return Response(self.client.record_zip(job), media_type="application/zip", headers=headers)

    # -- commands ----------------------------------------------------------------------------------------------------

    async def open_job(self, request: Request) -> Response:
        """Open a job from the form; what cannot be used comes back with its reason, nothing stored."""
        form = await self._form(request)
        filled, items, problem = read_form(form)
        if not problem:
            try:
                job = await self.client.open_job({**filled, "work_items": items})
            except AsleftError as error:
                problem = error.sentence()
            else:
                return RedirectResponse(f"/job/{job}", status_code=303)
        return HTMLResponse(await self.pages.today(_viewer(request), problem, filled, items), status_code=400)

    async def answer(self, request: Request) -> Response:
        """Answer the open question; where a bench driver is to do what is asked, that comes first."""
        job, form = request.path_params["job"], await self._form(request)
        signed_in = who_asks(request).name  # what is done carries this name, whatever the form says
        by = signed_in or str(form.get("by", "")).strip()
        given = Given(str(form.get("question", "")), str(form.get("text", "")), by, "act" in form)
        response = await self._done(request, job, self._answered(job, given, device_of(request)))
        if given.by and not signed_in and response.status_code < 400:
            response.set_cookie(_BY, quote(given.by), max_age=_SHIFT_S, samesite="strict", httponly=True)
        return response

    async def _answered(self, job: str, given: Given, device: str) -> str:
        page = await self.pages.context(job, Viewer(), fresh=True)
        problem = unfit(given, page.question)
        if problem or page.question is None:
            return problem
        act = bench_act(given, page.question)
        if act and page.engine.bench:
            await self.client.bench_act(act)
        await self.client.answer(job, given.question, given.text, given.by, device)
        return ""

    async def attach(self, request: Request) -> Response:
        """Attach a document as the answer to the question that asks for one; or say that there is none."""
        job, form = request.path_params["job"], await self._form(request, files=1)
        by = who_asks(request).name or str(form.get("by", "")).strip()
        given = Given(str(form.get("question", "")), str(form.get("text", "")), by)
        try:
            return await self._done(request, job, self._attached(job, given, form, device_of(request)))
        finally:
            await form.close()

    async def add(self, request: Request) -> Response:
        """The form to add to a picture, and what was filled in."""
        job, who = request.path_params["job"], who_asks(request)
        viewer = _viewer(request)
        if request.method != "POST":
            state = self.client.watch(job).state
            kind = request.query_params.get("picture", "")
            page = adding_page(job, state, self.token, viewer.by, fixed=bool(who.name), kind=kind)
            return HTMLResponse(page)
        form = await self._form(request, files=1)
        try:
            by = who.name or str(form.get("by", "")).strip()
            return await self._done(request, job, extended(self.client, job, form, by))
        finally:
            await form.close()

    async def state(self, request: Request) -> Response:
        """The form to state what no module tells, and what was filled in."""
        job, who = request.path_params["job"], who_asks(request)
        if request.method != "POST":
            state, by = self.client.watch(job).state, _viewer(request).by
            return HTMLResponse(stating_page(job, state, self.token, by, fixed=bool(who.name)))
        form = await self._form(request)
        by = who.name or str(form.get("by", "")).strip()
        return await self._done(request, job, stated(self.client, job, form, by))

    async def _attached(self, job: str, given: Given, form: FormData, device: str) -> str:
        page = await self.pages.context(job, Viewer(), fresh=True)
        if page.question is None or page.question.id != given.question or page.question.act != "attach":
            return unfit(Given("", "", ""), None)
        if given.text not in page.question.choices:
            given = with_text(given, await attached(self.client, job, form))
            if not given.text:
                return "No document was chosen. Choose its file, or say that there is none."
        return unfit(given, page.question, attached=True) or await self._give(job, given, device)

    async def _give(self, job: str, given: Given, device: str) -> str:
        await self.client.answer(job, given.question, given.text, given.by, device)
        return ""

    async def pause(self, request: Request) -> Response:
        """Pause the run in hand before its next step."""
        await self._form(request)
        job = request.path_params["job"]
        return await self._done(request, job, _told(self.client.pause(job)))

    async def choose(self, request: Request) -> Response:
        """Take another order for the rest of the plan; refused, the order comes back with the reason."""
        job, form = request.path_params["job"], await self._form(request)
        viewer = _viewer(request)
        by = viewer.by if viewer.signed_in else str(form.get("by", "")).strip()
        names, reason = str(form.get("order", ""))[:4000], str(form.get("reason", "")).strip()
        order = [name for name in names.split(",") if name]
        try:
            await self.client.choose_order(job, order, by, device_of(request), reason)
        except AsleftError as error:
            return await self.beside.order(request, names, replace(viewer, by=by), error.sentence())
        return RedirectResponse(f"/job/{job}#part-plan", status_code=303)

    async def control(self, request: Request) -> Response:
        """Take control of the car with a reason, hand this device to somebody, or let go of control."""
        job, form = request.path_params["job"], await self._form(request)
        by = who_asks(request).name or str(form.get("by", "")).strip()
        device, move = device_of(request), str(form.get("move", ""))
        if move == "take":
            command = self.client.take_control(job, by, device, str(form.get("reason", "")))
        elif move == "hand-over":
            command = self.client.hand_over(job, by, device, str(form.get("to", "")).strip() or by, device)
        else:
            command = self.client.hand_over(job, by, device)
        response = await self._done(request, job, _told(command))
        if by and not who_asks(request).name and response.status_code < 400:
            name = str(form.get("to", "")).strip() if move == "hand-over" else by
            response.set_cookie(_BY, quote(name), max_age=_SHIFT_S, samesite="strict", httponly=True)
        return response

    async def stop(self, request: Request) -> Response:
        """Say stop."""
        await self._form(request)
        job = request.path_params["job"]
        return await self._done(request, job, self._stopped(job))

    async def _stopped(self, job: str) -> str:
        page = await self.pages.context(job, Viewer(), fresh=True)
        if not page.running:
            return "Nothing goes on here that could be stopped."
        await self.client.stop(job)
        return ""

    async def go_on(self, request: Request) -> Response:
        """Take a stopped job up again."""
        await self._form(request)
        job = request.path_params["job"]
        return await self._done(request, job, self._gone_on(job))

    async def _gone_on(self, job: str) -> str:
        await self.client.go_on(job)
        return ""

    # -- helpers -----------------------------------------------------------------------------------------------------

    async def _form(self, request: Request, files: int = 0) -> FormData:
        form = await request.form(max_fields=120, max_files=files)
        if not same_token(str(form.get("token", "")), self.token):
            raise FormRefusedError
        return form

    async def _done(self, request: Request, job: str, command: Awaitable[str]) -> Response:
        """Give a command and say what stands against it. Scripts get JSON, a plain form gets the sheet."""
        try:
            problem = await command
        except AsleftError as error:
            problem = error.sentence()
        await self.sight.look(fresh=True)  # who works on what may be otherwise now
        if "application/json" in request.headers.get("accept", ""):
            return JSONResponse({"error": problem}, status_code=409 if problem else 200)
        if problem:
            return HTMLResponse(await self.pages.sheet(job, _viewer(request), problem), status_code=409)
        return RedirectResponse(f"/job/{job}", status_code=303)


def _viewer(request: Request) -> Viewer:
    who = who_asks(request)
    by = who.name or unquote(request.cookies.get(_BY, ""))[:60]
    acts = who.may("POST", request.url.path)
    return Viewer(by, request.cookies.get(_NARROW) == "1", bool(who.name), acts, device_of(request))


async def _told(command: Awaitable[None]) -> str:
    """A command that says by an error alone what stands against it."""
    await command
    return ""


async def _figure_css(_request: Request) -> Response:
    """The figures' own styles."""
    return Response(STYLESHEET, media_type="text/css")


def _book(token: str) -> object:
    from .book import BookPages  # noqa: PLC0415 - see ``later``

    return BookPages(token)


def _set_up(folder: Path, token: str) -> object:
    from .setting_up import SetUp  # noqa: PLC0415 - see ``later``

    return SetUp(folder, token)


def _history(folder: Path) -> object:
    from asleft.job.history import History  # noqa: PLC0415 - see ``later``

    from .history import HistoryPages  # noqa: PLC0415

    return HistoryPages(History(folder))


def _elements() -> object:
    from .elements import Elements  # noqa: PLC0415 - see ``later``

    return Elements()


def make_app(folder: Path, *, shared: bool = False, hosts: Container[str] = LOOPBACK) -> Starlette:
    """The application for one data folder.

    Args: shared: reached from the workshop's network, with sign-in. hosts: names under which it may be reached.
    """
    face = Face(folder)
    door = Door(folder, face.client, face.token, shared)
    set_up = Later(lambda: _set_up(folder, face.token)).handler
    book, elements = Later(lambda: _book(face.token)).handler, Later(_elements).handler
    history = Later(lambda: _history(folder)).handler
    return Starlette(
        routes=[
            Route("/", face.today),
            Route("/open", face.open_job, methods=["POST"]),
            Route("/job/{job}", face.sheet),
            Route("/job/{job}/parts", face.parts),
            Route("/job/{job}/answer", face.answer, methods=["POST"]),
            Route("/job/{job}/control", face.control, methods=["POST"]),
            Route("/job/{job}/stop", face.stop, methods=["POST"]),
            Route("/job/{job}/go-on", face.go_on, methods=["POST"]),
            Route("/job/{job}/attach", face.attach, methods=["POST"]),
            Route("/job/{job}/add", face.add, methods=["GET", "POST"]),
            Route("/job/{job}/state", face.state, methods=["GET", "POST"]),
            Route("/job/{job}/pause", face.pause, methods=["POST"]),
            Route("/job/{job}/verdict/{run}", face.beside.verdict),
            Route("/job/{job}/order", face.beside.order),
            Route("/job/{job}/order", face.choose, methods=["POST"]),
            Route("/job/{job}/events", face.events),
            Route("/job/{job}/report.pdf", face.report),
            Route("/job/{job}/record.zip", face.record),
            Route("/job/{job}/share", door.share),
            Route("/book", book("find")),
            Route("/book/quick", book("quick")),
            Route("/book/quick", book("keep_quick"), methods=["POST"]),
            Route("/book/{name}", book("read")),
            Route("/book/{name}/change", book("change"), methods=["POST"]),
            Route("/book/{name}/check", book("check")),
            Route("/book/{name}/check", book("typed"), methods=["POST"]),
            Route("/book/{name}/rehearse", book("rehearse")),
            Route("/book/{name}/edit", book("edit")),
            Route("/book/{name}/edit", book("keep_edit"), methods=["POST"]),
            Route("/book/{name}/lint", book("linted"), methods=["POST"]),
            Route("/book/{name}/copy", book("copy"), methods=["POST"]),
            Route("/history", history("find")),
            Route("/history/car/{vin}", history("car")),
            Route("/history/procedure", history("procedures")),
            Route("/history/procedure/{name}", history("procedure")),
            Route("/history/chart", history("chart")),
            Route(f"/api/v1/{{rest:{whole_path.NAME}}}", history("api"), methods=EVERY_METHOD),
            practice(folder, face, _viewer),
            Route("/set-up", set_up("show")),
            Route("/set-up", set_up("change"), methods=["POST"]),
            Route("/help", helping.contents),
            Route("/help/elements", elements("show")),
            Route("/help/{page}", helping.page),
            Route("/help/pictures/{name}", helping.picture_file),
            Route("/sign-in", door.ask),
            Route("/sign-in", door.take, methods=["POST"]),
            Route("/sign-out", door.leave, methods=["POST"]),
            Route("/watch/{text}", door.watch),
            Route("/figure.css", _figure_css),
            Mount("/static", StaticFiles(directory=_HERE / "static")),
        ],
        middleware=[Middleware(Guard, hosts), Middleware(Access, folder, shared)],
        exception_handlers=HANDLERS,
    )
