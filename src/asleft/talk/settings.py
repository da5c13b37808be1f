"""How conversations behave, as one value. The defaults are gentle: meant for a car that nobody knows yet."""

from __future__ import annotations

import msgspec

from asleft.codec.isotp import IsoTpConfig


class TalkSettings(msgspec.Struct, frozen=True, kw_only=True):
    """Times and numbers of conversations.

    Attributes:
        in_flight: requests on their way at a time, to begin with (TRADE 2.13: 2 to 4 on a real car until it has
            proved more).
        in_flight_most: how many they may become on a car that loses nothing; what the car proved earlier outranks it.
        p2_s: longest time a module takes to answer, until it says otherwise, s.
            Source: ISO 14229-2, P2server 50 ms; ISO 15765-4, P2 50 ms (recalled).
        p2_star_s: the same after *response pending*, s. Source: ISO 14229-2, P2*server 5 s (recalled).
        margin_s: added to both for the way through gateways and interfaces, s (common practice, no source).
        calm_s: listening on after that, before a read is asked again, s (common practice, no source).
        onto_bus_s: longest time until a request of ours has got onto the bus, s (common practice, no source).
        longest_s: bound of one request with all its pending answers and retries, s.
        silent_retries: how often a silent or broken read is asked again before the module counts as silent.
        loss_retries: how much oftener when so much was lost that fewer are in flight now; the last one alone.
        busy_retries: how often a read that met *busy* (21) is asked again; ``busy_pause_s`` s, twice, three times that.
        straggler_s: how long an answer that did not come may still come and must not be taken for the next one, s.
        keep_alive_s: rhythm of tester present, s. Source: ISO 14229-2, S3client 2 s, S3server 5 s (recalled).
        close_s: longest time for closing a session, s.
        isotp: transfers.
    """

    in_flight: int = 2
    in_flight_most: int = 4
    p2_s: float = 0.05
    p2_star_s: float = 5.0
    margin_s: float = 0.1
    calm_s: float = 0.05
    onto_bus_s: float = 1.0
    longest_s: float = 60.0
    silent_retries: int = 1
    loss_retries: int = 4
    busy_retries: int = 5
    busy_pause_s: float = 0.1
    straggler_s: float = 1.0
    keep_alive_s: float = 2.0
    close_s: float = 1.0
    isotp: IsoTpConfig = msgspec.field(default_factory=IsoTpConfig)


class Timing(msgspec.Struct, frozen=True):
    """How long one module may take, s: to answer, and to answer after *response pending*. Margins not included."""

    p2_s: float
    p2_star_s: float
