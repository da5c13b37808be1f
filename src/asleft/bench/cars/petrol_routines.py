"""Routines of the petrol car's engine module: lower-stop learn and idle relearn, with what they ask of the car."""

from __future__ import annotations

from struct import pack

from ..physics.plate_control import learn_movement, length_s
from ..routines import Routine, RoutineState
from ..service import Condition, refuse_if
from .petrol_side import EngineSide, raw_counts

#: Routine identifiers of the bench's own making.
LEARN_STOP = 0x5A31
LEARN_IDLE = 0x5A32


def engine_conditions(side: EngineSide) -> tuple[Condition, ...]:
    """What the lower-stop learn asks of the car, in the order it looks; the code says which failed."""
    train = side.electronic
    heat = train.temperatures
    return (
        refuse_if(lambda: train.crank.rpm > 50.0, 0x83),
        refuse_if(lambda: side.speed_km_h() > 0.5, 0x88),
        refuse_if(lambda: train.pedal > 0.02, 0x8A),
        refuse_if(lambda: train.module_v < 11.8, 0x93),
        refuse_if(lambda: train.module_v > 15.2, 0x92),
        refuse_if(lambda: heat.sensed_c > 100.0 or heat.intake_c > 60.0, 0x86),
        refuse_if(lambda: heat.sensed_c < 5.0 or heat.intake_c < 5.0, 0x87),
        refuse_if(lambda: not train.throttle.fitted or not train.plate.checked, 0x22),
    )


def engine_routines(side: EngineSide) -> list[Routine]:
    """Lower-stop learn and idle relearn."""
    train, values = side.electronic, side.values
    conditions = engine_conditions(side)

    def store_stop() -> RoutineState:
        low_ok = values.stop.low <= train.plate.measured_stop_pct <= values.stop.high
        if not low_ok or not values.rest.learn(train.plate.measured_rest_pct):
            return RoutineState.REFUSED
        return RoutineState.STORED if values.stop.learn(train.plate.measured_stop_pct) else RoutineState.REFUSED

    def store_air() -> RoutineState:
        stored = values.idle_air.learn(values.idle_air.value + train.idle.integral_g_s)
        if stored:
            train.idle.rest()
        return RoutineState.STORED if stored else RoutineState.REFUSED

    return [
        Routine(
            LEARN_STOP,
            "electronic throttle lower-stop learn",
            start_conditions=conditions,
            keep_conditions=conditions[:5],
            on_start=lambda _option: _start_learn(side),
            takes_s=lambda: length_s(learn_movement(side.pace)) + 0.1,
            on_end=store_stop,
            on_stop=train.plate.break_off,
            result=lambda: pack(
                ">HH", raw_counts(train.plate.measured_stop_pct), raw_counts(train.plate.measured_rest_pct)
            ),
        ),
        Routine(
            LEARN_IDLE,
            "idle relearn",
            start_conditions=(
                refuse_if(lambda: not train.running, 0x84),
                refuse_if(lambda: train.run_s < 60.0, 0x85),
                refuse_if(lambda: train.temperatures.sensed_c < 75.0, 0x87),
                refuse_if(lambda: train.pedal > 0.02, 0x8A),
                refuse_if(lambda: bool(train.plate.stop_wrong), 0x22),
            ),
            keep_conditions=(refuse_if(lambda: not train.running, 0x84), refuse_if(lambda: train.pedal > 0.02, 0x8A)),
            takes_s=12.0,
            on_end=store_air,
            result=lambda: pack(">h", round(values.idle_air.value * 1e3)),
        ),
        side.pedal.routine(
            (
                refuse_if(lambda: train.crank.rpm > 50.0, 0x83),
                refuse_if(lambda: side.speed_km_h() > 0.5, 0x88),
                refuse_if(lambda: train.module_v < 11.8, 0x93),
            )
        ),
        side.teeth.routine(
            (
                refuse_if(lambda: side.speed_km_h() > 0.5, 0x88),
                refuse_if(lambda: side.selector() not in {"P", "N"}, 0x90),
            )
        ),
    ]


def _start_learn(side: EngineSide) -> None:
    side.electronic.plate.learn(side.pace)
