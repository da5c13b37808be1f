"""Jobs for scripts and commands, against the real channel: what is read, what the engine is told, and in whose name."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from asleft.cli import run
from asleft.cli.app import make_app
from asleft.event import body as b
from asleft.job.shop import DEVICE, Shop
from asleft.model.errors import AsleftError, Code, InputError, RunError
from kit.events import Job, opened, say
from kit.gallery import StandIn, bodies, cut_after, free_job, store, whole_job

RUNNER = CliRunner()
OTHER = ["throttle-stop-learn", "idle-relearn", "rain-light-sensor"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    store(folder, "J-1", bodies(whole_job()))
    store(folder, "J-2", bodies(cut_after(whole_job(), b.QuestionAsked, 1, "effect.confirm")))
    store(folder, "J-3", bodies(free_job()))
    stopped = Job("J-4").add(opened(), b.JobStopped("no-bus", say("x", "nothing answered"))).done()
    store(folder, "J-4", bodies(stopped))
    return folder


@pytest.fixture
def engine(folder: Path) -> Iterator[StandIn]:
    with StandIn(folder) as engine:
        engine.job = "J-2"
        yield engine


def cli(folder: Path, *words: str, code: int = 0) -> str:
    done = RUNNER.invoke(make_app(["job"]), ["job", *words, "--data", str(folder)])
    assert done.exit_code == code, done.output + repr(done.exception)
    return done.stdout


def test_reading_needs_no_engine(folder: Path) -> None:
    shop = Shop(folder)
    assert shop.jobs() == ("J-1", "J-2", "J-3", "J-4")
    assert shop.question("J-1") is None
    asked = shop.question("J-2")
    assert asked is not None
    assert asked.message.id == "effect.confirm"
    assert shop.wait_question("J-2") == asked
    assert shop.wait_question("J-1") is None
    assert shop.wait_question("J-4") is None
    assert [e.sequence for e in shop.follow("J-4", after=1)] == [2]
    assert tuple(shop.follow("J-2", 0.0)) == shop.events("J-2")
    assert len(shop.try_order("J-3").order) == 6
    assert shop.record_zip  # signed by the engine only
    with pytest.raises(RunError) as caught:
        shop.wait_question("J-2", 0.0, asked.id)
    assert caught.value.code is Code.WAITED_IN_VAIN
    with pytest.raises(RunError) as absent:
        shop.stop("J-2")
    assert absent.value.code is Code.ENGINE_ABSENT
    with pytest.raises(AsleftError):
        shop.state("J-9")


def test_every_command_names_who_and_on_which_device(folder: Path, engine: StandIn) -> None:
    shop = Shop(folder, "notebook")
    assert shop.engine()["job"] == "J-2"
    shop.answer("J-2", "start now", "M. Okafor")
    shop.take_control("J-2", "M. Okafor", "the tablet is flat")
    shop.hand_over("J-2", "M. Okafor", "A. Novak")
    shop.hand_over("J-2", "M. Okafor")
    shop.choose_order("J-2", OTHER, "M. Okafor", "x")
    shop.pause("J-2")
    shop.stop("J-2")
    shop.go_on("J-2")
    told = [{k: v for k, v in t.items() if k not in ("job", "order")} for t in engine.told]
    assert told == [
        {"command": "answer", "question": shop.question("J-2").id, "text": "start now", "by": "M. Okafor",  # type: ignore[union-attr]
         "device": "notebook"},
        {"command": "take-control", "by": "M. Okafor", "device": "notebook", "reason": "the tablet is flat"},
        {"command": "hand-over", "by": "M. Okafor", "device": "notebook", "to_by": "A. Novak", "to_device": "notebook"},
        {"command": "hand-over", "by": "M. Okafor", "device": "notebook", "to_by": "", "to_device": ""},
        {"command": "choose-order", "by": "M. Okafor", "device": "notebook", "reason": "x"},
        {"command": "pause"}, {"command": "stop"}, {"command": "go-on"},
    ]  # fmt: skip
    with pytest.raises(InputError, match="opens no jobs"):
        shop.open_job("A0A", ["x"])


def test_commands_work_beside_a_running_loop(folder: Path, engine: StandIn) -> None:
    """As in a notebook."""

    async def cell() -> object:
        return Shop(folder).engine()["job"]

    assert asyncio.run(cell()) == "J-2"


def test_the_command_line_reads(folder: Path) -> None:
    listed = json.loads(cli(folder, "list", "--json"))
    assert [(j["job"], j["state"]) for j in listed] == [
        ("J-1", "closed"),
        ("J-2", "open"),
        ("J-3", "open"),
        ("J-4", "stopped"),
    ]
    assert "nothing answered" in cli(folder, "list")
    told = json.loads(cli(folder, "show", "J-2", "--json"))
    assert told["kind"] == "effect"
    assert len(told["choices"]) >= 2
    text = cli(folder, "show", "J-2")
    assert all(f"choices: {choice}" in text for choice in told["choices"])
    lines = cli(folder, "follow", "J-4", "--quiet", "0").splitlines()
    assert [line.split()[0] for line in lines] == ["1", "2"]
    assert "nothing answered" in lines[1]
    stored = cli(folder, "follow", "J-4", "--json", "--after", "1").splitlines()
    assert [json.loads(line)["sequence"] for line in stored] == [2]


def test_the_command_line_tells_the_engine(folder: Path, engine: StandIn) -> None:
    cli(folder, "answer", "J-2", "start now", "--by", "M. Okafor")
    cli(folder, "take-control", "J-2", "--by", "M. Okafor", "--device", "tablet 2")
    cli(folder, "hand-over", "J-2", "--by", "M. Okafor")
    for verb in ("pause", "stop", "go-on"):
        cli(folder, verb, "J-2")
    assert [t["command"] for t in engine.told] == ["answer", "take-control", "hand-over", "pause", "stop", "go-on"]
    assert [t.get("device") for t in engine.told][:3] == [DEVICE, "tablet 2", DEVICE]


def test_an_order_is_tried_and_with_a_reason_taken(folder: Path, engine: StandIn) -> None:
    assert "the best order" in cli(folder, "order", "J-3")
    assert "not possible" in cli(folder, "order", "J-3", "idle-relearn", code=1)
    tried = cli(folder, "order", "J-3", *OTHER)
    assert tried.startswith("1. ")
    assert engine.told == []
    told = json.loads(
        cli(folder, "order", "J-3", *OTHER, "--reason", "the windscreen waits", "--by", "M. O.", "--json")
    )
    assert told["order"][:3] == OTHER
    assert [(t["command"], t["order"][:3], t["by"]) for t in engine.told] == [("choose-order", OTHER, "M. O.")]


def test_what_the_engine_refuses_is_one_sentence_and_an_exit_code(
    folder: Path, engine: StandIn, capsys: pytest.CaptureFixture[str]
) -> None:
    engine.refusal = InputError(Code.ORDER_REFUSED, "begun already")
    assert run(["job", "stop", "J-2", "--data", str(folder)]) == 2
    assert capsys.readouterr().err.count("cannot be worked in this order") == 1
    engine.refusal = RunError(Code.CONTROL_HELD, "A. Novak")
    assert run(["job", "take-control", "J-2", "--by", "M", "--data", str(folder)]) == 5
