"""x"""

GERMAN: dict[str, str] = {}
MESSAGES: dict[str, tuple[str, str]] = {}
