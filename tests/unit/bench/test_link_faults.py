"""Each link fault, against the same talk without it, changes what the tester sees; taken away, nothing remains."""

from __future__ import annotations

import pytest

from asleft.bench.identifiers import Write, stored, text
from asleft.bench.link_faults import LINK_FAULTS, Scene
from asleft.bench.module import Address, ControlModule
from asleft.bench.other_tester import OtherTester
from asleft.bench.trouble_memory import TroubleCode

from .conftest import Stand

LONG = "".join(f"{number:02x}" for number in range(60))


def make() -> Stand:
    module = ControlModule(
        "engine",
        Address.normal(0x7E0, 0x7E8),
        identifiers=[text(0xF190, "VIN", "1M8GDM9AXKP042788"), stored(0x0100, "x", bytes(60), write=Write())],
        codes=[TroubleCode(0x217600, "a")],
    )
    stand = Stand(module).on()
    module.codes.report(0x217600, failing=True)
    return stand


def talk(stand: Stand) -> list[tuple[float, str]]:
    """An ordinary talk: when each answer came after its request, and what it was."""
    transcript: list[tuple[float, str]] = []
    requests = ["1003", *["22F190"] * 6, "2E0100" + LONG, "220100", "3E80", "3E80", "1902FF", "2E0100" + "00" * 60]
    for request in requests:
        start_s = stand.clock.now()
        stand.tester.all(request, 3.0)
        transcript += [(round(moment - start_s, 4), answer.hex()) for moment, answer in stand.tester.heard]
        transcript.append((0.0, f"after {request[:6]}"))
    return transcript


@pytest.fixture(scope="module")
def undisturbed() -> list[tuple[float, str]]:
    return talk(make())


def test_the_same_talk_twice_is_the_same(undisturbed: list[tuple[float, str]]) -> None:
    assert talk(make()) == undisturbed


@pytest.mark.parametrize("name", sorted(LINK_FAULTS))
def test_the_fault_changes_the_talk(name: str, undisturbed: list[tuple[float, str]]) -> None:
    stand = make()
    fault = LINK_FAULTS[name]
    fault.apply(Scene(stand.bus, stand.clock, [stand.module], seed=5), fault.usual)
    assert talk(stand) != undisturbed
    assert fault.text
    assert fault.unit


@pytest.mark.parametrize("name", sorted(LINK_FAULTS))
def test_taken_away_nothing_remains(name: str, undisturbed: list[tuple[float, str]]) -> None:
    stand = make()
    fault = LINK_FAULTS[name]
    undo = fault.apply(Scene(stand.bus, stand.clock, [stand.module], seed=5), fault.usual)
    undo()
    stand.clock.run_until(stand.clock.now() + 0.05)
    assert [answer for _, answer in talk(stand)] == [answer for _, answer in undisturbed]


def test_two_faults_together() -> None:
    stand = make()
    scene = Scene(stand.bus, stand.clock, [stand.module], seed=5)
    LINK_FAULTS["frames lost"].apply(scene, 0.05)
    LINK_FAULTS["bus load"].apply(scene, 0.5)
    assert stand.bus.faults.lost == 0.05
    talk(stand)
    assert stand.bus.counts.lost > 0
    assert stand.bus.load(0.0, 0) > 0.3


def test_the_other_tester_reads_and_is_read() -> None:
    stand = make()
    other = OtherTester(stand.bus, stand.clock, stand.module.address, [(0.1, bytes.fromhex("22F190"))], every_s=1.0)
    stand.clock.run_until(stand.clock.now() + 2.5)
    assert len(other.heard) == 3
    assert [answer[:1] for _, answer in stand.tester.heard] == [b"\x62"] * 3
    other.unplug()
    stand.clock.run_until(stand.clock.now() + 2.5)
    assert len(other.heard) == 3
