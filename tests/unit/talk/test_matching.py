"""Which bytes answer which request."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.codec.answer import AnswerMalformed
from asleft.talk.matching import Match, expects_answer, match, may_confuse


def b(text: str) -> bytes:
    return bytes.fromhex(text)


@pytest.mark.parametrize(
    ("request_", "answer", "is_"),
    [
        # ISO 14229-1 pairs (check values, section 3)
        ("1003", "5003003201F4", Match.POSITIVE),
        ("1003", "5001003201F4", Match.NOT_OURS),
        ("1083", "5003003201F4", Match.POSITIVE),
        ("22F190", "62F19031", Match.POSITIVE),
        ("22F190", "62F18731", Match.NOT_OURS),
        ("22F187F190", "62F19031", Match.POSITIVE),
        ("22F190", "7F2278", Match.PENDING),
        ("22F190", "7F2231", Match.NEGATIVE),
        ("22F190", "7F3131", Match.NOT_OURS),
        ("31010204", "7101020300", Match.NOT_OURS),
        ("31010203", "7101020300", Match.POSITIVE),
        ("31030203", "71010203", Match.NOT_OURS),
        ("1902AF", "5902FF042000 2F", Match.POSITIVE),
        ("1902AF", "5904FF0420002F", Match.NOT_OURS),
        ("14FFFFFF", "54", Match.POSITIVE),
        ("3E00", "7E00", Match.POSITIVE),
        # SAE J1979 pairs (check values, section 2)
        ("010C", "410C1AF8", Match.POSITIVE),
        ("010C", "410D00", Match.NOT_OURS),
        ("01050C0D", "410C1AF80D00", Match.POSITIVE),
        ("020C00", "420C001AF8", Match.POSITIVE),
        ("03", "43010143", Match.POSITIVE),
        ("0902", "490201", Match.POSITIVE),
        ("0902", "490401", Match.NOT_OURS),
    ],
)
def test_pairs(request_: str, answer: str, is_: Match) -> None:
    """Service and echo decide."""
    assert match(b(request_), b(answer)) is is_


@pytest.mark.parametrize(("request_", "answer"), [("31010203", "710102"), ("22F190", "62F1"), ("22F190", "7F22")])
def test_too_short_to_be_the_answer(request_: str, answer: str) -> None:
    """The right service, but the echo or the code is cut off: malformed."""
    with pytest.raises(AnswerMalformed):
        match(b(request_), b(answer))


@given(st.binary(min_size=1, max_size=12), st.binary(min_size=1, max_size=12))
def test_any_bytes_are_sorted_or_malformed(request: bytes, answer: bytes) -> None:
    """No other error comes out; a taken answer carries the request's service."""
    try:
        kind = match(request, answer)
    except AnswerMalformed:
        return
    if kind is Match.POSITIVE:
        assert answer[0] == request[0] + 0x40
    elif kind is not Match.NOT_OURS:
        assert answer[:2] == bytes((0x7F, request[0]))


@given(st.binary(min_size=1, max_size=8), st.binary(min_size=1, max_size=8), st.binary(min_size=1, max_size=8))
def test_what_answers_both_may_confuse_both(first: bytes, second: bytes, answer: bytes) -> None:
    """If one answer would be taken for two requests, the two are known to be confusable."""
    try:
        both = match(first, answer) is Match.POSITIVE and match(second, answer) is Match.POSITIVE
    except AnswerMalformed:
        return
    if both:
        assert may_confuse(first, second)


def test_answers_that_are_not_expected() -> None:
    """The top bit of a sub-function suppresses the positive answer; in other services it is a value."""
    assert not expects_answer(b("3E80"))
    assert not expects_answer(b("1083"))
    assert expects_answer(b("22F190"))
    assert expects_answer(b("3E00"))
