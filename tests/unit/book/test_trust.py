"""Trust: unseen second typing, levels, and what each may do; a changed number returns to draft."""

from __future__ import annotations

import pytest

from asleft.book.loader import LoadedProcedure, read_procedure
from asleft.book.procedure import Way
from asleft.book.shelf import OWN_FOLDER
from asleft.book.trust import Trust, TrustNote, level_of, may, numbers_of, retype
from asleft.model.errors import Code, InputError
from asleft.model.origin import Origin

TEXT = (OWN_FOLDER / "throttle-stop-learn-aldra.yaml").read_text(encoding="utf-8")
ON = "2026-01-05T10:00:00Z"


def load(text: str = TEXT) -> LoadedProcedure:
    return read_procedure(text.encode(), "p.yaml")


def typed(loaded: LoadedProcedure) -> dict[str, str]:
    return {n.place: n.text for n in numbers_of(loaded)}


def test_every_number_and_printed_identifier_is_asked_for() -> None:
    places = typed(load())
    assert places["entry[3].low"] == "12"
    assert places["identifier.rows[2].identifier"] == "0x5A31"
    assert places["criteria[1].limits.high"] == "1.2"
    assert not any("every-s" in place for place in places)


def test_a_second_person_makes_it_checked_and_a_changed_number_unmakes_it() -> None:
    loaded = load()
    check = retype(loaded, typed(loaded), "L. Brandt", ON, 0)
    note = TrustNote(loaded.procedure.id, (check,))
    assert level_of(loaded) is Trust.DRAFT
    assert level_of(loaded, note) is Trust.CHECKED
    assert level_of(load(TEXT.replace("high: 60", "high: 65")), note) is Trust.DRAFT
    assert level_of(load(TEXT.replace("text: car standing", "text: car at rest")), note) is Trust.CHECKED
    assert level_of(loaded, TrustNote(loaded.procedure.id, (check,), "wrong edition")) is Trust.WITHDRAWN


def test_alone_only_after_a_pause_and_marked() -> None:
    loaded = load()
    with pytest.raises(InputError, match="after 20 h"):
        retype(loaded, typed(loaded), " m. okafor", ON, 1)
    check = retype(loaded, typed(loaded), "M. Okafor", ON, 24)
    assert level_of(loaded, TrustNote(loaded.procedure.id, (check,))) is Trust.SELF_CHECKED


@pytest.mark.parametrize(
    ("place", "text"), [("entry[3].low", "12.5"), ("entry[3].low", ""), ("identifier.rows[2].identifier", "0x5A13")]
)
def test_what_differs_is_named_without_its_right_value(place: str, text: str) -> None:
    loaded = load()
    with pytest.raises(InputError) as caught:
        retype(loaded, {**typed(loaded), place: text}, "L. Brandt", ON, 0)
    assert caught.value.code is Code.CHECK_FAILED
    assert place in caught.value.detail
    assert "5A31" not in caught.value.detail


def test_the_same_number_in_another_form_is_the_same() -> None:
    loaded = load()
    assert retype(loaded, {**typed(loaded), "entry[3].low": "12.0"}, "L. Brandt", ON, 0)


@pytest.mark.parametrize(
    ("level", "way", "origin", "acts", "allowed"),
    [
        (Trust.DRAFT, Way.BY_WIRE, Origin.BENCH, True, True),
        (Trust.DRAFT, Way.BY_WIRE, Origin.VEHICLE, True, False),
        (Trust.DRAFT, Way.BY_WIRE, Origin.VEHICLE, False, True),
        (Trust.DRAFT, Way.BESIDE, Origin.VEHICLE, False, True),
        (Trust.CHECKED, Way.BY_WIRE, Origin.VEHICLE, True, True),
        (Trust.SELF_CHECKED, Way.BY_WIRE, Origin.VEHICLE, True, True),
        (Trust.QUICK, Way.BESIDE, Origin.VEHICLE, False, True),
        (Trust.QUICK, Way.BY_WIRE, Origin.BENCH, True, False),
        (Trust.WITHDRAWN, Way.BESIDE, Origin.BENCH, False, False),
    ],
)
def test_what_each_level_may_do(level: Trust, way: Way, origin: Origin, acts: bool, allowed: bool) -> None:
    assert (may(level, way, origin, acts=acts) is None) == allowed
