"""What a refusal says: its code where the module gave one, and the procedure's words."""

from __future__ import annotations

import pytest

from asleft.model.errors import RefusedError


@pytest.mark.parametrize(
    ("refusal", "detail", "told"),
    [
        (0x22, "conditions not correct", "22 conditions not correct"),
        (0x22, "", "22"),
        (0, "something is in the way", "something is in the way"),
    ],
)
def test_a_code_that_is_none_is_not_told(refusal: int, detail: str, told: str) -> None:
    error = RefusedError(refusal, detail)
    assert error.detail == told
    assert error.refusal == refusal
    assert told in error.sentence()
