"""Power, boot, sessions, timing and refusals of a bench module, over the bus."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from asleft.bench.broadcast import Broadcast
from asleft.bench.identifiers import Write, live, stored, text
from asleft.bench.memory import Kept
from asleft.bench.module import Address, ControlModule, Sessions, Timing
from asleft.bench.routines import Routine
from asleft.bench.security import SecurityLevel
from asleft.bench.service import refuse_if
from asleft.bench.trouble_memory import TroubleCode
from asleft.model.frame import CanFrame

from .conftest import Stand

Make = Callable[..., Stand]


def test_silent_with_the_key_off(stand: Make) -> None:
    car = stand(off=True)
    assert car.tester.ask("3E00") == ""


def test_answers_after_its_boot_time(stand: Make) -> None:
    car = stand(off=True, timing=Timing(boot_s=1.0))
    car.module.power_on()
    assert car.tester.ask("3E00", 0.9) == ""
    car.clock.run_until(1.01)
    assert car.tester.ask("3E00") == "7e00"


def test_goes_silent_with_the_key_after_its_after_run(stand: Make) -> None:
    car = stand(timing=Timing(after_run_s=2.0))
    car.module.power_off()
    assert car.tester.ask("3E00") == "7e00"
    car.clock.run_until(car.clock.now() + 2.0)
    assert car.tester.ask("3E00") == ""


def test_a_key_turned_back_within_the_after_run_keeps_it_awake(stand: Make) -> None:
    car = stand(timing=Timing(after_run_s=2.0))
    car.module.power_off()
    car.clock.run_until(car.clock.now() + 1.0)
    car.module.power_on()
    car.clock.run_until(car.clock.now() + 5.0)
    assert car.tester.ask("3E00") == "7e00"


def test_tells_its_times_with_the_session(stand: Make) -> None:
    """50 03 00 32 01 F4: P2 50 ms, P2* 5 s (checks, section 3)."""
    assert stand().tester.ask("1003") == "5003003201f4"


def test_the_session_falls_back_after_s3(stand: Make) -> None:
    car = stand()
    car.tester.ask("1003")
    car.clock.run_until(car.clock.now() + 4.0)
    assert car.module.session == 3
    car.clock.run_until(car.clock.now() + 1.1)
    assert car.module.session == 1


def test_tester_present_without_answer_keeps_the_session(stand: Make) -> None:
    car = stand()
    car.tester.ask("1003")
    for _ in range(5):
        assert car.tester.ask("3E80", 2.5, functional=True) == ""
    assert car.module.session == 3


def test_latency_and_jitter(stand: Make) -> None:
    car = stand(timing=Timing(latency_s=0.02, jitter_s=0.01))
    times = [car.tester.times("3E00", 0.2)[0] for _ in range(20)]
    assert all(0.020 < moment < 0.0312 for moment in times)
    assert len({round(moment, 5) for moment in times}) > 10


def test_a_slow_module_says_response_pending_first(stand: Make) -> None:
    car = stand(timing=Timing(latency_s=0.3))
    assert car.tester.all("3E00", 1.0) == ["7f3e78", "7e00"]
    first, last = car.tester.times("3E00", 1.0)
    assert first < 0.05
    assert last > 0.3


def test_long_work_says_response_pending_again_and_again(stand: Make) -> None:
    car = stand(identifiers=[stored(0x0100, "x", b"ab", write=Write(takes_s=12.0))])
    car.tester.ask("1003")
    assert car.tester.all("2E01006364", 14.0) == ["7f2e78"] * 3 + ["6e0100"]
    assert car.module.session == 3
    assert car.module.peek(0x0100) == b"cd"


def test_work_within_p2_needs_no_pending(stand: Make) -> None:
    car = stand(identifiers=[stored(0x0100, "x", b"ab", write=Write(takes_s=0.03))])
    car.tester.ask("1003")
    assert car.tester.all("2E01006364") == ["6e0100"]


def test_busy_while_it_works_and_heard_again_after(stand: Make) -> None:
    car = stand(identifiers=[stored(0x0100, "x", b"ab", write=Write(takes_s=1.0))])
    car.tester.ask("1003")
    car.tester.node.send(bytes.fromhex("2E01006364"))
    car.clock.run_until(car.clock.now() + 0.1)
    assert car.tester.ask("22F190", 0.3) == "7f2221"
    car.clock.run_until(car.clock.now() + 1.0)
    assert car.tester.ask("220100") == "6201006364"


def test_busy_by_condition(stand: Make) -> None:
    busy = [True]
    car = stand(busy=lambda: busy[0])
    assert car.tester.ask("3E00") == "7f3e21"
    busy[0] = False
    assert car.tester.ask("3E00") == "7e00"


def test_a_positive_answer_after_pending_is_not_suppressed(stand: Make) -> None:
    """ISO 14229-1 (recalled): once 78 was sent, the suppress bit no longer counts."""
    routine = Routine(0x0201, "slow", takes_s=1.0, answer_after=True)
    car = stand(routines=[routine])
    car.tester.ask("1003")
    assert car.tester.all("31810201", 2.0) == ["7f3178", "710102010200"]


@pytest.mark.parametrize(
    ("request_hex", "answer"),
    [
        ("BA01", "7fba11"),
        ("2210", "7f2213"),
        ("22", "7f2213"),
        ("22DEAD", "7f2231"),
        ("3E01", "7f3e12"),
        ("1005", "7f1012"),
        ("100301", "7f1013"),
        ("10", "7f1013"),
        ("1104", "7f1112"),
        ("8502", "7f857f"),
        ("280301", "7f287f"),
        ("2E010000", "7f2e31"),
        ("3101BEEF", "7f3131"),
        ("3104BEEF", "7f3112"),
        ("2701", "7f2712"),
        ("2F010000", "7f2f31"),
        ("19", "7f1913"),
        ("1977", "7f1912"),
        ("1902", "7f1913"),
    ],
)
def test_refuses_by_the_standard(stand: Make, request_hex: str, answer: str) -> None:
    assert stand(identifiers=[text(0x0100, "x", "a")]).tester.ask(request_hex) == answer


@pytest.mark.parametrize("request_hex", ["BA01", "3E01", "22DEAD"])
def test_keeps_some_refusals_to_itself_when_asked_functionally(stand: Make, request_hex: str) -> None:
    assert stand().tester.ask(request_hex, functional=True) == ""


def test_other_refusals_are_given_to_functional_requests(stand: Make) -> None:
    car = stand(identifiers=[text(0x0100, "x", "a")], busy=lambda: True)
    assert car.tester.ask("220100", functional=True) == "7f2221"


def test_services_a_module_does_not_have(stand: Make) -> None:
    assert stand(without=frozenset({0x22})).tester.ask("22F190") == "7f2211"


def test_session_conditions(stand: Make) -> None:
    running = [True]
    sessions = Sessions(conditions={0x02: (refuse_if(lambda: running[0], 0x83),)})
    car = stand(sessions=sessions)
    assert car.tester.ask("1002") == "7f1083"
    running[0] = False
    assert car.tester.ask("1002") == "5002003201f4"


def test_restart_by_service_11(stand: Make) -> None:
    """Silent for its boot time, default session, power memory lost."""
    car = stand(
        identifiers=[
            stored(0x0100, "volatile", b"a", kept=Kept.POWER, write=Write()),
            stored(0x0101, "lasting", b"a", write=Write()),
        ],
        timing=Timing(boot_s=0.5),
    )
    car.tester.ask("1003")
    car.tester.ask("2E010062")
    car.tester.ask("2E010162")
    assert car.tester.ask("1101", 0.1) == "5101"
    assert car.tester.ask("3E00", 0.3) == ""
    car.clock.run_until(car.clock.now() + 0.2)
    assert car.module.session == 1
    assert car.tester.ask("22010001 01".replace(" ", "")) == "62010061010162"


def test_broadcasts_while_awake_and_until_switched_off(stand: Make) -> None:
    value = [7]
    heard: list[CanFrame] = []
    car = stand(off=True, broadcasts=[Broadcast(0x123, 0.1, lambda: bytes(value))])
    car.bus.join("ear", lambda frame: heard.append(frame) if frame.id == 0x123 else None)
    car.clock.run_until(1.0)
    assert heard == []
    car.on()
    car.clock.run_until(car.clock.now() + 0.99)
    assert len(heard) == 10
    assert heard[-1].data == b"\x07"
    assert car.tester.ask("1003")
    assert car.tester.ask("280301") == "6803"
    heard.clear()
    car.clock.run_until(car.clock.now() + 1.0)
    assert heard == []
    assert car.tester.ask("280001") == "6800"
    car.clock.run_until(car.clock.now() + 0.5)
    assert len(heard) >= 5


def test_physics_is_brought_to_now_before_a_value_is_read(stand: Make) -> None:
    car = stand(identifiers=[live(0x0100, "count", lambda: bytes([car.refreshed]))])
    before = car.refreshed
    assert car.tester.ask("220100") == f"620100{before + 1:02x}"


def test_further_services_win(stand: Make) -> None:
    class Own:
        sids = (0x22, 0xBA)

        def handle(self, request: bytes, talk: object) -> bytes:
            return bytes([request[0] + 0x40, 0x99])

    car = stand(services=[Own()])
    assert car.tester.ask("22F190") == "6299"
    assert car.tester.ask("BA") == "fa99"


def test_a_module_without_bus_answers_directly() -> None:
    module = ControlModule("m", Address.fixed(0x10), identifiers=[text(0xF190, "VIN", "X")])
    module.power_on()
    assert module.awake
    assert module.handle(bytes.fromhex("22F190")) == bytes.fromhex("62F19058")
    assert module.handle(bytes.fromhex("BA"), functional=True) is None


def test_saved_state_comes_back() -> None:
    def make() -> ControlModule:
        return ControlModule(
            "m",
            Address.normal(0x700, 0x708),
            identifiers=[stored(0x0100, "x", b"a", write=Write())],
            codes=[TroubleCode(0x012300, "x", lambda: True)],
            security=[SecurityLevel()],
        )

    first = make()
    first.power_on()
    first.handle(bytes.fromhex("1003"))
    first.handle(bytes.fromhex("2E01007A"))
    first.codes.report(0x012300, failing=True)
    second = make()
    second.restore(first.save(), powered=True)
    assert second.awake
    assert second.handle(bytes.fromhex("220100")) == bytes.fromhex("6201007A")
    assert second.writes(0x0100) == 1
    assert second.codes.status(0x012300) == first.codes.status(0x012300)
    assert second.session == 1


def test_fault_busy_for_a_while(stand: Make) -> None:
    car = stand()
    car.module.be_busy(1.0)
    assert car.tester.ask("3E00", 0.9) == "7f3e21"
    car.clock.run_until(car.clock.now() + 0.2)
    assert car.tester.ask("3E00") == "7e00"


def test_fault_slow_answers_say_pending(stand: Make) -> None:
    car = stand()
    car.module.be_slow(0.5)
    assert car.tester.all("3E00", 1.0) == ["7f3e78", "7e00"]
    car.module.be_slow(0.0)
    assert car.tester.all("3E00", 1.0) == ["7e00"]


def test_fault_flow_control_asks_for_single_frames_and_a_reserved_time(stand: Make) -> None:
    """FA is reserved and counts as 127 ms: a request of 30 bytes takes five such pauses less one."""
    car = stand(identifiers=[stored(0x0100, "x", bytes(30), write=Write())])
    car.tester.ask("1003")
    car.module.ask_flow(0xFA, 0)
    assert car.tester.times("2E0100" + "00" * 30, 3.0)[0] > 3 * 0.127
