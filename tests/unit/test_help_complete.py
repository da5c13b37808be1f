"""Every command, setting, error code and page element stands in the help: the lists against the texts."""

from __future__ import annotations

import importlib.util
import re
from types import ModuleType

import pytest

from asleft.cli.verbs import VERBS
from asleft.job.manual import pages
from asleft.job.workshop import MEANINGS, Workshop
from asleft.model.errors import TEXTS, Code
from asleft.web.headings import TITLES
from conftest import REPO

TEMPLATES = REPO / "src" / "asleft" / "web" / "templates"
PAGE = (REPO / "docs" / "the-page.md").read_text(encoding="utf-8")
REFERENCE = (REPO / "docs" / "reference.md").read_text(encoding="utf-8")
#: What can be pressed or folded, and what heads a part; values put in by the template are left out.
SHOWN = re.compile(
    r"<(?P<kind>button|summary|h1|h2)\b(?:[^>{]|\{\{.*?\}\}|\{%.*?%\})*>(?P<words>.*?)</(?P=kind)>", re.DOTALL
)
PUT_IN = re.compile(r"\{\{.*?\}\}|\{%.*?%\}|<[^>]+>|&[a-z]+;")
WORDS_IN = re.compile(r'"([A-Z][^"]+)"')


@pytest.fixture(scope="module")
def maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("docs", REPO / "scripts" / "make_command_docs.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def plain(text: str) -> str:
    return " ".join(text.replace("*", "").replace("`", "").casefold().split())


def shown() -> set[str]:
    """Words of all buttons, folds and headings of all templates, as far as they are fixed."""
    found: set[str] = set()
    for path in sorted(TEMPLATES.rglob("*.html")):
        for match in SHOWN.finditer(path.read_text(encoding="utf-8")):
            put_in = " ".join(re.findall(r"\{\{.*?\}\}", match["words"], re.DOTALL))
            found |= set(WORDS_IN.findall(put_in)) if " if " in put_in else set()
            found.add(re.split(PUT_IN, match["words"].lstrip())[0])  # what stands before a value is what it is called
    words = {" ".join(text.split()).strip(" :·.,?") for text in found}
    return {text for text in words if len(text) > 3 and re.match("[A-Z]", text)} - {"Job"}


def test_settings_and_error_codes_are_those_of_the_program(maker: ModuleType) -> None:
    assert maker.reference() == REFERENCE, "run scripts/make_command_docs.py"
    assert set(MEANINGS) == set(Workshop.__struct_fields__)
    for name in MEANINGS:
        assert f"| `{name}` |" in REFERENCE
    for code in Code:
        assert f"| `{code.value}` | {TEXTS[code][0]} | {TEXTS[code][1]} |" in REFERENCE


def test_every_variable_of_the_environment_is_told() -> None:
    named = set()
    for path in (REPO / "src" / "asleft").rglob("*.py"):
        named |= set(re.findall(r'"(ASLEFT_[A-Z]+)"', path.read_text(encoding="utf-8")))
    assert len(named) >= 4
    for name in named:
        assert f"| `{name}` |" in REFERENCE, name


def test_every_verb_has_its_text() -> None:
    page = (REPO / "docs" / "commands.md").read_text(encoding="utf-8")
    for verb in VERBS:
        assert re.search(rf"^## asleft {verb}\b", page, re.MULTILINE), verb


def test_every_button_fold_and_heading_is_told() -> None:
    told, words = plain(PAGE), shown()
    assert len(words) > 60
    assert {"Take this order", "Attach it", "Withdraw it", "Find a procedure", "Why in this order"} <= words
    missing = sorted(text for text in {*words, *TITLES.values()} if plain(text) not in told)
    assert not missing


def test_the_help_begins_with_what_a_newcomer_needs() -> None:
    """The pages the help must have, and no link in any of them that leads nowhere."""
    found = pages()
    wanted = ("first-job", "the-page", "links", "write-a-procedure", "proof", "when-it-stops", "record-format",
              "threat-model", "security", "glossary", "commands", "python-api", "reference")  # fmt: skip
    assert set(wanted) <= set(found)
    assert next(iter(found)) == "first-job"
    for name in found:
        text = (REPO / "docs" / f"{name}.md").read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([a-z0-9-]+)\.md(?:#[^)]*)?\)", text):
            assert target in found, (name, target)
