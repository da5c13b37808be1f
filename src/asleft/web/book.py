"""The book on the page: find with reasons, read, check by a second typing, write a quick one, edit own files."""

from __future__ import annotations

import json
import re
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from asleft.job import book_edit as editing
from asleft.job import book_quick as quick
from asleft.job.book_find import Asked, find_procedures
from asleft.job.book_read import book_path, change_own, check_typed, prompts, read_entry
from asleft.job.book_trust import restore, withdraw
from asleft.job.sequences import rehearsal_of
from asleft.model.errors import AsleftError, Code, InputError

from .access import who_asks
from .beats import rehearsal_beats
from .guard import same_token
from .problems import FormRefusedError
from .rendering import render_plain, safe
from .telling import WAYS

#: Fields of the search and the longest text of each.
_SOUGHT = {"words": 200, "make": 60, "model": 60, "year": 4, "part": 60, "software": 60, "propulsion": 20}


class BookPages:
    """Handlers of the book's pages.

    Args: token: what every form carries.
    """

    def __init__(self, token: str) -> None:
        self._token = token

    async def find(self, request: Request) -> Response:
        """Find procedures by words and car, with why each was found and what of it differs from the car."""
        sought = {name: request.query_params.get(name, "").strip()[:most] for name, most in _SOUGHT.items()}
        asked = any(sought.values())
        problem, hits = "", ()
        try:
            hits = await run_in_threadpool(find_procedures, _asked(sought))
        except AsleftError as error:
            problem = error.sentence()
        acts = who_asks(request).may("POST", "/book")
        return self._page(
            "book.html", 400 if problem else 200, sought=sought, asked=asked, hits=hits, problem=problem, acts=acts
        )

    async def read(self, request: Request) -> Response:
        """One procedure. Raises InputError: procedure-missing."""
        return await self._entry(request, "", 200)

    async def _entry(self, request: Request, problem: str, status: int) -> Response:
        name = request.path_params["name"]
        entry = await run_in_threadpool(read_entry, name)
        acts, by = who_asks(request).may("POST", "/book"), who_asks(request).name
        done = request.query_params.get("done", "")
        more = {"entry": entry, "p": entry.procedure, "acts": acts, "by": by}
        return self._page("procedure.html", status, problem=problem, done=done, ways=WAYS, **more)

    async def change(self, request: Request) -> Response:
        """Set a value of an own procedure, withdraw or restore a procedure."""
        form, name = await self._form(request), request.path_params["name"]
        by = who_asks(request).name or _field(form, "by", 60)
        try:
            done = await run_in_threadpool(self._changed, name, form, by)
        except AsleftError as error:
            return await self._entry(request, error.sentence(), 400)
        return RedirectResponse(f"/book/{name}?done={done}", 303)

    def _changed(self, name: str, form: FormData, by: str) -> str:
        match str(form.get("what", "")):
            case "set":
                changed = change_own(name, _field(form, "place", 120), _field(form, "value", 400))
                return "numbers" if changed.numbers else "changed"
            case "withdraw":
                withdraw(book_path(name), _named(by), _field(form, "why", 300))
                return "withdrawn"
            case "restore":
                restore(book_path(name), _named(by))
                return "restored"
            case other:
                raise InputError(Code.PROCEDURE_BAD, f"there is no form {other[:20]!r}")

    async def edit(self, request: Request) -> Response:
        """A file of the workshop's own as a form. Raises InputError: procedure-missing, procedure-bad."""
        return await self._editing(request, {}, "", "", 200)

    async def _editing(self, request: Request, typed: dict[str, str], text: str, problem: str, status: int) -> Response:
        name = request.path_params["name"]
        entry = await run_in_threadpool(read_entry, name)
        form = await run_in_threadpool(editing.form_of, name)
        made = await run_in_threadpool(editing.draft, name, typed, text)
        wrong = {re.split(r"[.\[]", place)[0] for place in (*made.changed, *(r.field for r in made.remarks if r.field))}
        more = {"p": entry.procedure, "name": name, "form": form, "made": made, "typed": typed, "text": text}
        return self._page("edit.html", status, problem=problem, open_parts=wrong | {"entry"}, **more)

    async def linted(self, request: Request) -> Response:
        """What an edit would be, as a piece of the page; nothing is written."""
        typed, text, _ = await self._edited(request)
        made = await run_in_threadpool(editing.draft, request.path_params["name"], typed, text)
        return self._page("parts/draft.html", made=made)

    async def keep_edit(self, request: Request) -> Response:
        """Keep an edit, or with ``look`` only say what it would be; what cannot be kept comes back with why."""
        typed, text, digest = await self._edited(request)
        if request.query_params.get("look"):
            return await self._editing(request, typed, text, "", 200)
        try:
            made = await run_in_threadpool(editing.keep, request.path_params["name"], typed, text, digest)
        except AsleftError as error:
            return await self._editing(request, typed, text, error.sentence(), 400)
        return RedirectResponse(
            f"/book/{request.path_params['name']}?done={'numbers' if made.numbers else 'changed'}", 303
        )

    async def _edited(self, request: Request) -> tuple[dict[str, str], str, str]:
        form = await self._form(request, 1200)
        typed = {str(key)[2:]: str(form.get(str(key), "")).strip() for key in form if str(key).startswith("v:")}
        return typed, str(form.get("text", "")), str(form.get("digest", ""))

    async def copy(self, request: Request) -> Response:
        """Copy a procedure of the program's into the workshop's own, and open it for editing."""
        await self._form(request)
        name = request.path_params["name"]
        try:
            await run_in_threadpool(editing.copy_own, name)
        except AsleftError as error:
            return await self._entry(request, error.sentence(), 400)
        return RedirectResponse(f"/book/{name}/edit", 303)

    async def check(self, request: Request) -> Response:
        """The second typing: every number once more from the page, the first typing unseen."""
        return await self._typing(request, {}, "", 200)

    async def typed(self, request: Request) -> Response:
        """Take a second typing; nothing is kept unless all agree, and what is right is never told."""
        form, name = await self._form(request, 600), request.path_params["name"]
        by = who_asks(request).name or _field(form, "by", 60)
        typed = {str(key)[2:]: _field(form, str(key), 200) for key in form if str(key).startswith("n:")}
        try:
            await run_in_threadpool(check_typed, name, by, typed)
        except AsleftError as error:
            return await self._typing(request, {**typed, "by": by}, error.sentence(), 400)
        return RedirectResponse(f"/book/{name}?done=checked", 303)

    async def _typing(self, request: Request, typed: dict[str, str], problem: str, status: int) -> Response:
        name = request.path_params["name"]
        entry = await run_in_threadpool(read_entry, name)
        asked = await run_in_threadpool(prompts, name)
        more = {"entry": entry, "p": entry.procedure, "asked": asked, "typed": typed}
        return self._page("second_typing.html", status, by=who_asks(request).name, problem=problem, **more)

    async def quick(self, request: Request) -> Response:
        """The form of a quick procedure."""
        given = {name: request.query_params.get(name, "")[:most] for name, most in quick.FIELDS.items()}
        return self._quick(given, "", 200, None)

    async def keep_quick(self, request: Request) -> Response:
        """Show how the form is read, or keep it; what cannot be used comes back filled in, with why."""
        form = await self._form(request)
        given = {name: str(form.get(name, "")) for name in quick.FIELDS}
        keep = str(form.get("what", "")) == "keep"
        try:
            read = await run_in_threadpool(quick.keep_quick if keep else quick.understood, given)
        except AsleftError as error:
            return self._quick(given, error.sentence(), 400, None)
        if keep:
            return RedirectResponse(f"/book/{read.id}?done=quick", 303)
        return self._quick(given, "", 200, read)

    def _quick(self, given: dict[str, str], problem: str, status: int, read: quick.QuickRead | None) -> Response:
        warning = quick.warns(given["function"]) if given["function"] else ""
        more = {"given": given, "problem": problem, "read": read, "warning": warning}
        return self._page("quick.html", status, functions=quick.functions(), longest=quick.FIELDS, **more)

    async def rehearse(self, request: Request) -> Response:
        """A sequence by hand without a car."""
        name, narrow = request.path_params["name"], request.cookies.get("asleft_narrow") == "1"
        found = await run_in_threadpool(lambda: rehearsal_of(book_path(name), narrow=narrow))
        beats = json.dumps(rehearsal_beats(found)).replace("<", "\\u003c")
        return self._page(
            "rehearse.html", 200, name=name, rehearsal=found, beats=safe(beats), track=safe(found.track.svg)
        )

    # -- helpers -----------------------------------------------------------------------------------------------------

    def _page(self, template: str, status: int = 200, **values: Any) -> Response:
        return HTMLResponse(render_plain(template, token=self._token, **values), status)

    async def _form(self, request: Request, fields: int = 60) -> FormData:
        form = await request.form(max_fields=fields, max_files=0)
        if not same_token(str(form.get("token", "")), self._token):
            raise FormRefusedError
        return form


def _asked(sought: dict[str, str]) -> Asked:
    year = sought["year"]
    if year and not (year.isascii() and year.isdigit()):
        raise InputError(Code.PROCEDURE_BAD, "a model year has four digits")
    named = {name: sought[name] for name in ("words", "make", "model", "part", "software", "propulsion")}
    return Asked(year=int(year) if year else None, **named)


def _field(form: FormData, name: str, longest: int) -> str:
    text = str(form.get(name, "")).strip()
    if len(text) > longest:
        raise InputError(Code.PROCEDURE_BAD, f"{name}: at most {longest} characters")
    return text


def _named(by: str) -> str:
    if not by:
        raise InputError(Code.CHECK_FAILED, "this needs a name")
    return by
