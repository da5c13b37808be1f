"""The set-up page over the real application: what it shows, what it changes, what it refuses; and the help."""

from __future__ import annotations

import asyncio
import re
from pathlib import Path

import httpx
import pytest

from asleft.job.manual import pages
from asleft.job.people import Role, person_of, put_person
from asleft.job.workshop import FILE, read_workshop, write_workshop
from asleft.record.keys import SigningKey
from asleft.web.app import make_app
from kit.events import demo_job
from kit.gallery import bodies, store

HOST = "127.0.0.1:8899"
NASTY = '<script>alert(1)</script>"x'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    SigningKey.load_or_make(tmp_path)
    store(tmp_path, "J-1", bodies(demo_job()))
    return tmp_path


def use(folder: Path, *forms: dict[str, str]) -> httpx.Response:
    """Send forms, then read the page; the last answer."""

    async def go() -> httpx.Response:
        transport = httpx.ASGITransport(make_app(folder))
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as browser:
            page = await browser.get("/set-up")
            token = re.findall(r'name="token" value="([^"]+)"', page.text)[0]
            answer = page
            for form in forms:
                answer = await browser.post("/set-up", data={"token": token, **form})
            return answer

    return asyncio.run(go())


def read(folder: Path, path: str) -> httpx.Response:
    async def go() -> httpx.Response:
        transport = httpx.ASGITransport(make_app(folder))
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as browser:
            return await browser.get(path)

    return asyncio.run(go())


def test_it_shows_how_the_machine_stands_and_the_key(folder: Path) -> None:
    page = use(folder).text
    assert SigningKey.load_or_make(folder).fingerprint in page
    assert "1 jobs read and their chains checked" in page
    assert "none chosen yet" in page


def test_settings_are_kept_and_the_gate_for_real_cars_is_not_on_the_page(folder: Path) -> None:
    write_workshop(folder, writes_to_vehicles=True)
    form = {"what": "settings", "workshop": NASTY, "technician": "M. Okafor", "letterhead": "one\r\n\r\n two "}
    more = {"language": "de", "locale": "", "paper": "letter", "link": "", "mark": "", "writes_to_vehicles": "false"}
    assert use(folder, {**form, **more}).status_code == 303
    kept = read_workshop(folder)
    assert (kept.workshop, kept.letterhead, kept.language, kept.paper) == (NASTY, ("one", "two"), "de", "letter")
    assert kept.writes_to_vehicles
    assert NASTY not in use(folder).text


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"what": "settings", "language": "xx", "paper": "a4"}, "write one of en, de"),
        ({"what": "person", "name": "A", "role": "boss", "password": "long enough"}, "no role"),
        ({"what": "person", "name": "A", "role": "lead", "password": "short"}, "a password has"),
        ({"what": "leaver", "name": "nobody"}, "nobody is called"),
        ({"what": "nothing"}, "no such form"),
        ({}, "no such form"),
    ],
)
def test_what_cannot_be_used_comes_back_with_its_reason(folder: Path, form: dict[str, str], said: str) -> None:
    before = read_workshop(folder)
    answer = use(folder, form)
    assert answer.status_code == 400
    assert said in answer.text
    assert read_workshop(folder) == before


def test_people_come_and_go(folder: Path) -> None:
    use(folder, {"what": "person", "name": "A. Novak", "role": "technician", "password": "long enough"})
    person = person_of(folder, "A. Novak", "long enough")
    assert person is not None
    assert person.role is Role.TECHNICIAN
    assert "A. Novak" in use(folder).text
    use(folder, {"what": "leaver", "name": "A. Novak"})
    assert person_of(folder, "A. Novak", "long enough") is None


def test_a_backup_is_written_and_can_be_read(folder: Path, tmp_path: Path) -> None:
    from asleft.job.records import restore

    assert use(folder, {"what": "backup"}).status_code == 303
    (copy,) = (folder / "backups").iterdir()
    assert restore(copy, tmp_path / "again") == ("J-1",)


def test_a_damaged_settings_file_is_said_and_people_can_still_be_seen(folder: Path) -> None:
    put_person(folder, "A. Novak", Role.LEAD, "long enough")
    (folder / FILE).write_text("nothing = 1")
    page = use(folder).text
    assert "no setting &#39;nothing&#39;" in page
    assert "A. Novak" in page


def test_a_foreign_form_is_refused(folder: Path) -> None:
    async def go() -> int:
        transport = httpx.ASGITransport(make_app(folder))
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as browser:
            return (await browser.post("/set-up", data={"token": "x", "what": "backup"})).status_code

    assert asyncio.run(go()) == 403
    assert not (folder / "backups").exists()


@pytest.mark.parametrize("name", sorted(pages()))
def test_every_help_page_opens_offline(folder: Path, name: str) -> None:
    answer = read(folder, f"/help/{name}")
    assert answer.status_code == 200
    sources = re.findall(r'(?:src|href)="([^"]+)"', answer.text)
    assert all(s.startswith(("/", "#", "data:")) for s in sources), sources
    for picture in {s for s in sources if s.startswith("/help/")}:
        assert read(folder, picture.partition("#")[0]).status_code == 200, picture


ELSEWHERE = ("none", "..%2Fpyproject", "pictures/none.png", "pictures/..%2F..%2FREADME.md")


@pytest.mark.parametrize("path", [f"/help/{name}" for name in ELSEWHERE])
def test_nothing_else_can_be_read_as_help(folder: Path, path: str) -> None:
    assert read(folder, path).status_code in (400, 404)


def test_the_list_begins_with_the_first_job(folder: Path) -> None:
    assert next(iter(pages())) == "first-job"
    assert all(f'href="/help/{name}"' in read(folder, "/help").text for name in pages())
