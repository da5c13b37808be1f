"""The words of a report: fixed texts from one table a language, and what events say, translated where it can be. Pure.

Texts that come from events bring their own message ids; the fixed ones belong to the report alone. A place ``{name}``
is filled by the caller; nothing of a record is ever a template.
"""

from __future__ import annotations

from collections.abc import Mapping

from asleft.model.errors import Code, InputError
from asleft.model.message import Message

from .english import ENGLISH
from .german import GERMAN, MESSAGES
from .profile import Profile
from .quantity import Numbers

#: Language tag -> table. A word missing in a language is taken from English.
TABLES: Mapping[str, Mapping[str, str]] = {"en": ENGLISH, "de": GERMAN}

#: Language tag -> message id -> (the English template it translates, translation).
SAID: Mapping[str, Mapping[str, tuple[str, str]]] = {"en": {}, "de": MESSAGES}


class Words:
    """The words of one language and the numbers of one place.

    Args: profile: language and locale. Raises InputError (language-unknown).
    """

    def __init__(self, profile: Profile | None = None) -> None:
        profile = profile or Profile()
        if profile.language not in TABLES:
            raise InputError(Code.LANGUAGE_UNKNOWN, f"{profile.language!r}; there are: {', '.join(TABLES)}")
        self.language = profile.language
        self.redacted = profile.redacted
        self._table = TABLES[profile.language]
        self.n = Numbers(profile.place, customary=profile.customary, between=self._table["between"])
        self._said = SAID[profile.language]

    def __call__(self, word: str, **values: object) -> str:
        """The text with this id, its places filled. Raises KeyError for an unknown id: a fault of ours."""
        template = self._table.get(word) or ENGLISH[word]
        return template.format_map({k: str(v) for k, v in values.items()}) if values else template

    def knows(self, word: str) -> bool:
        """Whether there is a fixed text with this id."""
        return word in ENGLISH

    def said(self, message: Message | None) -> str:
        """What an event says: in this language where exactly this text is translated, else as recorded."""
        if message is None:
            return ""
        english, translated = self._said.get(message.id, ("", ""))
        if english != message.template:
            return message.text
        values = {k: self.n.text(v) for k, v in message.values.items()}
        return Message(message.id, translated, values).text

    def caution(self, message: Message) -> str:
        """A caution: always as recorded; a translation stands behind it, marked as not reviewed by a person."""
        said = self.said(message)
        if self.language == "en":
            return said
        if said == message.text:
            return f"{message.text} [{self('caution.not-translated')}]"
        return f"{message.text} [{self('caution.not-reviewed')}: {said}]"
