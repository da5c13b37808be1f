"""Every address of the page, asked with what it should not be: refused or harmless, and never a traceback."""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import httpx
import pytest
from starlette.routing import Route

from asleft.job.people import Role, put_person
from asleft.web.app import make_app
from asleft.web.guard import LONGEST_BODY, page_token
from kit.events import hostile_job
from kit.gallery import StandIn, bodies, free_job, store

HOST = "127.0.0.1:8899"
NASTY = "<script>document.title='owned'</script>\"'\u202e\x00\r\n{{7*7}}" + "W" * 300
#: Values of the places in an address.
PLACES = {"job": "J-1", "run": "run-1", "name": "idle-relearn-aldra", "page": "glossary", "vin": "A0A", "text": "x"}
OUTSIDE = ("../../etc/passwd", "..%2f..%2fetc%2fpasswd", "%2e%2e/%2e%2e/x", "a\x00b", "\u202e", "x" * 3000, "{{7*7}}")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    base = tmp_path_factory.mktemp("hostile")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ASLEFT_DATA", str(base))
        store(base, "J-1", bodies(free_job()))
        store(base, "J-2", bodies(hostile_job(NASTY.replace("\x00", ""))))
        put_person(base, "M. Okafor", Role.LEAD, "correct horse battery")
        yield base


@pytest.fixture
def engine(folder: Path) -> Iterator[StandIn]:
    with StandIn(folder) as engine:
        engine.job = "J-1"
        yield engine


def routes(folder: Path, method: str) -> list[str]:
    found = [r for r in make_app(folder).routes if isinstance(r, Route) and method in (r.methods or ())]
    paths = (r.path for r in found if not r.path.startswith(("/api", "/static")) and not r.path.endswith("/events"))
    return [re.sub(r"\{(\w+)[^}]*\}", lambda m: PLACES[m[1]], path) for path in paths]


def send(folder: Path, *requests: tuple[str, str, dict[str, object]]) -> list[httpx.Response]:
    """Requests one after the other to one application; an error of the program is raised."""

    async def go() -> list[httpx.Response]:
        answers = list[httpx.Response]()
        for method, path, more in requests:
            # an application each: the limit of one address is tried elsewhere
            transport = httpx.ASGITransport(make_app(folder))
            async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as client:
                answers.append(await client.request(method, path, **more))  # type: ignore[arg-type]
        return answers

    return asyncio.run(go())


def test_every_form_refuses_a_forged_origin_a_wrong_token_and_too_much(folder: Path, engine: StandIn) -> None:
    token = page_token(folder)
    paths = routes(folder, "POST")
    assert len(paths) >= 15
    for path in paths:
        forged, wrong, long, bare = send(
            folder,
            ("POST", path, {"data": {"token": token}, "headers": {"origin": "http://evil.example"}}),
            ("POST", path, {"data": {"token": "x" * 32}}),
            ("POST", path, {"content": b"x" * 800_000, "headers": {"content-type": "text/plain"}}),
            ("POST", path, {}),
        )
        assert forged.status_code == 403, path
        assert wrong.status_code == 403, path
        assert long.status_code == 413, path
        assert bare.status_code in (400, 403), path
    assert engine.told == []


def test_hostile_text_in_every_field_is_refused_or_shown_as_text(folder: Path, engine: StandIn) -> None:
    """All names that any form has, all at once, to every form: no program error, and nothing of it runs."""
    templates = Path(make_app.__code__.co_filename).parent / "templates"
    names = set(re.findall(r'name="([a-z_]+)"', " ".join(p.read_text() for p in templates.rglob("*.html"))))
    assert {"vin", "reason", "by", "text", "order", "why", "words"} <= names
    fields = dict.fromkeys(sorted(names), NASTY) | {"token": page_token(folder)}
    for path in routes(folder, "POST"):
        (answer,) = send(folder, ("POST", path, {"data": fields}))
        assert answer.status_code in (303, 400, 403, 404, 409, 413, 429), (path, answer.status_code)
        assert "<script>document" not in answer.text, path
        assert "Traceback" not in answer.text, path
        assert "\r" not in answer.headers.get("location", ""), path
    query = dict.fromkeys((*names, "after", "picture", "paper", "then", "done", "origin"), NASTY)
    for path in routes(folder, "GET"):
        (answer,) = send(folder, ("GET", path, {"params": query}))
        assert answer.status_code < 500, (path, answer.status_code)
        assert "<script>document" not in answer.text, path
        assert ">49<" not in answer.text, path


def test_no_address_leads_outside(folder: Path) -> None:
    for path in routes(folder, "GET"):
        for place in ("J-1", "run-1", "idle-relearn-aldra", "glossary"):
            if f"/{place}" not in path:
                continue
            for text in OUTSIDE:
                (answer,) = send(folder, ("GET", path.replace(place, quote(text, safe="%/")), {}))
                assert answer.status_code < 500, (path, text)
                assert "root:" not in answer.text
                assert not (answer.status_code == 200 and "49" in answer.text and "7*7" in text), path


def test_a_body_that_is_no_form_is_refused_in_words(folder: Path, engine: StandIn) -> None:
    for path in routes(folder, "POST"):
        for kind, body in (("application/json", b'{"token": '), ("multipart/form-data; boundary=x", b"--x\r\nbroken"),
                           ("multipart/form-data", b"--x"), ("application/x-www-form-urlencoded", b"%ff%fe=%00&" * 500),
                           ("text/plain; charset=nope", b"\xff")):  # fmt: skip
            assert len(body) < LONGEST_BODY
            (answer,) = send(folder, ("POST", path, {"content": body, "headers": {"content-type": kind}}))
            assert answer.status_code in (400, 403), (path, kind, answer.status_code)
            assert "Traceback" not in answer.text
    assert engine.told == []


@pytest.mark.parametrize(
    "line",
    [b"\n", b"{\n", b"[]\n", b'{"token": 1}\n', b"\xff\xfe\n", b'{"command": "stop"}\n', b"x" * 2_000_000 + b"\n"],
)
def test_the_engines_channel_bears_anything(folder: Path, engine: StandIn, line: bytes) -> None:
    """Out of form, without the token, endless: an error in words or a closed connection, and the next one is heard."""
    port = json.loads((folder / "engine.json").read_text())["port"]

    async def say() -> bytes:
        reader, writer = await asyncio.open_connection("127.0.0.1", port, limit=1 << 22)
        writer.write(line)
        try:
            return await reader.read(1 << 16)
        except ConnectionError:  # closed on us: that is an answer
            return b""
        finally:
            writer.close()

    answer = asyncio.run(asyncio.wait_for(say(), 60))
    assert b"Traceback" not in answer
    assert b"result" not in answer
    assert engine.told == []
    (page,) = send(folder, ("GET", "/job/J-1", {}))
    assert page.status_code == 200
