"""A time-stamping service of our own, by openssl: an authority, a stamper's certificate, tokens over any bytes."""

from __future__ import annotations

import subprocess
from pathlib import Path

_CONFIG = """
[tsa]
default_tsa = stamper
[stamper]
serial = serial
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256, sha384, sha512
ess_cert_id_chain = no
ess_cert_id_alg = sha256
[stamps]
extendedKeyUsage = critical,timeStamping
basicConstraints = critical,CA:FALSE
[other]
extendedKeyUsage = critical,clientAuth
[authority]
basicConstraints = critical,CA:TRUE
[req]
distinguished_name = dn
[dn]
"""


class Stamper:
    """Made in ``folder``; ``authority`` is the PEM of its root."""

    def __init__(self, folder: Path, kind: str = "ec") -> None:
        self._folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "conf").write_text(_CONFIG)
        (folder / "serial").write_text("01")
        new = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"] if kind == "ec" else ["-newkey", "rsa:2048"]
        self.run("req", "-x509", *new, "-nodes", "-keyout", "ca.key", "-out", "ca.pem", "-days", "3650", "-subj",
                 "/CN=Gable Street Authority", "-config", "conf", "-extensions", "authority")  # fmt: skip
        for name in ("stamps", "other"):
            self.run("req", *new, "-nodes", "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj",
                     f"/CN=Gable Street {name}", "-config", "conf")  # fmt: skip
            self.run("x509", "-req", "-in", f"{name}.csr", "-CA", "ca.pem", "-CAkey", "ca.key", "-out", f"{name}.pem",
                     "-days", "3650", "-set_serial", "7", "-extfile", "conf", "-extensions", name)  # fmt: skip
        self.authority = (folder / "ca.pem").read_bytes()
        self.certificate = (folder / "stamps.pem").read_bytes()

    def run(self, *arguments: str) -> subprocess.CompletedProcess[bytes]:
        done = subprocess.run(["openssl", *arguments], cwd=self._folder, capture_output=True, check=False)
        assert done.returncode == 0, done.stderr.decode()
        return done

    def token(self, data: bytes, *, digest: str = "sha256", certificate: bool = True) -> bytes:
        """An RFC 3161 token over ``data``."""
        (self._folder / "data").write_bytes(data)
        ask = ["-cert"] if certificate else []
        self.run("ts", "-query", "-data", "data", f"-{digest}", *ask, "-out", "query")
        self.run("ts", "-reply", "-config", "conf", "-section", "stamper", "-queryfile", "query", "-signer",
                 "stamps.pem", "-inkey", "stamps.key", "-token_out", "-out", "token")  # fmt: skip
        return (self._folder / "token").read_bytes()

    def openssl_verifies(self, token: bytes, data: bytes) -> bool:
        """What openssl says of it."""
        (self._folder / "data").write_bytes(data)
        (self._folder / "given").write_bytes(token)
        words = ["ts", "-verify", "-in", "given", "-token_in", "-data", "data", "-CAfile", "ca.pem"]
        words += ["-untrusted", "stamps.pem"]
        return subprocess.run(["openssl", *words], cwd=self._folder, capture_output=True, check=False).returncode == 0
