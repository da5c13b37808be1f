"""Refusals in plain words, and what shows the condition beforehand."""

from __future__ import annotations

import pytest

from asleft.codec.obd.parameters import SIGNALS
from asleft.codec.refusal import KWP_REFUSALS, UDS_REFUSALS, Family, Protocol, Refusal, refusal_of

EVERY = [*UDS_REFUSALS.values(), *KWP_REFUSALS.values()]


def test_every_signal_named_exists() -> None:
    for refusal in EVERY:
        assert set(refusal.signals) <= set(SIGNALS), refusal.name


def test_message_ids_are_unique() -> None:
    assert len({refusal.message.id for refusal in EVERY}) == len(EVERY)


@pytest.mark.parametrize("protocol", list(Protocol))
def test_every_code_says_something(protocol: Protocol) -> None:
    for code in range(256):
        refusal = refusal_of(code, protocol)
        assert isinstance(refusal, Refusal)
        assert refusal.code == code
        assert refusal.message.text.endswith((".", "?"))
        assert "{" not in refusal.message.text


def test_access_is_never_to_be_tried_again() -> None:
    for refusal in EVERY:
        if refusal.family is Family.ACCESS:
            assert not refusal.may_ask_again


def test_only_busy_may_be_asked_again() -> None:
    again = {(refusal.code, refusal.message.id) for refusal in EVERY if refusal.may_ask_again}
    assert {code for code, _ in again} == {0x21, 0x94, 0x23}


def test_conditions() -> None:
    assert refusal_of(0x81).family.is_condition
    assert not refusal_of(0x35).family.is_condition
    assert refusal_of(0xF3).family is Family.UNSTATED
    assert refusal_of(0xF3, Protocol.KWP2000).family is Family.UNKNOWN
    assert refusal_of(0x22, Protocol.KWP2000).name == "conditionsNotCorrect-RequestSequenceError"


@pytest.mark.parametrize(
    ("code", "signals"),
    [
        (0x81, {"engine-speed"}), (0x84, {"engine-speed"}), (0x85, {"run-time"}),
        (0x87, {"coolant-temperature", "engine-oil-temperature", "intake-air-temperature"}),
        (0x88, {"vehicle-speed"}), (0x8A, {"accelerator-pedal-d", "accelerator-pedal-e", "throttle-absolute"}),
        (0x8F, set()), (0x90, set()), (0x93, {"control-module-voltage"}),
    ],
)  # fmt: skip
def test_what_shows_it_beforehand(code: int, signals: set[str]) -> None:
    """Parameters beside the refusals are common practice, no source; the brake and the lever have no standard one."""
    assert set(refusal_of(code).signals) == signals
