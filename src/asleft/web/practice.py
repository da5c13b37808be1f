"""Practice on the page: exercises, a live one on the normal job sheet with hints and tools beside it, the debrief.

The rooms behind it are imported at the first request; see `later`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Mount, Route

from asleft.job.client import JobClient
from asleft.model.errors import AsleftError, Code, InputError

from .access import DEVICE, device_of, new_device, who_asks
from .context import Viewer
from .guard import same_token
from .later import Later
from .pages import Pages
from .problems import FormRefusedError
from .rendering import render, render_plain, safe

if TYPE_CHECKING:
    from asleft.practice.exercise import Exercise
    from asleft.practice.kept import Kept
    from asleft.practice.levels import Level
    from asleft.practice.remarks import Comment

_YEAR_S = 365 * 24 * 3600
#: Longest remark, characters.
_LONGEST = 400


class Holds(Protocol):
    """What the page's own handlers hold."""

    client: JobClient
    pages: Pages
    token: str


def practice(folder: Path, face: Holds, viewer: Callable[[Request], Viewer]) -> Mount:
    """All addresses under ``/practice``. Args: viewer: who looks, and how."""
    handler = Later(lambda: PracticePages(folder, face, viewer)).handler
    return Mount(
        "/practice",
        routes=[
            Route("/", handler("show")),
            Route("/start/{name}", handler("start"), methods=["POST"]),
            Route("/end", handler("end"), methods=["POST"]),
            Route("/at/{job}", handler("at")),
            Route("/at/{job}/panel", handler("panel")),
            Route("/at/{job}/use/{tool:int}", handler("use"), methods=["POST"]),
            Route("/at/{job}/hint", handler("hint"), methods=["POST"]),
            Route("/debrief/{job}", handler("debrief")),
            Route("/debrief/{job}/comment", handler("comment"), methods=["POST"]),
        ],
    )


class PracticePages:
    """Handlers. Args: folder: data folder. face: the page's clients. viewer: who looks, and how."""

    def __init__(self, folder: Path, face: Holds, viewer: Callable[[Request], Viewer]) -> None:
        from asleft.practice.rooms import PracticeRooms  # noqa: PLC0415 - see `later`

        self._folder = folder
        self._face = face
        self._viewer = viewer
        self._rooms = PracticeRooms(folder)

    async def show(self, request: Request) -> Response:
        """The exercises, those done, the form to start one."""
        return self._list(request)

    def _list(self, request: Request, problem: str = "", status: int = 200) -> Response:
        from asleft.practice.exercise import load_exercise, names  # noqa: PLC0415
        from asleft.practice.kept import exercises_done  # noqa: PLC0415
        from asleft.practice.levels import Level  # noqa: PLC0415

        exercises = sorted((load_exercise(name) for name in names()), key=lambda e: (e.step, e.title))
        done = [(job, self._kept(job).truth.exercise) for job in exercises_done(self._folder)]
        titles = {e.id: e.title for e in exercises}
        html = render_plain(
            "practice.html",
            exercises=exercises,
            levels=tuple(Level),
            done=[(job, titles.get(name, name)) for job, name in done],
            busy=self._rooms.busy,
            token=self._face.token,
            problem=problem,
            acts=who_asks(request).may("POST", request.url.path),
        )
        return HTMLResponse(html, status)

    async def start(self, request: Request) -> Response:
        """Start one and go to its job sheet."""
        from asleft.practice.levels import read_level  # noqa: PLC0415

        form = await self._form(request)
        try:
            seed, speed = int(form.get("seed", "1")), float(form.get("speed", "1"))
            level = read_level(form.get("level", "follow"))
            job = await self._rooms.start(request.path_params["name"], seed, level, speed)
        except ValueError:
            return self._list(request, "Variant and speed are numbers.", 400)
        except AsleftError as error:
            return self._list(request, error.sentence(), 409)
        return RedirectResponse(f"/practice/at/{job}", 303)

    async def end(self, request: Request) -> Response:
        """End the exercise in hand."""
        await self._form(request)
        await self._rooms.end()
        return RedirectResponse("/practice/", 303)

    async def at(self, request: Request) -> Response:
        """The job sheet of an exercise, with its hints and tools."""
        job = request.path_params["job"]
        kept = self._kept(job)
        name = device_of(request) or new_device()
        page = await self._face.pages.context(job, replace(self._viewer(request), device=name), fresh=True)
        response = HTMLResponse(render("practice_at.html", page, **self._beside(job, kept)))
        if not device_of(request):
            response.set_cookie(DEVICE, name, max_age=_YEAR_S, samesite="strict", httponly=True)
        return response

    async def panel(self, request: Request) -> Response:
        """Hints and tools as they stand now."""
        job = request.path_params["job"]
        return HTMLResponse(render_plain("practice_panel.html", **self._beside(job, self._kept(job))))

    async def use(self, request: Request) -> Response:
        """Use a tool at the car."""
        await self._form(request)
        return await self._back(request, self._rooms.use(request.path_params["tool"]))

    async def hint(self, request: Request) -> Response:
        """Ask for the hint to the open question, where the level gives one."""
        await self._form(request)
        return await self._back(request, self._ask(request.path_params["job"]))

    async def _ask(self, job: str) -> None:
        from asleft.practice.kept import add_asked  # noqa: PLC0415
        from asleft.practice.levels import may_ask  # noqa: PLC0415

        kept = self._kept(job)
        question = self._question(job)
        if not may_ask(self._exercise(kept), self._level(kept), question, kept.asked):
            raise InputError(Code.ACT_UNKNOWN, "this level gives no hint here")
        add_asked(self._folder, job, question)

    async def debrief(self, request: Request) -> Response:
        """What was done, with the truth."""
        from asleft.practice.debrief import debrief_body  # noqa: PLC0415
        from asleft.practice.kept import comments_of  # noqa: PLC0415
        from asleft.practice.scoring import score  # noqa: PLC0415

        job = request.path_params["job"]
        kept = self._kept(job)
        exercise = self._exercise(kept)
        watch = self._face.client.watch(job)
        if watch.state.closed is None and self._rooms.busy:
            raise InputError(Code.ACT_UNKNOWN, "this exercise is not over: the truth is told when its record is closed")
        sheet = score(exercise, watch.events, kept.truth)
        comments: tuple[Comment, ...] = comments_of(self._folder, job)
        body = debrief_body(exercise, watch.events, kept.truth, sheet, comments, tuple(kept.looked))
        last = watch.events[-1].sequence if watch.events else 0
        html = render_plain(
            "practice_debrief.html", job=job, exercise=exercise, body=safe(body), token=self._face.token, last=last
        )
        return HTMLResponse(html)

    async def comment(self, request: Request) -> Response:
        """A trainer's remark on an event."""
        from asleft.practice.kept import comment_on  # noqa: PLC0415
        from asleft.practice.remarks import Comment  # noqa: PLC0415

        job, form = request.path_params["job"], await self._form(request)
        number, text, by = form.get("event", ""), form.get("text", "").strip(), form.get("by", "").strip()
        known = {event.sequence for event in self._face.client.watch(job).events}
        if not number.isdigit() or int(number) not in known or not text or not by:
            raise InputError(Code.ACT_UNKNOWN, "a remark needs an event of the record, words and a name")
        comment_on(self._folder, job, Comment(int(number), by[:60], text[:_LONGEST]))
        return RedirectResponse(f"/practice/debrief/{job}", 303)

    # -- helpers -----------------------------------------------------------------------------------------------------

    def _beside(self, job: str, kept: Kept) -> dict[str, Any]:
        from asleft.practice.levels import hint_for, may_ask  # noqa: PLC0415

        exercise, level, question = self._exercise(kept), self._level(kept), self._question(job)
        return {
            "job": job,
            "exercise": exercise,
            "level": level,
            "speed": kept.speed,
            "hint": hint_for(exercise, level, question, kept.asked) if question else "",
            "may_ask": bool(question) and may_ask(exercise, level, question, kept.asked),
            "looked": kept.looked[-4:],
            "closed": self._face.client.watch(job).state.closed is not None,
            "token": self._face.token,
        }

    def _question(self, job: str) -> str:
        question = self._face.client.watch(job).state.waiting_for
        return question.message.text if question else ""

    def _kept(self, job: str) -> Kept:
        from asleft.practice.kept import read_kept  # noqa: PLC0415

        return read_kept(self._folder, job)

    def _exercise(self, kept: Kept) -> Exercise:
        from asleft.practice.exercise import load_exercise  # noqa: PLC0415

        return load_exercise(kept.truth.exercise)

    def _level(self, kept: Kept) -> Level:
        from asleft.practice.levels import read_level  # noqa: PLC0415

        return read_level(kept.truth.level)

    async def _form(self, request: Request) -> dict[str, str]:
        form = await request.form(max_fields=12, max_files=0)
        if not same_token(str(form.get("token", "")), self._face.token):
            raise FormRefusedError
        return {key: str(value) for key, value in form.items()}

    async def _back(self, request: Request, doing: Any) -> Response:
        """Do it, then show the panel to a script, the sheet to a plain form."""
        await doing
        if request.headers.get("x-panel"):
            return await self.panel(request)
        return RedirectResponse(f"/practice/at/{request.path_params['job']}", 303)
