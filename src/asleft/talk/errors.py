"""The ways in which a conversation fails, besides those of the link and of the transfer.

::

    ModuleError
    ├── ModuleRefused     a negative answer; ``refusal`` holds its code
    ├── ModuleSilent      no answer in time
    │   └── NotPassedOn   a gateway did not pass the request on
    └── AnswerMalformed   (codec.answer) an answer out of form
    LinkError (link-busy) the module was not even asked in time
"""

from __future__ import annotations

from asleft.codec.refusal import Protocol, refusal_of
from asleft.model.errors import AsleftError, Code, LinkError, ModuleError, RefusedError
from asleft.model.reading import to_hex


class ModuleRefused(RefusedError):  # noqa: N818 - says what happened
    """A module answered no.

    Attributes:
        refusal: negative response code.
        request: what was asked.
    """

    def __init__(self, module: str, request: bytes, refusal: int, protocol: Protocol = Protocol.UDS) -> None:
        self.request = request
        super().__init__(refusal, f"to {shown(request)}: {refusal_of(refusal, protocol).message.text}", module)


class ModuleSilent(ModuleError):  # noqa: N818 - says what happened
    """A module did not answer in time.

    Attributes:
        request: what was asked.
        pending: how often it said *response pending* before it fell silent.
        asked: how often the request went out.
    """

    def __init__(self, module: str, request: bytes, waited_s: float, pending: int = 0, asked: int = 1) -> None:
        self.request = request
        self.pending = pending
        self.asked = asked
        self.waited_s = waited_s
        said = f", after it said {pending} times that it was working" if pending else ""
        super().__init__(Code.MODULE_SILENT, f"{shown(request)}: no answer in {waited_s:.2f} s{said}", module)


class NotPassedOn(ModuleSilent):
    """Whoever stands between did not pass the request on to the module; ``why`` says what it told."""

    def __init__(self, module: str, request: bytes, why: str) -> None:
        super().__init__(module, request, 0.0)
        self.why = why
        AsleftError.__init__(self, Code.MODULE_SILENT, f"{shown(request)}: {why}", module)


class LinkBusy(LinkError):  # noqa: N818 - says what happened
    """The time was over before it was this request's turn: nothing was sent."""

    def __init__(self, module: str, request: bytes) -> None:
        super().__init__(Code.LINK_BUSY, shown(request), module)


def shown(request: bytes) -> str:
    """A request for a message: its first bytes; of security services the service and sub-function only."""
    secret = request[:1] in (b"\x27", b"\x29")
    most = 2 if secret else 16
    return to_hex(request[:most]) + ("…" if len(request) > most else "")
