"""The electric bench car: a Tarnbeck whose isolation can be read, and nothing of its high voltage can be commanded.

The module of the high-voltage battery reads only: no routine, no write, no access, no output control. Contactors close
when a driver makes the car ready, by the act alone. The insulation tester is an act of a qualified person with the
service disconnect out. Identifiers are inventions of the bench.
"""

from __future__ import annotations

from collections.abc import Mapping
from struct import pack

from asleft.model.errors import Code, InputError

from ..car import Json
from ..identifiers import live
from ..module import Address, ControlModule, Timing
from ..physics.isolation import PARTS_MOHM, TOP_KOHM, Isolation
from ..physics.noise import Noise
from ..physics.state import restore_part, save_part
from ..physics.supply import Battery, BatterySpec, Supply
from ..service import refuse_if
from ..trouble_memory import TroubleCode
from .electric_faults import ELECTRIC_FAULTS
from .faults import Family
from .identity import draw_identity, identification, make_vin
from .workshop_car import WorkshopCar

ISOLATION, PACK, STATES, LOWEST = 0xA1C0, 0xA1C1, 0xA1C2, 0xA1C3

#: Isolation under which the code is set, kΩ: 500 Ω/V of a 400 V system (figure of the trade, recalled).
LEAST_KOHM = 200.0
#: No meter before this long after the disconnect was pulled, s (practice figure; the manual's own counts).
WAIT_S = 600.0
_NO_WRITES = frozenset({0x27, 0x2E, 0x2F, 0x31})


class ElectricCar(WorkshopCar):
    """One electric car.

    Args: seed: which car of the model. damp: of its connectors, 0 to 1.
    """

    def __init__(self, seed: int = 0, damp: float = 0.05) -> None:
        chance = Noise(seed, "identity")
        self.vin = make_vin("V40ET", "P", chance.whole(100_000, 999_999), "EZT")
        self.isolation = Isolation(seed)
        self.isolation.damp = damp
        self.supply = Supply(Battery(BatterySpec(capacity_ah=45.0), charge=chance.between(0.8, 0.95)))
        self.chance = Noise(seed, "workshop")
        self.pack_v = chance.between(372.0, 398.0)
        self.key = "off"
        self.disconnected = False
        self.without_s = 0.0
        self.lowest_kohm = TOP_KOHM
        self._reached_s = 0.0
        modules = [
            self._high_voltage(chance),
            self._plain(chance, "inverter", 0x7B1, "ETI", 210),
            self._plain(chance, "cluster", 0x7B3, "ETC", 455),
        ]
        super().__init__("electric", modules, ELECTRIC_FAULTS)

    def _high_voltage(self, chance: Noise) -> ControlModule:
        iso = self.isolation

        def shown() -> bytes:
            value = iso.shown_kohm()
            return pack(">HB", 0xFFFF if value is None else round(value), value is not None)

        def low() -> bool | None:
            value = iso.shown_kohm()
            return None if value is None else value < LEAST_KOHM

        return ControlModule(
            "high-voltage battery",
            Address.normal(0x7B6, 0x7BE),
            identifiers=[
                *identification(draw_identity(chance, "ETB", 77, "HV BATTERY"), self.vin),
                live(ISOLATION, "isolation kΩ, FFFF not measured yet; valid 0 or 1", shown),
                live(PACK, "pack 0.1 V; link 0.1 V", lambda: pack(">HH", *(round(v * 10.0) for v in self._volts()))),
                live(STATES, "contactors 0 or 1; interlock closed 0 or 1; ready 0 or 1", lambda: bytes([
                    iso.closed, not self.disconnected, self.key == "ready",
                ])),
                live(LOWEST, "lowest since the key was turned, kΩ", lambda: pack(">H", round(self.lowest_kohm))),
            ],
            codes=[
                TroubleCode(0x0AA600, "isolation too low", low, fail_s=3.0, lamp=True, emission=True),
                TroubleCode(0x0A0A00, "interlock open", lambda: self.disconnected, lamp=True),
            ],
            clear_conditions=(refuse_if(lambda: self.key == "ready", 0x22),),
            without=_NO_WRITES,
            timing=Timing(latency_s=0.011, jitter_s=0.007, boot_s=0.7, after_run_s=6.0),
        )  # fmt: skip

    def _plain(self, chance: Noise, name: str, request: int, letters: str, number: int) -> ControlModule:
        return ControlModule(
            name,
            Address.normal(request, request + 8),
            identifiers=[
                *identification(draw_identity(chance, letters, number, name.upper()), self.vin),
                live(0xA1D0, "supply: mV", lambda: pack(">H", round(self.supply.volts * 1e3))),
            ],
            codes=[TroubleCode(0x562016, "supply voltage low", lambda: self.supply.volts < 10.5, fail_s=2.0)],
            without=_NO_WRITES,
            timing=Timing(latency_s=chance.between(0.004, 0.02), boot_s=chance.between(0.2, 0.6)),
        )

    def _volts(self) -> tuple[float, float]:
        """Pack, and link behind the contactors, V."""
        pack_v = 0.0 if self.disconnected else self.pack_v
        return pack_v, pack_v if self.isolation.closed else 0.0

    # -- time and truth --------------------------------------------------------------------------------------------

    def advance_to(self, t_s: float) -> None:
        """Bring everything to car time t_s, s."""
        passed_s, self._reached_s = t_s - self._reached_s, t_s
        if passed_s <= 0.0:
            return
        self.supply.load_a = {"off": 0.03, "on": 9.0, "ready": 16.0}[self.key]
        self.supply.step(min(passed_s, 3600.0), 14.2, 90.0 if self.key == "ready" else 0.0)
        self.isolation.monitor(passed_s, self.key != "off")
        shown = self.isolation.shown_kohm()
        if shown is not None:
            self.lowest_kohm = min(self.lowest_kohm, shown)
        self.without_s = self.without_s + passed_s if self.disconnected else 0.0

    def truth(self) -> Mapping[str, Json]:
        """The true state, for grading only."""
        return {
            "vin": self.vin,
            "isolation, kΩ": self.isolation.true_kohm,
            "contactors closed": self.isolation.closed,
            "pack, V": self.pack_v,
            "supply, V": self.supply.volts,
            "service disconnect out": self.disconnected,
            "faults": dict(self.faults.active),
        }

    def save_physics(self) -> dict[str, Json]:
        """State of the physics as JSON values."""
        return {
            "isolation": save_part(self.isolation),
            "supply": save_part(self.supply),
            "workshop": self.chance.save(),
            "car": [self.key, self.disconnected, self.without_s, self.lowest_kohm, self._reached_s],
            "faults": dict(self.faults.active),
        }

    def restore_physics(self, state: Mapping[str, Json]) -> None:
        """Take over what `save_physics` gave; faults of the link are of the link and not taken over."""
        for name, size in state["faults"].items():
            if self.faults.of(name).family is not Family.LINK:
                self.faults.put(name, size)
        restore_part(self.isolation, state["isolation"])
        restore_part(self.supply, state["supply"])
        self.chance.restore(state["workshop"])
        self.key, self.disconnected, self.without_s, self.lowest_kohm, self._reached_s = state["car"]

    # -- acts ------------------------------------------------------------------------------------------------------

    def act_key(self, position: str) -> None:
        """Switch the car: off, on, ready. Ready closes the contactors; it needs the service disconnect in."""
        if position not in {"off", "on", "ready"}:
            raise self.impossible(f"no position {position!r}: off, on or ready")
        if position == "ready" and self.disconnected:
            raise self.impossible("the service disconnect is out")
        if position != "off" and self.key == "off":
            self.lowest_kohm = TOP_KOHM
        self.key = position
        self.isolation.closed = position == "ready"
        self.set_power(position != "off")

    def act_charger(self, on: bool, volts: float = 13.6, limit_a: float = 50.0) -> None:
        """Connect or take off a support unit of the 12 V system."""
        self.supply.charger_v = volts if on else 0.0
        self.supply.charger_a = limit_a

    def act_pull_disconnect(self) -> None:
        """A qualified person pulls the service disconnect and locks it out; the car must be off."""
        if self.key != "off":
            raise self.impossible("the car must be off")
        self.disconnected = True

    def act_fit_disconnect(self) -> None:
        """A qualified person fits the service disconnect."""
        self.disconnected = False

    def act_insulation_tester(self, part: str) -> float:
        """Insulation tester on one part, a qualified person, disconnect out and waited: MΩ, within 3 %."""
        if part not in PARTS_MOHM:
            raise self.impossible(f"no part {part!r}: {', '.join(PARTS_MOHM)}")
        if not self.disconnected or self.without_s < WAIT_S:
            raise self.impossible(f"not before the disconnect has been out for {WAIT_S:.0f} s")
        kohm = min(self.isolation.pole_kohm(True, part), self.isolation.pole_kohm(False, part))
        return round(kohm / 1e3 * (1.0 + 0.01 * self.chance.normal()), 3)

    def act_dry(self, damp: float = 0.0) -> None:
        """Let connectors dry, or get damp: 0 to 1."""
        self.isolation.damp = min(1.0, max(0.0, damp))

    def impossible(self, why: str) -> InputError:
        """The error for an act that cannot be done, with its reason."""
        return InputError(Code.ACT_UNKNOWN, why, where=self.name)
