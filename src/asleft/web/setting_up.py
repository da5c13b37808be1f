"""The set-up page: how this machine stands, settings, people, key, backup. For the lead only."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from asleft.job.doctor import examine
from asleft.job.keyring import known_keys
from asleft.job.people import LONGEST_NAME, SHORTEST_PASSWORD, Role, put_person, read_people, remove_person
from asleft.job.records import back_up
from asleft.job.workshop import CHOICES, Workshop, read_workshop, write_workshop
from asleft.model.errors import AsleftError

from .guard import same_token
from .problems import FormRefusedError
from .rendering import render_plain

_TEXTS = ("workshop", "technician", "link", "language", "locale", "paper", "mark")


class SetUp:
    """Handlers of the set-up page.

    Args: folder: data folder. token: what every form carries.
    """

    def __init__(self, folder: Path, token: str) -> None:
        self._folder = folder
        self._token = token
        self._acts: Mapping[str, Callable[[FormData], str]] = {
            "settings": self._settings,
            "person": self._person,
            "leaver": self._leaver,
            "backup": self._backup,
        }

    async def show(self, request: Request) -> Response:
        """The page."""
        done = request.query_params.get("done", "")
        looking = "interfaces" in request.query_params
        return HTMLResponse(await run_in_threadpool(self._page, "", done if done in self._acts else "", looking))

    async def change(self, request: Request) -> Response:
        """One of its forms; what cannot be used comes back with its reason, nothing changed."""
        form = await request.form(max_fields=40, max_files=0)
        if not same_token(str(form.get("token", "")), self._token):
            raise FormRefusedError
        what = str(form.get("what", ""))
        act = self._acts.get(what)
        if act is None:
            return HTMLResponse(await run_in_threadpool(self._page, "There is no such form."), 400)
        try:
            await run_in_threadpool(act, form)
        except AsleftError as error:
            return HTMLResponse(await run_in_threadpool(self._page, error.sentence()), 400)
        return RedirectResponse(f"/set-up?done={what}", 303)

    # -- forms -------------------------------------------------------------------------------------------------------

    def _settings(self, form: FormData) -> str:
        changes: dict[str, Any] = {name: str(form.get(name, "")).strip() for name in _TEXTS}
        lines = str(form.get("letterhead", "")).splitlines()
        changes["letterhead"] = tuple(line.strip() for line in lines if line.strip())
        changes["customary_units"] = "customary_units" in form
        write_workshop(self._folder, **changes)  # writing to real cars is not opened from a page
        return ""

    def _person(self, form: FormData) -> str:
        role = Role.of(str(form.get("role", "")))
        put_person(self._folder, str(form.get("name", "")), role, str(form.get("password", "")))
        return ""

    def _leaver(self, form: FormData) -> str:
        remove_person(self._folder, str(form.get("name", "")))
        return ""

    def _backup(self, _form: FormData) -> str:
        folder = self._folder / "backups"
        folder.mkdir(exist_ok=True)
        back_up(self._folder, folder / f"{datetime.now(UTC):%Y-%m-%d-%H%M%S}.backup")
        return ""

    # -- the page ----------------------------------------------------------------------------------------------------

    def _page(self, problem: str = "", done: str = "", interfaces: bool = False) -> str:
        try:
            workshop = read_workshop(self._folder)
        except AsleftError as error:
            workshop, problem = Workshop(), problem or error.sentence()
        return render_plain(
            "set_up.html",
            token=self._token,
            problem=problem,
            done=done,
            findings=examine(self._folder, interfaces=interfaces),
            workshop=workshop,
            choices=CHOICES,
            people=_people(self._folder),
            roles=[role.word for role in Role],
            fingerprint=_fingerprint(self._folder),
            shortest=SHORTEST_PASSWORD,
            longest=LONGEST_NAME,
        )


def _fingerprint(folder: Path) -> str:
    try:
        return next((key.fingerprint for key in known_keys(folder) if key.in_use), "")
    except AsleftError:
        return ""


def _people(folder: Path) -> list[tuple[str, str]]:
    try:
        return [(person.name, person.role.word) for person in read_people(folder)]
    except AsleftError:
        return []
