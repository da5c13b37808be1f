"""How a workshop wants its paper: language, numbers, units, letterhead, mark, redaction. Pure data.

Example::

    Profile(language="de", letterhead=("Gable Street 4", "Licence 0031"), mark=Path("mark.svg").read_bytes())
"""

from __future__ import annotations

import msgspec

from asleft.model.errors import Code, InputError


class Locale(msgspec.Struct, frozen=True):
    """Numbers and dates of a place; ``date`` has the places ``{y} {m} {d}``. Tested against the Unicode CLDR."""

    decimal: str
    date: str


#: BCP 47 tag -> locale. ``en`` alone prints dates as ISO 8601, which no English reader mistakes.
LOCALES = {
    "en": Locale(".", "{y}-{m}-{d}"),
    "en-GB": Locale(".", "{d}/{m}/{y}"),
    "en-US": Locale(".", "{m}/{d}/{y}"),
    "de": Locale(",", "{d}.{m}.{y}"),
}


class Profile(msgspec.Struct, frozen=True):
    """Settings of the paper; nothing here can change what the record says.

    Attributes:
        language: tag of a table of words.
        locale: tag in ``LOCALES``; empty means as the language.
        customary: print customary units in brackets behind the recorded ones.
        letterhead: address, licence number, telephone: lines under the workshop's name.
        mark: the workshop's mark as SVG or PNG; empty for none.
        redacted: for giving away: the VIN's last eight only, no customer, no plate, no record attached.
    """

    language: str = "en"
    locale: str = ""
    customary: bool = False
    letterhead: tuple[str, ...] = ()
    mark: bytes = b""
    redacted: bool = False

    @property
    def place(self) -> Locale:
        """The locale. Raises InputError (language-unknown)."""
        tag = self.locale or self.language
        if tag not in LOCALES:
            raise InputError(Code.LANGUAGE_UNKNOWN, f"{tag!r}; there are: {', '.join(LOCALES)}")
        return LOCALES[tag]
