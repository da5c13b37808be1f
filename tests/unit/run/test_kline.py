"""Effects on a K-line: write, restart, routine and output control in KWP2000, with intent, receipt and settlement."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from asleft.bench.identifiers import Identifier, Write, stored, text
from asleft.bench.kline import KLine
from asleft.bench.kwp import KwpModule, KwpTiming
from asleft.bench.obd import Obd
from asleft.bench.routines import Routine, RoutineState
from asleft.book.procedure import Way
from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.event.fold import JobState, fold
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.engine import read_order
from asleft.link.kline import KLineLink
from asleft.live.sampler import LinkSignals
from asleft.model.effect import Effect, Settlement
from asleft.model.module import Item, ModuleAddress, ModulePicture
from asleft.model.verdict import RunEnd
from asleft.practice.driver import BenchDriver, LocalActs
from asleft.practice.person import ScriptedPerson
from asleft.practice.scene import TECHNICIAN, WORKSHOP, demo_order
from asleft.record.job_journal import JobJournal
from asleft.record.journal import open_journal
from asleft.run.engine import Run, RunRequest
from asleft.run.log import RunPorts
from asleft.run.recover import settle_open_effects
from asleft.talk.conversations import Conversations
from asleft.talk.policy import WritesPolicy
from kit.bench_job import whole_book
from kit.variant import variant

VIN, SERIAL = "1G1JC5444R7252367", "44017265"
ENGINE = ModuleAddress("engine", 0x11, 0x11)
HEAD = """
id: line
function: module-coding
name: Idle offset on the line
revision: 1
source: {title: Invented page, edition: "1", page: "1", kind: fictional, entered-by: A, checked-by: B}
cautions: [Key on, engine off.]
entry: [{id: rest, text: engine off, kind: at-most, signal: engine-speed, high: 0, unit: rpm}]
interlocks: [{holds: rest, asks: stop}]
ways:
  by-wire:
    - {type: session, id: adjust, session: 135}
"""
WRITE = """
    - {type: write, id: write, name: offset, identifier: "0005", printed: hex, value: "0140", restore: write the old}
    - {type: restart-module, id: restart, way: hard, settle-s: 3}
    - {type: read, id: after, name: idle offset, identifier: "0005", printed: hex, save: after}
"""
ACTUATE = """
    - {type: actuate, id: pump, text: pump, identifier: "0006", printed: hex, state: "01", seconds: 2}
"""
ROUTINE = """
    - {type: routine-start, id: learn}
    - type: routine-result
      id: result
      every-s: 0.5
      timeout-s: 20
      states: [{value: 2, state: stored, text: stored}, {value: 1, state: moving, text: learns}]
"""
IDENTIFIER = """
identifier: {printed: hex, typed: true, where: page 1}
"""


class Line:
    """One module on a K-line, and what was sent to it."""

    def __init__(self, clock: LoopClock, folder: Path) -> None:
        self.clock, self.folder, self.line = clock, folder, KLine(clock)
        self.pump: list[int] = []

        def control(how: int, _state: bytes) -> bytes:
            self.pump.append(how)
            return b""

        self.module = KwpModule(
            "engine",
            0x11,
            identifiers=[
                text(0x90, "VIN", VIN),
                text(0x8C, "serial number", SERIAL),
                stored(0x05, "idle offset", b"\x01\x2c", write=Write()),
                Identifier(0x06, "pump", read=lambda: b"\x00", control=control),
            ],
            routines=[
                Routine(0x41, "learn", sessions=frozenset({0x87}), takes_s=3.0, on_end=lambda: RoutineState.STORED)
            ],
            obd=Obd(values={0x0C: lambda: 0.0, 0x05: lambda: 83.0}, vin=VIN),
            timing=KwpTiming(),
        )
        self.module.attach_line(self.line, clock)
        self.module.power_on()
        self.sent: list[bytes] = []
        self._tick()

    @property
    def held(self) -> bytes:
        return self.module.peek(0x05)

    def stop(self) -> None:
        self.module.detach()
        self._timer.cancel()

    def _tick(self) -> None:
        self.module.poll()
        self._timer = self.clock.call_at(self.clock.now() + 0.1, self._tick)

    async def work(self, doing: Callable[[RunPorts, JobJournal], Any], answers: Any = None) -> tuple[Event, ...]:
        clock = self.clock
        link = KLineLink(self.line, clock)
        await link.open()
        person = ScriptedPerson(BenchDriver(LocalActs(None), clock), clock, TECHNICIAN, answers)  # type: ignore[arg-type]
        with open_journal(self.folder) as journals:
            known = "T-1" in journals.list_jobs()
            journal = (journals.reopen if known else journals.create)("T-1", source=link, clock=clock)
            talk = Conversations(link, clock, journal.redeem, WritesPolicy())
            ports = RunPorts(journal, talk, LinkSignals(talk, clock), person, clock, protocol=talk.protocol)
            try:
                if not known:
                    order = read_order(demo_order(VIN), "T-1")
                    journal.append(
                        b.JobOpened(WORKSHOP, order.vehicle, order.work_items, link.origin, link.name, "test", "")
                    )
                await doing(ports, journal)
            finally:
                await talk.close()
                await link.close()
                events = journal.events()
                journal.give_back()
        return events


def request(steps: str, number: int = 1) -> RunRequest:
    known = (Item("serial-number", "serial number", SERIAL),)
    head = HEAD.replace("ways:", IDENTIFIER.strip() + "\nways:") if "routine" in steps else HEAD
    return RunRequest(f"r{number}", variant(head + steps.lstrip("\n")), Way.BY_WIRE, ModulePicture(ENGINE, True, known))


def play(folder: Path, steps: str, answers: Any = None) -> tuple[Line, JobState]:
    async def main(clock: LoopClock) -> tuple[Line, JobState]:
        line = Line(clock, folder)
        await clock.sleep_until(1.0)

        async def doing(ports: RunPorts, _journal: JobJournal) -> None:
            await Run(ports, request(steps)).carry_out()

        try:
            return line, fold(await line.work(doing, answers))
        finally:
            line.stop()

    return run_virtual(main)


def payloads(state: JobState) -> list[str]:
    return [e.intent.payload for e in state.effects.values()]


def test_a_value_is_written_once_read_back_and_the_module_restarted(tmp_path: Path) -> None:
    line, state = play(tmp_path, WRITE)
    run = state.runs["r1"]
    assert run.progress == "judged", run.result
    assert line.held == bytes.fromhex("0140")
    assert payloads(state) == ["1087", "3B050140", "1101"]
    effects = [e.intent.effect for e in state.effects.values()]
    assert effects == [Effect.WRITES, Effect.WRITES, Effect.RESTARTS], "the makers' session counts as a write"
    assert {e.settlement for e in state.effects.values()} == {Settlement.DONE}


def test_an_output_is_controlled_and_given_back(tmp_path: Path) -> None:
    line, state = play(tmp_path, ACTUATE)
    assert state.runs["r1"].progress == "judged", state.runs["r1"].result
    assert line.pump == [7, 0]
    assert payloads(state) == ["1087", "30060701", "300600"]
    assert {e.settlement for e in state.effects.values()} == {Settlement.DONE}


def test_a_routine_is_started_watched_and_stored(tmp_path: Path) -> None:
    _, state = play(tmp_path, ROUTINE, {"Type the routine identifier": ["0041"]})
    assert state.runs["r1"].progress == "judged", state.runs["r1"].result
    assert payloads(state) == ["1087", "3141"]
    assert {e.settlement for e in state.effects.values()} == {Settlement.DONE}


def test_an_identifier_of_two_bytes_is_refused_before_it_is_written(tmp_path: Path) -> None:
    line, state = play(tmp_path, WRITE.replace("0005", "3B10"))
    assert state.runs["r1"].end is RunEnd.FAILED
    assert payloads(state) == ["1087"]
    assert line.held == b"\x01\x2c"


class Killed(BaseException):
    """The process is gone."""


@pytest.mark.parametrize(("boundary", "written"), [("intent", False), ("send", True)])
def test_killed_around_the_write_it_is_settled_by_reading_and_not_sent_again(
    tmp_path: Path, boundary: str, written: bool
) -> None:
    send = Conversations.carry_out

    async def carried(self: Conversations, receipt: Any, **more: Any) -> bytes:
        if receipt.payload == "1087":
            return await send(self, receipt, **more)
        if boundary == "intent":
            raise Killed
        await send(self, receipt, **more)
        raise Killed

    async def main(clock: LoopClock) -> tuple[Line, JobState]:
        line = Line(clock, tmp_path)
        await clock.sleep_until(1.0)

        async def cut(ports: RunPorts, _journal: JobJournal) -> None:
            await Run(ports, request(WRITE)).carry_out()

        async def settle(ports: RunPorts, journal: JobJournal) -> None:
            await settle_open_effects(ports, fold(journal.events()), whole_book())

        try:
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(Conversations, "carry_out", carried)
                with pytest.raises(Killed):
                    await line.work(cut)
            return line, fold(await line.work(settle))
        finally:
            line.stop()

    line, state = run_virtual(main)
    (effect,) = (e for e in state.effects.values() if e.intent.payload.startswith("3B"))
    assert line.held == (bytes.fromhex("0140") if written else b"\x01\x2c")
    assert effect.settlement is (Settlement.DONE if written else Settlement.PERSON_MUST_DECIDE)
    assert not state.unsettled
