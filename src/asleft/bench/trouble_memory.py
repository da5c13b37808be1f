"""Trouble codes of a bench module: they mature, are confirmed, heal, age and clear by rule.

Status bits follow ISO 14229-1 annex D (recalled, not checked against the text): 0 test failed, 1 failed this operation
cycle, 2 pending, 3 confirmed, 4 not completed since clear, 5 failed since clear, 6 not completed this cycle,
7 warning indicator requested. An operation cycle is one key-on::

    codes = TroubleMemory([
        TroubleCode(0x217600, "idle position not learned", lambda: not stop.learned, trips=1, lamp=True),
        TroubleCode(0x056200, "supply voltage low", lambda: battery.volts < 10.5, fail_s=2.0),
    ])
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import msgspec


@dataclass(frozen=True)
class TroubleCode:
    """One code with the rule by which it comes and goes.

    Attributes:
        code: 3 bytes: two of the code (SAE J2012 bits), one failure type: 0x217600 is P2176-00.
        text: what it means, own words.
        failing: True fails now, False passes now, None: cannot be tested now. None instead of a callable: only
            `TroubleMemory.report` sets it.
        fail_s: fails this long without a break before the test counts as failed, s.
        pass_s: passes this long before the test counts as passed, s.
        trips: operation cycles with a failure until confirmed; 1: at once.
        heal_cycles: cycles passed without failure until the lamp is no longer requested.
        age_cycles: cycles passed without failure, after healing, until the code is erased.
        lamp: requests the warning lamp when confirmed.
        emission: stands in OBD services 03, 07, 0A too.
        clearable: a callable that gives None when it may be cleared, else the negative response code for 14.
    """

    code: int
    text: str
    failing: Callable[[], bool | None] | None = None
    fail_s: float = 0.5
    pass_s: float = 1.0
    trips: int = 1
    heal_cycles: int = 3
    age_cycles: int = 40
    lamp: bool = False
    emission: bool = False
    clearable: Callable[[], int | None] = lambda: None


FAILED, FAILED_THIS_CYCLE, PENDING, CONFIRMED = 0x01, 0x02, 0x04, 0x08
NOT_TESTED_SINCE_CLEAR, FAILED_SINCE_CLEAR, NOT_TESTED_THIS_CYCLE, LAMP = 0x10, 0x20, 0x40, 0x80
_NEW = NOT_TESTED_SINCE_CLEAR | NOT_TESTED_THIS_CYCLE


class CodeState(msgspec.Struct):
    """What a module remembers of one code.

    Attributes:
        status: status byte.
        trips: operation cycles with a failure, in a row.
        passed_cycles: cycles passed without failure since the last one with, while confirmed.
        occurrences: how often it went from not failed to failed.
        permanent: stands in OBD service 0A: set with the lamp, outlives a clear, gone after a passed cycle.
        freeze: content of the freeze frame: count of identifiers, then identifier and data each.
        failing_since_s, passing_since_s: debounce.
    """

    status: int = _NEW
    trips: int = 0
    passed_cycles: int = 0
    occurrences: int = 0
    permanent: bool = False
    freeze: bytes | None = None
    failing_since_s: float | None = None
    passing_since_s: float | None = None


class TroubleMemory:
    """The codes of one module and their state.

    Args:
        codes: what the module can store.
        snapshot: gives the freeze frame's content when a code fails first; None: no freeze frames.

    Attributes:
        storing: False after 85 02: no status changes.
        on_failure: called with a code at the moment its test fails.
        on_clear: called after codes were cleared.
    """

    def __init__(self, codes: Iterable[TroubleCode], snapshot: Callable[[], bytes] | None = None) -> None:
        self._codes: dict[int, TroubleCode] = {}
        for item in codes:
            if item.code in self._codes:
                raise ValueError(f"trouble code {item.code:06X} is declared twice")
            self._codes[item.code] = item
        self._states: dict[int, CodeState] = {code: CodeState() for code in self._codes}
        self._watched = [(item, item.failing) for item in self._codes.values() if item.failing is not None]
        self._emission = [item.code for item in self._codes.values() if item.emission]
        self._snapshot = snapshot
        self.storing: bool = True
        self.on_failure: Callable[[TroubleCode], None] = lambda _code: None
        self.on_clear: Callable[[], None] = lambda: None

    # -- reading ---------------------------------------------------------------------------------------------------

    def status(self, code: int) -> int:
        """Status byte of a code. Raises KeyError: the module does not know it."""
        return self._states[code].status

    def state(self, code: int) -> CodeState:
        """All that is remembered of a code. Raises KeyError: the module does not know it."""
        return self._states[code]

    def codes(self) -> Iterable[tuple[TroubleCode, CodeState]]:
        """All codes the module knows, in the order declared."""
        return ((item, self._states[code]) for code, item in self._codes.items())

    def matching(self, mask: int) -> list[int]:
        """Codes whose status has a bit of ``mask``."""
        return [code for code, state in self._states.items() if state.status & mask]

    def emission(self, mask: int) -> list[int]:
        """Emission-related codes (two bytes, SAE J2012) whose status has a bit of ``mask``."""
        return [item.code >> 8 for item, state in self.codes() if item.emission and state.status & mask]

    def lamp(self) -> bool:
        """Whether an emission-related code requests the warning lamp."""
        return any(self._states[code].status & LAMP for code in self._emission)

    # -- rules -----------------------------------------------------------------------------------------------------

    def poll(self, now_s: float) -> None:
        """Ask every code's test and let it mature."""
        for item, failing in self._watched:
            state = self._states[item.code]
            result = failing()
            if result is None:
                state.failing_since_s = state.passing_since_s = None
            elif result:
                state.passing_since_s = None
                if state.failing_since_s is None:
                    state.failing_since_s = now_s
                if now_s - state.failing_since_s >= item.fail_s - 1e-9:
                    self._failed(item, state)
            else:
                state.failing_since_s = None
                if state.passing_since_s is None:
                    state.passing_since_s = now_s
                if now_s - state.passing_since_s >= item.pass_s - 1e-9:
                    self._passed(state)

    def report(self, code: int, *, failing: bool) -> None:
        """A completed test: failed or passed, at once, without debounce. Raises KeyError: unknown code."""
        if failing:
            self._failed(self._codes[code], self._states[code])
        else:
            self._passed(self._states[code])

    def _failed(self, item: TroubleCode, state: CodeState) -> None:
        before = state.status
        if not self.storing or before & (FAILED | FAILED_THIS_CYCLE) == FAILED | FAILED_THIS_CYCLE:
            return
        if not before & FAILED:
            state.occurrences += 1
        if not before & FAILED_THIS_CYCLE:
            state.trips += 1
        after = before & ~_NEW | FAILED | FAILED_THIS_CYCLE | PENDING | FAILED_SINCE_CLEAR
        if state.trips >= item.trips or before & CONFIRMED:
            after |= CONFIRMED | (LAMP if item.lamp else 0)
            state.permanent = state.permanent or (item.lamp and item.emission)
            state.passed_cycles = 0
        state.status = after
        if state.freeze is None and self._snapshot is not None:
            state.freeze = self._snapshot()
        self.on_failure(item)

    def _passed(self, state: CodeState) -> None:
        if self.storing:
            state.status &= ~(FAILED | _NEW)

    def cycle_start(self) -> None:
        """Key on: nothing is tested yet in this operation cycle."""
        for state in self._states.values():
            state.status = state.status & ~FAILED_THIS_CYCLE | NOT_TESTED_THIS_CYCLE
            state.failing_since_s = state.passing_since_s = None

    def cycle_end(self) -> None:
        """Key off: what was tested and never failed in this cycle heals and ages."""
        for item, state in self.codes():
            if state.status & (FAILED_THIS_CYCLE | NOT_TESTED_THIS_CYCLE):
                continue
            state.status &= ~PENDING
            if not state.status & CONFIRMED:
                state.trips = 0
                state.permanent = False
                continue
            state.passed_cycles += 1
            if state.passed_cycles >= item.heal_cycles:
                state.status &= ~LAMP
                state.permanent = False
            if state.passed_cycles >= item.heal_cycles + item.age_cycles:
                state.status &= ~CONFIRMED
                state.trips = 0
                state.freeze = None

    def clear(self, code: int | None = None, *, emission_only: bool = False) -> None:
        """Clear one code, all, or the emission-related ones, without asking conditions."""
        for item, state in self.codes():
            if code not in {None, item.code} or (emission_only and not item.emission):
                continue
            self._states[item.code] = CodeState(permanent=state.permanent)
        self.on_clear()

    def clear_refused(self, code: int | None = None) -> int | None:
        """Negative response code of the first code concerned that may not be cleared now; None: all may."""
        for item in self._codes.values():
            if code in {None, item.code}:
                refusal = item.clearable()
                if refusal is not None:
                    return refusal
        return None

    # -- saved state -----------------------------------------------------------------------------------------------

    def save(self) -> dict[str, Any]:
        """JSON values: code in hexadecimal -> state."""
        return {f"{code:06X}": msgspec.to_builtins(state) for code, state in self._states.items()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take over what `save` gave; codes it does not name stay new."""
        for text, saved in state.items():
            code = int(text, 16)
            if code in self._states:
                self._states[code] = msgspec.convert(saved, CodeState)
