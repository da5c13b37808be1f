"""Time stamps made by openssl: held, and refused for every reason there is; openssl is asked for the same."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from asleft.model.errors import RecordError
from asleft.record.timestamp import check_stamp
from kit.stamping import Stamper

HEAD = b"ab" * 32 + b"\n"


@pytest.fixture(scope="module", params=["ec", "rsa"])
def stamper(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Stamper:
    return Stamper(tmp_path_factory.mktemp("stamper"), request.param)


@pytest.fixture(scope="module")
def token(stamper: Stamper) -> bytes:
    return stamper.token(HEAD)


@pytest.mark.parametrize("digest", ["sha256", "sha384", "sha512"])
def test_it_holds_and_is_believed_with_the_authority(stamper: Stamper, digest: str) -> None:
    token = stamper.token(HEAD, digest=digest)
    stamp = check_stamp(token, HEAD, stamper.authority)
    assert (stamp.problem, stamp.believed, stamp.by) == ("", True, "CN=Gable Street stamps")
    assert stamp.time.endswith("Z")
    assert stamper.openssl_verifies(token, HEAD)


def test_without_the_authority_nobody_vouches(stamper: Stamper, token: bytes, tmp_path: Path) -> None:
    alone = check_stamp(token, HEAD)
    assert (alone.problem, alone.believed) == ("", False)
    other = Stamper(tmp_path / "other")
    assert not check_stamp(token, HEAD, other.authority).believed
    assert check_stamp(token, HEAD, stamper.certificate).believed


def test_over_other_bytes(stamper: Stamper, token: bytes) -> None:
    stamp = check_stamp(token, HEAD[:-1], stamper.authority)
    assert "other bytes" in stamp.problem
    assert stamp.time
    assert not stamper.openssl_verifies(token, HEAD[:-1])


def test_without_its_certificate(stamper: Stamper) -> None:
    token = stamper.token(HEAD, certificate=False)
    assert "neither in it nor given" in check_stamp(token, HEAD, stamper.authority).problem
    assert check_stamp(token, HEAD, stamper.authority + stamper.certificate).believed


def test_an_answer_instead_of_the_token_and_what_is_no_token(token: bytes) -> None:
    for content in (b"", b"\x30", b"\x30\x00", b"0" * 100, token[:-1], token + b"\0", b"\x30\x80\x00\x00"):
        stamp = check_stamp(content, HEAD)
        assert stamp.problem
        assert not stamp.believed
    with pytest.raises(RecordError):
        check_stamp(token, HEAD, b"no certificate")


def test_any_changed_bit_is_refused_or_makes_no_difference_to_openssl_either(stamper: Stamper, token: bytes) -> None:
    """Only bits outside what is signed may change unseen: then openssl, asked for the same, accepts them too."""
    chance = random.Random(7)
    unseen = 0
    for _ in range(400):
        place, bit = chance.randrange(len(token)), chance.randrange(8)
        changed = bytearray(token)
        changed[place] ^= 1 << bit
        stamp = check_stamp(bytes(changed), HEAD, stamper.authority)
        if stamp.believed:
            unseen += 1
            assert stamp.by == "CN=Gable Street stamps"
            assert stamp.time == check_stamp(token, HEAD).time
            assert stamper.openssl_verifies(bytes(changed), HEAD), (place, bit)
    assert unseen < 20
