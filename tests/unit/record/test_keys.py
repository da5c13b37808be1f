"""The signing key: made once, for its owner only, useless in any other state."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key

from asleft.model.errors import Code, RecordError
from asleft.record.ed25519 import read_public, signature_holds
from asleft.record.keys import HISTORY_FILE, PRIVATE_FILE, PUBLIC_FILE, SigningKey


def refused(folder: Path, passphrase: bytes | None = None) -> str:
    with pytest.raises(RecordError) as caught:
        SigningKey.load_or_make(folder, passphrase)
    assert caught.value.code is Code.KEY_UNUSABLE
    return caught.value.detail


def test_the_key_is_made_once(tmp_path: Path) -> None:
    first = SigningKey.load_or_make(tmp_path / "keys")
    again = SigningKey.load_or_make(tmp_path / "keys")
    assert first.fingerprint == again.fingerprint
    assert sorted(p.name for p in (tmp_path / "keys").iterdir()) == [PRIVATE_FILE, PUBLIC_FILE, HISTORY_FILE]
    assert SigningKey.load_or_make(tmp_path / "other").fingerprint != first.fingerprint


def test_only_its_owner_may_read_it(tmp_path: Path) -> None:
    SigningKey.load_or_make(tmp_path)
    path = tmp_path / PRIVATE_FILE
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    path.chmod(0o640)
    assert "chmod 600" in refused(tmp_path)


def test_a_passphrase_encrypts_it(tmp_path: Path) -> None:
    key = SigningKey.load_or_make(tmp_path, b"four words of chalk")
    assert b"ENCRYPTED" in (tmp_path / PRIVATE_FILE).read_bytes()
    assert SigningKey.load_or_make(tmp_path, b"four words of chalk").fingerprint == key.fingerprint
    assert "passphrase" in refused(tmp_path)
    assert "passphrase" in refused(tmp_path, b"wrong")


def test_another_kind_of_key_is_refused(tmp_path: Path) -> None:
    pem = generate_private_key(SECP256R1()).private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    (tmp_path / PRIVATE_FILE).write_bytes(pem)
    (tmp_path / PRIVATE_FILE).chmod(0o600)
    assert "Ed25519" in refused(tmp_path)
    (tmp_path / PRIVATE_FILE).write_bytes(b"nothing")
    assert "not a key" in refused(tmp_path)


def test_sign_and_check(tmp_path: Path) -> None:
    key = SigningKey.load_or_make(tmp_path)
    public = read_public((tmp_path / PUBLIC_FILE).read_bytes())
    signature = key.sign(b"head\n")
    assert len(signature) == 64
    assert signature_holds(public, signature, b"head\n")
    assert not signature_holds(public, signature, b"head")
    assert not signature_holds(public, b"", b"head\n")
