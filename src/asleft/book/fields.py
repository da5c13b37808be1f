"""Kinds of texts that files hold: names, trouble codes, plain texts."""

from __future__ import annotations

from typing import Annotated

import msgspec

from .form import explain_pattern

SLUG = explain_pattern(
    r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", "small letters, digits and hyphens, such as throttle-stop-learn"
)
CODE = explain_pattern(
    r"^[PCBU][0-3][0-9A-F]{3}(-[0-9A-F]{2}|\.\.[PCBU][0-3][0-9A-F]{3})?$",
    "a trouble code such as P2176, with a failure type P2176-54, or a range P0120..P0124",
)
NODE = explain_pattern(
    r"^[a-z][a-z0-9]*(-[a-z0-9]+)*(/(still|road|cold|warm|open|close))?$",
    "a function such as trans-learn, or a part of it such as trans-learn/road",
)

Slug = Annotated[str, msgspec.Meta(pattern=SLUG, max_length=80)]
Node = Annotated[str, msgspec.Meta(pattern=NODE, max_length=80)]
CodeText = Annotated[str, msgspec.Meta(pattern=CODE)]
Text = Annotated[str, msgspec.Meta(min_length=1, max_length=2000)]
