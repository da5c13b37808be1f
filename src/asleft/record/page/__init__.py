"""A web page that checks a record in a browser without a network: one file, to be given away with the record."""

from __future__ import annotations

from importlib.resources import files


def verifier_page() -> bytes:
    """The page's bytes (HTML, UTF-8), complete in itself."""
    return (files("asleft.record.page") / "verifier.html").read_bytes()
