"""Writes the help texts of all commands into docs/commands.md, and settings and error codes into docs/reference.md."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path

os.environ.update({"COLUMNS": "100", "TERMINAL_WIDTH": "100", "NO_COLOR": "1", "_TYPER_FORCE_DISABLE_TERMINAL": "1"})

PAGE = Path(__file__).parents[1] / "docs" / "commands.md"
REFERENCE = PAGE.with_name("reference.md")
SETTINGS, ERRORS = (
    "<!-- settings, by scripts/make_command_docs.py -->",
    "<!-- errors, by scripts/make_command_docs.py -->",
)
BEGIN, END = "<!-- begin commands -->", "<!-- end commands -->"


def help_texts() -> str:
    """Name and help of every command, as plain text."""
    from typer.main import get_command  # noqa: PLC0415
    from typer.testing import CliRunner  # noqa: PLC0415

    from asleft.cli.app import app  # noqa: PLC0415

    runner, parts = CliRunner(), []
    for words in verbs(get_command(app)):
        result = runner.invoke(app, [*words, "--help"], prog_name="asleft")
        text = re.sub(r"[^\S\n]+\n", "\n", result.output).strip()
        parts.append(f"## asleft {' '.join(words)}\n\n```text\n{text}\n```\n")
    return "\n".join(parts)


def verbs(command: object, before: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    """Every command that does something, as its words, in order."""
    inner = getattr(command, "commands", None)
    if not inner:
        return [before]
    return [found for name in sorted(inner) for found in verbs(inner[name], (*before, name))]


def reference() -> str:
    """Settings with their defaults, and error codes with what to do, as one page."""
    from asleft.job.workshop import MEANINGS, Workshop  # noqa: PLC0415
    from asleft.model.errors import TEXTS, Code  # noqa: PLC0415

    head, rest = REFERENCE.read_text(encoding="utf-8").split(SETTINGS)
    between = rest.split(ERRORS)[0]
    between = "\n\n## " + between.split("\n\n## ", 1)[1]
    defaults = Workshop()
    rows = [f"| `{name}` | `{getattr(defaults, name)!r}` | {words} |" for name, words in MEANINGS.items()]
    settings = ["| setting | default | what it is for |", "| --- | --- | --- |", *rows]
    codes = [
        f"| `{code.value}` | {TEXTS[code][0]} | {TEXTS[code][1]} |" for code in sorted(Code, key=lambda c: c.value)
    ]
    errors = ["| code | why | what to do |", "| --- | --- | --- |", *codes]
    return "\n".join([f"{head}{SETTINGS}", "", *settings]) + between + "\n".join([ERRORS, "", *errors, ""])


def page_with(texts: str, page: str) -> str:
    """The page with the texts in place."""
    head, rest = page.split(BEGIN)
    return f"{head}{BEGIN}\n\n{texts}\n{END}{rest.split(END)[1]}"


def main() -> int:
    """Write both pages."""
    REFERENCE.write_text(reference(), encoding="utf-8")
    PAGE.write_text(page_with(help_texts(), PAGE.read_text(encoding="utf-8")), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
