"""Acts on the estate's parts: what a driver or a technician does to them, and what they read off without any bus."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from asleft.model.errors import InputError

from ..physics.caliper import NEW_PAD_MM, Caliper
from ..physics.floor import Stand
from ..physics.noise import Noise
from .estate_battery import KINDS
from .estate_panels import PanelControl
from .estate_table import ROWS

if TYPE_CHECKING:
    from .estate_parts import EstateParts


class PartActs:
    """Acts of a car that has `EstateParts`."""

    parts: EstateParts
    chance: Noise
    need_key_off: Callable[[], None]
    impossible: Callable[[str], InputError]
    later: Callable[[float, Callable[[], None]], None]
    now_s: Callable[[], float]
    slip_s: float = 0.0

    # -- seen and read ---------------------------------------------------------------------------------------------

    def act_look_at_lamp(self, name: str = "stability") -> str:
        """Look at a warning lamp for a while: off, on or flashing."""
        return self.parts.lamps.seen(name, self.now_s())

    def act_read_beam(self) -> dict[str, float]:
        """Optical tester in front of the lamps: fall of the beams, %, down negative, within 0.1 %."""
        light = self.parts.light
        if not light.lit:
            raise self.impossible("the headlamps are off")
        left, right = (light.percent(lamp) + 0.05 * self.chance.normal() for lamp in (0, 1))
        return {"left": round(left, 1), "right": round(right, 1)}

    def act_clamp_current(self) -> float:
        """Clamp meter round the battery's lead: current out of it, A, within 0.3 A."""
        return round(self.parts.battery.true_a() + 0.1 * self.chance.normal(), 1)

    def act_clamp_small_current(self) -> float:
        """Clamp meter for small currents round the battery's lead: current out of it, A, within 5 mA."""
        return round(self.parts.battery.true_a() + 0.0015 * self.chance.normal(), 3)

    def act_turn_wheel(self, side: str = "left") -> float:
        """Turn a rear wheel by hand on the lift: what it takes, N·m."""
        return round(self._caliper(side).wheel_nm(), 0)

    def act_pinch_force(self, where: str = "window") -> float:
        """Force gauge in the opening: highest force of the last closing on it, N."""
        return round(self._panel(where).panel.peak_n, 0)

    # -- window and roof -------------------------------------------------------------------------------------------

    def act_window(self, way: str, automatic: bool = False) -> None:
        """Hold the driver's window switch: open, close or off; automatic: press it through and let go."""
        self._switch("window", way, automatic)

    def act_roof(self, way: str, automatic: bool = False) -> None:
        """Hold the roof switch: open, close or off; automatic: press it through and let go."""
        self._switch("roof", way, automatic)

    def act_block(self, where: str, mm: float | None) -> None:
        """Put the soft block with the force gauge into an opening, so thick; null: take it out."""
        panel = self._panel(where).panel
        if mm is not None and panel.open_mm < mm:
            raise self.impossible(f"the {where} is open by {panel.open_mm:.0f} mm only")
        panel.block_mm = mm
        panel.peak_n = 0.0

    def _switch(self, where: str, way: str, automatic: bool) -> None:
        ways = {"open": 1, "close": -1, "off": 0}
        if way not in ways:
            raise self.impossible(f"no way {way!r}: open, close or off")
        control = self._panel(where)
        control.switch(ways[way], automatic=automatic)
        if self.slip_s > 0.0 and way != "off":
            self.later(self.slip_s, lambda: control.switch(0, automatic=False))

    def _panel(self, where: str) -> PanelControl:
        if where not in {"window", "roof"}:
            raise self.impossible(f"no {where!r}: window or roof")
        return self.parts.window if where == "window" else self.parts.roof

    # -- workshop --------------------------------------------------------------------------------------------------

    def act_replace_pads(self, mm: float = NEW_PAD_MM, pressed: bool = True) -> None:
        """Fit rear pads; the calipers must be wound back. Not pressed: the pistons were not brought to the nuts."""
        brake = self.parts.brake
        if not all(side.retracted for side in brake.sides):
            raise self.impossible("the calipers are not wound back")
        for side in brake.sides:
            side.pad_mm = mm
            side.gap_mm = 0.0 if pressed else 9.0
        for contact in brake.contacts:
            contact.forget()

    def act_replace_headlamp(self, side: str = "left") -> None:
        """Fit a new headlamp: its bracket sits a little differently; the key must be off."""
        self.need_key_off()
        light = self.parts.light
        light.beam.bracket_deg[_side(side)] += self.chance.between(0.25, 0.5)
        light.zero.forget()

    def act_turn_screw(self, side: str, turns: float) -> None:
        """Turn a headlamp's adjusting screw: turns, up positive, 0.15° each."""
        self.parts.light.beam.screw_deg[_side(side)] += 0.15 * turns

    def act_replace_battery(self, kind: int = 3, ah: int = 70, charge: float = 0.9) -> None:
        """Fit a battery: 1 flooded, 2 enhanced flooded, 3 glass mat; Ah; charge 0 to 1. The key must be off."""
        self.need_key_off()
        if kind not in KINDS or not 20 <= ah <= 120:
            there = ", ".join(f"{code} {name}" for code, (name, _) in KINDS.items())
            raise self.impossible(f"kinds {there}; 20 to 120 Ah")
        self.parts.battery.fit(kind, ah, charge)

    def act_replace_valve_body(self) -> None:
        """Fit another valve body: every clutch wants another fill; the key must be off."""
        self.need_key_off()
        clutches = self.parts.clutches
        clutches.needs = [self.chance.between(0.86, 1.14) for _ in clutches.needs]
        self.parts.gearbox.forget()

    def act_unplug_module(self, name: str) -> None:
        """Take a module off its plug; the key must be off."""
        self.need_key_off()
        self._known_module(name)
        if name not in self.parts.fitted.unplugged:
            self.parts.fitted.unplugged.append(name)

    def act_plug_module(self, name: str) -> None:
        """Fit a module and plug it in; the key must be off."""
        self.need_key_off()
        self._known_module(name)
        if name in self.parts.fitted.unplugged:
            self.parts.fitted.unplugged.remove(name)

    def _known_module(self, name: str) -> None:
        if name not in ROWS or name == "gateway":
            raise self.impossible(f"no module {name!r} to plug: {', '.join(list(ROWS)[1:])}")

    def _caliper(self, side: str) -> Caliper:
        return self.parts.brake.sides[_side(side)]


def read_level(stand: Stand, chance: Noise) -> dict[str, float]:
    """What a digital level on the floor shows, degrees: along nose up, across left side up; within 0.1°."""
    bare = Stand(stand.slope_deg, stand.uphill_deg, stand.heading_deg)
    along, across = bare.pitch_deg + 0.03 * chance.normal(), bare.roll_deg + 0.03 * chance.normal()
    return {"along": round(along, 1), "across": round(across, 1)}


def _side(name: str) -> int:
    return 1 if name == "right" else 0
