"""A recording as live signals, in virtual time: true ages, nothing invented before, between or after."""

from __future__ import annotations

import pytest

from asleft.job.clock import LoopClock, run_virtual
from asleft.live.recordings import Recording, ReplaySignals
from asleft.model.origin import Origin
from asleft.model.reading import AbsenceKind, Quality, Reading, Series
from asleft.ports.signals import Signals

RECORDING = Recording(
    "run.csv", "test", "0" * 64,
    {
        "engine-speed": Series("engine-speed", "rpm", (10.0, 11.0, 12.0, 14.0), (700.0, 710.0, 720.0, 99999.0), 0.25),
        "coolant-temperature": Series("coolant-temperature", "°C", (12.5,), (88.0,), 1.0, 2.0, 0.5),
        "fuel-level": Series("fuel-level", "%", (), (), 0.4),
    },
    key_on={"engine-speed": (0.0, 0.0)}, key_on_rows=2,
)  # fmt: skip


def test_read_is_the_latest_with_its_age() -> None:
    async def work(clock: LoopClock) -> None:
        await clock.sleep_until(100.0)
        signals: Signals = ReplaySignals(RECORDING, clock)
        assert signals.origin is Origin.REPLAY
        await clock.sleep_until(101.75)
        speed, coolant, missing = await signals.read(["engine-speed", "coolant-temperature", "mass-air-flow"])
        assert (speed.value, speed.age_s, speed.time_s) == (710.0, pytest.approx(0.75), 101.0)
        assert speed.u == pytest.approx(0.25 / 12**0.5)
        assert coolant.absence is not None
        assert coolant.absence.kind is AbsenceKind.NOT_READ
        assert missing.absence is not None
        assert missing.absence.kind is AbsenceKind.UNSUPPORTED
        await clock.sleep_until(102.5)
        (coolant,) = await signals.read(["coolant-temperature"])
        assert coolant.value == 88.0
        assert coolant.u == pytest.approx((1 / 12 + 4 / 3) ** 0.5)
        await clock.sleep_until(104.0)
        (speed,) = await signals.read(["engine-speed"])
        assert speed.quality is Quality.OUT_OF_RANGE
        await clock.sleep_until(104.5)
        (speed,) = await signals.read(["engine-speed"])
        assert speed.absence is not None
        assert "ended" in speed.absence.detail

    run_virtual(work)


def test_record_gives_the_samples_of_the_window_once() -> None:
    async def work(clock: LoopClock) -> None:
        signals = ReplaySignals(RECORDING, clock)
        seen: list[tuple[float, Reading]] = []
        names = ["engine-speed", "coolant-temperature", "mass-air-flow"]
        await clock.sleep_until(0.5)
        first = await signals.record(names, 2.0, lambda reading: seen.append((clock.now(), reading)))
        assert clock.now() == pytest.approx(2.5)
        second = await signals.record(names, 2.0)
        assert first[0].times_s == (1.0, 2.0)
        assert first[0].values == (710.0, 720.0)
        assert first[1].values == (88.0,)
        assert first[1].u_time_s == 0.5
        assert len(first[2]) == 0
        assert second[0].values == (99999.0,)
        assert [(round(now, 3), reading.value) for now, reading in seen] == [(1.0, 710.0), (2.0, 720.0), (2.5, 88.0)]
        assert signals.remaining_s == 0.0

    run_virtual(work)


def test_catalogue_and_key_on() -> None:
    async def work(clock: LoopClock) -> None:
        signals = ReplaySignals(RECORDING, clock, start_s=12.0)
        assert [signal.id for signal in signals.catalogue()] == ["engine-speed", "coolant-temperature"]
        (key_on,) = signals.key_on_readings()
        assert (key_on.signal, key_on.value, key_on.origin) == ("engine-speed", 0.0, Origin.REPLAY)
        (speed,) = await signals.read(["engine-speed"])
        assert speed.value == 720.0

    run_virtual(work)


def test_a_recording_cannot_claim_another_origin() -> None:
    with pytest.raises(ValueError, match="replay"):
        Recording("x", "x", "x", {}, origin=Origin.VEHICLE)
