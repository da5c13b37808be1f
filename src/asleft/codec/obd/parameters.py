"""The parameters of OBD services 01 and 02, as data: what each carries, its formula, its unit.

A signal's slug is the project's own and the same for every source; where two parameters carry one quantity (an older
and a newer form), both name the same slug, the more usual one first::

    PARAMETERS[0x0C].fields[0].read(bytes.fromhex("0BB8")).value  # 750.0 rpm

Source: SAE J1979 / ISO 15031-5. Lengths and formulas of the parameters in the check values, section 2, were recomputed
there; the others are recalled (lengths agree with an independent implementation). Parameter 68 has another length in
older tables: it is asked alone. The scaling by the maxima of 4F and 50 is not applied (recalled as seldom used).
"""

from __future__ import annotations

from asleft.model.reading import Signal

from . import words
from .fields import Coded, Field, Linear, Parameter


def _percent(signal: str, name: str, start: int = 0, support: int | None = None) -> Linear:
    return Linear(signal, name, "%", start, mul=100, div=255, support=support)


def _trim(signal: str, name: str, start: int = 0, unused: int | None = None) -> Linear:
    return Linear(signal, name, "%", start, mul=100, div=128, offset=-100, unused=unused)


def _celsius(signal: str, name: str, start: int = 0, support: int | None = None) -> Linear:
    return Linear(signal, name, "°C", start, offset=-40, support=support)


def _plain(signal: str, name: str, unit: str, size: int = 1, *formula: int, mul: int = 1) -> Linear:
    """``formula`` is mul, div, offset as far as needed."""
    mul, div, offset = (*formula, *(mul, 1, 0)[len(formula) :])
    return Linear(signal, name, unit, 0, size, mul, div, offset)


def _torque(signal: str, name: str, start: int = 0) -> Linear:
    return Linear(signal, name, "%", start, offset=-125)


def _lambda(number: int) -> Linear:
    return Linear(f"lambda-{number}", f"air-fuel ratio λ, sensor {number}", "1", 0, 2, 2, 65536)


def _narrow(pid: int) -> Parameter:
    number = pid - 0x13
    voltage = Linear(f"oxygen-voltage-{number}", f"oxygen sensor {number}", "V", 0, 1, 1, 200)
    return Parameter(pid, 2, (voltage, _trim(f"oxygen-trim-{number}", f"trim by oxygen sensor {number}", 1, 0xFF)))


def _wide_voltage(pid: int) -> Parameter:
    number = pid - 0x23
    voltage = Linear(f"lambda-voltage-{number}", f"wide-range oxygen sensor {number}", "V", 2, 2, 8, 65536)
    return Parameter(pid, 4, (_lambda(number), voltage))


def _wide_current(pid: int) -> Parameter:
    number = pid - 0x33
    current = Linear(f"pump-current-{number}", f"wide-range oxygen sensor {number}", "mA", 2, 2, 1, 256, -128)
    return Parameter(pid, 4, (_lambda(number), current))


def _catalyst(pid: int) -> Parameter:
    bank, sensor = 1 + (pid & 1), 1 + (pid - 0x3C) // 2
    name = f"catalyst temperature, bank {bank}, sensor {sensor}"
    return Parameter(pid, 2, (_plain(f"catalyst-temperature-{bank}-{sensor}", name, "°C", 2, 1, 10, -40),))


def _secondary_trims(pid: int) -> Parameter:
    term = "short" if pid in (0x55, 0x57) else "long"
    banks = (1, 3) if pid in (0x55, 0x56) else (2, 4)
    fields = tuple(
        _trim(f"{term}-term-trim-secondary-{bank}", f"{term} term trim, second sensor, bank {bank}", start)
        for start, bank in enumerate(banks)
    )
    return Parameter(pid, 2, fields)


_EMPTY: tuple[Parameter, ...] = (
    *(Parameter(pid, 4) for pid in (0x00, 0x20, 0x40, 0x60, 0x80, 0xA0, 0xC0, 0xE0, 0x01, 0x41)),
    Parameter(0x02, 2),
)

_SINGLE: dict[int, Field] = {
    0x04: _percent("engine-load", "calculated engine load"),
    0x05: _celsius("coolant-temperature", "coolant temperature"),
    0x06: _trim("short-term-trim-1", "short term fuel trim, bank 1"),
    0x07: _trim("long-term-trim-1", "long term fuel trim, bank 1"),
    0x08: _trim("short-term-trim-2", "short term fuel trim, bank 2"),
    0x09: _trim("long-term-trim-2", "long term fuel trim, bank 2"),
    0x0A: _plain("fuel-pressure", "fuel pressure (gauge)", "kPa", mul=3),
    0x0B: _plain("manifold-pressure", "intake manifold pressure (absolute)", "kPa"),
    0x0C: _plain("engine-speed", "engine speed", "rpm", 2, 1, 4),
    0x0D: _plain("vehicle-speed", "vehicle speed", "km/h"),
    0x0E: _plain("timing-advance", "ignition timing before top dead centre, cylinder 1", "°", 1, 1, 2, -64),
    0x0F: _celsius("intake-air-temperature", "intake air temperature"),
    0x10: _plain("mass-air-flow", "mass air flow", "g/s", 2, 1, 100),
    0x11: _percent("throttle-absolute", "throttle position (absolute)"),
    0x12: Coded("secondary-air-commanded", "secondary air, commanded", words.SECONDARY_AIR),
    0x13: _plain("oxygen-sensors-two-banks", "oxygen sensors fitted, two banks (bits)", "1"),
    0x1C: Coded("obd-standard", "OBD requirements met", words.OBD_STANDARD),
    0x1D: _plain("oxygen-sensors-four-banks", "oxygen sensors fitted, four banks (bits)", "1"),
    0x1E: Coded("power-take-off", "power take-off", words.ON_OFF, mask=1),
    0x1F: _plain("run-time", "time since engine start", "s", 2),
    0x21: _plain("distance-with-lamp", "distance driven with the malfunction lamp on", "km", 2),
    0x22: _plain("rail-pressure-relative", "fuel rail pressure, relative to the manifold", "kPa", 2, 79, 1000),
    0x23: _plain("rail-pressure", "fuel rail pressure (gauge)", "kPa", 2, 10),
    0x2C: _percent("egr-commanded", "exhaust gas recirculation, commanded"),
    0x2D: _trim("egr-error", "exhaust gas recirculation, error"),
    0x2E: _percent("purge-commanded", "evaporative purge, commanded"),
    0x2F: _percent("fuel-level", "fuel level"),
    0x30: _plain("warm-ups-since-clear", "warm-ups since codes were cleared", "count"),
    0x31: _plain("distance-since-clear", "distance since codes were cleared", "km", 2),
    0x32: Linear("evaporative-pressure", "evaporative system pressure", "Pa", 0, 2, 1, 4, signed=True),
    0x33: _plain("barometric-pressure", "barometric pressure", "kPa"),
    0x42: _plain("control-module-voltage", "supply at the control module", "V", 2, 1, 1000),
    0x43: _plain("absolute-load", "absolute load", "%", 2, 100, 255),
    0x44: _plain("lambda-commanded", "air-fuel ratio λ, commanded", "1", 2, 2, 65536),
    0x45: _percent("relative-throttle", "throttle position (relative)"),
    0x46: _celsius("ambient-temperature", "ambient air temperature"),
    0x47: _percent("throttle-absolute-b", "throttle position B (absolute)"),
    0x48: _percent("throttle-absolute-c", "throttle position C (absolute)"),
    0x49: _percent("accelerator-pedal-d", "accelerator pedal D"),
    0x4A: _percent("accelerator-pedal-e", "accelerator pedal E"),
    0x4B: _percent("accelerator-pedal-f", "accelerator pedal F"),
    0x4C: _percent("throttle-commanded", "throttle, commanded"),
    0x4D: _plain("time-with-lamp", "time run with the malfunction lamp on", "min", 2),
    0x4E: _plain("time-since-clear", "time since codes were cleared", "min", 2),
    0x51: Coded("fuel-type", "fuel", words.FUEL_TYPE),
    0x52: _percent("ethanol-share", "ethanol in the fuel"),
    0x53: _plain("evaporative-pressure-absolute", "evaporative system pressure (absolute)", "kPa", 2, 1, 200),
    0x54: Linear("evaporative-pressure-wide", "evaporative system pressure, wide range", "Pa", 0, 2, signed=True),
    0x59: _plain("rail-pressure-absolute", "fuel rail pressure (absolute)", "kPa", 2, 10),
    0x5A: _percent("accelerator-pedal-relative", "accelerator pedal (relative)"),
    0x5B: _percent("traction-battery-remaining", "traction battery, remaining"),
    0x5C: _celsius("engine-oil-temperature", "engine oil temperature"),
    0x5D: _plain("injection-timing", "fuel injection timing before top dead centre", "°", 2, 1, 128, -210),
    0x5E: _plain("fuel-rate", "engine fuel rate", "L/h", 2, 1, 20),
    0x5F: _plain("emission-requirements", "emission requirements (code)", "1"),
    0x61: _torque("torque-demanded", "engine torque, demanded by the driver"),
    0x62: _torque("torque-actual", "engine torque, actual"),
    0x63: _plain("torque-reference", "engine reference torque", "N·m", 2),
    0xA6: _plain("odometer", "odometer", "km", 4, 1, 10),
}

_SEVERAL: tuple[Parameter, ...] = (
    Parameter(
        0x03,
        2,
        (
            Coded("fuel-system-1", "fuel system 1", words.FUEL_SYSTEM),
            Coded("fuel-system-2", "fuel system 2", words.FUEL_SYSTEM, 1),
        ),
    ),
    *(_narrow(pid) for pid in range(0x14, 0x1C)),
    *(_wide_voltage(pid) for pid in range(0x24, 0x2C)),
    *(_wide_current(pid) for pid in range(0x34, 0x3C)),
    *(_catalyst(pid) for pid in range(0x3C, 0x40)),
    Parameter(
        0x4F,
        4,
        (
            Linear("maximum-lambda", "largest λ", "1", 0),
            Linear("maximum-oxygen-voltage", "largest oxygen sensor voltage", "V", 1),
            Linear("maximum-pump-current", "largest oxygen sensor current", "mA", 2),
            Linear("maximum-manifold-pressure", "largest intake manifold pressure", "kPa", 3, mul=10),
        ),
    ),
    Parameter(0x50, 4, (Linear("maximum-air-flow", "largest mass air flow", "g/s", 0, mul=10),)),
    *(_secondary_trims(pid) for pid in range(0x55, 0x59)),
    Parameter(
        0x64,
        5,
        tuple(
            _torque(f"torque-point-{n}", f"engine torque at {'idle' if n == 1 else f'point {n}'}", n - 1)
            for n in range(1, 6)
        ),
    ),
    Parameter(
        0x65,
        2,
        (
            Coded("power-take-off-active", "power take-off", words.ON_OFF, 1, 0, 1, 0),
            Coded("automatic-in-gear", "automatic transmission", words.NEUTRAL_OR_DRIVE, 1, 1, 1, 1),
            Coded("manual-in-gear", "manual transmission", words.NEUTRAL_OR_GEAR, 1, 2, 1, 2),
            Coded("glow-lamp", "glow plug lamp", words.ON_OFF, 1, 3, 1, 3),
        ),
    ),
    Parameter(
        0x66,
        5,
        (
            Linear("mass-air-flow", "mass air flow", "g/s", 1, 2, 1, 32, support=0),
            Linear("mass-air-flow-b", "mass air flow B", "g/s", 3, 2, 1, 32, support=1),
        ),
    ),
    Parameter(
        0x67,
        3,
        (
            _celsius("coolant-temperature", "coolant temperature", 1, 0),
            _celsius("coolant-temperature-2", "coolant temperature 2", 2, 1),
        ),
    ),
    Parameter(
        0x68,
        7,
        tuple(
            _celsius(slug, f"intake air temperature, {place}", start, start - 1)
            for start, (slug, place) in enumerate(
                (
                    ("intake-air-temperature", "bank 1, sensor 1"),
                    ("intake-air-temperature-1-2", "bank 1, sensor 2"),
                    ("intake-air-temperature-1-3", "bank 1, sensor 3"),
                    ("intake-air-temperature-2-1", "bank 2, sensor 1"),
                    ("intake-air-temperature-2-2", "bank 2, sensor 2"),
                    ("intake-air-temperature-2-3", "bank 2, sensor 3"),
                ),
                1,
            )
        ),
        alone=True,
    ),
    Parameter(0xA4, 4, (Linear("gear-ratio", "actual gear ratio", "1", 2, 2, 1, 1000, support=1),)),
)

#: Every parameter known, by identifier.
PARAMETERS: dict[int, Parameter] = {
    parameter.pid: parameter
    for parameter in (
        *_EMPTY,
        *(Parameter(pid, getattr(field, "size", 1), (field,)) for pid, field in _SINGLE.items()),
        *_SEVERAL,
    )
}


def _by_signal() -> dict[str, tuple[int, ...]]:
    found: dict[str, tuple[int, ...]] = {}
    for pid in sorted(PARAMETERS):
        for field in PARAMETERS[pid].fields:
            found[field.signal] = (*found.get(field.signal, ()), pid)
    return found


#: Signal slug to the parameters that carry it, the more usual one first.
PIDS_OF_SIGNAL: dict[str, tuple[int, ...]] = _by_signal()

#: Signal slug to the signal as the model describes it (from the more usual parameter).
SIGNALS: dict[str, Signal] = {
    field.signal: field.as_signal() for pid in sorted(PARAMETERS, reverse=True) for field in PARAMETERS[pid].fields
}


def oxygen_place(number: int, *, four_banks: bool) -> tuple[int, int]:
    """Bank and sensor of oxygen sensor ``number`` (1 to 8): it depends on whether 13 or 1D is supported.

    Source: SAE J1979, parameters 13 and 1D; recalled.
    """
    if not 1 <= number <= 8:
        raise ValueError(f"oxygen sensor {number}")
    per_bank = 2 if four_banks else 4
    return 1 + (number - 1) // per_bank, 1 + (number - 1) % per_bank
