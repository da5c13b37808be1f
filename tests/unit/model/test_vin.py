"""VIN: characters and check digit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from vininfo import Vin as IndependentVin

from asleft.model.errors import Code, InputError
from asleft.model.vin import VinCheck, check_character, parse_vin

ALPHABET = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"


@pytest.mark.parametrize(
    ("vin", "check"),
    [
        ("1G4AH59H45G118341", VinCheck.VALID),  # 49 CFR 565, worked example
        ("1J9RP1A36A1644345", VinCheck.VALID),  # NHTSA outline for new manufacturers
        ("1M8GDM9AXKP042788", VinCheck.VALID),  # widely used example
        ("11111111111111111", VinCheck.VALID),  # computed
        ("1M8GDM9A2KP042788", VinCheck.FAILED),  # computed
    ],
)
def test_published_examples(vin: str, check: VinCheck) -> None:
    """Source: 49 CFR 565.15(c) and the examples named beside."""
    assert parse_vin(vin).check is check


def test_failed_check_outside_north_america_is_not_required() -> None:
    """ISO 3779 asks for no check digit (recalled): European VINs often have a letter there."""
    assert parse_vin("W0000000Z00000000").check is VinCheck.NOT_REQUIRED


def test_typed_with_spaces_and_small_letters() -> None:
    assert parse_vin(" 1m8gdm9ax kp042788 ").text == "1M8GDM9AXKP042788"


@pytest.mark.parametrize(
    ("text", "code"),
    [("1M8GDM9AXKP04278", Code.VIN_LENGTH), ("", Code.VIN_LENGTH), ("IM8GDM9AXKP042788", Code.VIN_CHARACTER)],
)
def test_impossible_vins_say_why(text: str, code: Code) -> None:
    with pytest.raises(InputError) as caught:
        parse_vin(text)
    assert caught.value.code is code
    assert caught.value.advice in str(caught.value)


def test_the_position_of_a_wrong_character_is_said() -> None:
    with pytest.raises(InputError, match="'O' at position 14"):
        parse_vin("1M8GDM9AXKP04O788")


@given(st.text(ALPHABET, min_size=17, max_size=17))
def test_agrees_with_an_independent_library(text: str) -> None:
    """vininfo, PyPI; it also checks the model-year character, which is switched off here."""
    right = text[:8] + check_character(text) + text[9:]
    assert IndependentVin(right).verify_checksum(check_year=False)
    wrong = text[:8] + ("0" if check_character(text) != "0" else "1") + text[9:]
    assert not IndependentVin(wrong).verify_checksum(check_year=False)


@given(st.text(max_size=20))
def test_any_text_is_a_vin_or_a_typed_error(text: str) -> None:
    try:
        vin = parse_vin(text)
    except InputError:
        return
    assert len(vin.text) == 17
