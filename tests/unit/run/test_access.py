"""Access by the program that the settings name, end to end on the bench car: right, wrong, locked out; nothing kept."""

from __future__ import annotations

import asyncio
import stat
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest

from asleft.bench.security import bench_key
from asleft.job.access_program import ProgramKey
from asleft.link.recorder import RecordingLink
from asleft.model.errors import AsleftError
from asleft.model.module import ModuleAddress
from asleft.model.verdict import RunEnd
from asleft.report.view import view
from kit.bench_run import RunOutcome
from kit.coding_bay import Bay, play, sent_to_body, writes

#: A workshop's program, as the settings may name one: seed on standard input, key on standard output.
PROGRAM = """#!{python}
import sys
module, level = sys.argv[1:]
seed = bytes.fromhex(sys.stdin.read())
print(bytes(b ^ {mask} for b in seed).hex())
print("seed was", seed.hex(), file=sys.stderr)
"""


class Program:
    """The program as the AccessKey port; it runs in real time while the virtual time of the test stands still."""

    def __init__(self, folder: Path, mask: int) -> None:
        path = folder / f"program-{mask:02X}"
        path.write_text(PROGRAM.format(python=sys.executable, mask=mask))
        path.chmod(path.stat().st_mode | stat.S_IXUSR)
        self._program = ProgramKey(path)
        self.seen: list[bytes] = []

    async def key(self, module: ModuleAddress, level: int, seed: bytes) -> bytes:
        found: list[bytes | AsleftError] = []

        def call() -> None:
            try:
                found.append(asyncio.run(self._program.key(module, level, seed)))
            except AsleftError as error:
                found.append(error)

        thread = threading.Thread(target=call)
        thread.start()
        thread.join(30.0)
        (key,) = found
        if isinstance(key, AsleftError):
            raise key
        self.seen += [seed, key]
        return key


def stands_nowhere(secrets: list[bytes], outcome: RunOutcome, folder: Path) -> None:
    """In no event, no screen, no page of the report, no byte of any file: journal, trace, attachments."""
    assert secrets
    texts = [msgspec.json.encode(e).decode().upper() for e in outcome.events]
    assert outcome.scene is not None
    texts.append(repr(outcome.scene.shown).upper())
    texts.append(repr(view(outcome.events, "00", generated="2031-04-17T12:00:00Z")).upper())
    files = [p for p in folder.rglob("*") if p.is_file()]
    assert any(p.suffix == ".log" for p in files)
    assert any(p.suffix == ".db" for p in files)
    for secret in secrets:
        for shown in (secret.hex().upper(), secret.hex(" ").upper()):
            assert not any(shown in text for text in texts)
            assert not any(shown.encode() in p.read_bytes().upper() for p in files)
        assert not any(secret in p.read_bytes() for p in files)


def in_bay(folder: Path, doing: Callable[[Bay], Any]) -> Any:
    async def recorded(bay: Bay) -> Any:
        bay.scene.link = RecordingLink(bay.scene.link, bay.scene.clock, folder / "trace", "T-1")  # type: ignore[assignment]
        return await doing(bay)

    (folder / "data").mkdir()
    return play(folder / "data", recorded)


def test_the_right_key_opens_is_used_once_and_stands_nowhere(tmp_path: Path) -> None:
    (tmp_path / "bin").mkdir()
    program = Program(tmp_path / "bin", 0x5A)

    async def doing(bay: Bay) -> tuple[Bay, RunOutcome]:
        bay.scene.key = program
        return bay, await bay.run()

    bay, outcome = in_bay(tmp_path, doing)
    seed, key = program.seen
    assert key == bench_key(seed)
    assert outcome.done
    assert bay.held == bay.old
    assert [p[:4] for p in sent_to_body(outcome) if p.startswith("27")] == ["2701", "2702"]
    assert [p for p in outcome.intents if p.startswith("27")] == ["2701", "2702"]
    assert len(writes(outcome)) == 1
    stands_nowhere([seed, key], outcome, tmp_path)


def test_wrong_keys_are_counted_by_the_module_and_a_lock_out_is_respected(tmp_path: Path) -> None:
    """One attempt a run and a job; three jobs lock the module, and the fourth is told to wait and sends no key."""
    (tmp_path / "bin").mkdir()
    program = Program(tmp_path / "bin", 0x33)

    async def doing(bay: Bay) -> list[RunOutcome]:
        bay.scene.key = program
        found: list[RunOutcome] = []
        for job in range(4):
            bay.scene.folder = tmp_path / "data" if job == 0 else tmp_path / f"job-{job}"
            found.append(await bay.run())
        return found

    outcomes = in_bay(tmp_path, doing)
    assert [o.run.end for o in outcomes] == [RunEnd.REFUSED] * 4
    keys = [sum(p == "2702" for p in o.intents) for o in outcomes]
    assert keys == [1, 1, 1, 0]
    assert "waits" in (outcomes[3].run.result.text if outcomes[3].run.result else "")
    assert all("access not open" in o.causes for o in outcomes)
    assert not any(writes(o) for o in outcomes)
    stands_nowhere(program.seen, outcomes[0], tmp_path)


@pytest.mark.full
def test_an_authorisation_that_takes_a_minute_finds_the_session_still_open(tmp_path: Path) -> None:
    """Tester present goes on while somebody asks for the key; the one attempt is not lost to a session that ran out."""
    (tmp_path / "bin").mkdir()
    program = Program(tmp_path / "bin", 0x5A)

    class Slow:
        def __init__(self, bay: Bay) -> None:
            self._bay = bay

        async def key(self, module: ModuleAddress, level: int, seed: bytes) -> bytes:
            await self._bay.scene.clock.sleep_until(self._bay.scene.clock.now() + 60.0)
            return await program.key(module, level, seed)

    async def doing(bay: Bay) -> RunOutcome:
        bay.scene.key = Slow(bay)
        return await bay.run()

    outcome = in_bay(tmp_path, doing)
    assert sum(p == "2702" for p in outcome.intents) == 1
    assert outcome.done
