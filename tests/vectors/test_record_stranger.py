"""A verifier written from docs/record-format.md alone, by somebody who had read nothing else: it finds the same."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from asleft.record.plainzip import packed
from asleft.record.verify import verify, verify_members
from kit.damage import KINDS, damaged, good_record
from kit.stranger_verifier import check

RECORDS = Path(__file__).resolve().parent / "records"
EVERY = sorted(RECORDS.glob("v*/*.zip"))


@pytest.fixture(scope="module")
def members(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    return good_record(tmp_path_factory.mktemp("good"))


@pytest.mark.parametrize("path", EVERY, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_golden_records_are_intact(tmp_path: Path, path: Path) -> None:
    assert check(str(path)) == []
    with zipfile.ZipFile(path) as archive:
        archive.extractall(tmp_path / "r")
    assert check(str(tmp_path / "r")) == []


@pytest.mark.parametrize("kind", KINDS)
def test_it_agrees_on_twenty_damaged_ones_of_each_kind(tmp_path: Path, members: dict[str, bytes], kind: str) -> None:
    path = tmp_path / "r.zip"
    for seed in (1, 2):
        for text, changed in damaged(members, kind, 20, seed=seed):
            path.write_bytes(packed(changed))
            assert not verify_members(changed).intact, text
            assert check(str(path)), text


def test_it_agrees_on_containers(tmp_path: Path, members: dict[str, bytes]) -> None:
    path, plain = tmp_path / "r.zip", packed(members)
    path.write_bytes(plain)
    assert check(str(path)) == []
    shifted = plain[:11] + b"\1" + plain[12:]
    for content in (b"", plain + b"x", b"x" + plain, plain[:-1], shifted, packed({**members, "more": b""})):
        path.write_bytes(content)
        assert check(str(path))
        assert not verify(path).intact
