"""The small values: what they refuse, and what is kept apart."""

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.model.effect import Effect, Reaction, Settle
from asleft.model.errors import TEXTS, Code, LinkError, ModuleError
from asleft.model.frame import CanFrame
from asleft.model.message import say
from asleft.model.module import Item, ModuleAddress, ModulePicture, Picture, PictureKind, differences
from asleft.model.origin import Origin
from asleft.model.reading import Absence, AbsenceKind, Reading, Series
from asleft.model.step import (
    Clear,
    KeyCycle,
    Observe,
    RoutineStart,
    Step,
    effect_of,
    reaction_of,
    repeatable,
    settle_of,
)
from asleft.model.trouble import TroubleCode
from asleft.model.verdict import Judgement, LimitOwner, Limits, Reason, Rule, Verdict, overall

LIMITS = Limits(0, 1, "V", LimitOwner.OURS)


def judged(verdict: Verdict, rule: Rule = Rule.GUARDED) -> Judgement:
    reasons = (Reason.TOO_FEW,) if verdict is Verdict.CANNOT_TELL else ()
    return Judgement("c", "c", verdict, LIMITS, rule, reasons=reasons)


def test_a_reading_is_a_value_or_an_absence_never_both() -> None:
    with pytest.raises(ValueError, match="either"):
        Reading("x", None, "V", 0.0, 0.0, Origin.BENCH)
    with pytest.raises(ValueError, match="either"):
        Reading("x", 1.0, "V", 0.0, 0.0, Origin.BENCH, absence=Absence(AbsenceKind.NOT_READ))


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_reading_is_finite(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        Reading("x", value, "V", 0.0, 0.0, Origin.BENCH)


def test_a_series_has_as_many_times_as_values() -> None:
    with pytest.raises(ValueError, match="as many"):
        Series("x", "V", (0.0,), (), 0.1)


def test_a_verdict_without_reason_is_refused() -> None:
    with pytest.raises(ValueError, match="reasons"):
        Judgement("c", "c", Verdict.CANNOT_TELL, LIMITS, Rule.GUARDED)
    with pytest.raises(ValueError, match="uncertainty"):
        Judgement("c", "c", Verdict.PASS, LIMITS, Rule.GUARDED, value=1.0)


@given(st.lists(st.sampled_from(list(Verdict)), max_size=8))
def test_nothing_is_averaged(verdicts: list[Verdict]) -> None:
    """One FAIL fails the whole, however many PASS stand beside it; nothing judged is no PASS."""
    whole = overall(tuple(judged(v) for v in verdicts))
    if Verdict.FAIL in verdicts:
        assert whole is Verdict.FAIL
    elif Verdict.CANNOT_TELL in verdicts or not verdicts:
        assert whole is Verdict.CANNOT_TELL
    else:
        assert whole is Verdict.PASS


def test_reported_values_do_not_count_as_passed() -> None:
    assert overall((judged(Verdict.PASS, Rule.REPORT_ONLY),)) is Verdict.CANNOT_TELL


def test_every_code_has_cause_and_advice() -> None:
    assert set(TEXTS) == set(Code)
    error = ModuleError(Code.MODULE_SILENT, "engine 7E0", "22 F1 90")
    assert str(error).startswith("22 F1 90: ")
    assert error.cause in str(error)
    assert error.advice in str(error)
    assert "[module-silent]" in str(error)


@pytest.mark.parametrize("frame", [{"id": 0x800}, {"id": -1}, {"id": 0x20000000, "extended": True}])
def test_impossible_identifiers(frame: dict[str, int]) -> None:
    with pytest.raises(LinkError):
        CanFrame(data=b"", **frame)


@pytest.mark.parametrize(
    ("length", "fd", "good"), [(8, False, True), (9, False, False), (9, True, False), (64, True, True)]
)
def test_data_lengths(length: int, fd: bool, good: bool) -> None:
    if good:
        CanFrame(1, bytes(length), fd=fd)
        return
    with pytest.raises(LinkError):
        CanFrame(1, bytes(length), fd=fd)


def test_steps_say_their_effect() -> None:
    """Only what needs a receipt may not be repeated by itself, and it says how it is settled."""
    steps: list[Step] = [
        RoutineStart("a"),
        Clear("b"),
        KeyCycle("c"),
        Observe("d", "sweep", ("engine-speed",), 3.0, "sweep"),
    ]
    assert [effect_of(s) for s in steps] == [Effect.ACTUATES, Effect.CLEARS, Effect.READS, Effect.READS]
    assert [repeatable(s) for s in steps] == [False, False, True, True]
    assert [settle_of(s) for s in steps] == [Settle.ROUTINE_RESULT, Settle.CODES_READ_AGAIN, None, None]
    assert reaction_of(steps[1]) is Reaction.FINISH


def test_an_unknown_field_of_a_step_is_refused() -> None:
    with pytest.raises(msgspec.ValidationError, match="second"):
        msgspec.convert({"type": "observe", "id": "a", "text": "", "signals": [], "second": 3, "save": ""}, Step)


def test_a_message_keeps_its_id_and_shows_a_missing_value() -> None:
    message = say("x.y", "coolant {value} °C, {gone}", value=58)
    assert message.text == "coolant 58 °C, {gone}"
    assert message.id == "x.y"


def test_differences_between_pictures_name_module_and_key() -> None:
    address = ModuleAddress("engine", 0x7E0, 0x7E8)
    before = ModulePicture(
        address, True, coding=(Item("coding", "coding", "01"),), codes=(TroubleCode("P2176", "engine"),)
    )
    after = ModulePicture(address, True, coding=(Item("coding", "coding", "02"),))
    silent = ModulePicture(ModuleAddress("body", 0x740, 0x748), False)
    a = Picture(PictureKind.AS_FOUND, 0, 1, (before, silent))
    b = Picture(PictureKind.AS_LEFT, 2, 3, (after, silent))
    found = {(d.module, d.key): (d.before, d.after) for d in differences(a, b)}
    assert found == {("engine", "coding"): ("01", "02"), ("engine", "code:stored:P2176"): ("present", "absent")}
    assert differences(a, a) == ()
