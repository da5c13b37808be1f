"""A verifier of records by somebody who had read nothing but ``docs/record-format.md``: kept as it was written.

Only this text and line breaks were changed. It shares nothing with ours; tests compare what both say of good and of
damaged records.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import math
import os
import re
import stat
import struct
import sys
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

# The page says that lines have "the names and types of this page". Read here: the closed lists of values (clock,
# origin, wall_trust) and the form of the event's `wall` belong to that. Set to False to check the JSON types alone.
CHECK_LISTED_VALUES = True

ALWAYS = ("events.jsonl", "head", "head.sig", "key.pem", "seals.jsonl", "keys.jsonl")
MAYBE = ("personal.jsonl", "head.tsr")
ORDER = {name: place for place, name in enumerate(ALWAYS + MAYBE)}
LIMIT = 1 << 32
MAX_MEMBERS = 65535
SEAL_EVERY = 64
MAX_CHUNK = 2048
MAX_INLINE = 256
ZEROS = "0" * 64

HEX64 = re.compile(r"[0-9a-f]{64}")
HEX32 = re.compile(r"[0-9a-f]{32}")
BODY_TYPE = re.compile(r"[a-z]+(-[a-z]+)*@[1-9][0-9]*")
COMMITMENT = re.compile(r"personal:([0-9a-f]{64})")
WALL = re.compile(
    r"[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T([01][0-9]|2[0-3]):[0-5][0-9]:([0-5][0-9]|60)(\.[0-9]+)?Z"
)
STRING = re.compile(r'"([^"\\\x00-\x1f]*+(?:\\(?:["\\bfnrt]|u00(?:0[0-7bef]|1[0-9a-f]))[^"\\\x00-\x1f]*+)*+)"')
NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*+)(?:\.[0-9]++)?(?:[eE][+-]?[0-9]++)?")
ESCAPE = re.compile(r"\\(u00[0-9a-f]{2}|.)")
SHORT = {'"': '"', "\\": "\\", "b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r"}
LONG = {"\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r", '"': '\\"', "\\": "\\\\"}

EVENT_TYPES: dict[str, type] = {
    "actor": str,
    "body": dict,
    "clock": str,
    "format": str,
    "job": str,
    "monotonic_s": float,
    "origin": str,
    "previous": str,
    "sequence": float,
    "wall": str,
    "wall_trust": str,
}
SEAL_TYPES: dict[str, type] = {"hash": str, "public": str, "sequence": float, "signature": str}
KEY_LINE_TYPES: dict[str, type] = {"body": dict, "signatures": list}
KEY_BODY_TYPES: dict[str, type] = {
    "act": str,
    "format": str,
    "previous": str,
    "public": str,
    "reason": str,
    "sequence": float,
    "since": str,
    "wall": str,
}
KEY_SIGNATURE_TYPES: dict[str, type] = {"public": str, "signature": str}
PERSONAL_TYPES: dict[str, type] = {"commitment": str, "salt": str, "value": str}
CHUNK_TYPES: dict[str, type] = {"times_s": list, "values": list}
LISTED = {
    "clock": ("real", "virtual", "recording"),
    "origin": ("vehicle", "bench", "replay"),
    "wall_trust": ("system", "simulated", "recorded", "unknown"),
}
RECORD_FORMATS = {"asleft-record-v0": 0, "asleft-record-v1": 1}
KEY_FORMATS = {"asleft-keys-v0": 0, "asleft-keys-v1": 1}
KNOWN = ("job-opened@1", "job-closed@1", "job-closed@2", "corrected@1", "samples-taken@1", "samples-part@1")
TYPE_WORDS = {str: "a string", dict: "an object", list: "a list", float: "a number"}

SPKI = bytes.fromhex("302A300506032B6570032100")
PRIME = 2**255 - 19


# ---------------------------------------------------------------------------------------------------- canonical JSON


class NotCanonical(ValueError):
    """A text is not canonical JSON; `at` is the byte where that shows."""

    def __init__(self, why: str, at: int) -> None:
        super().__init__(why)
        self.why = why
        self.at = at


def number_text(value: float) -> str:
    """The one way to write a finite double."""
    if value == 0:
        return "0"
    mantissa, _, exponent = repr(abs(value)).partition("e")
    whole, _, part = mantissa.partition(".")
    n = len(whole) + int(exponent or 0)
    digits = whole + part
    stripped = digits.lstrip("0")
    n -= len(digits) - len(stripped)
    digits = stripped.rstrip("0")
    d = len(digits)
    if d <= n <= 21:
        text = digits + "0" * (n - d)
    elif 0 < n <= 21:
        text = digits[:n] + "." + digits[n:]
    elif -6 < n <= 0:
        text = "0." + "0" * -n + digits
    else:
        point = "." + digits[1:] if d > 1 else ""
        text = f"{digits[0]}{point}e{'+' if n - 1 >= 0 else '-'}{abs(n - 1)}"
    return "-" + text if value < 0 else text


def string_text(value: str) -> str:
    """The one way to write a string."""
    return '"' + "".join(LONG.get(c) or (f"\\u{ord(c):04x}" if c < " " else c) for c in value) + '"'


def flat_text(value: dict[str, Any]) -> str:
    """The canonical text of an object that holds only strings and numbers and has names in ASCII."""
    parts: list[str] = []
    for name in sorted(value):
        each = value[name]
        parts.append(string_text(name) + ":" + (string_text(each) if isinstance(each, str) else number_text(each)))
    return "{" + ",".join(parts) + "}"


def unescape(text: str) -> str:
    """The string that stands between two quotation marks."""
    if "\\" not in text:
        return text
    return ESCAPE.sub(lambda m: SHORT[m[1]] if len(m[1]) == 1 else chr(int(m[1][1:], 16)), text)


class Reader:
    """Reads canonical JSON without recursion, so that no depth is too much; anything else raises NotCanonical."""

    def __init__(self, data: bytes) -> None:
        try:
            self.text = data.decode("utf-8")
        except UnicodeDecodeError as error:
            raise NotCanonical("not UTF-8", error.start) from None
        self.at = 0

    def fail(self, why: str) -> NotCanonical:
        """The exception for the place that the reader has come to."""
        return NotCanonical(why, len(self.text[: self.at].encode("utf-8")))

    def string(self) -> str:
        """Reads a string."""
        found = STRING.match(self.text, self.at)
        if not found:
            raise self.fail("no string in its canonical form")
        self.at = found.end()
        return unescape(found[1])

    def name(self, into: dict[str, Any], last: str | None) -> str:
        """Reads a name of an object and the colon behind it; `last` is the name before it."""
        start = self.at
        name = self.string()
        if last is not None and name.encode("utf-16-be") <= last.encode("utf-16-be"):
            self.at = start
            raise self.fail("a name twice" if name in into else "names are not sorted")
        if self.text[self.at : self.at + 1] != ":":
            raise self.fail("no colon behind a name")
        self.at += 1
        return name

    def scalar(self) -> Any:
        """Reads a string, a number, true, false or null."""
        if self.text[self.at : self.at + 1] == '"':
            return self.string()
        for word, value in (("true", True), ("false", False), ("null", None)):
            if self.text.startswith(word, self.at):
                self.at += len(word)
                return value
        found = NUMBER.match(self.text, self.at)
        if not found:
            raise self.fail("no JSON value")
        number = float(found[0]) if len(found[0]) <= 40 else math.inf
        if not math.isfinite(number) or number_text(number) != found[0]:
            raise self.fail("a number that is not in its canonical form")
        self.at = found.end()
        return number

    def read(self) -> Any:
        """Reads the whole text as one value."""
        stack: list[tuple[Any, str | None]] = []
        while True:
            two = self.text[self.at : self.at + 2]
            value: Any
            if two in ("{}", "[]"):
                value = {} if two == "{}" else []
                self.at += 2
            elif two[:1] == "{":
                self.at += 1
                into: dict[str, Any] = {}
                stack.append((into, self.name(into, None)))
                continue
            elif two[:1] == "[":
                self.at += 1
                stack.append(([], None))
                continue
            else:
                value = self.scalar()
            while True:
                if not stack:
                    if self.at != len(self.text):
                        raise self.fail("something behind the value")
                    return value
                holder, name = stack[-1]
                if name is None:
                    holder.append(value)
                else:
                    holder[name] = value
                mark = self.text[self.at : self.at + 1]
                if mark == ",":
                    self.at += 1
                    if name is not None:
                        stack[-1] = (holder, self.name(holder, name))
                    break
                if mark != ("]" if name is None else "}"):
                    raise self.fail("neither a comma nor the end of a list or an object")
                self.at += 1
                value = holder
                stack.pop()


# ------------------------------------------------------------------------------------------------------ small helpers


def sha256(data: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def shown(value: Any) -> str:
    """A value out of a record, short and in ASCII, for a message."""
    if isinstance(value, (dict, list)):
        return TYPE_WORDS[type(value)]
    text = ascii(value)
    return text if len(text) <= 90 else text[:87] + "..."


def whole(value: Any) -> int | None:
    """A whole number that stands in JSON, or None."""
    return int(value) if isinstance(value, float) and value.is_integer() else None


def shape(value: Any, types: dict[str, type]) -> list[str]:
    """What is wrong with the names of an object and the types of their values."""
    if not isinstance(value, dict):
        return ["is not an object"]
    found = [f"has no {shown(name)}" for name in types if name not in value]
    found += [f"has a name that does not belong, {shown(name)}" for name in value if name not in types]
    for name, kind in types.items():
        if name in value and not isinstance(value[name], kind):
            found.append(f"{name} is not {TYPE_WORDS[kind]}")
    return found


def plain_base64(text: str) -> bytes | None:
    """The bytes of a base64 text that is the only way to write them, or None."""
    try:
        data = base64.b64decode(text.encode("ascii"), validate=True)
    except (UnicodeEncodeError, binascii.Error, ValueError):
        return None
    return data if base64.b64encode(data).decode("ascii") == text else None


def raw_key(text: str) -> bytes | None:
    """The 32 bytes of a public key written as text, or None if that is not its one form (RFC 8032, 5.1.3)."""
    data = plain_base64(text)
    if data is None or len(data) != 44 or not data.startswith(SPKI):
        return None
    key = data[12:]
    y = int.from_bytes(key, "little") & ((1 << 255) - 1)
    if y >= PRIME or (key[31] >> 7 and y in (1, PRIME - 1)):
        return None
    return key


def signed(public: str, signature: bytes, digest: str) -> bool:
    """Whether `signature` is that of a hash (64 digits and 0A) by the key with this text."""
    key = raw_key(public)
    if key is None or len(signature) != 64:
        return False
    try:
        Ed25519PublicKey.from_public_bytes(key).verify(signature, digest.encode("ascii") + b"\n")
    except (InvalidSignature, ValueError):
        return False
    return True


def signature_flaw(public: str, signature: str, digest: str) -> str | None:
    """What is wrong with a signature in base64 over a hash, or None."""
    if raw_key(public) is None:
        return "public is not a key in its one form"
    data = plain_base64(signature)
    if data is None or len(data) != 64:
        return "signature is not 64 bytes in base64"
    return None if signed(public, data, digest) else "the signature does not hold"


def walk(value: Any) -> Iterator[tuple[str | None, Any]]:
    """Every value at any depth with the name it has in its object (None in a list)."""
    stack: list[tuple[str | None, Any]] = [(None, value)]
    while stack:
        name, each = stack.pop()
        yield name, each
        if isinstance(each, dict):
            stack.extend(each.items())
        elif isinstance(each, list):
            stack.extend((None, item) for item in each)


def is_hashes(value: Any) -> bool:
    """Whether a value is a list that is not empty and holds only strings of 64 hexadecimal digits."""
    return isinstance(value, list) and bool(value) and all(isinstance(s, str) and HEX64.fullmatch(s) for s in value)


def same_numbers(value: Any, wanted: dict[str, int]) -> bool:
    """Whether a JSON object holds just these whole numbers."""
    return isinstance(value, dict) and {name: whole(each) for name, each in value.items()} == wanted


# ------------------------------------------------------------------------------------------------- reading the files


def belongs(name: str) -> bool:
    """Whether a member of this name can belong in a record."""
    return name in ORDER or (name.startswith("chunks/") and HEX64.fullmatch(name[7:]) is not None)


def build_zip(files: dict[str, bytes]) -> bytes:
    """The plain zip of these files."""
    body: list[bytes] = []
    directory: list[bytes] = []
    offset = 0
    for name in sorted(files, key=lambda each: (ORDER.get(each, len(ORDER)), each)):
        data = files[name]
        raw = name.encode("latin-1")
        common = (20, 0, 0, 0, 0x21, zlib.crc32(data), len(data), len(data), len(raw))
        local = struct.pack("<I5H3I2H", 0x04034B50, *common, 0) + raw
        directory.append(struct.pack("<I6H3I5H2I", 0x02014B50, 0x0314, *common, 0, 0, 0, 0, 0x81A40000, offset) + raw)
        body += (local, data)
        offset += len(local) + len(data)
    entries = b"".join(directory)
    end = struct.pack("<I4H2IH", 0x06054B50, 0, 0, len(files), len(files), len(entries), offset, 0)
    return b"".join((*body, entries, end))


def read_zip(data: bytes, flaws: list[str]) -> dict[str, bytes] | None:
    """The members of a zip by its directory, or None if it cannot be read."""
    end = data.rfind(b"PK\x05\x06")
    if end < 0 or end + 22 > len(data):
        flaws.append("zip: no end record; this is not a zip or its end is cut off")
        return None
    _, _, _, _, count, size, start, _ = struct.unpack_from("<I4H2IH", data, end)
    files: dict[str, bytes] = {}
    at, total = start, 0
    for number in range(1, count + 1):
        place = f"zip, directory entry {number} (byte {at})"
        if at + 46 > len(data) or data[at : at + 4] != b"PK\x01\x02":
            flaws.append(f"{place}: is not there")
            break
        entry = struct.unpack_from("<I6H3I5H2I", data, at)
        method, packed, offset = entry[4], entry[8], entry[16]
        raw = data[at + 46 : at + 46 + entry[10]]
        name = raw.decode("latin-1")
        at += 46 + entry[10] + entry[11] + entry[12]
        if method != 0:
            flaws.append(f"{place}: {shown(name)} is not stored plainly (method {method})")
        if offset + 30 > len(data) or data[offset : offset + 4] != b"PK\x03\x04":
            flaws.append(f"{place}: no local header of {shown(name)} at byte {offset}")
            continue
        name_length, extra_length = struct.unpack_from("<2H", data, offset + 26)
        begin = offset + 30 + name_length + extra_length
        total += packed
        if begin + packed > len(data) or total > len(data):
            flaws.append(f"{place}: {shown(name)} does not fit into the file")
            continue
        if name in files:
            flaws.append(f"{place}: {shown(name)} is there twice")
            continue
        files[name] = data[begin : begin + packed]
    return files


def check_zip(data: bytes, files: dict[str, bytes], flaws: list[str]) -> None:
    """Compares a zip with the plain zip of its members."""
    wanted = build_zip(files)
    if wanted == data:
        return
    at = next((i for i, (a, b) in enumerate(zip(data, wanted, strict=False)) if a != b), min(len(data), len(wanted)))
    flaws.append(f"zip: is not the plain zip of its members; the first other byte is {at} of {len(data)}")


def read_regular(path: str, place: str, flaws: list[str]) -> bytes | None:
    """The bytes of a regular file, or None with a flaw; None alone if nothing is there."""
    try:
        status = os.stat(path)
    except FileNotFoundError:
        if os.path.islink(path):
            flaws.append(f"{place}: a link to nowhere")
        return None
    if not stat.S_ISREG(status.st_mode):
        flaws.append(f"{place}: is not a file")
        return None
    if status.st_size >= LIMIT:
        flaws.append(f"{place}: has 4 GiB or more")
        return None
    with open(path, "rb") as file:
        return file.read()


def read_folder(path: str, flaws: list[str]) -> dict[str, bytes]:
    """The files of a record in a folder; what stands beside them is not looked at."""
    files: dict[str, bytes] = {}
    names = list(ORDER)
    chunks = os.path.join(path, "chunks")
    if os.path.isdir(chunks):
        names += sorted("chunks/" + name for name in os.listdir(chunks))
    for name in names:
        if not belongs(name):
            flaws.append(f"{shown(name)}: does not belong in the record")
            continue
        data = read_regular(os.path.join(path, name), name, flaws)
        if data is not None:
            files[name] = data
    if len(files) > MAX_MEMBERS:
        flaws.append(f"record: {len(files)} files, more than {MAX_MEMBERS}")
    return files


def read_record(path: str, flaws: list[str]) -> dict[str, bytes] | None:
    """The files of a record, checked as point 1 says; None if there is nothing to check."""
    if os.path.isdir(path):
        files = read_folder(path, flaws)
    else:
        before = len(flaws)
        data = read_regular(path, "record", flaws)
        if data is None:
            if len(flaws) == before:
                flaws.append("record: is not there")
            return None
        members = read_zip(data, flaws)
        if members is None:
            return None
        files = members
        flaws += [f"zip: {shown(name)} does not belong in the record" for name in files if not belongs(name)]
        check_zip(data, files, flaws)
    flaws += [f"{name}: is not there" for name in ALWAYS if name not in files]
    return files


# ----------------------------------------------------------------------------------------------------------- checker


@dataclass
class Line:
    """A line of a file of lines; `value` is None if it is not in its form, so that its parts cannot be used."""

    place: str
    data: bytes
    hash: str
    value: dict[str, Any] | None


@dataclass
class Keys:
    """What the history of keys says: keys taken into use, in order, and `since` of the last revocation of each."""

    used: list[str] = field(default_factory=list)
    revoked: dict[str, str] = field(default_factory=dict)


class Checker:
    """The checks of points 2 to 8 over the files of one record."""

    def __init__(self, files: dict[str, bytes], flaws: list[str]) -> None:
        self.files = files
        self.flaws = flaws
        self.notes: list[str] = []
        self.events: list[Line] = []
        self.commitments: set[str] = set()
        self.named: dict[str, str] = {}
        self.chunk_sizes: dict[str, int] = {}

    def flaw(self, place: str, why: str) -> None:
        """Notes a flaw."""
        self.flaws.append(f"{place}: {why}")

    def run(self) -> None:
        """Makes all checks."""
        self.events = self.lines("events.jsonl", "event", EVENT_TYPES)
        self.check_chunk_files()
        self.check_events()
        public = self.check_head()
        keys = self.check_keys()
        self.check_seals(keys, public)
        self.check_chunk_names()
        self.check_personal()

    def lines(self, name: str, word: str, types: dict[str, type]) -> list[Line]:
        """The lines of a file, each read and checked for its names and types (point 2)."""
        data = self.files.get(name)
        if data is None:
            return []
        if not data:
            self.flaw(name, "has no line")
            return []
        raw = data.split(b"\n")
        if raw[-1] == b"":
            raw.pop()
        else:
            self.flaw(name, "the last line is not ended by 0A")
        found: list[Line] = []
        at = 0
        for number, each in enumerate(raw, 1):
            place = f"{name}, line {number} ({word} {number}, bytes {at} to {at + len(each)})"
            value: Any = None
            if not each:
                self.flaw(place, "an empty line")
            else:
                try:
                    value = Reader(each).read()
                except NotCanonical as error:
                    self.flaw(place, f"not canonical JSON at byte {at + error.at}: {error.why}")
                else:
                    wrong = shape(value, types)
                    for why in wrong:
                        self.flaw(place, why)
                    value = None if wrong else value
            found.append(Line(place, each, sha256(each), value))
            at += len(each) + 1
        return found

    # Point 3.

    def check_events(self) -> None:
        """Order, chain, envelope and bodies of the events."""
        previous, newest, closed = ZEROS, -1, False
        first: dict[str, Any] | None = None
        counts: dict[str, int] = {}
        streams: dict[str, dict[str, int]] = {"samples-taken@1": {}, "samples-part@1": {}}
        for number, line in enumerate(self.events, 1):
            event, place = line.value, line.place
            before, previous = previous, line.hash
            if event is None:
                continue
            if event["sequence"] != number:
                self.flaw(place, f"sequence is {shown(event['sequence'])}, not {number}")
            if event["previous"] != before:
                self.flaw(place, "previous is not the hash of the event before it")
            version = RECORD_FORMATS.get(event["format"])
            if version is None:
                self.flaw(place, f"format {shown(event['format'])} is not known")
            else:
                if version < newest:
                    self.flaw(place, "format goes back to version 0")
                newest = max(newest, version)
            first = first or event
            for name in ("job", "origin"):
                if event[name] != first[name]:
                    self.flaw(place, f"{name} is {shown(event[name])}, in earlier events {shown(first[name])}")
            if CHECK_LISTED_VALUES:
                self.check_values(place, event)
            body = event["body"]
            self.collect(place, body)
            kind = body.get("type")
            if not isinstance(kind, str) or not BODY_TYPE.fullmatch(kind):
                self.flaw(place, f"type of the body, {shown(kind)}, is not a name, @ and a number")
                kind = None
            if closed and kind != "corrected@1":
                self.flaw(place, f"{shown(kind)} follows the closing event")
            if kind == "job-opened@1" and body.get("origin") != event["origin"]:
                self.flaw(place, "origin in the body is not that of the event")
            if kind == "corrected@1":
                self.check_correction(place, body, number)
            if kind in streams:
                self.check_samples(place, body, streams[kind], kind == "samples-part@1")
            if kind in ("job-closed@1", "job-closed@2"):
                closed = True
                wanted = {"counts": counts}
                if kind == "job-closed@2":
                    wanted |= {"streams": streams["samples-taken@1"], "parts": streams["samples-part@1"]}
                for name, numbers in wanted.items():
                    if not same_numbers(body.get(name), numbers):
                        where = self.difference(body.get(name), numbers)
                        self.flaw(place, f"{name} does not say what stands before: {where}")
            if kind is not None:
                counts[kind] = counts.get(kind, 0) + 1
        if not closed:
            self.notes.append("the job is not closed")
        unknown = sorted(set(counts) - set(KNOWN))
        if unknown:
            self.notes.append("types of events that this checker does not know: " + ", ".join(unknown))

    @staticmethod
    def difference(value: Any, wanted: dict[str, int]) -> str:
        """In words, where an object of numbers departs from what it should be."""
        if not isinstance(value, dict):
            return "it is not an object"
        for name in sorted(set(value) | set(wanted)):
            if name not in value:
                return f"{shown(name)} is absent, it should be {wanted[name]}"
            if name not in wanted:
                return f"{shown(name)} does not stand before"
            if whole(value[name]) != wanted[name]:
                return f"{shown(name)} is {shown(value[name])}, it should be {wanted[name]}"
        return ""

    def check_values(self, place: str, event: dict[str, Any]) -> None:
        """The values of the envelope for which the page has a list or a form."""
        for name, known in LISTED.items():
            if event[name] not in known:
                self.flaw(place, f"{name} is {shown(event[name])}, none of {', '.join(known)}")
        if not WALL.fullmatch(event["wall"]):
            self.flaw(place, f"wall is {shown(event['wall'])}, no time of day of RFC 3339 in UTC")

    def collect(self, place: str, body: dict[str, Any]) -> None:
        """Collects the chunks that a body names and the personal texts that it commits to."""
        for name, value in walk(body):
            if isinstance(value, str):
                found = COMMITMENT.fullmatch(value)
                if found:
                    self.commitments.add(found[1])
            elif name == "chunks" and is_hashes(value):
                for each in value:
                    self.named.setdefault(each, place)

    def check_correction(self, place: str, body: dict[str, Any], number: int) -> None:
        """What `corrected@1` says of an earlier event."""
        of = whole(body.get("event"))
        if of is None or not 1 <= of < number:
            self.flaw(place, f"corrects event {shown(body.get('event'))}, which is none before it")
        elif body.get("hash") != self.events[of - 1].hash:
            self.flaw(place, f"hash is not that of event {of}, which it corrects")

    def check_samples(self, place: str, body: dict[str, Any], streams: dict[str, int], is_part: bool) -> None:
        """The series of `samples-taken@1` and `samples-part@1`; adds their numbers to `streams`."""
        run, name, series = body.get("run"), body.get("name"), body.get("series")
        if not isinstance(run, str) or not isinstance(name, str):
            self.flaw(place, "run or name is not a string")
        part = whole(body.get("part"))
        if is_part and (part is None or part < 1):
            self.flaw(place, f"part is {shown(body.get('part'))}, not 1, 2, 3 ...")
        if not isinstance(series, list):
            self.flaw(place, "series is not a list")
            return
        for index, each in enumerate(series, 1):
            number = self.check_series(f"{place}, series {index}", each, is_part)
            if number is not None:
                stream = f"{run}/{name}/{each['signal']}"
                streams[stream] = streams.get(stream, 0) + number

    def check_series(self, place: str, series: Any, is_part: bool) -> int | None:
        """One series; how many samples it holds, or None if that cannot be said."""
        if not isinstance(series, dict) or not isinstance(series.get("signal"), str):
            self.flaw(place, "is not an object with a signal")
            return None
        times, values = series.get("times_s"), series.get("values")
        if not isinstance(times, list) or not isinstance(values, list):
            self.flaw(place, "times_s or values is not a list")
            return None
        if len(times) != len(values):
            self.flaw(place, f"{len(times)} times, but {len(values)} values")
        chunks = series.get("chunks", [])
        if not isinstance(chunks, list) or (chunks and not is_hashes(chunks)):
            self.flaw(place, "chunks is not a list of hashes")
            return None
        if times or values:
            if chunks:
                self.flaw(place, "samples stand both in the event and in chunks")
            if is_part:
                self.flaw(place, "samples of a part are not in chunks")
            elif len(times) > MAX_INLINE:
                self.flaw(place, f"{len(times)} samples are not in chunks")
            return len(times)
        count = whole(series.get("count", None if chunks else 0.0))
        if count is None or count < 0:
            self.flaw(place, f"count is {shown(series.get('count'))}, no number of samples")
            return None
        if all(each in self.chunk_sizes for each in chunks):
            together = sum(self.chunk_sizes[each] for each in chunks)
            if together != count:
                self.flaw(place, f"count is {count}, its chunks have {together} samples together")
        return count

    # Point 4.

    def check_head(self) -> str | None:
        """`head`, `head.sig` and `key.pem`; the key as text, or None."""
        public: str | None = None
        pem = self.files.get("key.pem")
        if pem is not None:
            found = re.fullmatch(rb"-----BEGIN PUBLIC KEY-----\n([A-Za-z0-9+/=]{60})\n-----END PUBLIC KEY-----\n", pem)
            public = found[1].decode("ascii") if found else None
            if public is None or raw_key(public) is None:
                self.flaw("key.pem", "is not an Ed25519 key in its one form")
                public = None
        head = self.files.get("head")
        signature = self.files.get("head.sig")
        digest: str | None = None
        if head is not None:
            if re.fullmatch(rb"[0-9a-f]{64}\n", head):
                digest = head[:64].decode("ascii")
            else:
                self.flaw("head", "is not 64 hexadecimal digits and 0A")
        if digest is not None and self.events and digest != self.events[-1].hash:
            self.flaw("head", "is not the hash of the last event")
        if signature is not None and len(signature) != 64:
            self.flaw("head.sig", f"has {len(signature)} bytes, not 64")
        elif signature is not None and digest is not None and public is not None:
            if not signed(public, signature, digest):
                self.flaw("head.sig", "is not the signature of head by key.pem")
        return public

    # Point 5.

    def check_keys(self) -> Keys:
        """Order, chain, acts and signatures of the history of keys."""
        keys = Keys()
        previous, newest = ZEROS, -1
        for number, line in enumerate(self.lines("keys.jsonl", "statement", KEY_LINE_TYPES), 1):
            before, previous = previous, line.hash
            if line.value is None:
                continue
            place = line.place
            body = line.value["body"]
            wrong = shape(body, KEY_BODY_TYPES)
            for why in wrong:
                self.flaw(place, f"body {why}")
            if wrong:
                continue
            if body["sequence"] != number:
                self.flaw(place, f"sequence is {shown(body['sequence'])}, not {number}")
            if body["previous"] != before:
                self.flaw(place, "previous is not the hash of the line before it")
            version = KEY_FORMATS.get(body["format"])
            if version is None:
                self.flaw(place, f"format {shown(body['format'])} is not known")
            else:
                if version < newest:
                    self.flaw(place, "format goes back to version 0")
                newest = max(newest, version)
            signers = self.check_act(place, body, number, keys)
            self.check_signatures(place, body, line.value["signatures"], signers)
        return keys

    def check_act(self, place: str, body: dict[str, Any], number: int, keys: Keys) -> list[str] | None:
        """What a line of the history does; takes it over into `keys` and gives who must have signed it."""
        act, public = body["act"], body["public"]
        in_use = keys.used[-1] if keys.used else None
        if raw_key(public) is None:
            self.flaw(place, "public is not a key in its one form")
        if act not in ("made", "rotated", "replaced", "revoked"):
            self.flaw(place, f"act {shown(act)} is not known")
            return None
        if (act == "made") != (number == 1):
            self.flaw(place, "made is the act of the first line and of no other")
        if act == "revoked":
            if public not in keys.used:
                self.flaw(place, "revokes a key that was not taken into use before")
            elif public == in_use:
                self.flaw(place, "revokes the key in use")
            keys.revoked[public] = body["since"]
            return None if in_use is None else [in_use]
        if public in keys.used:
            self.flaw(place, "takes a key into use that was taken into use before")
        else:
            keys.used.append(public)
        return [in_use, public] if act == "rotated" and in_use is not None else [public]

    def check_signatures(
        self, place: str, body: dict[str, Any], signatures: list[Any], signers: list[str] | None
    ) -> None:
        """The signatures below a line of the history."""
        digest = sha256(flat_text(body).encode("utf-8"))
        by: list[str] = []
        for index, each in enumerate(signatures, 1):
            wrong = shape(each, KEY_SIGNATURE_TYPES)
            for why in wrong:
                self.flaw(place, f"signature {index} {why}")
            if wrong:
                continue
            by.append(each["public"])
            why_not = signature_flaw(each["public"], each["signature"], digest)
            if why_not:
                self.flaw(place, f"signature {index}: {why_not}")
        if signers is not None and by != signers:
            self.flaw(place, "is not signed by exactly those who must, in their order")

    # Point 6.

    def check_seals(self, keys: Keys, public: str | None) -> None:
        """The seals: of which events, hashes, signatures and keys; the last one and the head."""
        if "seals.jsonl" not in self.files:
            return
        seals = self.lines("seals.jsonl", "seal", SEAL_TYPES)
        total = len(self.events)
        wanted = list(range(SEAL_EVERY, total + 1, SEAL_EVERY))
        if total % SEAL_EVERY:
            wanted.append(total)
        if len(seals) != len(wanted) and total:
            self.flaw("seals.jsonl", f"{len(seals)} seals, {total} events need {len(wanted)}")
        newest = 0
        for index, line in enumerate(seals):
            seal, place = line.value, line.place
            if seal is None:
                continue
            at = whole(seal["sequence"])
            if index < len(wanted) and at != wanted[index]:
                self.flaw(place, f"is of event {shown(seal['sequence'])}, not of event {wanted[index]}")
            event = self.events[at - 1] if at is not None and 1 <= at <= total else None
            if event is None:
                self.flaw(place, f"is of event {shown(seal['sequence'])}, which is not there")
            elif seal["hash"] != event.hash:
                self.flaw(place, f"hash is not that of event {at}")
            if not HEX64.fullmatch(seal["hash"]):
                self.flaw(place, "hash is not 64 hexadecimal digits")
            else:
                why = signature_flaw(seal["public"], seal["signature"], seal["hash"])
                if why:
                    self.flaw(place, why)
            if seal["public"] not in keys.used:
                self.flaw(place, "is by a key that is not in the history")
                continue
            age = keys.used.index(seal["public"])
            if age < newest:
                self.flaw(place, "is by an older key than the seal before it")
            newest = max(newest, age)
            since = keys.revoked.get(seal["public"])
            if since is not None and event is not None and event.value is not None:
                if not since or not event.value["wall"] < since:
                    self.flaw(place, "is by a key that is revoked for the time of its event")
        if seals and seals[-1].value is not None:
            self.check_last_seal(seals[-1].place, seals[-1].value, public)

    def check_last_seal(self, place: str, seal: dict[str, Any], public: str | None) -> None:
        """The last seal says the same as `head`, `head.sig` and `key.pem`."""
        head = self.files.get("head")
        if head is not None and head != seal["hash"].encode("utf-8") + b"\n":
            self.flaw(place, "the last seal has another hash than head")
        signature = self.files.get("head.sig")
        if signature is not None and signature != plain_base64(seal["signature"]):
            self.flaw(place, "the last seal has another signature than head.sig")
        if public is not None and public != seal["public"]:
            self.flaw(place, "the last seal has another key than key.pem")

    # Point 7.

    def check_chunk_files(self) -> None:
        """Every chunk that is there: its name and its form."""
        for name, data in sorted(self.files.items()):
            if not name.startswith("chunks/") or not belongs(name):
                continue
            if sha256(data) != name[7:]:
                self.flaw(name, "is not the SHA-256 of its bytes")
            try:
                value = Reader(data).read()
            except NotCanonical as error:
                self.flaw(name, f"not canonical JSON at byte {error.at}: {error.why}")
                continue
            wrong = shape(value, CHUNK_TYPES)
            for why in wrong:
                self.flaw(name, why)
            if wrong:
                continue
            times, values = value["times_s"], value["values"]
            for word, numbers in (("times_s", times), ("values", values)):
                bad = next((i for i, each in enumerate(numbers) if not isinstance(each, float)), None)
                if bad is not None:
                    self.flaw(name, f"{word}[{bad}] is not a number")
            if len(times) != len(values):
                self.flaw(name, f"{len(times)} times, but {len(values)} values")
            if not 1 <= len(times) <= MAX_CHUNK:
                self.flaw(name, f"{len(times)} samples, not 1 to {MAX_CHUNK}")
            self.chunk_sizes[name[7:]] = len(times)

    def check_chunk_names(self) -> None:
        """Named chunks and those that are there are the same."""
        there = {name[7:] for name in self.files if name.startswith("chunks/") and belongs(name)}
        for each in sorted(set(self.named) - there):
            self.flaw(self.named[each], f"names chunk {each}, which is not there")
        for each in sorted(there - set(self.named)):
            self.flaw(f"chunks/{each}", "no event names it")

    # Point 8.

    def check_personal(self) -> None:
        """The personal texts that are given along."""
        opened: set[str] = set()
        last = ""
        for line in self.lines("personal.jsonl", "text", PERSONAL_TYPES):
            if line.value is None:
                continue
            commitment, salt, value = line.value["commitment"], line.value["salt"], line.value["value"]
            if not HEX64.fullmatch(commitment):
                self.flaw(line.place, "commitment is not 64 hexadecimal digits")
            if not HEX32.fullmatch(salt):
                self.flaw(line.place, "salt is not 32 hexadecimal digits")
            if commitment in opened:
                self.flaw(line.place, "the commitment is there twice")
            elif commitment <= last:
                self.flaw(line.place, "lines are not sorted by commitment")
            last = commitment
            opened.add(commitment)
            if commitment not in self.commitments:
                self.flaw(line.place, "no event holds this commitment")
            if sha256((salt + value).encode("utf-8")) != commitment:
                self.flaw(line.place, "salt and text are not what was committed to")
        closed = len(self.commitments - opened)
        if closed:
            self.notes.append(f"{closed} commitments are not opened")


def examine(path: str) -> tuple[list[str], list[str]]:
    """The flaws of a record and what is to be told besides."""
    flaws: list[str] = []
    notes: list[str] = []
    try:
        files = read_record(path, flaws)
        if files is not None:
            checker = Checker(files, flaws)
            notes = checker.notes
            checker.run()
    except Exception as error:  # a record must not stop the checker, whatever its bytes are
        flaws.append(f"record: could not be checked to the end ({type(error).__name__}: {shown(str(error))})")
    return flaws, notes


def check(path: str) -> list[str]:
    """The flaws of a record, a zip file or a folder, each with its place; an empty list means that it is intact."""
    return examine(path)[0]


def main(arguments: list[str]) -> int:
    """Prints whether a record is intact and why not; 0 if it is, else 1."""
    if len(arguments) != 1:
        print("usage: python verifier.py PATH", file=sys.stderr)
        return 2
    flaws, notes = examine(arguments[0])
    print("NOT INTACT" if flaws else "INTACT")
    for flaw in flaws:
        print(f"- {flaw}")
    for note in notes:
        print(f"(no flaw: {note})")
    print("(no flaw: nothing held elsewhere was compared)")
    return 1 if flaws else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
