"""Trouble codes of the petrol car's engine module, with the rule by which each comes and goes."""

from __future__ import annotations

from collections.abc import Callable

from ..trouble_memory import TroubleCode
from .petrol_side import EngineSide


def engine_codes(side: EngineSide) -> list[TroubleCode]:
    """Trouble codes with the rule by which each comes and goes."""
    train, values, diary = side.powertrain, side.values, side.diary
    throttle = train.throttle

    def circuit() -> bool | None:
        return not throttle.fitted if train.key_on else None

    def correlation() -> bool | None:
        if not throttle.fitted:
            return None
        ideal = 100.0 - throttle.reading_a(throttle.angle_deg)
        return abs(throttle.sensor_b - ideal) > 5.0

    def trim(limit: float, sign: int) -> Callable[[], bool | None]:
        def test() -> bool | None:
            if not train.running or not train.fuel.closed:
                return None
            return sign * (values.long_trim.value + train.fuel.mean) > limit

        return test

    idle_tested: Callable[[], bool] = lambda: train.running and train.run_s > 20.0  # noqa: E731
    return [
        TroubleCode(
            0x217600,
            "throttle: lower stop not learned or not as learned",
            lambda: train.plate.stop_wrong if throttle.fitted else None,
            fail_s=0.3,
            lamp=True,
            emission=True,
        ),
        TroubleCode(0x012200, "throttle sensor A: circuit low", circuit, lamp=True, emission=True),
        TroubleCode(0x022200, "throttle sensor B: circuit low", circuit, lamp=True, emission=True),
        TroubleCode(0x213500, "throttle sensors A and B disagree", correlation, lamp=True, emission=True),
        TroubleCode(
            0x050700,
            "idle speed higher than expected",
            lambda: diary.high_s > 8.0 if idle_tested() else None,
            trips=2,
            lamp=True,
            emission=True,
        ),
        TroubleCode(
            0x050600,
            "idle speed lower than expected",
            lambda: diary.low_s > 8.0 if idle_tested() else None,
            trips=2,
            lamp=True,
            emission=True,
        ),
        TroubleCode(0x017100, "mixture too lean", trim(0.20, 1), fail_s=20.0, trips=2, lamp=True, emission=True),
        TroubleCode(0x017200, "mixture too rich", trim(0.20, -1), fail_s=20.0, trips=2, lamp=True, emission=True),
        TroubleCode(
            0x056200,
            "supply voltage low",
            lambda: train.module_v < 10.8 if train.key_on and not train.starter else None,
            fail_s=3.0,
            emission=True,
        ),
    ]
