"""The published JSON Schema of procedure files, made from the types; a test keeps the published copy equal.

It says what a schema can say: keys, types, choices, patterns. Rules between fields (limits that agree, names that
exist, YAML's own traps) are the loader's alone. Editors that know JSON Schema complete and check while typing.

Source: JSON Schema 2020-12.
"""

from __future__ import annotations

from typing import Any, cast

import msgspec

from .form import file_key
from .procedure import Procedure
from .quick import QuickProcedure

_Json = dict[str, Any]


def procedure_schema() -> _Json:
    """The schema of a procedure file: a full one, or a quick one (with ``quick``)."""
    (full, quick), parts = msgspec.json.schema_components([Procedure, QuickProcedure], ref_template="#/$defs/{name}")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "asleft procedure",
        "if": {"required": ["quick"]},
        "then": quick,
        "else": full,
        "$defs": {name: _closed(_spelt(part)) for name, part in sorted(parts.items())},
    }


def _spelt(part: Any) -> Any:
    """Keys as files spell them."""
    if isinstance(part, list):
        return [_spelt(item) for item in cast("list[Any]", part)]
    if not isinstance(part, dict):
        return part
    out: _Json = {}
    for key, value in cast("_Json", part).items():
        if key == "properties":
            out[key] = {file_key(name): _spelt(v) for name, v in cast("_Json", value).items()}
        elif key == "required":
            out[key] = [file_key(name) for name in cast("list[str]", value)]
        elif key == "anyOf":
            out |= _without_null(cast("list[Any]", value))
        elif key not in {"default", "description"}:
            out[key] = _spelt(value)
    return out


def _without_null(choices: list[Any]) -> _Json:
    """What is not given is left out, never written as null."""
    rest = [_spelt(choice) for choice in choices if choice != {"type": "null"}]
    return cast("_Json", rest[0]) if len(rest) == 1 else {"anyOf": rest}


def _closed(part: _Json) -> _Json:
    """No unknown keys anywhere, as in the loader."""
    return {**part, "additionalProperties": False} if part.get("type") == "object" else part
