"""An answer that a signal contradicts ends the run, naming both; an answer without a signal is taken as it is."""

from __future__ import annotations

import asyncio
from typing import Any, cast

import pytest

from asleft.model.condition import Condition, ConditionKind
from asleft.model.errors import Code, RunError
from asleft.model.step import Agree, Ask
from asleft.run.agreeing import AGREE_S, must_agree

STANDS = Condition("stands", "engine stands", ConditionKind.AT_MOST, "engine-speed", high=0, unit="rpm", hold_s=2)
STEP = Ask("engine", "Do belt and fan stand?", ("they stand", "they turn"), (Agree("they stand", STANDS),))


class Gates:
    """Stands in for the run: keeps which conditions were asked and for how long, and answers as told."""

    def __init__(self, error: RunError | None) -> None:
        self.error = error
        self.asked: list[tuple[tuple[Condition, ...], float]] = []
        self._conditions: tuple[Condition, ...] = ()

    def gate_of(self, *conditions: Condition) -> Gates:
        self._conditions = conditions
        return self

    async def open(self, timeout_s: float) -> None:
        self.asked.append((self._conditions, timeout_s))
        if self.error is not None:
            raise self.error


def told(answer: str, error: RunError | None = None) -> Gates:
    gates = Gates(error)
    asyncio.run(must_agree(cast("Any", gates), STEP, answer))
    return gates


def test_the_signal_is_looked_at_for_its_answer_only() -> None:
    assert told("they stand").asked == [((STANDS,), AGREE_S + 2)]
    assert told("they turn").asked == []


def test_a_contradiction_names_answer_and_signal() -> None:
    with pytest.raises(RunError, match='"they stand" was answered, but: engine-speed 800 rpm') as caught:
        told("they stand", RunError(Code.GATE_CLOSED, "engine-speed 800 rpm"))
    assert caught.value.code is Code.GATE_CLOSED
    assert caught.value.where == "engine"


def test_a_stop_stays_a_stop() -> None:
    with pytest.raises(RunError) as caught:
        told("they stand", RunError(Code.STOPPED_BY_PERSON))
    assert caught.value.code is Code.STOPPED_BY_PERSON
