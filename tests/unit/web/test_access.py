"""Who is let in, and what each may do: over the real application, from the machine itself and from the network."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.applications import Starlette

from asleft.job.people import Role, put_person, remove_person
from asleft.web.access import SIGN_IN_COOKIE, Who
from asleft.web.app import make_app
from asleft.web.limits import Limit
from asleft.web.passes import Pass, own_secret, read_pass, write_pass
from kit.events import demo_job
from kit.gallery import bodies, store

SECRET = b"k" * 32
NAME, WORD = "T. Brandt", "correct horse battery"
FAR = ("10.0.0.9", 50000)
HERE = ("127.0.0.1", 50000)
SHOP = "https://shop.example:8443"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    store(tmp_path, "J-1", bodies(demo_job())[:-1])
    store(tmp_path, "J-2", bodies(demo_job())[:-1])
    return tmp_path


def app_of(folder: Path, *, shared: bool = True) -> Starlette:
    return make_app(folder, shared=shared, hosts={"shop.example", "127.0.0.1"})


def visit(
    app: Starlette, work: Callable[[httpx.AsyncClient], Coroutine[Any, Any, Any]], client: tuple[str, int] = FAR
) -> Any:
    async def go() -> Any:
        transport = httpx.ASGITransport(app, client=client)
        async with httpx.AsyncClient(transport=transport, base_url=SHOP, headers={"accept": "text/html"}) as browser:
            return await work(browser)

    return asyncio.run(go())


async def sign_in(
    browser: httpx.AsyncClient, name: str = NAME, password: str = WORD, then: str = "/"
) -> httpx.Response:
    page = (await browser.get("/sign-in")).text
    token = re.search(r'name="token" value="([^"]+)"', page)
    assert token is not None
    data = {"token": token.group(1), "name": name, "password": password, "then": then}
    return await browser.post("/sign-in", data=data)


PATHS = ("/", "/job/J-1", "/job/J-1/parts", "/job/J-1/report.pdf", "/job/J-1/record.zip", "/job/J-1/share", "/set-up")


@pytest.mark.parametrize("path", PATHS)
def test_nobody_sees_anything_from_the_network_without_a_name(folder: Path, path: str) -> None:
    async def work(browser: httpx.AsyncClient) -> httpx.Response:
        return await browser.get(path)

    answer = visit(app_of(folder), work)
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/sign-in")
    assert "1ZZ" not in answer.text


@pytest.mark.parametrize("path", ["/open", "/job/J-1/answer", "/job/J-1/stop", "/job/J-1/go-on"])
def test_nothing_can_be_done_without_a_name_even_with_the_forms_token(folder: Path, path: str) -> None:
    async def work(browser: httpx.AsyncClient) -> httpx.Response:
        page = (await browser.get("/sign-in")).text
        token = re.findall(r'name="token" value="([^"]+)"', page)[0]
        return await browser.post(path, data={"token": token, "text": "x"}, headers={"accept": "application/json"})

    assert visit(app_of(folder), work).status_code == 401


def test_a_technician_signs_in_and_works_and_the_cookie_is_safe(folder: Path) -> None:
    put_person(folder, NAME, Role.TECHNICIAN, WORD)

    async def work(browser: httpx.AsyncClient) -> None:
        answer = await sign_in(browser, then="/job/J-1")
        assert (answer.status_code, answer.headers["location"]) == (303, "/job/J-1")
        cookie = answer.headers["set-cookie"].lower()
        assert all(word in cookie for word in ("secure", "httponly", "samesite=strict"))
        page = await browser.get("/job/J-1")
        assert page.status_code == 200
        assert (await browser.get("/set-up")).status_code in (403, 404)
        out = await browser.post(
            "/sign-out", data={"token": re.findall(r'"token" value="([^"]+)"', (await browser.get("/")).text)[0]}
        )
        assert out.status_code == 303
        assert (await browser.get("/job/J-1")).status_code == 303

    visit(app_of(folder), work)


def test_the_name_on_the_record_is_the_signed_in_one(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    put_person(folder, NAME, Role.TECHNICIAN, WORD)
    seen: list[str] = []

    async def taken(_face: object, _job: str, given: Any, _device: str) -> str:
        seen.append(given.by)
        return ""

    monkeypatch.setattr("asleft.web.app.Face._answered", taken)

    async def work(browser: httpx.AsyncClient) -> None:
        await sign_in(browser)
        token = re.findall(r'"token" value="([^"]+)"', (await browser.get("/")).text)[0]
        data = {"token": token, "question": "q", "text": "done", "by": "Somebody Else"}
        await browser.post("/job/J-1/answer", data=data)

    visit(app_of(folder), work)
    assert seen == [NAME]


@pytest.mark.parametrize(
    ("name", "password"), [(NAME, "wrong"), (NAME, ""), ("nobody", WORD), ("", ""), ("W" * 900, WORD)]
)
def test_a_wrong_name_or_password_opens_nothing(folder: Path, name: str, password: str) -> None:
    put_person(folder, NAME, Role.LEAD, WORD)

    async def work(browser: httpx.AsyncClient) -> None:
        answer = await sign_in(browser, name, password)
        assert answer.status_code == 403
        assert "set-cookie" not in answer.headers

    visit(app_of(folder), work)


def test_guessing_is_slowed(folder: Path) -> None:
    put_person(folder, NAME, Role.LEAD, WORD)

    async def work(browser: httpx.AsyncClient) -> list[int]:
        tries = [await sign_in(browser, NAME, f"guess {n}") for n in range(7)]
        return [t.status_code for t in tries] + [(await sign_in(browser)).status_code]

    assert visit(app_of(folder), work) == [403] * 5 + [429] * 3


@pytest.mark.parametrize(
    "then", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "\n/x", ""]
)
def test_signing_in_never_leads_elsewhere(folder: Path, then: str) -> None:
    put_person(folder, NAME, Role.LEAD, WORD)

    async def work(browser: httpx.AsyncClient) -> str:
        return (await sign_in(browser, then=then)).headers["location"]

    assert visit(app_of(folder), work) == "/"


def test_a_new_password_and_a_leaver_end_what_was_open(folder: Path) -> None:
    put_person(folder, NAME, Role.TECHNICIAN, WORD)

    async def work(browser: httpx.AsyncClient) -> None:
        await sign_in(browser)
        assert (await browser.get("/")).status_code == 200
        put_person(folder, NAME, Role.TECHNICIAN, "another password")
        assert (await browser.get("/")).status_code == 303
        await sign_in(browser, password="another password")
        assert (await browser.get("/")).status_code == 200
        remove_person(folder, NAME)
        assert (await browser.get("/")).status_code == 303

    visit(app_of(folder), work)


def test_a_watcher_by_name_reads_and_cannot_act(folder: Path) -> None:
    put_person(folder, NAME, Role.WATCHER, WORD)

    async def work(browser: httpx.AsyncClient) -> None:
        await sign_in(browser)
        today = (await browser.get("/")).text
        assert 'action="/open"' not in today
        token = re.findall(r'"token" value="([^"]+)"', today)[0]
        for path in ("/open", "/job/J-1/stop", "/job/J-1/answer", "/job/J-1/go-on"):
            assert (await browser.post(path, data={"token": token})).status_code == 403

    visit(app_of(folder), work)


def test_a_link_to_watch_opens_one_job_and_nothing_else(folder: Path) -> None:
    async def make(browser: httpx.AsyncClient) -> str:
        page = (await browser.get("/job/J-1/share")).text
        assert "<svg" in page
        return re.findall(r'href="(https://[^"]+/watch/[^"]+)"', page)[0]

    app = app_of(folder)
    link = visit(app, make, HERE)

    async def work(browser: httpx.AsyncClient) -> None:
        assert (await browser.get(link)).headers["location"] == "/job/J-1"
        page = await browser.get("/job/J-1")
        assert page.status_code == 200
        assert "You are watching" in page.text
        assert 'action="/job/J-1' not in page.text
        for path in ("/", "/job/J-2", "/job/J-1x", "/job/J-1/share", "/set-up"):
            assert (await browser.get(path)).status_code == 403, path
        assert (await browser.post("/job/J-1/stop", data={})).status_code == 403
        assert (await browser.get(link[:-3] + "AAA")).status_code == 403

    visit(app, work)


def test_on_the_machine_itself_nobody_signs_in(folder: Path) -> None:
    async def work(browser: httpx.AsyncClient) -> int:
        return (await browser.get("/")).status_code

    assert visit(app_of(folder), work, HERE) == 200
    assert visit(app_of(folder, shared=False), work, HERE) == 200


def test_a_flood_of_forms_is_slowed(folder: Path) -> None:
    async def work(browser: httpx.AsyncClient) -> set[int]:
        answers = [await browser.post("/job/J-1/stop", data={}) for _ in range(60)]
        return {a.status_code for a in answers[45:]}

    assert visit(app_of(folder), work, HERE) == {429}


def test_a_cookie_of_another_kind_or_server_is_nothing(folder: Path) -> None:
    person = put_person(folder, NAME, Role.LEAD, WORD)
    watch = write_pass(own_secret(folder), Pass("watch", NAME, 2**40, person.proof[:16]))
    foreign = write_pass(SECRET, Pass("sign-in", NAME, 2**40, person.proof[:16]))
    over = write_pass(own_secret(folder), Pass("sign-in", NAME, 5, person.proof[:16]))

    async def work(browser: httpx.AsyncClient) -> list[int]:
        return [
            (await browser.get("/", headers={"cookie": f"{SIGN_IN_COOKIE}={text}"})).status_code
            for text in (watch, foreign, over, "", "x.y", "é")
            if text.isascii()
        ]

    assert set(visit(app_of(folder), work)) == {303}


PASSES = st.builds(Pass, st.sampled_from(["sign-in", "watch"]), st.text(), st.integers(0, 2**40), st.text(max_size=20))


@given(PASSES, st.integers(0, 2**41))
def test_a_pass_says_what_was_written_until_it_is_over(said: Pass, now: int) -> None:
    text = write_pass(SECRET, said)
    assert read_pass(SECRET, text, said.kind, now) == (said if now < said.until else None)
    assert read_pass(SECRET, text, said.kind + "x", 0) is None
    assert read_pass(b"other" * 7, text, said.kind, 0) is None


@given(PASSES, st.data())
def test_a_changed_pass_is_nothing(said: Pass, data: st.DataObject) -> None:
    text = write_pass(SECRET, said)
    at = data.draw(st.integers(0, len(text) - 1))
    other = data.draw(st.sampled_from("ABCz09-_.").filter(lambda c: c != text[at]))
    read = read_pass(SECRET, text[:at] + other + text[at + 1 :], said.kind, -1)
    assert read is None or read == said  # the last base64 digit has bits that carry nothing


@given(st.lists(st.floats(0, 1000), min_size=1, max_size=60))
def test_never_more_pass_than_the_bucket_holds(times: list[float]) -> None:
    limit, times = Limit(burst=3, every_s=10.0), sorted(times)
    passed = [t for t in times if limit.take("a", t) == 0.0]
    for begin in passed:
        within = [t for t in passed if begin <= t < begin + 10.0]
        assert len(within) <= 4
    assert limit.take("b", times[-1]) == 0.0  # another address is another bucket


@given(st.sampled_from(list(Role)), st.sampled_from(["GET", "POST"]))
def test_more_role_never_means_less(role: Role, method: str) -> None:
    for path in ("/", "/job/J-1/answer", "/set-up", "/open"):
        mays = [Who("x", r).may(method, path) for r in Role]
        assert mays == sorted(mays)
        assert not (role is Role.WATCHER and method == "POST" and Who("x", role).may(method, path))
