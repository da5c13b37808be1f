"""Codes printed on parts, typed: a look-alike, a wrong check character, another part's code are refused with why."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.bench.physics.injectors import ALPHABET, check_character, encode
from asleft.model.step_more import TypeIn
from asleft.run.waiting import complaint

STEP = TypeIn("c", "code", "c", length=8, letters=ALPHABET, weights=(2, 3, 4, 5, 6, 7, 8), modulus=31)
GOOD = encode(0.5, "ABCDE")


def test_the_benchs_own_code_fits() -> None:
    assert complaint(STEP, GOOD) is None


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        (GOOD[:-1], "7 characters; the code has 8"),
        ("0" + GOOD[1:], "0 at place 1 does not occur"),
        ("O" + GOOD[1:], "perhaps Q"),
        (GOOD[:3] + ("B" if GOOD[3] != "B" else "C") + GOOD[4:], "check character does not fit"),
    ],
)
def test_a_slip_is_named(typed: str, why: str) -> None:
    said = complaint(STEP, typed)
    assert said is not None
    assert why in said.text


@given(st.text(ALPHABET, min_size=7, max_size=7), st.integers(0, 7), st.sampled_from(ALPHABET))
def test_one_wrong_character_never_fits(body: str, place: int, other: str) -> None:
    code = body + check_character(body)
    wrong = code[:place] + other + code[place + 1 :]
    assert (complaint(STEP, wrong) is None) is (wrong == code)
