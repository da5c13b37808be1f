"""The server's own certificate, made on first use. A browser warns once; its fingerprint is compared by eye.

Source: RFC 5280 (certificate, subject alternative name), NIST P-256 by ``cryptography``.
"""

from __future__ import annotations

import contextlib
import ipaddress
import socket
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

_CERTIFICATE, _KEY = "page-certificate.pem", "page-certificate-key.pem"
#: Days a certificate holds; browsers take no longer ones for servers they trust (from memory).
_DAYS = 397
_RENEW_DAYS = 14


@dataclass(frozen=True)
class Own:
    """Files for the server and what a person compares: SHA-256 of the certificate, in pairs."""

    certificate: Path
    key: Path
    fingerprint: str


def own_names() -> tuple[str, ...]:
    """Names and addresses under which this machine is reached in the workshop, the loopback ones included."""
    name = socket.gethostname()
    found = ["localhost", "127.0.0.1", name, f"{name}.local"]
    with contextlib.suppress(OSError):
        found += [str(info[4][0]) for info in socket.getaddrinfo(name, None, type=socket.SOCK_STREAM)]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, contextlib.suppress(OSError):
        probe.connect(("192.0.2.1", 9))  # sends nothing; tells which address the way out has (RFC 5737 address)
        found.append(probe.getsockname()[0])
    return tuple(dict.fromkeys(n for n in found if "%" not in n))


def own_certificate(folder: Path, names: Sequence[str], now: datetime) -> Own:
    """The certificate of this data folder; made anew when it is missing, nearly over, or lacks one of the names.

    Args: names: host names and addresses it must hold. now: with a time zone.
    """
    certificate, key = folder / _CERTIFICATE, folder / _KEY
    found = _read(certificate) if key.exists() else None
    if found is None or not _holds(found, names, now):
        found = _make(certificate, key, names, now)
    digest = found.fingerprint(hashes.SHA256()).hex().upper()
    return Own(certificate, key, " ".join(digest[i : i + 4] for i in range(0, len(digest), 4)))


def _read(path: Path) -> x509.Certificate | None:
    try:
        return x509.load_pem_x509_certificate(path.read_bytes())
    except (OSError, ValueError):
        return None


def _holds(certificate: x509.Certificate, names: Sequence[str], now: datetime) -> bool:
    held = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    known = {str(name.value) for name in held}
    return set(names) <= known and now + timedelta(days=_RENEW_DAYS) < certificate.not_valid_after_utc


def _make(certificate: Path, key: Path, names: Sequence[str], now: datetime) -> x509.Certificate:
    private = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "asleft, this workshop")])
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(days=_DAYS))
        .add_extension(x509.SubjectAlternativeName([_name(n) for n in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(private, hashes.SHA256())
    )
    pem = private.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    certificate.parent.mkdir(parents=True, exist_ok=True)
    key.unlink(missing_ok=True)
    key.touch(0o600)
    key.write_bytes(pem)
    certificate.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    return made


def _name(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)
