"""The older car: idle through a clogged bypass, a rest that is learned by hand, KWP2000 on the K-line."""

from __future__ import annotations

import statistics

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.cable import CableCar
from asleft.bench.cars.cable_faults import CABLE_FAULTS
from asleft.bench.clock import StepClock
from asleft.bench.kline import KLine
from asleft.bench.kwp_frames import Message, Mode, decode, size
from asleft.model.errors import InputError

SEEDS = (0, *(pytest.param(seed, marks=pytest.mark.full) for seed in (1, 2)))


class Bay:
    """The car on its line, and a tester of few words on the same line."""

    def __init__(self, seed: int = 0, cleaned: float = 1.0) -> None:
        self.clock = StepClock()
        self.line = KLine(self.clock)
        self.car = CableCar(seed, cleaned, warm=True)
        self.car.attach(InLoopBus(self.clock), self.clock, self.line)
        self.heard: list[int] = []
        self.node = self.line.join("tester", lambda value, _end, own: None if own else self.heard.append(value))

    def wait(self, seconds: float) -> None:
        self.clock.run_until(self.clock.now() + seconds)

    def do(self, what: str, seconds: float = 0.0, /, **args: object) -> None:
        self.car.act(what, **args)
        self.wait(seconds)

    def open(self) -> bytes:
        self.node.pull_low(0.025)
        self.wait(0.05)
        return self.ask("81")

    def ask(self, data: str, seconds: float = 0.4, target: int = 0x11) -> bytes:
        self.heard.clear()
        self.node.send(Message(bytes.fromhex(data), Mode.PHYSICAL, target, 0xF1).encode(), 0.005)
        self.wait(seconds)
        whole = bytes(self.heard)
        message = decode(whole[: size(whole) or 0])
        return message.data if message is not None else b""

    def idle(self, seconds: float) -> tuple[float, float]:
        speeds: list[float] = []
        for _ in range(round(seconds * 4)):
            self.wait(0.25)
            speeds.append(self.car.powertrain.crank.rpm)
        return statistics.mean(speeds), statistics.pstdev(speeds)

    def by_hand(self, press_s: float = 1.0, *, extra: bool = False, percent: float = 100.0) -> None:
        """The hand sequence: off, full, off."""
        self.do("key", 2.0, position="on")
        self.do("pedal", press_s, percent=percent)
        self.do("pedal", 0.4 if extra else 2.0, percent=0.0)
        if extra:
            self.do("pedal", 0.2, percent=100.0)
            self.do("pedal", 0.6, percent=0.0)


@pytest.mark.parametrize("seed", SEEDS)
def test_it_idles_on_what_it_learned_and_high_after_cleaning(seed: int):
    bay = Bay(seed)
    bay.do("key", 3.0, position="on")
    bay.do("key", 60.0, position="start")
    target = bay.car.truth()["idle target, 1/min"]
    mean, spread = bay.idle(15.0)
    assert mean == pytest.approx(target, abs=20.0)
    assert spread < 15.0
    bay.do("key", 5.0, position="off")
    bay.do("clean_throttle")
    bay.do("key", 3.0, position="on")
    bay.do("key", 8.0, position="start")
    high, _ = bay.idle(5.0)
    assert high > target + 12.0


@pytest.mark.parametrize("seed", SEEDS)
def test_a_new_sensor_is_not_known_until_the_rest_is_learned_by_hand(seed: int):
    bay = Bay(seed)
    bay.do("replace_sensor")
    bay.do("key", 3.0, position="on")
    bay.do("key", 30.0, position="start")
    assert bay.car.engine.peek(0x25) == b"\x00"
    assert 0x0510 in bay.car.engine.codes.emission(0x08)
    bay.do("key", 5.0, position="off")
    bay.by_hand()
    truth = bay.car.truth()
    assert truth["learned rest, %"] == pytest.approx(truth["true rest, %"])
    bay.do("key", 40.0, position="start")
    assert bay.car.engine.peek(0x25) == b"\x01"
    mean, _ = bay.idle(10.0)
    assert mean == pytest.approx(bay.car.truth()["idle target, 1/min"], abs=30.0)


@pytest.mark.parametrize(
    ("slip", "args"),
    [
        (None, {"press_s": 0.3}),
        (None, {"percent": 60.0}),
        (None, {"extra": True}),
        ("press partial", {}),
        ("hand late", {"press_s": 0.3}),
    ],
)
def test_a_sequence_done_wrong_stores_nothing(slip: str | None, args: dict[str, float]):
    bay = Bay(1)
    bay.do("replace_sensor")
    if slip is not None:
        bay.do("fault", name=slip, size=0.6 if slip == "press partial" else None)
    before = bay.car.rest.value
    bay.by_hand(**args)
    assert bay.car.rest.value == before


def test_too_late_after_key_on_stores_nothing():
    bay = Bay(1)
    bay.do("replace_sensor")
    before = bay.car.rest.value
    bay.do("key", 25.0, position="on")
    bay.do("pedal", 1.0, percent=100.0)
    bay.do("pedal", 2.0, percent=0.0)
    assert bay.car.rest.value == before


def test_it_speaks_kwp2000_on_the_line_and_obd_beside():
    """Answers read with the frames of ISO 14230-2; codes with service 18 and with OBD 03."""
    bay = Bay(2)
    bay.do("key", 3.0, position="on")
    assert bay.open() == b"\xc1\xef\x8f"
    assert bay.ask("1A90", 0.8)[2:] == bay.car.vin.encode()
    assert int.from_bytes(bay.ask("2121")[2:], "big") == pytest.approx(bay.car.rest.value * 100.0, abs=1)
    assert bay.ask("0105")[2] - 40 == pytest.approx(bay.car.truth()["coolant, °C"], abs=1.5)
    assert bay.ask("31 41") == b"\x7f\x31\x80"  # not in this session
    assert bay.ask("10 87")[0] == 0x50
    assert bay.ask("31 41") == b"\x7f\x31\x22"  # engine not running


def test_the_idle_relearn_takes_the_integral_over():
    bay = Bay(0)
    bay.do("key", 3.0, position="on")
    bay.do("key", 70.0, position="start")
    bay.open()
    bay.ask("10 87")
    bay.car.powertrain.idle.integral_g_s = 0.3
    before = bay.car.air.value
    assert bay.ask("31 41")[0] == 0x71
    for _ in range(14):
        bay.ask("3E 01", 1.0)
    assert bay.car.air.value > before + 0.05


def test_it_needs_its_line():
    clock = StepClock()
    with pytest.raises(InputError):
        CableCar(0).attach(InLoopBus(clock), clock)


def test_its_faults_are_its_own():
    assert "sensor shifted" in CABLE_FAULTS
    assert "coding lost" not in CABLE_FAULTS
    bay = Bay(0)
    bay.do("fault", name="sensor shifted")
    bay.do("key", 3.0, position="on")
    bay.do("key", 10.0, position="start")
    assert bay.car.engine.peek(0x25) == b"\x00"


def test_a_saved_car_goes_on_the_same():
    one = Bay(1)
    one.do("key", 3.0, position="on")
    one.do("key", 20.0, position="start")
    other = CableCar(1, warm=True)
    other.restore(one.car.save())
    assert other.truth() == one.car.truth()


def test_the_plate_comes_back_with_the_engine_off_however_long_the_key_is_on() -> None:
    """After the module's window for the learn nothing moves by itself, but the cable still pulls and lets go."""
    clock = StepClock()
    car = CableCar(seed=1)
    car.attach(InLoopBus(clock), clock, KLine(clock))
    car.act("key", position="on")
    clock.run_until(30.0)
    car.act("pedal", percent=100.0)
    clock.run_until(32.0)
    opened = car.powertrain.throttle.steady_sensor
    car.act("pedal", percent=0.0)
    clock.run_until(34.0)
    assert opened > 70.0
    assert car.powertrain.throttle.steady_sensor < 16.0
