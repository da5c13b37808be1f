"""Bench cars looked at as a technician would: what is measured, what is found. Used by tests and measure_proof.py.

Nothing in ``asleft.proof`` was set by what these cars do: they are the held-out check of its table of causes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.clock import StepClock
from asleft.bench.physics.steady import learned_idle_air
from asleft.model.message import say
from asleft.model.reading import Series
from asleft.model.verdict import Reason
from asleft.proof import steady
from asleft.proof.cause_codes import from_codes, refused
from asleft.proof.causes import found
from asleft.proof.dual import sum_error
from asleft.proof.estimate import Estimate, NoEstimate
from asleft.proof.hunting import Hunting, hunting
from asleft.proof.paired import difference
from asleft.proof.rest import rest_range
from asleft.proof.samples import look_over
from asleft.proof.supply import TimeToLimit, ripple, time_to_limit
from asleft.proof.tracking import Tracking, tracking

Q8 = 100 / 255
#: Signal -> parameter, bytes, step, offset, unit. Source: SAE J1979 (recalled), as in the codec's own table.
PIDS = {
    "load": (0x04, Q8, 0.0, "%"),
    "coolant": (0x05, 1.0, -40.0, "°C"),
    "short": (0x06, 100 / 128, -100.0, "%"),
    "long": (0x07, 100 / 128, -100.0, "%"),
    "manifold": (0x0B, 1.0, 0.0, "kPa"),
    "speed": (0x0C, 0.25, 0.0, "rpm"),
    "intake": (0x0F, 1.0, -40.0, "°C"),
    "flow": (0x10, 0.01, 0.0, "g/s"),
    "plate": (0x11, Q8, 0.0, "%"),
    "purge": (0x2E, Q8, 0.0, "%"),
    "barometer": (0x33, 1.0, 0.0, "kPa"),
    "volts": (0x42, 0.001, 0.0, "V"),
    "ambient": (0x46, 1.0, -40.0, "°C"),
    "plate-b": (0x47, Q8, 0.0, "%"),
    "pedal": (0x49, Q8, 0.0, "%"),
    "command": (0x4C, Q8, 0.0, "%"),
}

Seen = dict[str, Series]
Quantities = dict[str, Estimate | NoEstimate]


class Watched:
    """A bench car under observation.

    Args: seed: which car. fault, size: what is wrong with it. ambient_c: air outside, °C.
    """

    def __init__(self, seed: int, fault: str = "", size: float | None = None, ambient_c: float = 21.0) -> None:
        self.clock = StepClock()
        self.car = PetrolCar(seed, ambient_c=ambient_c)
        self.car.attach(InLoopBus(self.clock), self.clock)
        self._clean()
        self.clock.run_until(1.0)
        if fault:
            self.car.act("fault", name=fault, **({} if size is None else {"size": size}))

    def _clean(self) -> None:
        """A clean throttle that its module knows: the work is done, and what is wrong is the fault alone."""
        train, throttle = self.car.powertrain, self.car.powertrain.throttle
        throttle.clean(1.0)
        self.car.values.stop.learn(throttle.reading_a(throttle.stop_deg))
        self.car.values.rest.learn(throttle.reading_a(throttle.spring_deg))
        self.car.values.idle_air.learn(learned_idle_air(train))

    def answer(self, request: bytes) -> bytes:
        """What the engine module says."""
        return self.car.engine.handle(request) or b""

    def record(
        self, seconds: float, step_s: float, signals: tuple[str, ...], act: Callable[[float], None] | None = None
    ) -> Seen:
        """The signals, read in turn."""
        begin = self.clock.now()
        columns: dict[str, list[tuple[float, float]]] = {s: [] for s in signals}
        while self.clock.now() < begin + seconds:
            if act is not None:
                act(self.clock.now() - begin)
            for signal in signals:
                self.clock.run_until(self.clock.now() + step_s / len(signals))
                pid, scale, offset, _ = PIDS[signal]
                answer = self.answer(bytes([0x01, pid]))
                if answer[:1] == b"\x41":
                    columns[signal].append((self.clock.now(), int.from_bytes(answer[2:], "big") * scale + offset))
        return {s: _series(s, points) for s, points in columns.items()}


def _series(signal: str, points: list[tuple[float, float]]) -> Series:
    _, scale, _, unit = PIDS[signal]
    return Series(signal, unit, tuple(t for t, _ in points), tuple(v for _, v in points), scale)


def look(
    seed: int, fault: str = "", size: float | None = None, ambient_c: float = 21.0
) -> tuple[Quantities, dict[str, bool]]:
    """Everything a technician would look at, from a cold car to a warm idle: quantities and direct findings."""
    watched = Watched(seed, fault, size, ambient_c)
    car = watched.car
    car.act("key", position="on")
    watched.clock.run_until(watched.clock.now() + 3.0)
    q: Quantities = {}
    direct: dict[str, bool] = {}
    _key_on(watched, q, direct)
    _sweep(watched, q)
    _rests(watched, q)
    codes = _codes(watched)
    if not car.powertrain.running:
        car.act("key", position="start")
    cold = watched.record(60.0, 1.0, ("coolant", "purge", "speed"))
    if look_over(cold["speed"]) and isinstance(stuck := look_over(cold["speed"], least=5, noisy=True), NoEstimate):
        direct["speed-still"] = stuck.reasons == (Reason.FROZEN,)
    else:
        direct["speed-still"] = False
    purge = watched.record(60.0, 2.0, ("purge",))["purge"]
    if len(purge):
        now = purge.times_s[-1]
        q["purge"] = Estimate(purge.values[-1], Q8 / 12**0.5, "%", 1, 1.0, (now, now))
    warm = watched.record(840.0, 4.0, ("coolant",))
    _warm_up(warm["coolant"], q)
    _idle(watched, q)
    codes += _codes(watched)
    direct |= from_codes(codes)
    return q, direct


def _key_on(watched: Watched, q: Quantities, direct: dict[str, bool]) -> None:
    answer = watched.answer(bytes.fromhex("22F190"))
    direct["silent"] = not answer
    direct["busy"] = answer[:1] == b"\x7f" and answer[2] == 0x21
    watched.clock.run_until(watched.clock.now() + 120.0)  # the surface charge goes first
    seen = watched.record(60.0, 0.7, ("coolant", "intake", "ambient", "manifold", "barometer", "volts", "pedal"))
    direct["runs-by-itself"] = watched.car.powertrain.running
    q["cold-difference"] = _apart(seen["coolant"], seen["intake"])
    q["intake-difference"] = _apart(seen["intake"], seen["ambient"])
    q["pressure-difference"] = _apart(seen["manifold"], seen["barometer"])
    q["supply-off"] = steady.mean(seen["volts"])
    q["pedal"] = steady.mean(seen["pedal"])
    course = time_to_limit(seen["volts"], 11.0)
    if isinstance(course, TimeToLimit):
        rate = course.rate
        q["supply-rate-off"] = Estimate(rate.value, rate.u, "V/min", rate.n, rate.n_eff, rate.window_s)
    q["supply-ripple"] = ripple(watched.record(12.0, 0.1, ("volts",))["volts"])
    if answer[:1] == b"\x7f":
        direct |= refused(answer[2])


def _apart(a: Series, b: Series) -> Estimate | NoEstimate:
    x, y = steady.mean(a), steady.mean(b)
    if isinstance(x, NoEstimate) or isinstance(y, NoEstimate):
        return x if isinstance(x, NoEstimate) else y
    d = difference(x, y)
    return d if isinstance(d, NoEstimate) else Estimate(abs(d.value), d.u, d.unit, d.n, d.n_eff, d.window_s, d.parts)


def _sweep(watched: Watched, q: Quantities) -> None:
    if watched.car.powertrain.running:
        return

    def act(t: float) -> None:
        watched.car.act("pedal", percent=float(np.interp(t, [0, 2, 10, 12, 20, 24], [0, 0, 70, 70, 0, 0])))

    seen = watched.record(24.0, 0.24, ("command", "plate", "plate-b"), act)
    fit = tracking(seen["plate"], seen["command"])
    if isinstance(fit, Tracking):
        s = fit.slope
        q["slope-error"] = Estimate(abs(s.value - 1.0), s.u, "1", s.n, s.n_eff, s.window_s)
        q["residual"] = fit.residual
    q["pair-error"] = sum_error(seen["plate"], seen["plate-b"], 100.0)


def _rests(watched: Watched, q: Quantities) -> None:
    rests = []
    for _ in range(5):
        if watched.car.powertrain.running:
            return
        watched.car.act("key", position="off")
        watched.clock.run_until(watched.clock.now() + 20.0)
        watched.car.act("key", position="on")
        watched.clock.run_until(watched.clock.now() + 4.0)
        rests.append(watched.record(3.0, 0.3, ("plate",))["plate"])
    q["rest-range"] = rest_range(rests, cycles=5)


def _codes(watched: Watched) -> list[str]:
    answer = watched.answer(b"\x03")
    pairs = [answer[i : i + 2] for i in range(2, len(answer) - 1, 2)]
    letters = "PCBU"
    return [f"{letters[p[0] >> 6]}{(p[0] >> 4) & 3:X}{p[0] & 15:X}{p[1]:02X}" for p in pairs if p != b"\x00\x00"]


def _warm_up(coolant: Series, q: Quantities) -> None:
    values, times = np.asarray(coolant.values), np.asarray(coolant.times_s)
    if len(values) < 10:
        return
    part = (values >= values[0] - 1) & (values <= 72.0)
    until = int(np.argmax(values > 72.0)) if (values > 72.0).any() else len(values)
    span = (times[until - 1] - times[0]) / 60.0
    rise = float(values[until - 1] - values[0])
    n = int(part.sum())
    window = (float(times[0]), float(times[until - 1]))
    q["coolant-rise"] = Estimate(float(values.max() - values.min()), 0.4, "K", n, float(n), window)
    if span > 1.0:
        q["warm-rate"] = Estimate(rise / span, 0.4 / span, "K/min", n, float(n), window)
    at_seven = float(values[np.searchsorted(times, times[0] + 420.0)])
    q["coolant"] = Estimate(at_seven, 0.3, "°C", 1, 1.0, window)
    q["coolant-late"] = Estimate(float(values[-1]), 0.3, "°C", 1, 1.0, window)


def _idle(watched: Watched, q: Quantities) -> None:
    speed = watched.record(45.0, 0.2, ("speed",))["speed"]
    q["idle-speed"], q["idle-spread"] = steady.mean(speed), steady.spread(speed)
    rhythm = hunting(speed)
    q["idle-rhythm"] = rhythm.amplitude if isinstance(rhythm, Hunting) else rhythm
    slow = watched.record(
        120.0, 1.0, ("load", "volts", "short", "long", "flow", "manifold", "intake", "speed", "plate")
    )
    q["load"], q["opening"] = steady.mean(slow["load"]), steady.mean(slow["plate"])
    q["supply-running"] = steady.mean(slow["volts"])
    q["supply-step"] = _step(slow["volts"])
    trims = [steady.mean(slow[k]) for k in ("short", "long")]
    if all(isinstance(t, Estimate) for t in trims):
        a, b = (t for t in trims if isinstance(t, Estimate))
        u = float(np.hypot(a.u, b.u))
        q["trim-sum"] = Estimate(a.value + b.value, u, "%", a.n, a.n_eff, a.window_s)
    q["flow-ratio"] = _flow_ratio(slow)


def _step(volts: Series) -> Estimate | NoEstimate:
    values, times = np.asarray(volts.values), np.asarray(volts.times_s)
    if len(values) < 20:
        return NoEstimate((Reason.TOO_FEW,), say("bench.few", "too few readings"))
    block = ((times - times[0]) // 5.0).astype(int)
    means = np.array([values[block == k].mean() for k in range(int(block.max()) + 1)])
    inside = np.concatenate([values[block == k] - means[k] for k in range(len(means))])
    u = float(inside.std()) / float(np.sqrt(len(values) / len(means))) * 2.0**0.5
    return Estimate(float(np.max(np.abs(np.diff(means)))), u, "V", len(values), float(len(means)), (0.0, 0.0))


def _flow_ratio(slow: Seen) -> Estimate | NoEstimate:
    """Metered flow over pressure · speed / temperature: proportional to filling, held against the same car before."""
    found_means = [steady.mean(slow[k]) for k in ("flow", "manifold", "speed", "intake")]
    for m in found_means:
        if isinstance(m, NoEstimate):
            return m
    f, p, n, t = (m for m in found_means if isinstance(m, Estimate))
    value = f.value / max(p.value * n.value / (t.value + 273.15), 1e-9)
    relative = float(
        np.sqrt((f.u / max(f.value, 1e-9)) ** 2 + (p.u / max(p.value, 1e-9)) ** 2 + (n.u / max(n.value, 1e-9)) ** 2)
    )
    return Estimate(value, value * relative, "1", f.n, f.n_eff, f.window_s)


def against(before: Mapping[str, Estimate | NoEstimate], now: Quantities) -> Quantities:
    """Quantities that only mean something beside the picture as received."""
    out: Quantities = dict(now)
    pairs = {
        "warm-change": "coolant-late",
        "load-change": "load",
        "opening-change": "opening",
        "pedal-change": "pedal",
        "idle-speed-error": "idle-speed",
    }
    for name, quantity in pairs.items():
        a, b = before.get(quantity), now.get(quantity)
        if isinstance(a, Estimate) and isinstance(b, Estimate):
            out[name] = difference(a, b)
    a, b = before.get("flow-ratio"), now.get("flow-ratio")
    if isinstance(a, Estimate) and isinstance(b, Estimate) and a.value:
        u = float(np.hypot(a.u / a.value, b.u / max(b.value, 1e-9))) * b.value / a.value
        out["flow-ratio"] = Estimate(b.value / a.value, u, "1", b.n, b.n_eff, b.window_s)
    else:
        out.pop("flow-ratio", None)
    return out


#: Bench fault -> causes of our table that are right, and sizes tried.
TRUTH: dict[str, tuple[tuple[str, ...], tuple[float, ...]]] = {
    "intake leak": (("air-leak",), (2.5, 4.0)),
    "purge valve stuck open": (("purge-open",), (0.6, 1.0)),
    "thermostat stuck open": (("thermostat",), (0.8, 1.0)),
    "misfire": (("misfire",), (0.08, 0.2)),
    "engine module busy": (("busy",), (1.0,)),
    "charger ripple": (("ripple",), (0.8, 1.5)),
    "battery nearly flat": (("battery-flat",), (0.08, 0.15)),
    "bad contact": (("bad-contact",), (0.08, 0.15)),
    "alternator dead": (("no-charging",), (1.0,)),
    "load left on": (("load-on",), (20.0, 40.0)),
    "air conditioning on": (("cooler-on",), (1.0,)),
    "fan cycles": (("fan-cycles",), (10.0, 15.0)),
    "engine starts itself": (("self-start",), (8.0, 20.0)),
    "pedal held by the mat": (("pedal-held",), (4.0, 8.0)),
    "coolant frozen": (("coolant-frozen",), (1.0,)),
    "engine speed frozen": (("speed-frozen",), (1.0,)),
    "plate sensor noisy": (("position-sensor", "plate-sticks"), (1.5, 3.0)),
    "plate sensors disagree": (("pair", "position-sensor"), (6.0, 12.0)),
    "manifold pressure offset": (("pressure-sensor",), (6.0, -8.0)),
    "intake temperature offset": (("intake-sensor",), (14.0, -20.0)),
    "coolant sensor offset": (("coolant-sensor",), (-15.0, 20.0)),
    "air meter reads": (("meter-low", "meter-high"), (0.85, 1.15)),
}


#: Every second fault by name is held out: nobody looked at what the bench shows of it while the tables of causes were
#: written or changed; the others, on cars below 10, are what the tables may be looked at with.
HELD_OUT: tuple[str, ...] = tuple(sorted(TRUTH)[1::2])


def evidence_of(seed: int, fault: str, size: float | None, before: Quantities) -> dict[str, bool]:
    """What a technician finds at a car with this fault, the picture as received of the same car beside it."""
    quantities, direct = look(seed, fault, size, ambient_c=23.0)
    return found(against(before, quantities)) | direct
