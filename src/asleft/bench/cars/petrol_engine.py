"""The engine module of the petrol car, put together from its parts.

Its identifiers 4C21 to 4C32 and routines 5A31 to 5A34 are inventions of the bench.
"""

from __future__ import annotations

from struct import pack

from ..memory import Memory
from ..module import Address, Broadcast, ControlModule, Timing
from ..security import SecurityLevel
from .identity import Identity, identification
from .petrol_codes import engine_codes
from .petrol_obd import engine_obd, engine_values
from .petrol_routines import engine_routines
from .petrol_side import EngineSide
from .petrol_values import engine_identifiers


def engine_module(side: EngineSide, memory: Memory, identity: Identity, vin: str, ecu_name: str) -> ControlModule:
    """The module, to be put on a bus by its car."""
    side.learn_more(memory)
    codes = [*engine_codes(side), *side.pedal.codes(), *side.teeth.codes()]
    return ControlModule(
        "engine",
        Address.normal(0x7E0, 0x7E8),
        memory=memory,
        identifiers=[
            *identification(identity, vin),
            *engine_identifiers(side, memory),
            side.pedal.identifier(),
            side.teeth.identifier(),
        ],
        routines=engine_routines(side),
        codes=codes,
        security=[SecurityLevel()],
        obd=engine_obd(side, engine_values(side), identity, vin, ecu_name, side.teeth.tests()),
        busy=lambda: side.busy,
        broadcasts=[Broadcast(0x120, 0.1, lambda: _broadcast(side))],
        timing=Timing(latency_s=0.004, jitter_s=0.004, boot_s=0.25, after_run_s=1.5, block_size=0),
    )


def _broadcast(side: EngineSide) -> bytes:
    train = side.electronic
    coolant = min(255, max(0, round(train.temperatures.sensed_c + 40.0)))
    return pack(">HBBBxxx", round(train.crank.rpm * 4.0) & 0xFFFF, round(train.pedal * 200.0), coolant, side.lamp())
