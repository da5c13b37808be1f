"""Identifiers, routines and security access of a bench module."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from asleft.bench.identifiers import Identifier, Write, coding, number, stored, text
from asleft.bench.memory import Kept, LearnedValue, Memory
from asleft.bench.routines import Routine, RoutineState
from asleft.bench.security import SecurityLevel, bench_key
from asleft.bench.service import refuse_if

from .conftest import Stand

Make = Callable[..., Stand]


def test_several_identifiers_in_one_request(stand: Make) -> None:
    car = stand(identifiers=[text(0xF187, "part", "P1"), number(0x0100, "volts", lambda: 12.6, scale=0.1, size=1)])
    assert car.tester.ask("22F1870100") == "62f18750310100" + f"{126:02x}"


def test_an_unknown_one_among_known_ones_is_left_out(stand: Make) -> None:
    assert stand(identifiers=[text(0xF187, "part", "P1")]).tester.ask("22DEADF187") == "62f1875031"


@pytest.mark.parametrize(("value", "raw"), [(-5.0, "0000"), (0.0, "0000"), (12.34, "04d2"), (9e9, "ffff")])
def test_numbers_are_held_at_the_ends_of_their_range(stand: Make, value: float, raw: str) -> None:
    car = stand(identifiers=[number(0x0100, "n", lambda: value, scale=0.01)])
    assert car.tester.ask("220100") == "620100" + raw


def test_writing_asks_session_access_length_and_condition_in_turn(stand: Make) -> None:
    running = [True]
    rule = Write(
        level=1, conditions=(refuse_if(lambda: running[0], 0x83),), check=lambda d: 0x31 if d == b"zz" else None
    )
    car = stand(identifiers=[stored(0x0100, "x", b"ab", write=rule)], security=[SecurityLevel(0x01)])
    assert car.tester.ask("2E01006364") == "7f2e7f"
    car.tester.ask("1003")
    assert car.tester.ask("2E01006364") == "7f2e33"
    unlock(car)
    assert car.tester.ask("2E010063") == "7f2e13"
    assert car.tester.ask("2E01006364") == "7f2e83"
    running[0] = False
    assert car.tester.ask("2E01007A7A") == "7f2e31"
    assert car.module.writes(0x0100) == 0
    assert car.tester.ask("2E01006364") == "6e0100"
    assert car.module.peek(0x0100) == b"cd"
    assert car.module.writes(0x0100) == 1


def test_writing_tells_the_physics(stand: Make) -> None:
    told: list[bytes] = []
    car = stand(identifiers=[stored(0x0100, "x", b"a", write=Write(done=told.append))])
    car.tester.ask("1003")
    car.tester.ask("2E010062")
    assert told == [b"b"]


def sum_check(body: bytes) -> bytes:
    return bytes([sum(body) & 0xFF])


def test_coding_refuses_a_wrong_checksum_and_unknown_bits(stand: Make) -> None:
    car = stand(identifiers=[coding(0x0600, "variant", b"\x10\x20", checksum=sum_check, changeable={0: 0x0F})])
    car.tester.ask("1003")
    assert car.tester.ask("220600") == "620600102030"
    assert car.tester.ask("2E0600112030") == "7f2e31"
    assert car.tester.ask("2E0600102131") == "7f2e31"
    assert car.tester.ask("2E0600112031") == "6e0600"


def test_control_of_an_output(stand: Make) -> None:
    states: list[tuple[int, bytes]] = []

    def control(option: int, state: bytes) -> bytes:
        states.append((option, state))
        return state

    car = stand(identifiers=[Identifier(0x0300, "fan", control=control)])
    assert car.tester.ask("2F03000355") == "7f2f7f"
    car.tester.ask("1003")
    assert car.tester.ask("2F03000355") == "6f03000355"
    assert states == [(3, b"\x55")]


def test_memory_is_lost_by_kind() -> None:
    memory = Memory()
    for kept in Kept:
        memory.declare(kept.value, 0, kept)
        memory[kept.value] = 1
    memory.lose(Kept.POWER)
    assert [memory[kept.value] for kept in (Kept.LASTING, Kept.BATTERY, Kept.POWER)] == [1, 1, 0]
    memory.lose(Kept.BATTERY)
    assert [memory[kept.value] for kept in (Kept.LASTING, Kept.BATTERY, Kept.POWER)] == [1, 0, 0]


def test_memory_refuses_a_name_twice_and_one_it_does_not_know() -> None:
    memory = Memory()
    memory.declare("x", 1)
    with pytest.raises(ValueError, match="declared twice"):
        memory.declare("x", 1)
    with pytest.raises(KeyError):
        memory["y"] = 1
    with pytest.raises(KeyError):
        memory.put_quietly("y", 1)


def test_memory_saves_bytes_and_counts() -> None:
    first, second = Memory(), Memory()
    for memory in (first, second):
        memory.declare("b", b"\x00")
        memory.declare("n", 1.5)
    first["b"] = b"\xff\x01"
    second.restore(first.save())
    assert second["b"] == b"\xff\x01"
    assert second["n"] == 1.5
    assert second.writes("b") == 1


def test_a_learned_value_has_limits_and_can_be_forgotten() -> None:
    value = LearnedValue(Memory(), "stop", default=0.9, low=0.5, high=1.4)
    assert not value.learn(1.5)
    assert not value.learned
    assert value.learn(1.0)
    assert (value.value, value.learned) == (1.0, True)
    assert value.adapt(9.0) == 1.4
    value.forget()
    assert (value.value, value.learned) == (0.9, False)


def learn_stand(stand: Make, **more: object) -> tuple[Stand, dict[str, float], LearnedValue]:
    memory = Memory()
    stop = LearnedValue(memory, "stop", default=0.9, low=0.5, high=1.4)
    world = {"rpm": 0.0, "volts": 12.5, "stop": 0.83}
    routine = Routine(
        0x0201,
        "lower-stop learn",
        start_conditions=(refuse_if(lambda: world["rpm"] > 50, 0x83),),
        keep_conditions=(refuse_if(lambda: world["volts"] < 11.5, 0x93),),
        takes_s=2.0,
        on_end=lambda: RoutineState.STORED if stop.learn(world["stop"]) else RoutineState.REFUSED,
        result=lambda: bytes([round(stop.value * 100)]),
        **more,  # type: ignore[arg-type]
    )
    return stand(memory=memory, routines=[routine]), world, stop


def test_a_routine_moves_and_stores(stand: Make) -> None:
    car, _, stop = learn_stand(stand)
    assert car.tester.ask("31010201") == "7f317f"
    car.tester.ask("1003")
    assert car.tester.ask("31030201") == "7f3124"
    assert car.tester.ask("31010201") == "71010201" + "01005a"
    assert car.module.routine_state(0x0201) is RoutineState.MOVING
    assert car.tester.ask("31010201") == "7f3124"
    car.tick(2.0)
    assert car.tester.ask("31030201") == "71030201" + "020053"
    assert stop.value == 0.83


def test_a_routine_refuses_by_condition(stand: Make) -> None:
    car, world, _ = learn_stand(stand)
    car.tester.ask("1003")
    world["rpm"] = 800.0
    assert car.tester.ask("31010201") == "7f3183"


def test_a_routine_breaks_when_its_condition_is_lost(stand: Make) -> None:
    car, world, stop = learn_stand(stand)
    car.tester.ask("1003")
    car.tester.ask("31010201")
    world["volts"] = 11.0
    car.tick(0.2)
    assert car.tester.ask("31030201") == "71030201" + "03935a"
    assert not stop.learned


def test_a_routine_does_not_store_what_is_out_of_limits(stand: Make) -> None:
    car, world, stop = learn_stand(stand)
    car.tester.ask("1003")
    world["stop"] = 2.0
    car.tester.ask("31010201")
    car.tick(2.2)
    assert car.tester.ask("31030201") == "71030201" + "03005a"
    assert not stop.learned


def test_a_routine_stops_by_request(stand: Make) -> None:
    stopped: list[bool] = []
    car, _, stop = learn_stand(stand, on_stop=lambda: stopped.append(True))
    car.tester.ask("1003")
    assert car.tester.ask("31020201") == "7f3124"
    car.tester.ask("31010201")
    assert car.tester.ask("31020201") == "71020201" + "04005a"
    car.tick(3.0)
    assert stopped == [True]
    assert not stop.learned


def test_a_routine_stops_when_the_session_ends(stand: Make) -> None:
    stopped: list[bool] = []
    car, _, _ = learn_stand(stand, on_stop=lambda: stopped.append(True))
    car.tester.ask("1003")
    car.tester.ask("31010201")
    car.tester.ask("1001")
    assert stopped == [True]
    assert car.module.routine_state(0x0201) is RoutineState.WAITING


def test_a_routine_that_answers_when_it_has_ended(stand: Make) -> None:
    car, world, stop = learn_stand(stand, answer_after=True)
    car.tester.ask("1003")
    assert car.tester.all("31010201", 3.0) == ["7f3178", "71010201" + "020053"]
    world["stop"] = 2.0
    stop.forget()
    assert car.tester.all("31010201", 3.0) == ["7f3178", "7f3110"]


def test_routine_options_and_unsupported_stop(stand: Make) -> None:
    seen: list[bytes] = []
    car = stand(routines=[Routine(0x0202, "x", option_length=1, on_start=seen.append, can_stop=False)])
    car.tester.ask("1003")
    assert car.tester.ask("31010202") == "7f3113"
    assert car.tester.ask("3101020207") == "710102020200"
    assert car.tester.ask("31020202") == "7f3112"
    assert seen == [b"\x07"]


def unlock(car: Stand, level: int = 1) -> str:
    seed = bytes.fromhex(car.tester.ask(f"27{level:02X}"))[2:]
    return car.tester.ask(f"27{level + 1:02X}" + bench_key(seed).hex())


def test_security_opens_with_the_key_and_closes_with_the_session(stand: Make) -> None:
    car = stand(security=[SecurityLevel(0x01)])
    assert car.tester.ask("2701") == "7f277f"
    car.tester.ask("1003")
    assert car.tester.ask("270211223344") == "7f2724"
    assert unlock(car) == "6702"
    assert car.tester.ask("2701") == "670100000000"
    car.tester.ask("1003")
    assert car.tester.ask("2701") != "670100000000"


def test_security_counts_wrong_keys_and_waits(stand: Make) -> None:
    car = stand(security=[SecurityLevel(0x01, attempts=3, delay_s=10.0)])
    car.tester.ask("1003")
    answers = []
    for _ in range(3):
        car.tester.ask("2701")
        answers.append(car.tester.ask("270200000000"))
    assert answers == ["7f2735", "7f2735", "7f2736"]
    assert car.tester.ask("2701") == "7f2737"
    for _ in range(5):
        car.tester.ask("3E00", 2.0)
    assert unlock(car) == "6702"


def test_security_remembers_its_lock_over_a_key_cycle(stand: Make) -> None:
    car = stand(security=[SecurityLevel(0x01, attempts=1, delay_s=10.0)])
    car.tester.ask("1003")
    car.tester.ask("2701")
    assert car.tester.ask("270200000000") == "7f2736"
    car.module.power_off()
    car.clock.run_until(car.clock.now() + 30.0)
    car.on()
    car.tester.ask("1003")
    assert car.tester.ask("2701") == "7f2737"


def test_names_declared_twice_are_refused(stand: Make) -> None:
    with pytest.raises(ValueError, match="F190 is declared twice"):
        stand(identifiers=[text(0xF190, "a", "a"), text(0xF190, "b", "b")])
    with pytest.raises(ValueError, match="0201 is declared twice"):
        stand(routines=[Routine(0x0201, "a"), Routine(0x0201, "b")])
