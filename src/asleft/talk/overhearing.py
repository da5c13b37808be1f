"""What another tester and the modules say to each other, put together from frames that go by. Sends nothing. Pure.

Messages come from ``link.overheard.Ear``; a request and its answer are paired by the bytes (service and echo), never by
time alone. Outside OBD no standard says which identifiers belong together: that is learned from flow control frames,
and from answers to which only one request fits. As long as several fit, nothing is told. Identifiers that also carry
what no diagnostic frame can be are other traffic and left out::

    hearing = Overhearing()
    for exchange in hearing.feed(frame):
        ...
    hearing.finish()          # requests of which no answer was heard

Source: ISO 15765-2, ISO 15765-4 (identifiers of OBD), ISO 14229-1 8.4 (pairing); recalled.
"""

from __future__ import annotations

from collections import Counter

import msgspec

from asleft.codec.answer import AnswerMalformed
from asleft.codec.isotp.frames import First, Flow, parse
from asleft.link.overheard import Ear, Overheard
from asleft.model.frame import CanFrame
from asleft.model.module import ModuleAddress

from .addresses import NARROW_REQUEST, WIDE_REQUEST, responder
from .matching import Match, expects_answer, match

#: An answer belongs to a request that is not older than this, s; *response pending* starts it anew (ISO 14229-2, P2*
#: 5 s, recalled, and a margin).
_LONGEST_S = 6.0
_EVERYBODY = (NARROW_REQUEST, WIDE_REQUEST)


class HeardExchange(msgspec.Struct, frozen=True):
    """One request and what was heard of its answer.

    Attributes:
        module: who answered; for a request without an answer: whom it went to, as far as that is known.
        request: its bytes; what security services carry is blanked.
        answer: positive or negative answer; empty: none was heard, or none is due.
        asked_s, answered_s: times of the last frames, s on the link's clock.
        due: an answer was due.
        to_all: it was asked of everybody.
    """

    module: ModuleAddress
    request: bytes
    answer: bytes
    asked_s: float
    answered_s: float
    due: bool = True
    to_all: bool = False

    @property
    def refusal(self) -> int | None:
        """Negative response code, or None."""
        return self.answer[2] if self.answer[:1] == b"\x7f" and len(self.answer) > 2 else None


#: Identifier and width.
_Id = tuple[int, bool]
#: A flow control frame follows its first frame within this time, s (ISO 15765-2, N_Bs 1 s, recalled).
_FLOW_S = 1.0


class _Asked(msgspec.Struct):
    request: bytes
    time_s: float
    answered: bool = False


class _Unclear(msgspec.Struct):
    """Answers on an identifier of which it is not known yet whose they are."""

    may_be: set[_Id]
    kept: list[tuple[Overheard, dict[_Id, _Asked]]] = []


class Overhearing:
    """Pairs what goes by.

    Attributes:
        ear: puts messages together.
        frames: frames heard, by identifier and width.
        modules: who answered to what, in the order heard.
    """

    def __init__(self) -> None:
        self.ear = Ear()
        self.frames: Counter[_Id] = Counter()
        self.modules: dict[_Id, ModuleAddress] = {}
        self._asked: dict[_Id, _Asked] = {}
        self._partner: dict[_Id, _Id] = {}
        self._unclear: dict[_Id, _Unclear] = {}
        self._firsts: dict[_Id, float] = {}

    @property
    def unclear(self) -> int:
        """Answers of which it could not be told whose they are, so far."""
        return sum(len(unclear.kept) for unclear in self._unclear.values())

    def feed(self, frame: CanFrame) -> list[HeardExchange]:
        """Take one frame; the exchanges that it ends."""
        key = (frame.id, frame.extended)
        self.frames[key] += 1
        self._flow(key, frame)
        message = self.ear.feed(frame)
        if message is None:
            return []
        if message.payload[0] & 0x40:
            return self._answered(key, message)
        return self._request(key, message)

    def finish(self) -> list[HeardExchange]:
        """Requests to known modules that are still without an answer."""
        found = [exchange for key in tuple(self._asked) for exchange in self._given_up(key)]
        self._asked.clear()
        return found

    # -- who belongs to whom ---------------------------------------------------------------------------------------

    def _flow(self, key: _Id, frame: CanFrame) -> None:
        """A flow control frame right after the one first frame that waits for it: these two belong together."""
        pdu, now_s = parse(frame.data), frame.time_s or 0.0
        if isinstance(pdu, First):
            self._firsts[key] = now_s
        elif isinstance(pdu, Flow):
            waiting = [k for k, t in self._firsts.items() if now_s - t <= _FLOW_S and k[1] == key[1] and k != key]
            if len(waiting) == 1 and not {key, waiting[0]} & self.ear.other_traffic:
                self._partner.setdefault(key, waiting[0])
                self._partner.setdefault(waiting[0], key)
            for other in waiting:
                del self._firsts[other]

    def _sources(self, key: _Id) -> list[_Id]:
        """Identifiers whose request an answer on this one may belong to, the latest first."""
        obd = responder(key[0], wide=key[1])
        if obd is not None:
            may = [(obd.request_id, key[1]), (WIDE_REQUEST if key[1] else NARROW_REQUEST, key[1])]
        elif key in self._partner:
            may = [self._partner[key]]
        elif key in self.ear.other_traffic:
            may = []
        else:
            taken = self.ear.other_traffic | self._partner.keys() | {key}
            may = [k for k in self._asked if k[1] == key[1] and k not in taken]
        return sorted((k for k in may if k in self._asked), key=lambda k: -self._asked[k].time_s)

    def _module(self, key: _Id, source: _Id) -> ModuleAddress:
        known = self.modules.get(key)
        if known is not None:
            return known
        obd = responder(key[0], wide=key[1])
        module = obd or ModuleAddress(f"module {key[0]:0{8 if key[1] else 3}X}", source[0], key[0], key[1])
        self.modules[key] = module
        self._partner[key] = (module.request_id, key[1])
        self._partner[self._partner[key]] = key
        return module

    # -- requests --------------------------------------------------------------------------------------------------

    def _request(self, key: _Id, message: Overheard) -> list[HeardExchange]:
        found = self._given_up(key)
        self._asked[key] = _Asked(message.payload, message.time_s)
        if not expects_answer(message.payload):
            found += self._given_up(key)
            self._asked[key].answered = True
        return found

    def _given_up(self, key: _Id) -> list[HeardExchange]:
        """The request on this identifier, when its module is known and no answer was heard."""
        asked = self._asked.get(key)
        module = next((m for m in self.modules.values() if (m.request_id, m.extended) == key), None)
        if asked is None or asked.answered or module is None:
            return []
        due = expects_answer(asked.request)
        return [HeardExchange(module, asked.request, b"", asked.time_s, asked.time_s, due)]

    # -- answers ---------------------------------------------------------------------------------------------------

    def _answered(self, key: _Id, message: Overheard) -> list[HeardExchange]:
        fitting = {source: self._asked[source] for source in self._sources(key) if self._fits(source, message)}
        if not fitting:
            return []
        if key in self._partner or responder(key[0], wide=key[1]) is not None:
            source = next(iter(fitting))
            return [*self._told_late(key, source), *self._exchange(key, source, fitting[source], message)]
        unclear = self._unclear.setdefault(key, _Unclear(set(fitting)))
        unclear.may_be = unclear.may_be & fitting.keys() or set(fitting)
        if len(unclear.may_be) > 1:
            unclear.kept.append((message, {s: msgspec.structs.replace(a) for s, a in fitting.items()}))
            return []
        (source,) = unclear.may_be
        return [*self._told_late(key, source), *self._exchange(key, source, fitting[source], message)]

    def _told_late(self, key: _Id, source: _Id) -> list[HeardExchange]:
        """What was kept until it was known whose it is."""
        unclear = self._unclear.pop(key, None)
        kept = unclear.kept if unclear is not None else []
        return [
            e for message, asked in kept if source in asked for e in self._exchange(key, source, asked[source], message)
        ]

    def _fits(self, source: _Id, message: Overheard) -> bool:
        asked = self._asked[source]
        return message.time_s - asked.time_s <= _LONGEST_S and self._kind(asked, message) is not Match.NOT_OURS

    @staticmethod
    def _kind(asked: _Asked, message: Overheard) -> Match:
        try:
            return match(asked.request, message.payload)
        except AnswerMalformed:
            return Match.NOT_OURS

    def _exchange(self, key: _Id, source: _Id, asked: _Asked, message: Overheard) -> list[HeardExchange]:
        module = self._module(key, source)
        if self._kind(asked, message) is Match.PENDING:
            asked.time_s = message.time_s
            return []
        asked.answered = True
        to_all = source[0] in _EVERYBODY
        return [HeardExchange(module, asked.request, message.payload, asked.time_s, message.time_s, to_all=to_all)]
