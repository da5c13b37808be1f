"""The book: exact fits, what differs, bad files beside good ones."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.book.columns import columns_of
from asleft.book.fit import CarFacts, differs
from asleft.book.procedure import Applies, ModuleNumbers, Propulsion
from asleft.book.shelf import OWN_FOLDER, load_book
from asleft.model.errors import Code, InputError
from asleft.model.vin import Vin, VinCheck
from asleft.model.work import Vehicle

VIN = Vin("EZAL16DT0KG000001", VinCheck.NOT_REQUIRED)
FUNCTION = "throttle-stop-learn"


def car(make: str = "Aldra", model: str = "1.6", year: int | None = 2012) -> Vehicle:
    return Vehicle(VIN, make, model, year)


def test_exact_fit() -> None:
    found = load_book(OWN_FOLDER).fitting(FUNCTION, car())
    assert found is not None
    assert found.procedure.id == "throttle-stop-learn-aldra"


def test_case_and_spaces_are_forgiven() -> None:
    assert load_book(OWN_FOLDER).fitting(FUNCTION, car(" aldra", "1.6 ")) is not None


@pytest.mark.parametrize(
    ("vehicle", "says"),
    [
        (car("Brevik"), "make: it is for Aldra, not Brevik"),
        (car(model="1.8"), "model: it is for 1.6, not 1.8"),
        (car(year=2009), "model year 2009; it is for 2010 to 2020"),
        (car(year=None), "model year not given; it is for 2010 to 2020"),
        (car(model=""), "model: it is for 1.6, not (not given)"),
    ],
)
def test_what_is_near_is_shown_with_what_differs_and_not_taken(vehicle: Vehicle, says: str) -> None:
    book = load_book(OWN_FOLDER)
    assert book.fitting(FUNCTION, vehicle) is None
    assert [m.text for m in book.for_function(FUNCTION, vehicle)[0].differs] == [says]


def test_a_bad_file_does_not_take_the_others_with_it(tmp_path: Path) -> None:
    good = (OWN_FOLDER / "throttle-stop-learn-aldra.yaml").read_text(encoding="utf-8")
    (tmp_path / "a.yaml").write_text("id: broken\n", encoding="utf-8")
    (tmp_path / "b.yaml").write_text(good, encoding="utf-8")
    (tmp_path / "c.yaml").write_text(good, encoding="utf-8")
    book = load_book(tmp_path)
    assert [p.procedure.id for p in book.procedures] == ["throttle-stop-learn-aldra"]
    assert {r.file for r in book.problems} == {"a.yaml", "c.yaml"}


def test_unknown_names() -> None:
    book = load_book(OWN_FOLDER)
    with pytest.raises(InputError, match="nearest is throttle-stop-learn-aldra") as caught:
        book.procedure("throttle-stop-learn-aldro")
    assert caught.value.code is Code.PROCEDURE_MISSING
    with pytest.raises(InputError, match="no such folder"):
        load_book(Path("/nowhere"))


_TEXTS = st.sampled_from(["", "Aldra", "aldra ", "Brevik", "1.6"])


@given(
    applies=st.builds(
        Applies,
        make=_TEXTS,
        model=_TEXTS,
        years=st.sampled_from([None, (2010, 2020), (2011, 2011)]),
        propulsion=st.sampled_from([None, *Propulsion]),
        engine=_TEXTS,
        numbers=st.sampled_from([(), (ModuleNumbers("E-1"),), (ModuleNumbers("E-1", "S-2"), ModuleNumbers("E-2"))]),
    ),
    make=_TEXTS,
    year=st.sampled_from([None, 2009, 2011]),
    facts=st.builds(
        CarFacts,
        engine=_TEXTS,
        propulsion=st.sampled_from([None, Propulsion.PETROL]),
        numbers=st.sampled_from([(), (ModuleNumbers("E-1", "S-1"),), (ModuleNumbers("E-1", "S-2"),)]),
    ),
)
def test_counting_what_differs_is_as_long_as_telling_it(
    applies: Applies, make: str, year: int | None, facts: CarFacts
) -> None:
    vehicle = Vehicle(Vin("EZAL16DT0KG000001", VinCheck.NOT_REQUIRED), make, "1.6", year)
    places = (None, applies, Applies(make="Aldra"))
    counted = columns_of(places).missed(vehicle, facts, places)
    assert [*counted[1:]] == [len(differs(one, vehicle, facts)) for one in places[1:] if one is not None]


def test_module_numbers_and_engine_must_be_known_to_fit() -> None:
    vehicle = Vehicle(Vin("EZAL16DT0KG000001", VinCheck.NOT_REQUIRED), "Aldra", "1.6", 2012)
    applies = Applies(make="Aldra", engine="A16", numbers=(ModuleNumbers("ENG-1"), ModuleNumbers("ENG-2", "S2")))
    told = [m.text for m in differs(applies, vehicle)]
    assert told == [
        "engine: it is for A16, not (not given)",
        "the module's numbers are not read yet; it is for ENG-1, ENG-2 S2",
    ]
    other = CarFacts(engine="a 16", numbers=(ModuleNumbers("ENG-2", "S3"),))
    assert [m.text for m in differs(applies, vehicle, other)] == ["module numbers ENG-2 S3; it is for ENG-1, ENG-2 S2"]
    assert not differs(applies, vehicle, CarFacts(engine="A16", numbers=(ModuleNumbers("ENG-1", "any"),)))
