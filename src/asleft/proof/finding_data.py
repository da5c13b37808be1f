"""What can be found at a car whose learn failed, as data: in words, how usual it is anyway, and how to look.

Source of both tables: common practice, no source; estimates of ours from how the parts work.
"""

from __future__ import annotations

import msgspec


class Finding(msgspec.Struct, frozen=True):
    """Something that can be found or not.

    Attributes:
        id: slug. words: what is seen when it is there.
        usual: how often it shows in cars without any of the causes.
        look: how to find out.
    """

    id: str
    words: str
    usual: float
    look: str


class Threshold(msgspec.Struct, frozen=True):
    """When a measured quantity is a finding: above ``above`` or below ``below``, in ``unit``."""

    finding: str
    quantity: str
    unit: str
    above: float | None = None
    below: float | None = None


FINDINGS: dict[str, Finding] = {
    f.id: f
    for f in (
        Finding("idle-high", "idle is above its target", 0.04, "record 45 s of warm idle"),
        Finding("idle-low", "idle is below its target", 0.04, "record 45 s of warm idle"),
        Finding("idle-rough", "idle speed scatters", 0.04, "record 45 s of warm idle"),
        Finding("idle-hunts", "idle speed swings in a rhythm", 0.03, "record 45 s of idle five times a second"),
        Finding("lean", "fuel trims add fuel at idle", 0.05, "record both trims for 60 s of warm idle"),
        Finding("rich", "fuel trims take fuel away at idle", 0.05, "record both trims for 60 s of warm idle"),
        Finding(
            "meter-low", "the air meter shows less than pressure and speed give", 0.04, "record air flow and pressure"
        ),
        Finding(
            "meter-high", "the air meter shows more than pressure and speed give", 0.04, "record air flow and pressure"
        ),
        Finding("opening-small", "the plate stands more closed at idle than before", 0.05, "compare with as received"),
        Finding("opening-large", "the plate stands more open at idle than before", 0.05, "compare with as received"),
        Finding("load-high", "engine load at idle is above this car's own", 0.05, "compare with as received"),
        Finding("load-steps", "engine load and supply step up and down", 0.05, "record load and supply for 2 min"),
        Finding(
            "rest-wanders", "the plate rests elsewhere after each key cycle", 0.04, "five key cycles, plate at rest"
        ),
        Finding("tracks-badly", "the plate does not follow its command", 0.04, "one slow sweep of the pedal"),
        Finding("plate-noisy", "the plate's reading scatters", 0.03, "one slow sweep of the pedal"),
        Finding("pair-disagrees", "the plate's two sensors disagree", 0.03, "one slow sweep with both sensors"),
        Finding("pedal-up", "the pedal is not at its rest", 0.03, "look at the pedal; read it with the foot off"),
        Finding("cooler-asked", "the air conditioning is asked for", 0.03, "look at its button and its compressor"),
        Finding("current-off", "more than 5 A leave the battery though all is off", 0.02, "clamp meter round its lead"),
        Finding("supply-low-off", "the supply is low with the engine off", 0.06, "read it after a minute of key on"),
        Finding("supply-falls-off", "the supply falls with the key on", 0.05, "read it for three minutes of key on"),
        Finding(
            "supply-low-running",
            "the supply is low with the engine running",
            0.04,
            "read it at idle, then at the battery",
        ),
        Finding("supply-ripples", "the supply ripples", 0.03, "read it ten times a second"),
        Finding(
            "cold-differs", "coolant and intake differ though the car stood cold", 0.04, "read both before a cold start"
        ),
        Finding(
            "intake-differs",
            "intake and outside air differ though the car stood cold",
            0.04,
            "read both before a cold start",
        ),
        Finding(
            "coolant-still",
            "the coolant reading does not move while the engine warms",
            0.02,
            "read it for three minutes",
        ),
        Finding(
            "warms-slowly", "the engine warms more slowly than it should", 0.04, "read the coolant for ten minutes"
        ),
        Finding(
            "stays-cold",
            "after a quarter of an hour the engine is 11 K colder than it was",
            0.03,
            "read the coolant for 15 min",
        ),
        Finding("cold-engine", "the engine is cold", 0.1, "read the coolant"),
        Finding(
            "pressure-off",
            "manifold pressure with the engine off is not that of the air",
            0.03,
            "read both with the engine off",
        ),
        Finding("speed-still", "engine speed does not move to the bit", 0.02, "listen to the engine and read again"),
        Finding("runs-by-itself", "the engine runs though nobody started it", 0.01, "listen; key off"),
        Finding("purge-flows", "purge flows though it is not asked for", 0.01, "read purge, then pinch its hose off"),
        Finding("refused-supply", "the module refused for its supply", 0.03, "see the answer"),
        Finding("refused-temperature", "the module refused for a temperature", 0.03, "see the answer"),
        Finding("refused-pedal", "the module refused for the pedal or the throttle", 0.03, "see the answer"),
        Finding("refused-running", "the module refused for the engine running, or not", 0.03, "see the answer"),
        Finding("refused-conditions", "the module refused and does not say why", 0.05, "see the answer"),
        Finding("refused-range", "the module does not know this identifier", 0.03, "compare part and software number"),
        Finding("refused-access", "the module asks for access", 0.03, "see the answer"),
        Finding("busy", "the module is busy", 0.02, "wait, ask again"),
        Finding("silent", "the module does not answer", 0.03, "check its supply and the link"),
        Finding("code-misfire", "a misfire code is stored", 0.03, "read the codes"),
        Finding("code-lean", "a lean code is stored", 0.03, "read the codes"),
        Finding("code-rich", "a rich code is stored", 0.03, "read the codes"),
        Finding("code-position", "a code of the plate's or the pedal's sensors is stored", 0.03, "read the codes"),
        Finding("code-not-learned", "the code says that the rest position is not learned", 0.05, "read the codes"),
        Finding("code-supply", "a supply code is stored", 0.04, "read the codes"),
        Finding("code-warm-up", "a code of coolant or thermostat is stored", 0.03, "read the codes"),
    )
}

THRESHOLDS: tuple[Threshold, ...] = (
    Threshold("idle-high", "idle-speed-error", "rpm", above=50.0),
    Threshold("idle-low", "idle-speed-error", "rpm", below=-50.0),
    Threshold("idle-rough", "idle-spread", "rpm", above=15.0),
    Threshold("idle-hunts", "idle-rhythm", "rpm", above=15.0),
    Threshold("lean", "trim-sum", "%", above=7.0),
    Threshold("rich", "trim-sum", "%", below=-7.0),
    Threshold("meter-low", "flow-ratio", "1", below=0.93),
    Threshold("meter-high", "flow-ratio", "1", above=1.07),
    Threshold("opening-small", "opening-change", "%", below=-0.3),
    Threshold("opening-large", "opening-change", "%", above=0.3),
    Threshold("load-high", "load-change", "%", above=2.0),
    Threshold("load-steps", "supply-step", "V", above=0.15),
    Threshold("rest-wanders", "rest-range", "%", above=1.2),
    Threshold("tracks-badly", "slope-error", "1", above=0.05),
    Threshold("plate-noisy", "residual", "%", above=0.6),
    Threshold("pair-disagrees", "pair-error", "%", above=3.0),
    Threshold("pedal-up", "pedal-change", "%", above=1.0),
    Threshold("supply-low-off", "supply-off", "V", below=12.2),
    Threshold("supply-falls-off", "supply-rate-off", "V/min", below=-0.02),
    Threshold("supply-low-running", "supply-running", "V", below=13.0),
    Threshold("supply-ripples", "supply-ripple", "V", above=0.3),
    Threshold("cold-differs", "cold-difference", "K", above=8.0),
    Threshold("intake-differs", "intake-difference", "K", above=8.0),
    Threshold("coolant-still", "coolant-rise", "K", below=1.5),
    Threshold("warms-slowly", "warm-rate", "K/min", below=3.0),
    Threshold("cold-engine", "coolant", "°C", below=70.0),
    Threshold("stays-cold", "warm-change", "K", below=-11.0),
    Threshold("pressure-off", "pressure-difference", "kPa", above=3.0),
    Threshold("purge-flows", "purge", "%", above=2.0),
)
