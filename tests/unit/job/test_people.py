"""People of a workshop: kept as hashes, found by name and password only."""

from __future__ import annotations

import hashlib
import stat
from pathlib import Path

import pytest

from asleft.job.people import FILE, Role, person_of, put_person, read_people, remove_person
from asleft.model.errors import Code, InputError

WORD = "long enough"


def test_a_person_is_kept_without_the_password(tmp_path: Path) -> None:
    person = put_person(tmp_path, "  M.  Okafor ", Role.LEAD, WORD)
    assert person.name == "M. Okafor"
    assert WORD not in (tmp_path / FILE).read_text()
    assert stat.S_IMODE((tmp_path / FILE).stat().st_mode) == 0o600
    assert person_of(tmp_path, "M. Okafor", WORD) == person
    assert person_of(tmp_path, "M. Okafor", WORD + " ") is None
    assert person_of(tmp_path, "", "") is None
    assert put_person(tmp_path, "M. Okafor", Role.WATCHER, "another one").role is Role.WATCHER
    assert len(read_people(tmp_path)) == 1
    remove_person(tmp_path, "M. Okafor")
    assert read_people(tmp_path) == ()


def test_the_hash_is_scrypt_as_published() -> None:
    """RFC 7914, section 12, third vector (typed from memory of the RFC)."""
    found = hashlib.scrypt(b"pleaseletmein", salt=b"SodiumChloride", n=16384, r=8, p=1, maxmem=2**26, dklen=64)
    assert found.hex().startswith("7023bdcb3afd7348461c06cd81fd38eb")


@pytest.mark.parametrize(
    ("name", "password"), [("", WORD), ("x" * 61, WORD), ("a\x07b", WORD), ("A", "short"), ("A", "x" * 201)]
)
def test_what_cannot_be_used_changes_nothing(tmp_path: Path, name: str, password: str) -> None:
    with pytest.raises(InputError) as error:
        put_person(tmp_path, name, Role.LEAD, password)
    assert error.value.code is Code.PERSON_UNUSABLE
    assert read_people(tmp_path) == ()


@pytest.mark.parametrize("content", [b"{", b"[1]", b'[{"name": "A"}]', b"\xff"])
def test_a_damaged_file_lets_nobody_in_and_says_where(tmp_path: Path, content: bytes) -> None:
    (tmp_path / FILE).write_bytes(content)
    with pytest.raises(InputError, match=FILE):
        person_of(tmp_path, "A", WORD)


def test_roles_are_named_by_words() -> None:
    assert Role.of("Technician") is Role.TECHNICIAN
    with pytest.raises(InputError, match="watcher, technician, lead"):
        Role.of("boss")
    with pytest.raises(InputError, match="nobody is called"):
        remove_person(Path("/nonexistent-folder"), "A")
