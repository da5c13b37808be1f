"""Where a control module of a bench car hears and answers on CAN."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Address:
    """Where a module hears and answers on CAN.

    Attributes:
        request: identifier of physical requests.
        response: identifier of its answers.
        extended: 29-bit identifiers.
        functional: identifiers of functional requests it hears.
        padding: fills its frames to 8 bytes; None: short frames.
    """

    request: int
    response: int
    extended: bool = False
    functional: tuple[int, ...] = (0x7DF,)
    padding: int | None = 0xCC

    @classmethod
    def normal(cls, request: int, response: int, functional: tuple[int, ...] = (0x7DF,)) -> Address:
        """11-bit pair, as 7E0 / 7E8."""
        return cls(request, response, functional=functional)

    @classmethod
    def fixed(cls, target: int, tester: int = 0xF1) -> Address:
        """29-bit normal fixed pair: 18DA<target><tester> and back; functional 18DB33<tester>."""
        return cls(
            0x18DA0000 | target << 8 | tester,
            0x18DA0000 | tester << 8 | target,
            extended=True,
            functional=(0x18DB3300 | tester,),
        )
