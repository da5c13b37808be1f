"""An answer counts only for the question that is open; a bench driver acts only for the answer that says it is done."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import httpx
import pytest

from asleft.event import body as b
from asleft.model.question import Question, QuestionKind
from asleft.web.answers import Given, bench_act, unfit
from asleft.web.app import Face, make_app
from kit.events import Job, opened, say
from kit.gallery import bodies, store

ACT = Question("q1", QuestionKind.ACT, say("x", "Key off"), ("done", "stop here"), (), "key-off")
TYPE = Question("q1", QuestionKind.TYPE, say("x", "Type it"), ("stop here",))


@pytest.mark.parametrize(
    ("given", "question", "words"),
    [
        (Given("q1", "done", "M. Okafor"), ACT, ""),
        (Given("q1", "stop here", "M. Okafor"), ACT, ""),
        (Given("q1", "0x5A31", "M. Okafor"), TYPE, ""),
        (Given("q0", "done", "M. Okafor"), ACT, "no longer open"),
        (Given("q1", "done", "M. Okafor"), None, "no longer open"),
        (Given("q1", "yes", "M. Okafor"), ACT, "not offered"),
        (Given("q1", " ", "M. Okafor"), TYPE, "Nothing was typed"),
        (Given("q1", "x" * 201, "M. Okafor"), TYPE, "too long"),
        (Given("q1", "done", " "), ACT, "needs a name"),
        (Given("q1", "done", "n" * 61), ACT, "too long"),
    ],
)
def test_why_an_answer_cannot_be_taken(given: Given, question: Question | None, words: str) -> None:
    assert words in unfit(given, question)
    assert bool(unfit(given, question)) is bool(words)


def test_a_stop_never_makes_the_bench_driver_act() -> None:
    assert bench_act(Given("q1", "done", "M", bench=True), ACT) == "key-off"
    assert bench_act(Given("q1", "stop here", "M", bench=True), ACT) == ""
    assert bench_act(Given("q1", "done", "M"), ACT) == ""


class Told:
    """Takes down what the engine is told; refuses what it is asked to refuse."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, job: str, refuse: str = "") -> None:
        self.calls: list[tuple[str, dict[str, Any]]] = []
        self.job = job
        self.refuse = refuse
        monkeypatch.setattr("asleft.job.channel.ChannelClient.call", self.call)

    async def call(self, command: str, **arguments: Any) -> Any:
        from asleft.model.errors import Code, RunError

        if command == "status":
            return {"origin": "bench", "link": "x", "workshop": "w", "technician": "t", "job": self.job, "bench": True}
        self.calls.append((command, arguments))
        if command == self.refuse:
            raise RunError(Code.ACT_UNKNOWN, command)
        return None


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with one job that waits for an answer; what is told goes no further than ``Told``."""
    folder = tmp_path_factory.mktemp("answers")
    store(folder, "J-1", bodies(Job("J-1").add(opened()).add(b.QuestionAsked("job", ACT)).done()))
    return folder


def press(folder: Path, path: str = "/job/J-1/answer", *, script: bool = True, **form: str) -> httpx.Response:
    async def go() -> httpx.Response:
        app = make_app(folder)
        transport = httpx.ASGITransport(app)
        headers = {"accept": "application/json"} if script else {}
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:1", headers=headers) as client:
            return await client.post(path, data={"token": Face(folder).token, **form})

    return asyncio.run(go())


def test_the_act_comes_before_the_answer(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told = Told(monkeypatch, "J-1")
    answer = press(folder, question="q1", text="done", by="M. Okafor", act="yes")
    assert answer.status_code == 200
    assert [name for name, _ in told.calls] == ["bench-act", "answer"]
    assert told.calls[0][1] == {"act": "key-off"}
    expected = {"job": "J-1", "question": "q1", "text": "done", "by": "M. Okafor", "device": ""}
    assert told.calls[1][1] == expected


def test_an_act_that_fails_is_said_and_nothing_is_answered(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told = Told(monkeypatch, "J-1", refuse="bench-act")
    answer = press(folder, question="q1", text="done", by="M. Okafor", act="yes")
    assert answer.status_code == 409
    assert answer.json()["error"]
    assert [name for name, _ in told.calls] == ["bench-act"]


@pytest.mark.parametrize(
    "form",
    [
        {"question": "q0", "text": "done", "by": "M", "act": "yes"},
        {"question": "q1", "text": "perhaps", "by": "M", "act": "yes"},
        {"question": "q1", "text": "done", "by": "", "act": "yes"},
        {},
    ],
)
def test_an_answer_that_does_not_fit_moves_nothing_at_the_car(
    folder: Path, monkeypatch: pytest.MonkeyPatch, form: dict[str, str]
) -> None:
    told = Told(monkeypatch, "J-1")
    assert press(folder, **form).status_code == 409
    assert told.calls == []


def test_a_job_that_is_not_in_hand_takes_no_answer_and_no_stop(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Question numbers repeat from job to job: an old page must not answer another car's question."""
    told = Told(monkeypatch, "J-2")
    assert press(folder, question="q1", text="done", by="M", act="yes").status_code == 409
    stop = press(folder, "/job/J-1/stop")
    assert stop.status_code == 409
    assert "Nothing goes on here" in stop.json()["error"]
    assert told.calls == []


def test_without_script_the_sheet_comes_back_with_the_reason(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Told(monkeypatch, "J-1")
    answer = press(folder, script=False, question="q0", text="done", by="M")
    assert answer.status_code == 409
    assert "This question is no longer open" in answer.text
    taken = press(folder, script=False, question="q1", text="done", by="M")
    assert taken.status_code == 303
    assert taken.headers["location"] == "/job/J-1"


@pytest.mark.parametrize("name", ["M. Okafor", "Ólafur Þór", "王小明", 'a";b\r\nset-cookie: x=1'])
def test_any_name_can_be_remembered(folder: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    Told(monkeypatch, "J-1")
    answer = press(folder, question="q1", text="done", by=name)
    assert answer.status_code == 200
    assert len(answer.headers.get_list("set-cookie")) == 1


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("vin", "X" * 25, "at most 24"),
        ("year", "20x9", "four digits"),
        ("year", "٢٠١٩", "four digits"),
        ("order", "x" * 201, "at most 200"),
        ("work_items", "", "Choose what was done"),
    ],
)
def test_an_order_that_cannot_be_used_comes_back_filled_in(
    folder: Path, monkeypatch: pytest.MonkeyPatch, field: str, value: str, words: str
) -> None:
    told = Told(monkeypatch, "")
    form = {"vin": "EZAL16DT8KG776234", "make": "Aldra", "work_items": "oil-service", field: value}
    if field == "work_items":
        del form["work_items"]
    answer = press(folder, "/open", script=False, **form)
    assert answer.status_code == 400
    assert words in answer.text
    assert 'value="Aldra"' in answer.text
    assert told.calls == []
