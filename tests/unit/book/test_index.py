"""The index: warm starts read nothing again, changes are seen, searches are ranked; parcels are signed data."""

from __future__ import annotations

import base64
import json
import os
from pathlib import Path

import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from asleft.book import index as index_module
from asleft.book.index import open_book
from asleft.book.loader import ProcedureError
from asleft.book.parcel import keep, pack, unpack
from asleft.book.shelf import OWN_FOLDER, load_book
from asleft.model.errors import Code, InputError
from asleft.model.vin import Vin, VinCheck
from asleft.model.work import Vehicle

TEXT = (OWN_FOLDER / "throttle-stop-learn-aldra.yaml").read_text(encoding="utf-8")
CAR = Vehicle(Vin("EZAL16DT0KG000001", VinCheck.NOT_REQUIRED), "Aldra", "1.6", 2012)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    book = tmp_path / "book"
    book.mkdir()
    (book / "a.yaml").write_text(TEXT, encoding="utf-8")
    other = TEXT.replace("learn-aldra\n", "learn-brevik\n").replace("make: Aldra", "make: Brevik")
    (book / "b.yaml").write_text(other, encoding="utf-8")
    (book / "bad.yaml").write_text("id: bad\n", encoding="utf-8")
    return book


def test_a_warm_start_reads_no_file_again(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cold = open_book(folder, folder / "x.index")
    assert {h.id for h in cold.headers} == {"throttle-stop-learn-aldra", "throttle-stop-learn-brevik"}
    assert {r.file for r in cold.problems} == {"bad.yaml"}

    def never(path: Path) -> None:
        raise AssertionError(path)

    monkeypatch.setattr(index_module, "load_procedure", never)
    warm = open_book(folder, folder / "x.index")
    assert warm.files == cold.files


def test_changes_are_seen(folder: Path) -> None:
    open_book(folder, folder / "x.index")
    (folder / "b.yaml").unlink()
    (folder / "bad.yaml").write_text(TEXT.replace("learn-aldra\n", "learn-corvane\n"), encoding="utf-8")
    os.utime(folder / "bad.yaml", ns=(1, 1))
    book = open_book(folder, folder / "x.index")
    assert {h.id for h in book.headers} == {"throttle-stop-learn-aldra", "throttle-stop-learn-corvane"}
    assert not book.problems


@pytest.mark.parametrize("damage", [b"", b"\x00\xff", b"\x81\xa1v\x01"])
def test_a_damaged_index_is_made_anew(folder: Path, damage: bytes) -> None:
    open_book(folder, folder / "x.index")
    (folder / "x.index").write_bytes(damage)
    assert len(open_book(folder, folder / "x.index").headers) == 2


def test_search_by_words_car_and_numbers(folder: Path) -> None:
    book = open_book(folder, folder / "x.index")
    assert book.search("throttle brevik")[0].header.id == "throttle-stop-learn-brevik"
    assert book.search("throttle brevik", CAR)[0].header.id == "throttle-stop-learn-aldra"
    second = book.search("throttle brevik", CAR)[1]
    assert [m.text for m in second.differs] == ["make: it is for Brevik, not Aldra"]
    assert [m.text for m in second.reasons] == ["has brevik", "has throttle"]
    assert book.search("", CAR)[0].reasons[0].text == "fits this car exactly"
    assert [m.text for m in book.search("thrott", CAR)[0].reasons] == [
        "fits this car exactly",
        "throttle begins with thrott",
    ]
    assert book.search("ENG-1620-2")
    assert book.search("thrott")
    assert not book.search("windscreen")
    assert book.load("throttle-stop-learn-aldra").text == TEXT
    with pytest.raises(InputError, match="nearest is throttle-stop-learn-aldra"):
        book.load("throttle-stop-learn-aldr")


KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))


def parcel() -> bytes:
    return pack(load_book(OWN_FOLDER).procedures, "Gable Street Motors", KEY)


def test_a_parcel_comes_back_as_it_was(tmp_path: Path) -> None:
    received = unpack(parcel())
    assert received.sender == "Gable Street Motors"
    assert {p.text for p in received.procedures} == {p.text for p in load_book(OWN_FOLDER).procedures}
    assert unpack(parcel(), [received.key])
    paths = keep(received, tmp_path)
    assert keep(received, tmp_path) == paths
    paths[0].write_text("other", encoding="utf-8")
    with pytest.raises(InputError, match="nothing was written"):
        keep(received, tmp_path)


def signed(files: dict[str, str], **more: object) -> bytes:
    key = KEY.public_key().public_bytes_raw().hex()
    unsigned = {"format": "asleft-parcel-v0", "sender": "x", "key": key, "files": files}

    return rfc8785.dumps(
        {**unsigned, "signature": base64.b64encode(KEY.sign(rfc8785.dumps(unsigned))).decode(), **more}
    )


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "parcel"),
        (b"[" * 100_000, "parcel"),
        (b"{}", "missing required field"),
        (parcel().replace(b"high: 60", b"high: 66"), "signature does not fit"),
        (parcel().replace(b"Gable Street", b"Cable Street"), "signature does not fit"),
        (signed({"../p.yaml": TEXT}), "is no name"),
        (signed({"p.sh": TEXT}), "is no name"),
        (signed({"other.yaml": TEXT}), "holds throttle-stop-learn-aldra"),
        (signed({}, program="/bin/sh"), "unknown field"),
        (b" " * 20_000_001, "bytes; at most"),
    ],
)
def test_what_is_no_parcel_is_refused_whole(data: bytes, said: str) -> None:
    with pytest.raises(InputError) as caught:
        unpack(data)
    assert caught.value.code is Code.PARCEL_BAD
    assert said in str(caught.value)


def test_a_procedure_with_errors_and_a_strange_key_are_refused() -> None:
    with pytest.raises(ProcedureError):
        unpack(signed({"p.yaml": "id: p\n"}))
    with pytest.raises(InputError, match="not trusted"):
        unpack(parcel(), ["00" * 32])
    assert json.loads(parcel())["format"] == "asleft-parcel-v0"
