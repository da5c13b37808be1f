"""The workshop's settings: one small file, ``workshop.toml``, in the data folder. What is not there has its default.

Example::

    workshop = "Gable Street Motors"
    technician = "M. Okafor"
    link = "can:socketcan:can0?bitrate=500000"
    writes_to_vehicles = false
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import msgspec

from asleft.model.errors import Code, InputError
from asleft.record.files import put_file
from asleft.report.profile import LOCALES, Profile

FILE = "workshop.toml"
LANGUAGES = ("en", "de")
PAPERS = ("a4", "letter")
#: Settings with a closed list of values.
CHOICES = {"language": LANGUAGES, "locale": ("", *LOCALES), "paper": PAPERS}
_LONGEST = 300


class Workshop(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Settings of one workshop.

    Attributes:
        workshop: its name, as it stands on reports. technician: who signs unless somebody else is named.
        address, licence: as they stand in each record.
        letterhead: lines under its name on paper; empty: address and licence.
        interface: its kind and serial number, without a maker's name. gauges: each with the date its check is due.
        link: address of the interface (see ``docs/links.md``); empty: none chosen yet.
        language, locale, paper: of the report; locale empty: as the language.
        customary_units: print customary units in brackets behind the recorded ones.
        mark: file of the workshop's mark (SVG or PNG), from the data folder; empty: none.
        writes_to_vehicles: the gate for everything that changes a real car. Closed unless the workshop opens it.
        access_program: executable that gives the workshop's own authorised access keys; empty: there is none.
    """

    workshop: str = ""
    technician: str = ""
    address: str = ""
    licence: str = ""
    letterhead: tuple[str, ...] = ()
    link: str = ""
    interface: str = ""
    gauges: tuple[str, ...] = ()
    language: str = "en"
    locale: str = ""
    paper: str = "a4"
    customary_units: bool = False
    mark: str = ""
    writes_to_vehicles: bool = False
    access_program: str = ""

    def profile(self, folder: Path) -> Profile:
        """How its paper looks. Raises InputError (setting-bad): the mark's file cannot be read."""
        mark = b""
        if self.mark:
            try:
                mark = (folder / self.mark).read_bytes()
            except OSError as error:
                raise InputError(Code.SETTING_BAD, f"mark: {error.strerror}", str(folder / self.mark)) from error
        lines = self.letterhead or tuple(line for line in (self.address, self.licence) if line)
        return Profile(self.language, self.locale, self.customary_units, lines, mark)


#: Setting -> what it is for, for the file and the page.
MEANINGS = {
    "workshop": "the workshop's name, as it stands on reports",
    "technician": "who signs unless somebody else is named",
    "address": "the workshop's address, as it stands in each record",
    "licence": "its licence number, as it stands in each record",
    "letterhead": "lines under the name on paper; empty: address and licence",
    "link": "address of the interface; empty: none chosen yet",
    "interface": "the interface: its kind and serial number, without a maker's name; stands in each record",
    "gauges": "gauges in use, each with the date its check is due; stand in each record",
    "language": "of the report: " + ", ".join(LANGUAGES),
    "locale": "how the report writes numbers and dates: empty (as the language) or one of " + ", ".join(LOCALES),
    "customary_units": "true prints customary units in brackets behind the recorded ones",
    "paper": "of the report: " + ", ".join(PAPERS),
    "mark": "file of the workshop's mark (SVG or PNG) in this folder; empty: none",
    "writes_to_vehicles": "true opens everything that changes a real car; read docs/hazards.md before",
    "access_program": "executable that gives the workshop's own authorised access keys; empty: there is none",
}


def read_workshop(folder: Path) -> Workshop:
    """The settings of a data folder. Raises InputError (setting-bad): where, why, what to write instead."""
    path = folder / FILE
    try:
        said = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return Workshop()
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise InputError(Code.SETTING_BAD, str(error), str(path)) from error
    return _checked(said, str(path))


def write_workshop(folder: Path, **changes: Any) -> Workshop:
    """Change settings by name and keep the file; comments of its own are written anew.

    Raises: InputError: setting-bad; nothing is changed.
    """
    said = msgspec.to_builtins(read_workshop(folder)) | changes
    workshop = _checked(said, str(folder / FILE))
    lines = ["# Settings of this workshop. Read when the engine starts."]
    for name, value in msgspec.to_builtins(workshop).items():
        lines += ["", f"# {MEANINGS[name]}", f"{name} = {json.dumps(value, ensure_ascii=False)}"]
    folder.mkdir(parents=True, exist_ok=True)
    put_file(folder / FILE, ("\n".join(lines) + "\n").encode(), 0o644)
    return workshop


def read_settings(changes: Sequence[str]) -> dict[str, Any]:
    """Settings as typed, ``NAME=VALUE``; true and false are yes and no, ``|`` parts the lines of letterhead and gauges.

    Raises: InputError: setting-bad.
    """
    said: dict[str, Any] = {}
    for change in changes:
        name, equals, value = change.partition("=")
        if not equals:
            raise InputError(Code.SETTING_BAD, f"{change!r}: write NAME=VALUE")
        said[name] = _value(name, value)
    return said


def _value(name: str, text: str) -> Any:
    kind = next((f.type for f in msgspec.structs.fields(Workshop) if f.name == name), str)
    if kind is bool and text.lower() in ("true", "false"):
        return text.lower() == "true"
    if kind is str or kind is bool:
        return text
    return tuple(line.strip() for line in text.split("|") if line.strip())


def _checked(said: dict[str, Any], where: str) -> Workshop:
    for name in said:
        if name not in MEANINGS:
            raise InputError(Code.SETTING_BAD, f"no setting {name!r}; there are {', '.join(MEANINGS)}", where)
    try:
        workshop = msgspec.convert(said, Workshop)
    except msgspec.ValidationError as error:
        raise InputError(Code.SETTING_BAD, str(error), where) from error
    for name, line in _lines(workshop):
        if not (line.isprintable() and len(line) <= _LONGEST):
            raise InputError(Code.SETTING_BAD, f"{name}: one line of at most {_LONGEST} characters", where)
    for name, known in CHOICES.items():
        if getattr(workshop, name) not in known:
            what = f"{name}: {getattr(workshop, name)!r}; write one of {', '.join(k or 'nothing' for k in known)}"
            raise InputError(Code.SETTING_BAD, what, where)
    if Path(workshop.mark).is_absolute() or ".." in Path(workshop.mark).parts:
        raise InputError(Code.SETTING_BAD, "mark: a file in the data folder, by its name", where)
    return workshop


def _lines(workshop: Workshop) -> Iterator[tuple[str, str]]:
    """Every text of the settings with its setting's name."""
    for name in MEANINGS:
        value: object = getattr(workshop, name)
        if isinstance(value, str):
            yield name, value
    for name in ("letterhead", "gauges"):
        for line in getattr(workshop, name):
            yield name, line
