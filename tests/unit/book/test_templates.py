"""Catalogue and templates: one of each for every function, lint-clean, dry-run with the blanks named."""

from __future__ import annotations

import pytest

from asleft.book.catalogue_entries import CAUTION_WORDS, USUAL_CAUTION, Hazard, catalogue
from asleft.book.dry_run import blanks, dry_run
from asleft.book.functions import FUNCTIONS, HARD_STOPS
from asleft.book.lint import lint_book
from asleft.book.loader import ProcedureError, read_procedure
from asleft.book.procedure import SourceKind, Way
from asleft.book.remark import Level
from asleft.book.shelf import OWN_FOLDER, TEMPLATES, load_book

BOOK = load_book(OWN_FOLDER, TEMPLATES)
BY_FUNCTION = {p.procedure.function: p for p in BOOK.procedures if p.procedure.source.kind is SourceKind.TEMPLATE}


def test_every_function_has_an_entry_and_a_template() -> None:
    assert set(catalogue()) == set(BY_FUNCTION) == set(FUNCTIONS)


def test_catalogue_templates_and_our_procedures_are_clean() -> None:
    assert not BOOK.problems
    assert [r.text for r in lint_book(BOOK.procedures) if r.level is not Level.GAP] == []


@pytest.mark.parametrize("slug", list(FUNCTIONS))
def test_every_template_dry_runs_and_names_its_blanks(slug: str) -> None:
    procedure = BY_FUNCTION[slug].procedure
    assert procedure.ways.offered
    for way in procedure.ways.offered:
        lines = dry_run(procedure, way)
        assert lines
        if procedure.identifier is not None and way is Way.BY_WIRE:
            assert any("identifier not given yet" in m.text for m in blanks(lines))
            assert not any(s.startswith("31") for line in lines for s in line.sends)


@pytest.mark.parametrize("slug", sorted(HARD_STOPS))
def test_hard_stops_act_on_nothing_by_wire(slug: str) -> None:
    loaded = BY_FUNCTION[slug]
    assert Way.BY_WIRE not in loaded.procedure.ways.offered
    bad = loaded.text.replace("ways:\n", "ways:\n  by-wire:\n    - {type: clear, id: clear}\n")
    with pytest.raises(ProcedureError, match=HARD_STOPS[slug].value):
        read_procedure(bad.encode(), "p.yaml")


def test_no_function_writes_to_a_restraint_module() -> None:
    text = BY_FUNCTION["module-coding"].text.replace("module: body", "module: restraint")
    with pytest.raises(ProcedureError, match="writes nothing to a restraint module"):
        read_procedure(text.encode(), "p.yaml")


@pytest.mark.parametrize("hazard", list(Hazard))
def test_the_usual_caution_is_one_the_lint_knows(hazard: Hazard) -> None:
    assert any(word in USUAL_CAUTION[hazard].casefold() for word in CAUTION_WORDS[hazard])


def test_state_and_risk_agree_with_the_function() -> None:
    for slug, loaded in BY_FUNCTION.items():
        assert loaded.procedure.state in {p.state for p in FUNCTIONS[slug].parts}
        assert loaded.procedure.risk == FUNCTIONS[slug].risk
        assert loaded.procedure.state in {p.state for p in FUNCTIONS[slug].parts}
