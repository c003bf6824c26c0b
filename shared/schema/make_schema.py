"""Write the JSON Schema of the exchange format from the table of fields that export and import are made from.

    python shared/schema/make_schema.py > shared/schema/library-v1.schema.json

A test keeps the file equal to what this prints.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from meterlink.library import fields
from meterlink.library import format as fmt
from meterlink.library.rows import CONTROLS, NAME_MAX, TEXT_MAX

ID = {"type": "string", "pattern": "^0[0-9a-f]{31}$"}
NAME = {"type": "string", "minLength": 1, "maxLength": NAME_MAX}


def field_schema(field: fields.Field) -> dict[str, Any]:
    """Return the schema of one field."""
    made = _KINDS[field.kind](field)
    if not field.null:
        return made
    if "type" in made and "enum" not in made:
        return {**made, "type": [made["type"], "null"]}
    return {"anyOf": [made, {"type": "null"}]}


def _limits(kind: str, field: fields.Field) -> dict[str, Any]:
    return {"type": kind, "minimum": field.low, "maximum": field.high}


def _list(items: dict[str, Any], field: fields.Field) -> dict[str, Any]:
    return {"type": "array", "maxItems": int(field.high), "items": items}


def _tuple(kinds: tuple[fields.Field, ...]) -> dict[str, Any]:
    items = [field_schema(k) for k in kinds]
    return {"type": "array", "prefixItems": items, "minItems": len(items), "maxItems": len(items)}


_KINDS: dict[str, Any] = {
    "number": lambda f: _limits("number", f),
    "integer": lambda f: _limits("integer", f),
    "flag": lambda _: {"type": "boolean"},
    "choice": lambda f: {"enum": list(f.choices)},
    "id": lambda _: ID,
    "name": lambda _: NAME,
    "text": lambda f: {"type": "string", "minLength": int(f.low), "maxLength": TEXT_MAX, "pattern": f"^[^{CONTROLS}]*$"},
    "ids": lambda f: _list(ID, f),
    "names": lambda f: _list(NAME, f),
    "numbers": lambda f: _list(field_schema(fields.REAL), f),
    "pairs": lambda f: _list(_tuple(fields.PAIR), f),
    "segments": lambda f: _list(_tuple(fields.SEGMENT), f),
    "records": lambda f: _list(record_schema(f.inner), f),
    "object": lambda _: {"type": "object"},
    "base64": lambda _: {"type": "string", "contentEncoding": "base64"},
}


def record_schema(table: Mapping[str, fields.Field]) -> dict[str, Any]:
    """Return the schema of one record."""
    return {
        "type": "object",
        "properties": {name: field_schema(field) for name, field in table.items()},
        "required": [name for name, field in table.items() if field.required],
        "additionalProperties": False,
    }


def schema() -> dict[str, Any]:
    """Return the schema of a document."""
    parts = {part: {"type": "array", "items": record_schema(fields)} for part, fields in fields.DOCUMENT.items()}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Set-ups, lights, placements, calibrations and readings of meterlink, version 1",
        "description": "SI units and stops; a field that is left out has its default, null is not known.",
        "type": "object",
        "properties": {
            "format": {"const": fmt.FORMAT},
            "version": {"const": fmt.VERSION},
            "written_at_s": {"type": "number", "description": "seconds since 1970, UTC"},
            **parts,
        },
        "required": ["format", "version"],
        "additionalProperties": False,
    }


if __name__ == "__main__":
    print(json.dumps(schema(), indent=1))
