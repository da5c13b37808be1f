"""The history's pages and its interface for programs: over the real application, by generated requests as well."""

from __future__ import annotations

import asyncio
import re
import shutil
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import httpx
import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis import GenerationMode
from starlette.applications import Starlette

from asleft.job.people import Role, put_person
from asleft.web.api import ASKS, openapi
from asleft.web.app import make_app
from kit.events import VIN, demo_job, fail_job, hostile_job
from kit.gallery import bodies, store

PROCEDURE = "throttle-stop-learn-by-routine"
NASTY = "<script>alert(1)</script>"


@cache
def _shop() -> Path:
    folder = Path(mkdtemp(prefix="asleft-history-web-"))
    for number, job in {"J-1": demo_job, "J-2": fail_job}.items():
        store(folder, number, bodies(job()))
    store(folder, "J-3", bodies(hostile_job(NASTY)))
    return folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(_shop(), tmp_path / "shop"))


def get(app: Starlette, path: str, client: tuple[str, int] = ("127.0.0.1", 5), **headers: str) -> httpx.Response:
    async def go() -> httpx.Response:
        transport = httpx.ASGITransport(app, client=client)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1", headers=headers) as browser:
            return await browser.get(path)

    return asyncio.run(go())


def test_pages_show_what_is_there_and_escape_it(folder: Path) -> None:
    app = make_app(folder)
    pages = [
        "/history", "/history?words=throttle", "/history?words=%3Cscript%3E", "/history?after=x", f"/history/car/{VIN}",
        "/history/procedure", f"/history/procedure/{PROCEDURE}?origin=bench",
        f"/history/chart?procedure={PROCEDURE}&criterion=rest-range&origin=bench",
        "/history/chart?module=engine&key=learned-lower-stop&origin=bench",
    ]  # fmt: skip
    for path in pages:
        response = get(app, path)
        assert response.status_code == 200, path
        assert "<script>alert" not in response.text
    assert "J-2" in get(app, "/history?words=throttle").text
    assert "Nothing found" in get(app, "/history?words=gearbox").text
    assert "1 of 2" in get(app, pages[6]).text
    assert "Bench cars" in get(app, pages[6]).text
    assert get(app, "/history/car/1M8GDM9AXKP042788").status_code == 404
    assert "/history" in get(app, "/").text


def test_a_job_written_meanwhile_is_found(folder: Path) -> None:
    app = make_app(folder)
    assert len(get(app, "/api/v1/jobs?code=P2176").json()["jobs"]) == 2
    store(folder, "J-4", bodies(demo_job()))
    assert len(get(app, "/api/v1/jobs?code=P2176").json()["jobs"]) == 3


def test_answers_and_refusals_have_their_form(folder: Path) -> None:
    app = make_app(folder)
    assert get(app, "/api/v1/jobs/J-2").json()["runs"][0]["verdict"] == "FAIL"
    assert get(app, f"/api/v1/cars/{VIN}").json()["vin"] == VIN
    assert get(app, f"/api/v1/procedures/{PROCEDURE}?origin=bench").json()["failed"]["of"] == 2
    assert get(app, "/api/v1/procedures").json()
    assert get(app, "/api/v1/jobs?words=%00").json() == {"jobs": [], "after": ""}
    missing = get(app, "/api/v1/jobs/J-9")
    assert (missing.status_code, missing.json()["code"]) == (404, "job-unknown")
    for bad in ("jobs?most=0", "jobs?most=x", "jobs?strange=1", "jobs?words=a&words=b", "charts/learned",
                "jobs?after=x", f"jobs?words={'x' * 301}"):  # fmt: skip
        refused = get(app, f"/api/v1/{bad}")
        assert refused.status_code == 400, bad
        assert set(refused.json()) == {"code", "error"}


def test_the_same_rules_as_for_pages(folder: Path) -> None:
    """From the network nobody reads without signing in, and a link to watch reaches nothing here."""
    put_person(folder, "T. Brandt", Role.WATCHER, "correct horse battery")
    app = make_app(folder, shared=True)
    far = ("10.0.0.9", 5)
    for path in ("/api/v1/jobs", "/api/v1/openapi.json", f"/api/v1/cars/{VIN}"):
        assert get(app, path, far).status_code == 401
    assert get(app, "/history", far, accept="text/html").status_code == 303


def test_the_description_names_every_question(folder: Path) -> None:
    told = get(make_app(folder), "/api/v1/openapi.json").json()
    assert told == openapi()
    assert set(told["paths"]) == {f"/api/v1{ask.path}" for ask in ASKS}
    used = set(re.findall(r"#/components/schemas/(\w+)", str(told)))
    assert used <= set(told["components"]["schemas"])


@pytest.fixture(scope="module")
def described(tmp_path_factory: pytest.TempPathFactory) -> Any:
    folder = shutil.copytree(_shop(), tmp_path_factory.mktemp("api") / "shop")
    return schemathesis.openapi.from_asgi(
        "/api/v1/openapi.json", make_app(Path(folder), hosts={"testserver", "localhost"})
    )


@pytest.mark.parametrize("mode", list(GenerationMode))
@pytest.mark.parametrize("path", [ask.path for ask in ASKS])
def test_generated_requests_are_answered_as_described(described: Any, path: str, mode: GenerationMode) -> None:
    """Good and bad requests made from the description; the answers must have its status, type and form."""
    operation = described[f"/api/v1{path}"]["GET"]
    requests = operation.as_strategy(generation_mode=mode)

    @settings(max_examples=15, suppress_health_check=list(HealthCheck), deadline=None, database=None)
    @given(case=requests)
    def every(case: Any) -> None:
        case.call_and_validate()

    if mode is GenerationMode.NEGATIVE and not operation.query and not operation.path_parameters:
        return  # nothing can be asked wrongly
    every()
