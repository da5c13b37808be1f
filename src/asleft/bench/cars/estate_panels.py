"""Driver's window and sliding roof of the estate: they learn their ends, and only then run by themselves and reverse.

By hand (the bench's own sequence): hold *down* at the open end for a second, then *up* without a break to the closed
end and two seconds more. By wire a routine does the same movement. Identifiers and routines are inventions.
"""

from __future__ import annotations

from struct import pack

from ..identifiers import live
from ..memory import LearnedValue, Memory
from ..module import ControlModule
from ..physics.panel import Panel
from ..routines import Routine, RoutineState
from ..service import refuse_if
from ..trouble_memory import TroubleCode
from .estate_build import Workbench

#: Held at the open end, and at the closed end, before it counts, s.
OPEN_HOLD_S, CLOSED_HOLD_S = 1.0, 2.0
#: Allowed departure of the counted travel, share; highest mean current of a sound guide, A; backing off, mm;
#: force over the learned friction at which it reverses, N.
TRAVEL_SHARE, SOUND_A, BACK_MM, REVERSE_N = 0.06, 8.2, 120.0, 60.0
GRID_S = 0.05


class PanelControl:
    """The module's side of a panel: follows the switch, learns, runs by itself, reverses.

    Attributes: phase: of the learn, 0 none, 1 the open end was held, 2 closing from there. automatic: runs to its end
        without the switch. refused: why the last learn stored nothing: 0 it did, 1 travel, 2 current.
    """

    CHANGES = ("now_s", "phase", "held_s", "automatic", "back_mm", "sum_a", "taken", "refused", "panel", "by_wire")

    def __init__(self, panel: Panel, memory: Memory) -> None:
        self.panel = panel
        travel = panel.spec.travel_mm
        self.travel = LearnedValue(memory, "travel", default=travel, low=0.5 * travel, high=1.5 * travel, unit="mm")
        self.friction = LearnedValue(memory, "friction", default=0.0, low=0.0, high=SOUND_A, unit="A")
        self.now_s = 0.0
        self.phase = self.taken = self.refused = 0
        self.held_s = self.back_mm = self.sum_a = 0.0
        self.automatic = self.by_wire = False

    def learn_long_ago(self) -> None:
        """As somebody did right."""
        self.travel.learn(self.panel.spec.travel_mm)
        self.friction.learn(self.panel.spec.free_a + self.panel.spec.per_n_a * self.panel.spec.friction_n)

    def switch(self, way: int, *, automatic: bool) -> None:
        """The switch goes to -1 closing, 0 off or 1 opening; automatic: pressed through, if it has learned its ends."""
        self.by_wire = False
        self.automatic = automatic and way != 0 and self.travel.learned
        self._drive(way)

    def advance(self, t_s: float, volts: float) -> None:
        """Bring it to car time t_s, s."""
        while self.now_s < t_s - 1e-9:
            if not self.panel.driven:
                self.now_s = self.panel.now_s = t_s
                self.panel.current_a = 0.0
                return
            after = min(self.now_s + GRID_S, t_s)
            self.panel.advance(after, volts)
            self._watch(after - self.now_s)
            self.now_s = after

    def begin_by_wire(self) -> None:
        """Forget both ends, open, then close, watched as by hand. A learned panel is not watched by hand."""
        self.travel.forget()
        self.friction.forget()
        self.by_wire = True
        self.automatic = False
        self.refused = 0
        self._drive(1)

    def stop(self) -> None:
        """Everything off."""
        self.by_wire = self.automatic = False
        self._drive(0)

    # -- inside ----------------------------------------------------------------------------------------------------

    def _drive(self, way: int) -> None:
        if way != self.panel.wanted:
            self.panel.stop()
            self.panel.wanted = way
            self.held_s = 0.0
            if way < 0 and self.phase == 1:
                self.phase, self.sum_a, self.taken, self.panel.turned_mm = 2, 0.0, 0, 0.0
            elif self.phase == 2:
                self.phase = 0
            if way == 0 and self.phase == 2:
                self.phase = 0

    def _watch(self, dt_s: float) -> None:
        panel = self.panel
        self.held_s = self.held_s + dt_s if panel.stalled else 0.0
        if self.back_mm > 0.0 and panel.wanted > 0:
            self.back_mm -= panel.spec.speed_mm_s * dt_s
            if self.back_mm <= 0.0:
                self.stop()
            return
        if panel.wanted < 0 and self.phase == 2 and not panel.stalled:
            self.sum_a += panel.current_a
            self.taken += 1
        if panel.wanted > 0 and self.held_s >= OPEN_HOLD_S and not self.travel.learned:
            self.phase = 1
            if self.by_wire:
                self._drive(-1)
        elif panel.wanted < 0 and self.phase == 2 and self.held_s >= CLOSED_HOLD_S:
            self._store()
        elif panel.wanted < 0 and self.travel.learned and self.phase != 2:
            self._protect()
        if self.automatic and self.held_s > 0.2:
            self.stop()

    def _protect(self) -> None:
        """Learned: what is in the way is felt by the current, and it backs off. Not near the seal."""
        panel = self.panel
        over = (panel.current_a - self.friction.value) / panel.spec.per_n_a
        if panel.stalled and over > REVERSE_N and 4.0 <= panel.open_mm <= 200.0:
            self.automatic = False
            self._drive(1)
            self.back_mm = BACK_MM

    def _store(self) -> None:
        nominal = self.panel.spec.travel_mm
        mean_a = self.sum_a / max(1, self.taken)
        counted = self.panel.turned_mm
        self.phase = 0
        self.refused = 1 if abs(counted / nominal - 1.0) > TRAVEL_SHARE else 2 if mean_a > SOUND_A else 0
        if self.refused == 0:
            self.travel.learn(counted)
            self.friction.learn(mean_a)
        self.stop()


def panel_module(
    bench: Workbench, name: str, control: PanelControl, memory: Memory, did: int, rid: int
) -> ControlModule:
    """Module of a panel: identifiers ``did`` and the next, routine ``rid``."""
    side, panel = bench.side, control.panel
    row_code = bench.code_of(name)

    def state() -> bytes:
        travel, friction = round(control.travel.value * 10.0), round(control.friction.value * 100.0)
        return pack(">BHHB", control.travel.learned, travel, friction, control.refused)

    def now() -> bytes:
        return pack(">HBb", round(panel.open_mm * 10.0), min(255, round(panel.current_a * 10.0)), panel.wanted)

    def watch() -> RoutineState | None:
        if control.by_wire:
            return None
        return RoutineState.REFUSED if control.refused else RoutineState.STORED

    def begin(_option: bytes) -> None:
        control.begin_by_wire()

    conditions = (
        refuse_if(lambda: side.speed_km_h() > 0.3, 0x88),
        refuse_if(lambda: not side.doors_shut, 0x22),
        bench.supply(11.9),
    )
    return bench.module(
        name,
        memory=memory,
        identifiers=[
            live(did, "learned 0 or 1, travel 0.1 mm, friction 0.01 A, why the last learn failed", state),
            live(did + 1, "opening 0.1 mm, motor 0.1 A, direction", now),
        ],
        routines=[
            Routine(
                rid,
                "learn both ends: it opens and closes by itself",
                start_conditions=conditions,
                keep_conditions=conditions[1:],
                on_start=begin,
                on_poll=watch,
                on_stop=control.stop,
                takes_s=60.0,
                on_end=lambda: RoutineState.REFUSED,
            )
        ],
        codes=[TroubleCode(row_code << 8 | 0x54, "end positions not learned", lambda: not control.travel.learned)],
    )
