"""Broadcasts by a network description, over a real software bus; the frames are encoded by cantools itself."""

from __future__ import annotations

from pathlib import Path

import pytest

from asleft.bench.bus import InLoopBus
from asleft.job.clock import LoopClock, run_virtual
from asleft.link.bus_link import BusLink
from asleft.live.broadcasts import BroadcastSignal, BroadcastSignals
from asleft.model.errors import Code, InputError
from asleft.model.frame import CanFrame
from asleft.model.origin import Origin
from asleft.model.reading import Quality, Reading
from asleft.proof.zero import Stillness, zero_at_rest

cantools = pytest.importorskip("cantools")

DBC = """VERSION ""
NS_ :
BS_:
BU_: Brakes
BO_ 513 Chassis: 8 Brakes
 SG_ YawRate : 0|16@1- (0.01,0) [-160|160] "deg/s" Brakes
 SG_ WheelSpeed : 16|16@1+ (0.01,0) [0|320] "km/h" Brakes
 SG_ Oil : 32|8@1+ (1,-40) [-40|200] "\N{DEGREE SIGN}C" Brakes
BO_ 2566844926 Wide: 8 Brakes
 SG_ Mode M : 0|8@1+ (1,0) [0|3] "" Brakes
 SG_ Level m0 : 8|8@1+ (0.5,0) [0|100] "%" Brakes
 SG_ Other m1 : 8|8@1+ (1,0) [0|255] "" Brakes
"""
YAW = BroadcastSignal("yaw-rate", "YawRate", "°/s", "Chassis", accuracy=0.5, description_unit="°/s")
WHEEL = BroadcastSignal("wheel-speed", "WheelSpeed", "m/s", "Chassis")
OIL = BroadcastSignal("engine-oil-temperature", "Oil", "°C", "Chassis")
LEVEL = BroadcastSignal("fuel-level", "Level", "%", "Wide")


@pytest.fixture
def dbc(tmp_path: Path) -> Path:
    path = tmp_path / "car.dbc"
    path.write_text(DBC, encoding="cp1252")
    return path


def hear(dbc: Path, wanted: list[BroadcastSignal], frames: list[CanFrame]) -> tuple[BroadcastSignals, list[Reading]]:
    heard: list[Reading] = []

    async def main(clock: LoopClock) -> BroadcastSignals:
        bus = InLoopBus(clock)
        link = BusLink(bus, clock)
        await link.open()
        module = bus.join("brakes", lambda _frame: None)
        signals = BroadcastSignals(link, wanted, dbc)
        signals.subscribe(heard.append)
        stop = signals.begin()
        for frame in frames:
            module.send(frame)
            await clock.sleep_until(clock.now() + 0.02)
        stop()
        module.send(frames[0])
        await clock.sleep_until(clock.now() + 0.02)
        await link.close()
        return signals

    return run_virtual(main), heard


def encoded(message: str, values: dict[str, float]) -> CanFrame:
    found = cantools.database.load_string(DBC).get_message_by_name(message)
    return CanFrame(found.frame_id, bytes(found.encode(values)), found.is_extended_frame)


def test_values_units_times_and_bytes(dbc: Path) -> None:
    frame = encoded("Chassis", {"YawRate": -1.25, "WheelSpeed": 36.0, "Oil": 90})
    signals, heard = hear(dbc, [YAW, WHEEL, OIL], [frame, frame])
    assert [(r.signal, round(r.value, 6), r.unit) for r in heard[:3]] == [
        ("yaw-rate", -1.25, "°/s"),
        ("wheel-speed", 10.0, "m/s"),
        ("engine-oil-temperature", 90.0, "°C"),
    ]
    assert len(heard) == 6, "nothing more after the end"
    assert heard[0].raw == frame.data.hex().upper()
    assert heard[3].time_s > heard[0].time_s
    assert (signals.origin, heard[0].origin) == (Origin.BENCH, Origin.BENCH)
    assert {s.id: round(s.resolution, 5) for s in signals.catalogue()}["wheel-speed"] == round(0.01 / 3.6, 5)


def test_a_multiplexed_signal_comes_only_in_its_own_frames(dbc: Path) -> None:
    level, other = encoded("Wide", {"Mode": 0, "Level": 40.0}), encoded("Wide", {"Mode": 1, "Other": 200})
    _, heard = hear(dbc, [LEVEL], [level, other])
    assert [r.value for r in heard] == [40.0]


def test_other_frames_short_ones_and_what_cannot_be(dbc: Path) -> None:
    beyond = CanFrame(513, (32000).to_bytes(2, "little", signed=True) + bytes(6))
    frames = [CanFrame(0x7E8, bytes(8)), CanFrame(513, b"\x01"), CanFrame(513, b"", extended=True), beyond]
    signals, heard = hear(dbc, [YAW], frames)
    assert signals.broken == 1
    assert [(r.value, r.quality) for r in heard] == [(320.0, Quality.OUT_OF_RANGE)]


def test_broadcasts_can_be_judged(dbc: Path) -> None:
    frames = [encoded("Chassis", {"YawRate": 0.1 + 0.01 * (i % 3), "WheelSpeed": 0, "Oil": 20}) for i in range(60)]
    signals, heard = hear(dbc, [YAW], frames)
    (series,) = signals.series_of(heard)
    zero = zero_at_rest(series, Stillness(0.1, 0.02))
    assert zero.value == pytest.approx(0.11, abs=0.005)
    assert zero.parts["accuracy"] == pytest.approx(0.5 / 3**0.5)


@pytest.mark.parametrize(
    ("wanted", "code"),
    [
        (BroadcastSignal("x", "YawRate", "°/s", "Nowhere"), Code.DESCRIPTION_BAD),
        (BroadcastSignal("x", "Nothing", "°/s", "Chassis"), Code.DESCRIPTION_BAD),
        (BroadcastSignal("x", "YawRate", "°/s", "Chassis"), Code.UNIT_UNKNOWN),
        (BroadcastSignal("x", "WheelSpeed", "V", "Chassis"), Code.UNIT_MISMATCH),
    ],
)
def test_names_and_units_that_do_not_fit(dbc: Path, wanted: BroadcastSignal, code: Code) -> None:
    with pytest.raises(InputError) as error:
        hear(dbc, [wanted], [CanFrame(1, b"")])
    assert error.value.code is code


def test_no_description(tmp_path: Path) -> None:
    path = tmp_path / "x.dbc"
    path.write_bytes(b"\x00\x01 nonsense")
    for file in (path, tmp_path / "missing.dbc"):
        with pytest.raises(InputError) as error:
            hear(file, [YAW], [CanFrame(1, b"")])
        assert error.value.code is Code.DESCRIPTION_BAD
