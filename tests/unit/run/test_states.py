"""The table of run states against a reference model of its rules, written down independently."""

from __future__ import annotations

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from asleft.model.errors import AsleftError
from asleft.run.states import TABLE, RunMachine, State, Turn


def test_every_state_is_reached_and_left_but_the_last() -> None:
    assert {s for s, _ in TABLE} == set(State) - {State.ENDED}
    assert set(TABLE.values()) == set(State) - {State.NEW}


def test_from_everywhere_there_is_a_way_to_the_end() -> None:
    for start in State:
        reached = {start}
        for _ in State:
            reached |= {to for (state, _), to in TABLE.items() if state in reached}
        assert State.ENDED in reached


class Reference:
    """The rules in other words: a run is a list of facts, not a state."""

    def __init__(self) -> None:
        self.begun = self.prepared = self.gate = self.paused = self.done = False
        self.cut = self.closed = self.judged = self.over = False

    def allows(self, turn: Turn) -> bool:
        alive = self.begun and not self.over and not self.cut
        before_proof = alive and not self.closed
        match turn:
            case Turn.BEGIN:
                return not self.begun
            case Turn.PREPARED:
                return before_proof and not self.prepared
            case Turn.OPEN:
                return before_proof and self.prepared and not self.gate and not self.paused
            case Turn.PAUSE | Turn.DONE:
                return before_proof and self.gate and not self.done
            case Turn.GO_ON:
                return before_proof and self.paused
            case Turn.CUT:
                return before_proof
            case Turn.CLOSED:
                return (before_proof and self.done) or (self.cut and not self.over)
            case Turn.JUDGED | Turn.RETEST:
                return alive and self.closed and not self.judged
            case Turn.CONCLUDED:
                return alive and self.judged

    def take(self, turn: Turn) -> None:
        match turn:
            case Turn.BEGIN:
                self.begun = True
            case Turn.PREPARED:
                self.prepared = True
            case Turn.OPEN:
                self.gate = True
            case Turn.PAUSE:
                self.gate, self.paused = False, True
            case Turn.GO_ON:
                self.paused = False
            case Turn.DONE:
                self.done = True
            case Turn.CUT:
                self.cut = True
            case Turn.CLOSED:
                self.closed, self.over = True, self.cut
            case Turn.RETEST:  # the gate is opened anew
                self.gate = self.done = self.closed = False
            case Turn.JUDGED:
                self.judged = True
            case Turn.CONCLUDED:
                self.over = True

    @property
    def may_act(self) -> bool:
        """An effect needs an open gate, nothing ended, nothing cut."""
        return self.begun and self.gate and not (self.done or self.cut or self.over or self.closed)

    @property
    def may_stop(self) -> bool:
        return self.may_act or (self.cut and not self.over)


class Runs(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.machine = RunMachine()
        self.reference = Reference()

    @rule(turn=st.sampled_from(list(Turn)))
    def turn(self, turn: Turn) -> None:
        allowed = self.reference.allows(turn)
        assert self.machine.can(turn) == allowed
        if allowed:
            self.machine.go(turn)
            self.reference.take(turn)
        else:
            before = self.machine.state
            with pytest.raises(AsleftError):
                self.machine.go(turn)
            assert self.machine.state is before

    @invariant()
    def effects_only_while_the_gate_is_open(self) -> None:
        assert _allowed(self.machine, stops=False) == self.reference.may_act
        assert _allowed(self.machine, stops=True) == self.reference.may_stop


def _allowed(machine: RunMachine, *, stops: bool) -> bool:
    try:
        machine.must_allow_effect(stops=stops)
    except AsleftError:
        return False
    return True


Runs.TestCase.settings = settings(max_examples=100, stateful_step_count=30, deadline=None)
TestRuns = Runs.TestCase
