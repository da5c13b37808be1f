"""Checking a time stamp by somebody else, without a network: over which bytes, when, by whom, and how far believed.

What is checked: the imprint, the signature, that the certificate is meant for time stamps, its chain up to one that the
reader holds, and that each was valid at the time in the token. What is not: whether a certificate was revoked. Source:
RFC 3161, 2.4.2; RFC 5652, 5 (signed data); RFC 5035 (which certificate signed). Pure.
"""

from __future__ import annotations

import hashlib
import warnings
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import NamedTuple

import msgspec
from cryptography import x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, padding, rsa
from cryptography.hazmat.primitives.serialization import pkcs7
from cryptography.x509.oid import ExtendedKeyUsageOID

from asleft.model.errors import Code, RecordError

from .der import OCTETS, SEQUENCE, SET, TIME, DerError, Node, only

_SIGNED_DATA, _TST_INFO = "1.2.840.113549.1.7.2", "1.2.840.113549.1.9.16.1.4"
_MESSAGE_DIGEST = "1.2.840.113549.1.9.4"
#: Which certificate signed: RFC 2634 (always SHA-1) and RFC 5035.
_SIGNER_1, _SIGNER_2 = "1.2.840.113549.1.9.16.2.12", "1.2.840.113549.1.9.16.2.47"
_HASHES: dict[str, hashes.HashAlgorithm] = {
    "2.16.840.1.101.3.4.2.1": hashes.SHA256(),
    "2.16.840.1.101.3.4.2.2": hashes.SHA384(),
    "2.16.840.1.101.3.4.2.3": hashes.SHA512(),
}
_CONTEXT_0 = 0xA0
_DEEPEST = 8
#: All that a strange token or certificate makes its readers say.
_UNREADABLE = (
    LookupError, TypeError, ValueError, OverflowError, UnsupportedAlgorithm, x509.InvalidVersion,
    x509.DuplicateExtension, x509.UnsupportedGeneralNameType,
)  # fmt: skip


class StampError(ValueError):
    """Why a time stamp does not hold."""


class Stamp(msgspec.Struct, frozen=True):
    """What a token says and what checking it found.

    Attributes:
        time: in the token, RFC 3339; empty when it cannot be read.
        by: subject of the certificate that signed, as far as known.
        problem: why it does not hold; empty: imprint and signature hold.
        believed: the certificate leads to one that the reader holds.
    """

    time: str = ""
    by: str = ""
    problem: str = ""
    believed: bool = False


class _Token(NamedTuple):
    info: bytes
    hash: str
    imprint: bytes
    time: datetime
    signer: list[Node]


def check_stamp(token: bytes, stamped: bytes, authority: bytes = b"") -> Stamp:
    """Check an RFC 3161 token over ``stamped``.

    Args: authority: certificates in PEM that the reader believes; empty: none, then nobody vouches for who signed.
    Raises: RecordError (key-unusable): ``authority`` is no certificate.
    """
    believed = _certificates(authority)
    time = by = ""
    try:
        read = _read(token)
        time = read.time.isoformat(timespec="milliseconds").replace("+00:00", "Z")
        if _digest(read.hash, stamped) != read.imprint:
            raise StampError("it is over other bytes than this head")
        sent = _sent(token)
        signer = _signer_of(read, [*believed, *sent])
        by = signer.subject.rfc4514_string()
        _check_signature(read, signer)
        _check_purpose(signer)
        return Stamp(time, by, "", _leads_to(signer, believed, sent, read.time))
    except _UNREADABLE as error:
        known = isinstance(error, DerError | StampError)
        return Stamp(time, by, str(error) if known else "it cannot be read")


def _read(token: bytes) -> _Token:
    kind, wrapped = only(token).of(SEQUENCE).parts()
    if kind.oid() != _SIGNED_DATA:
        raise DerError("no signed data: the token alone belongs here, without the answer's status")
    version, algorithms, content, *more = wrapped.of(_CONTEXT_0).parts()[0].of(SEQUENCE).parts()
    kind, octets = content.of(SEQUENCE).parts()
    if kind.oid() != _TST_INFO:
        raise DerError("no time stamp")
    info = octets.of(_CONTEXT_0).parts()[0].of(OCTETS).content
    _, _, imprint, _, time, *_ = only(info).of(SEQUENCE).parts()
    algorithm, digest = imprint.of(SEQUENCE).parts()
    signers = more[-1].of(SET).parts()
    if len(signers) != 1:
        raise DerError("not one signature")
    signer = signers[0].parts()
    listed = [each.parts()[0].oid() for each in algorithms.of(SET).parts()]
    if (version.content, signer[0].content) != (b"\3", b"\1") or signer[2].parts()[0].oid() not in listed:
        raise DerError("its versions and hashes are not those of a time stamp")
    return _Token(info, algorithm.parts()[0].oid(), digest.of(OCTETS).content, _time(time), signer)


def _time(node: Node) -> datetime:
    text = node.of(TIME).content.decode("ascii")
    form = "%Y%m%d%H%M%S.%fZ" if "." in text else "%Y%m%d%H%M%SZ"
    return datetime.strptime(text, form).replace(tzinfo=UTC)


def _digest(oid: str, data: bytes) -> bytes:
    algorithm = _HASHES.get(oid)
    if algorithm is None:
        raise StampError(f"hash {oid} is not believed any more, or not known")
    return hashlib.new(algorithm.name, data).digest()


def _sent(token: bytes) -> list[x509.Certificate]:
    """Certificates that the token brings along."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            return pkcs7.load_der_pkcs7_certificates(token)
    except (*_UNREADABLE, UserWarning):
        return []


def _certificates(pem: bytes) -> list[x509.Certificate]:
    try:
        return x509.load_pem_x509_certificates(pem) if pem else []
    except ValueError as error:
        raise RecordError(Code.KEY_UNUSABLE, "not a certificate in PEM") from error


def _signer_of(read: _Token, candidates: Sequence[x509.Certificate]) -> x509.Certificate:
    """The certificate that the token names, by issuer and number and by its hash."""
    named = read.signer[1].of(SEQUENCE).parts()
    issuer, number = named[0].whole, int.from_bytes(named[1].content, "big", signed=True)
    algorithm, wanted = _named_certificate(read)
    for each in candidates:
        if (each.issuer.public_bytes(), each.serial_number) == (issuer, number):
            if each.fingerprint(algorithm) != wanted:
                raise StampError("it names another certificate of the same number")
            return each
    raise StampError("the certificate that signed is neither in it nor given")


def _attributes(read: _Token) -> dict[str, Node]:
    signed = read.signer[3].of(_CONTEXT_0)
    return {kind.oid(): values.of(SET).parts()[0] for kind, values in (each.parts() for each in signed.parts())}


def _named_certificate(read: _Token) -> tuple[hashes.HashAlgorithm, bytes]:
    attributes = _attributes(read)
    if (node := attributes.get(_SIGNER_2)) is not None:
        parts = node.parts()[0].parts()[0].parts()
        algorithm = _HASHES.get(parts[0].parts()[0].oid()) if parts[0].tag == SEQUENCE else hashes.SHA256()
        if algorithm is None:
            raise StampError("the hash of its certificate is not known")
        return algorithm, (parts[1] if parts[0].tag == SEQUENCE else parts[0]).of(OCTETS).content
    if (node := attributes.get(_SIGNER_1)) is not None:
        return hashes.SHA1(), node.parts()[0].parts()[0].parts()[0].of(OCTETS).content  # noqa: S303 - RFC 2634 fixes it
    raise StampError("it does not say which certificate signed")


def _check_signature(read: _Token, signer: x509.Certificate) -> None:
    hash_oid = read.signer[2].parts()[0].oid()
    if _attributes(read)[_MESSAGE_DIGEST].of(OCTETS).content != _digest(hash_oid, read.info):
        raise StampError("what was signed is not what stands in it")
    signed = bytes([SET]) + read.signer[3].whole[1:]
    signature, key, algorithm = read.signer[5].of(OCTETS).content, signer.public_key(), _HASHES[hash_oid]
    try:
        match key:
            case rsa.RSAPublicKey():
                key.verify(signature, signed, padding.PKCS1v15(), algorithm)
            case ec.EllipticCurvePublicKey():
                key.verify(signature, signed, ec.ECDSA(algorithm))
            case ed25519.Ed25519PublicKey():
                key.verify(signature, signed)
            case _:
                raise StampError("a kind of signature that is not checked here")
    except InvalidSignature as error:
        raise StampError("its signature does not hold") from error


def _check_purpose(signer: x509.Certificate) -> None:
    try:
        usage = signer.extensions.get_extension_for_class(x509.ExtendedKeyUsage)
    except x509.ExtensionNotFound as error:
        raise StampError("the certificate is not meant for time stamps") from error
    if list(usage.value) != [ExtendedKeyUsageOID.TIME_STAMPING] or not usage.critical:
        raise StampError("the certificate is not meant for time stamps alone")


def _leads_to(
    signer: x509.Certificate, believed: Sequence[x509.Certificate], sent: Sequence[x509.Certificate], at: datetime
) -> bool:
    """Whether issuers lead from ``signer`` to a certificate that is believed, all valid at the time."""
    now = signer
    for _ in range(_DEEPEST):
        if not now.not_valid_before_utc <= at <= now.not_valid_after_utc:
            return False
        if now in believed:
            return True
        above = next((each for each in (*believed, *sent) if _issued(each, now)), None)
        if above is None:
            return False
        now = above
    return False


def _issued(above: x509.Certificate, below: x509.Certificate) -> bool:
    try:
        below.verify_directly_issued_by(above)
        return above.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    except (*_UNREADABLE, InvalidSignature, x509.ExtensionNotFound):
        return False
