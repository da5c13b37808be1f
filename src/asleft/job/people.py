"""The people of a workshop and what each may do; their passwords only as scrypt hashes.

One file, ``people.json``, in the data folder, readable by its owner only. On the machine itself nobody signs in; from
the workshop's network everybody does.

Example::

    put_person(folder, "T. Brandt", Role.TECHNICIAN, "correct horse battery")
    who = person_of(folder, "T. Brandt", "correct horse battery")
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable
from enum import IntEnum
from pathlib import Path

import msgspec

from asleft.model.errors import Code, InputError
from asleft.record.files import put_file

FILE = "people.json"
#: Shorter ones are refused, characters. Source: NIST SP 800-63B, 5.1.1.2 (at least 8), recalled.
SHORTEST_PASSWORD = 8
LONGEST_PASSWORD = 200
LONGEST_NAME = 60


class Role(IntEnum):
    """What a person may do; each may do what those before it may."""

    WATCHER = 1
    TECHNICIAN = 2
    LEAD = 3

    @property
    def word(self) -> str:
        """The role in one word."""
        return self.name.lower()

    @classmethod
    def of(cls, word: str) -> Role:
        """The role of a word. Raises InputError (person-unusable)."""
        try:
            return cls[word.strip().upper()]
        except KeyError as error:
            known = ", ".join(role.word for role in cls)
            raise InputError(Code.PERSON_UNUSABLE, f"no role {word!r}; there are {known}") from error


class Person(msgspec.Struct, frozen=True):
    """One person of the workshop. ``salt`` and ``proof`` are hexadecimal."""

    name: str
    role: Role
    salt: str
    proof: str


#: Cost of one guess: 32 MiB and about a tenth of a second. Source: RFC 7914, section 2, for the parameters' meaning.
_N, _R, _P = 2**15, 8, 1
_MEMORY = 128 * _N * _R * 2


def _proof(password: str, salt: bytes) -> str:
    return hashlib.scrypt(password.encode(), salt=salt, n=_N, r=_R, p=_P, maxmem=_MEMORY, dklen=32).hex()


_NOBODY = Person("", Role.WATCHER, "00" * 16, "00" * 32)


def read_people(folder: Path) -> tuple[Person, ...]:
    """Everybody who may sign in, in the order in which they were added. Raises InputError (person-unusable)."""
    path = folder / FILE
    try:
        return msgspec.json.decode(path.read_bytes(), type=tuple[Person, ...])
    except FileNotFoundError:
        return ()
    except (OSError, msgspec.MsgspecError) as error:
        raise InputError(Code.PERSON_UNUSABLE, str(error), str(path)) from error


def put_person(folder: Path, name: str, role: Role, password: str) -> Person:
    """Add a person, or give one a new role and password; passes made with the old password end.

    Raises: InputError: person-unusable (name or password too short or too long).
    """
    name = " ".join(name.split())
    if not 1 <= len(name) <= LONGEST_NAME or not name.isprintable():
        raise InputError(Code.PERSON_UNUSABLE, f"a name has 1 to {LONGEST_NAME} printable characters")
    if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        detail = f"a password has {SHORTEST_PASSWORD} to {LONGEST_PASSWORD} characters"
        raise InputError(Code.PERSON_UNUSABLE, detail)
    salt = secrets.token_bytes(16)
    person = Person(name, role, salt.hex(), _proof(password, salt))
    _change(folder, lambda people: (*(p for p in people if p.name != name), person))
    return person


def remove_person(folder: Path, name: str) -> None:
    """Let somebody go; what they did stays in the records. Raises InputError (person-unusable)."""
    if all(p.name != name for p in read_people(folder)):
        raise InputError(Code.PERSON_UNUSABLE, f"nobody is called {name!r} here")
    _change(folder, lambda people: tuple(p for p in people if p.name != name))


def person_of(folder: Path, name: str, password: str) -> Person | None:
    """Who signs in with this name and password; None for anybody else, after the same work."""
    found = next((p for p in read_people(folder) if p.name == name), _NOBODY)
    proof = _proof(password[:LONGEST_PASSWORD], bytes.fromhex(found.salt))
    return found if hmac.compare_digest(proof, found.proof) and found is not _NOBODY else None


def _change(folder: Path, change: Callable[[tuple[Person, ...]], tuple[Person, ...]]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    people = change(read_people(folder))
    put_file(folder / FILE, msgspec.json.format(msgspec.json.encode(people), indent=1) + b"\n", 0o600)
