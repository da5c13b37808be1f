"""Four diesel injectors, each with its own error and the code that its maker printed on it.

A code is eight characters of an alphabet without 0, 1, I, O and Z: two for the error in steps of 0.02 mg a stroke, five
of the serial number, one check character over all. Invented, as is its rule: 31 characters, a prime,
so that one wrong character or two exchanged neighbours never fit.
"""

from __future__ import annotations

from .noise import Noise

ALPHABET = "23456789ABCDEFGHJKLMNPQRSTUVWXY"
_BASE = len(ALPHABET)
STEP_MG = 0.02
LENGTH = 8
#: Cylinders in firing order.
FIRING = (1, 3, 4, 2)


def check_character(body: str) -> str:
    """Check character of the first seven. Raises ValueError: a character outside the alphabet."""
    total = sum((place + 2) * ALPHABET.index(character) for place, character in enumerate(body))
    return ALPHABET[total % _BASE]


def encode(error_mg: float, serial: str) -> str:
    """The code of an injector: its error, mg a stroke at the reference point, and five characters of its serial."""
    raw = min(_BASE * _BASE - 1, max(0, round(error_mg / STEP_MG) + _BASE * _BASE // 2))
    body = ALPHABET[raw // _BASE] + ALPHABET[raw % _BASE] + serial
    return body + check_character(body)


def decode(code: str) -> float | None:
    """Error that a code tells, mg; None: no such code."""
    if len(code) != LENGTH or any(character not in ALPHABET for character in code):
        return None
    if check_character(code[:-1]) != code[-1]:
        return None
    return (ALPHABET.index(code[0]) * _BASE + ALPHABET.index(code[1]) - _BASE * _BASE // 2) * STEP_MG


class Injectors:
    """What sits in cylinders 1 to 4.

    Attributes: error_mg: as measured when new, each. worn_mg: more since. label: code on each. weak: share of its
        torque that a cylinder has lost by compression.
    """

    CHANGES = ("error_mg", "worn_mg", "label", "weak", "_noise")

    def __init__(self, seed: int) -> None:
        self._noise = Noise(seed, "injectors")
        self.error_mg = [0.0] * 4
        self.label = [""] * 4
        self.worn_mg = [0.0] * 4
        self.weak = [0.0] * 4
        for cylinder in range(4):
            self.fit(cylinder)

    def fit(self, cylinder: int) -> str:
        """A new one into a cylinder (0 to 3); gives its code."""
        error = self._noise.between(0.4, 1.6) * (1.0 if self._noise.whole(0, 1) else -1.0)
        self.error_mg[cylinder] = error
        self.worn_mg[cylinder] = 0.0
        serial = "".join(ALPHABET[self._noise.whole(0, _BASE - 1)] for _ in range(5))
        self.label[cylinder] = encode(error, serial)
        return self.label[cylinder]

    def gives_mg(self, cylinder: int, asked_mg: float) -> float:
        """What a cylinder gets when a quantity is asked of its injector, mg a stroke."""
        if asked_mg <= 0.0:
            return 0.0
        return max(0.0, asked_mg + self.error_mg[cylinder] + self.worn_mg[cylinder])
