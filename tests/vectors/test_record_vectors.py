"""Signatures, hashes and JSON against outside values and outside programs.

RFC 8032, 7.1 (TEST 1, 2, 3 and SHA(abc)); openssl; sha256sum; the standard library's own JSON reader; RFC 8785, 3.2.2
and appendix B (recalled) for numbers.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from asleft.record.canonical import is_canonical
from asleft.record.ed25519 import public_pem, signature_holds
from asleft.record.export import record_members
from asleft.record.keys import PRIVATE_FILE, SigningKey
from asleft.record.verify import verify
from kit.record_kit import small_record

DOC = Path(__file__).resolve().parents[2] / "docs" / "record-format.md"

#: Secret key, public key, message, signature. Source: RFC 8032, 7.1.
RFC8032 = [
    ("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
     "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
     ("e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655"
      "141438e7a100b")),
    ("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
     "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
     ("92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00"
      "d291612bb0c00")),
    ("c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
     "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
     ("6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc02"
      "7beceea1ec40a")),
]  # fmt: skip


@pytest.fixture
def members(tmp_path: Path) -> dict[str, bytes]:
    return record_members(small_record(tmp_path / "job"), SigningKey.load_or_make(tmp_path / "keys"))


def recipe() -> str:
    """The shell block of the document, as a reader would copy it."""
    block = re.search(r"```sh\n(.*?)```", DOC.read_text("utf-8"), re.DOTALL)
    assert block is not None
    return block[1]


def by_hand(folder: Path, members: dict[str, bytes]) -> tuple[int, str]:
    """Run the document's recipe on the four files."""
    folder.mkdir(exist_ok=True)
    for name, content in members.items():
        (folder / name).write_bytes(content)
    done = subprocess.run(["sh", "-c", recipe()], cwd=folder, capture_output=True, text=True, check=False)
    return done.returncode, done.stdout


@pytest.mark.parametrize(("secret", "public", "message", "signature"), RFC8032)
def test_rfc_8032(secret: str, public: str, message: str, signature: str) -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert SigningKey(key).sign(bytes.fromhex(message)).hex() == signature
    known = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
    assert public_pem(known) == SigningKey(key).public_pem
    assert signature_holds(known, bytes.fromhex(signature), bytes.fromhex(message))
    assert not signature_holds(known, bytes.fromhex(signature), bytes.fromhex(message) + b"\0")


def test_the_vectors_of_the_checks_folder(checks: Path) -> None:
    """The fourth vector, SHA(abc), and the same three again from a second source."""
    for row in json.loads((checks / "vectors" / "crypto.json").read_text())["ed25519_rfc8032_7_1"]:
        key = SigningKey(Ed25519PrivateKey.from_private_bytes(bytes.fromhex(row["sk"])))
        assert key.sign(bytes.fromhex(row["msg"])).hex() == row["sig"]
        assert key.fingerprint == hashlib.sha256(bytes.fromhex(row["pk"])).hexdigest()


def test_openssl_reads_our_keys_and_we_its_signatures(tmp_path: Path) -> None:
    openssl = shutil.which("openssl")
    assert openssl
    key = SigningKey.load_or_make(tmp_path)
    (tmp_path / "m").write_bytes(b"head\n")
    private = str(tmp_path / PRIVATE_FILE)
    public = subprocess.run([openssl, "pkey", "-in", private, "-pubout"], capture_output=True, check=True).stdout
    assert public == key.public_pem
    arguments = ["pkeyutl", "-sign", "-inkey", private, "-rawin", "-in", str(tmp_path / "m")]
    assert subprocess.run([openssl, *arguments], capture_output=True, check=True).stdout == key.sign(b"head\n")


def test_the_recipe_of_the_document_finds_a_good_record_intact(tmp_path: Path, members: dict[str, bytes]) -> None:
    status, said = by_hand(tmp_path / "r", members)
    assert status == 0, said
    assert said.endswith(f"INTACT: 9 events, head {members['head'].decode()}")
    assert verify(tmp_path / "r").intact


DAMAGE = {
    "a changed digit": ("events.jsonl", lambda b: b.replace(b"88.5", b"88.6")),
    "a changed sequence": ("events.jsonl", lambda b: b.replace(b'"sequence":4,', b'"sequence":5,')),
    "a changed closing event": ("events.jsonl", lambda b: b.replace(b"left as shown", b"left as shewn")),
    "a NUL put in": ("events.jsonl", lambda b: b[:100] + b"\0" + b[100:]),
    "a carriage return": ("events.jsonl", lambda b: b.replace(b"\n", b"\r\n")),
    "a line deleted": ("events.jsonl", lambda b: b.replace(b.splitlines(keepends=True)[3], b"")),
    "the last line deleted": ("events.jsonl", lambda b: b"".join(b.splitlines(keepends=True)[:-1])),
    "the first line deleted": ("events.jsonl", lambda b: b"".join(b.splitlines(keepends=True)[1:])),
    "an empty line": ("events.jsonl", lambda b: b + b"\n"),
    "something after the end": ("events.jsonl", lambda b: b + b"{}"),
    "no end": ("events.jsonl", lambda b: b[:-1]),
    "another head": ("head", lambda b: b"0" * 64 + b"\n"),
    "a head without its end": ("head", lambda b: b[:-1]),
    "a bit of the signature": ("head.sig", lambda b: bytes([b[0] ^ 1]) + b[1:]),
    "a short signature": ("head.sig", lambda b: b[:-1]),
    "no key": ("key.pem", lambda b: b""),
    "another hash in a seal": ("seals.jsonl", lambda b: b[:10] + (b"0" if b[10:11] != b"0" else b"1") + b[11:]),
    "another signature in a seal": ("seals.jsonl", lambda b: b.replace(b'"signature":"', b'"signature":"A', 1)),
    "a seal twice": ("seals.jsonl", lambda b: b + b),
    "no seal": ("seals.jsonl", lambda b: b""),
    "a seal with a field more": ("seals.jsonl", lambda b: b.replace(b'"hash"', b'"had":"","hash"')),
    "a changed statement": ("keys.jsonl", lambda b: b.replace(b'"wall":""', b'"wall":"2031"')),
    "a statement twice": ("keys.jsonl", lambda b: b + b),
    "no history": ("keys.jsonl", lambda b: b""),
    "another act": ("keys.jsonl", lambda b: b.replace(b'"made"', b'"replaced"')),
}  # fmt: skip


@pytest.mark.parametrize("name", DAMAGE)
def test_the_recipe_and_the_program_agree_on_damage(tmp_path: Path, members: dict[str, bytes], name: str) -> None:
    member, change = DAMAGE[name]
    damaged = {**members, member: change(members[member])}
    assert damaged[member] != members[member]
    status, said = by_hand(tmp_path / "r", damaged)
    assert status != 0, said
    assert not verify(tmp_path / "r").intact


def test_an_independent_reader_sees_the_same_chain(members: dict[str, bytes]) -> None:
    """json, hashlib and nothing of ours: parsed, written canonically by other means, hashed, compared."""
    previous = "0" * 64
    for number, line in enumerate(members["events.jsonl"].splitlines(), 1):
        event = json.loads(line)
        assert (event["sequence"], event["previous"]) == (number, previous)
        if not re.search(rb"[0-9]e[-+]|1e\+21", line):
            again = json.dumps(event, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()
            assert re.sub(rb"(?<=[0-9])\.0(?=[,}\]])", b"", again) == line
        previous = hashlib.sha256(line).hexdigest()
    assert members["head"] == f"{previous}\n".encode()


#: Canonical and other forms. Source: RFC 8785, 3.2.2.3 and appendix B; recalled.
CANONICAL = ["0", "1e+21", "1e-7", "0.000001", "123456789012345680000", "4.5", '"\\u000f"', '"\\b"', '"€"', '"\\""',
             '{"a":1,"b":2}', "[]", "null", "true", '"\\u001f"', '"\u007f"', "-5", "5e-324"]  # fmt: skip
OTHER = ["0.0", "-0", "1e21", "1E+21", "1.0e-7", "0.0000001", "4.50", '"\\u000F"', '"\\u0008"', '"\\u20ac"', '"\\/"',
         '{"b":2,"a":1}', '{"a":1,"a":1}', "[ ]", " null", "1 ", "NaN", "Infinity", "01", "", "{", "'a'",
         "9007199254740993.0", "1e400", '"\\u007f"', "[1,]"]  # fmt: skip


@pytest.mark.parametrize("text", CANONICAL)
def test_canonical(text: str) -> None:
    assert is_canonical(text.encode())


@pytest.mark.parametrize("text", OTHER)
def test_not_canonical(text: str) -> None:
    assert not is_canonical(text.encode())
