"""Every broken file is refused with exactly the message that is kept; every kind of message has a file."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from .broken_files import GOLDEN, broken, messages

BOOK = Path(__file__).resolve().parents[3] / "src" / "asleft" / "book"
FILES = dict(broken())


def kept() -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for line in GOLDEN.read_text(encoding="utf-8").splitlines():
        if line.startswith("    "):
            found[list(found)[-1]].append(line[4:])
        else:
            found[line] = []
    return found


KEPT = kept()


def test_the_corpus_is_as_large_as_it_should_be() -> None:
    assert len(FILES) >= 150
    assert list(FILES) == list(KEPT)


@pytest.mark.parametrize("name", list(FILES))
def test_the_message_is_the_one_kept(name: str) -> None:
    said = messages(FILES[name])
    assert said, "a broken file was taken"
    assert [whoever(line) for line in said] == [whoever(line) for line in KEPT[name]]


def whoever(line: str) -> str:
    """A message without the parser's own words: libyaml and the pure parser say the same thing differently.

    Long lists of choices are cut: other rooms add to them.
    """
    line = re.sub(r"not readable as YAML \(.*\);", "not readable as YAML;", line)
    return re.sub(r"(one of (?:[a-z-]+, ){3}).*", r"\1…", line)


MODULES = ("check", "check_conditions", "check_reach", "check_steps", "form", "nodes")
IN_CHECKS = r'yield (?:Complaint\((?:\([^)]*\)|path|\*?\w+), |"[a-z-]*", )"([a-z-]+)"'
IN_FORM = r'(?:_say\((?:\([^)]*\)|path), |_Bad\(|_stop\([^,]*(?:\([^)]*\))?, |Complaint\(\(\), )"([a-z-]+)"'


def test_every_kind_of_message_has_a_file() -> None:
    """Kinds named in the loader's own modules; ``type`` stands for a fault of ours and cannot be reached."""
    source = "".join((BOOK / f"{name}.py").read_text("utf-8") for name in MODULES)
    named = {*re.findall(IN_CHECKS, source), *re.findall(IN_FORM, source)} - {"type"}
    said = {line.split(" ")[0] for lines in KEPT.values() for line in lines}
    assert len(named) > 30
    assert named <= said, named - said
