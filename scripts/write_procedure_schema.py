"""Write the published JSON Schema of procedure files from the types; a test compares the two."""

from __future__ import annotations

import json
from pathlib import Path

from asleft.book.schema import procedure_schema

TARGET = Path(__file__).resolve().parents[1] / "docs" / "schema" / "procedure.schema.json"


def main() -> None:
    """Write the file and say where."""
    TARGET.parent.mkdir(parents=True, exist_ok=True)
    TARGET.write_text(json.dumps(procedure_schema(), indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    print(TARGET)


if __name__ == "__main__":
    main()
