"""Trouble codes of our petrol engine modules, with the rule by which each comes and goes."""

from __future__ import annotations

from collections.abc import Callable

from ..trouble_memory import TroubleCode
from .petrol_side import EngineSide, TrainSide


def engine_codes(side: EngineSide) -> list[TroubleCode]:
    """Codes of the engine module with an electronic throttle."""
    train = side.electronic
    throttle = train.throttle

    def circuit() -> bool | None:
        return not throttle.fitted if train.key_on else None

    def correlation() -> bool | None:
        if not throttle.fitted:
            return None
        ideal = 100.0 - throttle.reading_a(throttle.angle_deg)
        return abs(throttle.sensor_b - ideal) > 5.0

    def wrong() -> bool | None:
        return train.plate.stop_wrong if throttle.fitted else None

    return [
        _emission(0x217600, "throttle: lower stop not learned or not as learned", wrong, fail_s=0.3),
        _emission(0x012200, "throttle sensor A: circuit low", circuit),
        _emission(0x022200, "throttle sensor B: circuit low", circuit),
        _emission(0x213500, "throttle sensors A and B disagree", correlation),
        *shared_codes(side),
    ]


def shared_codes(side: TrainSide) -> list[TroubleCode]:
    """Codes of any of our petrol engines: idle off target, mixture, supply."""
    train, diary = side.powertrain, side.diary

    def idle(seconds: Callable[[], float]) -> Callable[[], bool | None]:
        return lambda: seconds() > 8.0 if train.running and train.run_s > 20.0 else None

    def trim(sign: int) -> Callable[[], bool | None]:
        def test() -> bool | None:
            if not train.running or not train.fuel.closed:
                return None
            return sign * (side.long_trim.value + train.fuel.mean) > 0.20

        return test

    def supply() -> bool | None:
        return train.module_v < 10.8 if train.key_on and not train.starter else None

    return [
        _emission(0x050700, "idle speed higher than expected", idle(lambda: diary.high_s), trips=2),
        _emission(0x050600, "idle speed lower than expected", idle(lambda: diary.low_s), trips=2),
        _emission(0x017100, "mixture too lean", trim(1), fail_s=20.0, trips=2),
        _emission(0x017200, "mixture too rich", trim(-1), fail_s=20.0, trips=2),
        TroubleCode(0x056200, "supply voltage low", supply, fail_s=3.0, emission=True),
    ]


def _emission(
    code: int, text: str, failing: Callable[[], bool | None], *, fail_s: float = 0.5, trips: int = 1
) -> TroubleCode:
    """An emission-related code that lights the lamp."""
    return TroubleCode(code, text, failing, fail_s=fail_s, trips=trips, lamp=True, emission=True)
