"""What a request does to a module, decided from its service bytes alone: nothing else can make it harmless.

What is not known counts as a write. Use::

    effect_of(bytes.fromhex("22F190"))  # Effect.READS
    effect_of(bytes.fromhex("31010203"))  # Effect.ACTUATES: needs a receipt

``31`` differs by protocol: in UDS ``31 03`` reads a routine's result, in KWP2000 it starts local routine 03. So the
conversation says which language it speaks, and ``31 03`` reads only in UDS and only in the form that UDS gives it.

Source: ISO 14229-1, ISO 14230-3, ISO 15031-5 / SAE J1979 (services); recalled. The sorting is ours.
"""

from __future__ import annotations

from asleft.model.effect import Effect

from .refusal import Protocol

_READS = frozenset((0x01, 0x02, 0x03, 0x05, 0x06, 0x07, 0x09, 0x0A)) | frozenset(
    (0x12, 0x13, 0x17, 0x18, 0x19, 0x1A, 0x21, 0x22, 0x23, 0x24, 0x2A, 0x33)
)

#: Service to effect, for services that have one effect in every form.
_ALWAYS: dict[int, Effect] = {
    **dict.fromkeys(_READS, Effect.READS),
    **dict.fromkeys((0x20, 0x3E, 0x81, 0x82, 0x83), Effect.SESSION),
    **dict.fromkeys((0x04, 0x14), Effect.CLEARS),
    **dict.fromkeys((0x08, 0x28, 0x2F, 0x32, 0x39, 0x85), Effect.ACTUATES),
    **dict.fromkeys((0x27, 0x29), Effect.ACCESS),
    0x11: Effect.RESTARTS,
}

#: Sessions of UDS without lasting effect: default and extended, with and without the bit that suppresses the answer.
_SESSIONS = frozenset((0x01, 0x03, 0x81, 0x83))
#: The standard session of KWP2000; the others are the makers'.
_KWP_SESSIONS = frozenset((0x81,))

#: Output control of KWP2000 (30): forms that only report, and the one that adjusts for good.
_REPORTS = frozenset((0x01, 0x02, 0x03))
_LONG_TERM = 0x08

_ERASE_MEMORY = b"\xff\x00"


def effect_of(request: bytes, protocol: Protocol = Protocol.UDS) -> Effect:
    """Effect of the bytes of one request.

    Args:
        request: whole request, service byte first.
        protocol: language of the conversation.
    Returns: the effect; ``WRITES`` for an empty or unknown request.
    """
    if not request:
        return Effect.WRITES
    match request[0]:
        case 0x10:
            return _session(request, protocol)
        case 0x30:
            return _output_control(request)
        case 0x31:
            return _routine(request, protocol)
        case service:
            return _ALWAYS.get(service, Effect.WRITES)


def _session(request: bytes, protocol: Protocol) -> Effect:
    harmless = _KWP_SESSIONS if protocol is Protocol.KWP2000 else _SESSIONS
    return Effect.SESSION if len(request) == 2 and request[1] in harmless else Effect.WRITES


def _output_control(request: bytes) -> Effect:
    form = request[2] if len(request) > 2 else 0
    if form in _REPORTS and len(request) == 3:
        return Effect.READS
    return Effect.WRITES if form == _LONG_TERM else Effect.ACTUATES


def _routine(request: bytes, protocol: Protocol) -> Effect:
    if protocol is Protocol.KWP2000:
        return Effect.ACTUATES
    if len(request) < 4:
        return Effect.ACTUATES
    if request[1] == 0x03:
        return Effect.READS
    return Effect.WRITES if request[2:4] == _ERASE_MEMORY else Effect.ACTUATES
