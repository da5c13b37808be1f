"""What the page's server refuses, and what it sends with everything."""

from __future__ import annotations

import asyncio
import stat
from pathlib import Path

import httpx
import pytest
from starlette.datastructures import Headers

from asleft.web.app import make_app
from asleft.web.guard import LONGEST_BODY, page_token, refusal, same_token
from kit.events import demo_job
from kit.gallery import bodies, store

HOST = "127.0.0.1:8899"


@pytest.mark.parametrize(
    ("host", "origin", "passes"),
    [
        ("127.0.0.1:8899", "", True),
        ("localhost:8899", "", True),
        ("[::1]:8899", "", True),
        ("127.0.0.1:8899", "http://127.0.0.1:8899", True),
        ("127.0.0.1:8899", "http://127.0.0.1:1", False),
        ("127.0.0.1:8899", "null", False),
        ("127.0.0.1:8899", "http://workshop.example", False),
        ("workshop.example", "", False),
        ("workshop.example:8899", "http://workshop.example:8899", False),
        ("127.0.0.1.workshop.example", "", False),
        ("", "", False),
    ],
)
def test_only_this_machine_and_this_page(host: str, origin: str, passes: bool) -> None:
    """A foreign name that resolves to this machine is refused as well as a foreign page."""
    headers = Headers({"host": host, "origin": origin} if origin else {"host": host})
    assert (refusal(headers) is None) is passes


@pytest.mark.parametrize("length", ["-1", "x", str(LONGEST_BODY + 1), "1e3"])
def test_a_length_that_cannot_be_is_refused(length: str) -> None:
    refused = refusal(Headers({"host": HOST, "content-length": length}))
    assert refused is not None
    assert refused[0] == 413


def test_the_token_outlives_the_process_and_is_the_owners_only(tmp_path: Path) -> None:
    first = page_token(tmp_path)
    assert page_token(tmp_path) == first
    assert len(first) >= 32
    assert stat.S_IMODE((tmp_path / "page-token").stat().st_mode) == 0o600


@pytest.mark.parametrize("given", ["", "x", "\ud800", "é" * 9])
def test_another_token_is_not_the_same(given: str) -> None:
    assert not same_token(given, "secret")
    assert same_token("secret", "secret")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with one job; these tests change nothing in it."""
    folder = tmp_path_factory.mktemp("guard")
    store(folder, "J-1", bodies(demo_job())[:-1])
    return folder


def ask(folder: Path, method: str, path: str, headers: dict[str, str] | None = None, **more: object) -> httpx.Response:
    async def go() -> httpx.Response:
        transport = httpx.ASGITransport(make_app(folder))
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as client:
            return await client.request(method, path, headers=headers, **more)  # type: ignore[arg-type]

    return asyncio.run(go())


@pytest.mark.parametrize("path", ["/", "/job/J-1", "/job/none", "/nothing", "/static/sheet.js", "/figure.css"])
def test_every_answer_carries_the_headers(folder: Path, path: str) -> None:
    answer = ask(folder, "GET", path)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cache-control"] == ("no-cache" if path.startswith("/static/") else "no-store")


def test_a_refused_request_carries_them_too(folder: Path) -> None:
    answer = ask(folder, "GET", "/", {"host": "workshop.example"})
    assert answer.status_code == 403
    assert "default-src 'none'" in answer.headers["content-security-policy"]


@pytest.mark.parametrize("path", ["/open", "/job/J-1/answer", "/job/J-1/stop", "/job/J-1/go-on"])
@pytest.mark.parametrize("token", [None, "", "forged"])
def test_a_form_without_the_token_does_nothing(folder: Path, path: str, token: str | None) -> None:
    form = {"vin": "x"} if token is None else {"token": token}
    answer = ask(folder, "POST", path, data=form)
    assert answer.status_code == 403
    assert "Load the page again" in answer.text
    as_json = ask(folder, "POST", path, {"accept": "application/json"}, data=form)
    assert as_json.status_code == 403
    assert "Load the page again" in as_json.json()["error"]


def test_a_long_body_is_refused_whatever_length_it_states(folder: Path) -> None:
    async def endless():  # type: ignore[no-untyped-def]
        for _ in range(40):
            yield b"token=" + b"x" * 4000

    headers = {"content-type": "application/x-www-form-urlencoded"}
    assert ask(folder, "POST", "/open", headers, content=endless()).status_code == 413
    assert ask(folder, "POST", "/open", headers, content=b"x" * (LONGEST_BODY + 1)).status_code == 413


@pytest.mark.parametrize(
    "path", ["/static/../app.py", "/static/%2e%2e/app.py", "/job/..%2f..%2fetc", "/job/J-1/record.zip", "/job/%00"]
)
def test_nothing_outside_is_reached(folder: Path, path: str) -> None:
    """Traversal, jobs that are none, a record that is not signed yet: a page that says so."""
    answer = ask(folder, "GET", path)
    assert answer.status_code in {400, 404}
    assert "import" not in answer.text


def test_an_unknown_job_is_said_in_words(folder: Path) -> None:
    answer = ask(folder, "GET", "/job/none")
    assert answer.status_code == 404
    assert "There is no job with this number." in answer.text


def test_the_first_page_is_small(folder: Path) -> None:
    """Everything a tablet loads for a sheet stays under 300 kB."""
    paths = ("/job/J-1", "/static/sheet.css", "/figure.css", "/static/vendor/idiomorph-0.8.0.min.js")
    scripts = ("/static/sheet.js", "/static/placing.js", "/static/hold.js")
    assert sum(len(ask(folder, "GET", path).content) for path in (*paths, *scripts)) < 300_000
