"""The server's own certificate: made once, kept, made anew when it must be; checked by ``ssl`` on a real socket."""

from __future__ import annotations

import socket
import ssl
import stat
import subprocess
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from asleft.web.tls import own_certificate, own_names

NOW = datetime.now(UTC)
NAMES = ("localhost", "127.0.0.1", "shop.example")


def test_it_is_kept_while_it_holds_and_made_anew_when_not(tmp_path: Path) -> None:
    first = own_certificate(tmp_path, NAMES, NOW)
    assert stat.S_IMODE(first.key.stat().st_mode) == 0o600
    assert own_certificate(tmp_path, NAMES[:2], NOW) == first
    renamed = own_certificate(tmp_path, (*NAMES, "10.0.0.7"), NOW)
    assert renamed.fingerprint != first.fingerprint
    late = own_certificate(tmp_path, NAMES, NOW + timedelta(days=390))
    assert late.fingerprint != renamed.fingerprint
    late.certificate.write_text("damaged")
    assert own_certificate(tmp_path, NAMES, NOW).fingerprint != late.fingerprint


def test_openssl_reads_the_names_and_the_fingerprint(tmp_path: Path) -> None:
    own = own_certificate(tmp_path, NAMES, NOW)
    command = [
        "openssl",
        "x509",
        "-in",
        str(own.certificate),
        "-noout",
        "-fingerprint",
        "-sha256",
        "-ext",
        "subjectAltName",
    ]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert own.fingerprint.replace(" ", "") in said.replace(":", "").upper()
    assert "DNS:shop.example" in said
    assert "IP Address:127.0.0.1" in said


@pytest.mark.parametrize(("name", "fits"), [("shop.example", True), ("elsewhere.example", False)])
def test_a_client_that_trusts_it_gets_in_under_its_names_only(tmp_path: Path, name: str, fits: bool) -> None:
    own = own_certificate(tmp_path, NAMES, NOW)
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(own.certificate, own.key)
    client = ssl.create_default_context(cafile=str(own.certificate))
    ours, theirs = socket.socketpair()

    def serve() -> None:
        try:
            server.wrap_socket(theirs, server_side=True).close()
        except (ssl.SSLError, OSError):
            theirs.close()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        if fits:
            client.wrap_socket(ours, server_hostname=name).close()
        else:
            with pytest.raises(ssl.SSLCertVerificationError):
                client.wrap_socket(ours, server_hostname=name)
    finally:
        ours.close()
        thread.join(10)


def test_this_machine_has_names() -> None:
    assert {"localhost", "127.0.0.1"} <= set(own_names())
