"""The JSON format of libraries, version 1, checked by the table of fields (``fields.py``).

A document is ``{"format": "meterlink-library", "version": 1, "setups": [...], "lights": [...], ...}``; every list is optional.
Records are flat, with the names and units of ``meterlink.records``; a field that is left out has its default.  A set-up or
light occurs once for each of its versions, which share ``id`` and differ in ``version_id``; the latest one is in force.
A document is whole: what its records refer to is in it.

We validate with a small validator of our own rather than with the ``jsonschema`` package: that one needs a compiled module
that phones lack, costs several times our start-up, and does not speak in one plain line.  Tests hold the two together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from meterlink.errors import ImportRefused
from meterlink.library.fields import DOCUMENT, ID, NAME, PAIR, REAL, SEGMENT, WHEN, Field
from meterlink.library.learnt import note_trouble
from meterlink.library.rows import NAME_MAX, TEXT_MAX, has_controls, is_name

FORMAT = "meterlink-library"
VERSION = 1
DEPTH_MAX = 32
"""Lists and tables inside each other in ``details`` and ``payload``."""


def validate(document: Any, name: str) -> dict[str, list[dict[str, Any]]]:
    """Return the document's lists of records, all of them checked.  Raises ``ImportRefused`` with the first thing wrong."""
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise ImportRefused("{name} is not an exported library: choose a file that was exported", name=name)
    version = document.get("version")
    if type(version) is not int or version < 1:
        raise ImportRefused("{name} does not say its version: export it again", name=name)
    if version > VERSION:
        raise ImportRefused(
            "{name} is of version {number:.0f}, this meterlink reads {number_2}: update meterlink",
            name=name, number=version, number_2=VERSION,
        )
    unknown = sorted(set(document) - {"format", "version", "written_at_s", *DOCUMENT})
    if unknown:
        raise ImportRefused(
            "{name} has an unknown part {unknown!r}, nothing was taken: export it again", name=name, unknown=unknown[0][:40]
        )
    if _number(document.get("written_at_s", 0), WHEN):
        raise ImportRefused("{name}: written_at_s is not a number, nothing was taken: export it again", name=name)
    found = {}
    for part, fields in DOCUMENT.items():
        records = document.get(part, [])
        if not isinstance(records, list):
            raise ImportRefused("{name}: {part} is not a list, nothing was taken: export it again", name=name, part=part)
        for n, record in enumerate(records):
            trouble = record_trouble(record, fields) or (part == "notes" and _note_trouble(record)) or ""
            if trouble:
                raise ImportRefused(
                    "{name}: {part}[{n}]{trouble}, nothing was taken: correct it or export it again",
                    name=name, part=part, n=n, trouble=trouble,
                )
        found[part] = records
    return found


def record_trouble(record: Any, fields: Mapping[str, Field]) -> str:
    """Return what is wrong with a record as the end of a sentence, '' when nothing is."""
    if type(record) is not dict:
        return " is not a table"
    for key, value in record.items():
        field = fields.get(key)
        if field is None:
            return f" has an unknown field {key[:40]!r}"
        if value is None:
            if not field.null:
                return f".{key} is null"
            continue
        trouble = _CHECKS[field.kind](value, field)
        if trouble:
            return f".{key}{trouble}"
    for key, field in fields.items():
        if field.required and key not in record:
            return f" lacks {key}"
    return ""


def _note_trouble(note: dict[str, Any]) -> str:
    found = note_trouble(note["kind"], note.get("payload", {}))
    return found and f".payload is no {note['kind']} ({found})"


def _number(value: Any, field: Field) -> str:
    low, high = field.low or 0.0, field.high or 0.0
    if (type(value) is float or type(value) is int) and low <= value <= high:
        return ""
    return f" is not a number from {low:g} to {high:g}"


def _integer(value: Any, field: Field) -> str:
    low, high = field.low or 0, field.high or 0
    return "" if type(value) is int and low <= value <= high else f" is not a whole number from {low:g} to {high:g}"


def _flag(value: Any, _: Field) -> str:
    return "" if value is True or value is False else " is not true or false"


def _choice(value: Any, field: Field) -> str:
    return "" if type(value) is str and value in field.choices else f" is not one of {', '.join(field.choices)}"


def _id(value: Any, _: Field) -> str:
    good = type(value) is str and len(value) == 32 and value[0] == "0" and not value.strip("0123456789abcdef")
    return "" if good else " is not an id (32 hex digits that begin with 0)"


def _text(value: Any, field: Field) -> str:
    if type(value) is not str or not (field.low or 0) <= len(value) <= TEXT_MAX or has_controls(value):
        return f" is not a text of at most {TEXT_MAX} characters without control characters"
    return "" if value.isascii() or value.encode("utf-8", "replace").decode() == value else " is not proper text"


def _name(value: Any, field: Field) -> str:
    if _text(value, field) or not is_name(value):
        return f" is not a name of 1 to {NAME_MAX} printable characters"
    return ""


def _list_of(value: Any, field: Field, check: Any, inner: Field) -> str:
    if type(value) is not list or len(value) > (field.high or 0):
        return f" is not a list of at most {field.high:g}"
    return next((f"[{n}]{t}" for n, item in enumerate(value) if (t := check(item, inner))), "")


def _ids(value: Any, field: Field) -> str:
    return _list_of(value, field, _id, ID)


def _names(value: Any, field: Field) -> str:
    return _list_of(value, field, _name, NAME)


def _numbers(value: Any, field: Field) -> str:
    return _list_of(value, field, _number, REAL)


def _tuple_of(value: Any, kinds: Sequence[Field]) -> str:
    if type(value) is not list or len(value) != len(kinds):
        return f" is not a list of {len(kinds)}"
    return next((t for item, kind in zip(value, kinds, strict=True) if (t := _CHECKS[kind.kind](item, kind))), "")


def _pairs(value: Any, field: Field) -> str:
    return _list_of(value, field, lambda item, _: _tuple_of(item, PAIR), field)


def _segments(value: Any, field: Field) -> str:
    return _list_of(value, field, lambda item, _: _tuple_of(item, SEGMENT), field)


def _records(value: Any, field: Field) -> str:
    return _list_of(value, field, lambda item, _: record_trouble(item, field.inner), field)


def _object(value: Any, _: Field) -> str:
    if type(value) is not dict:
        return " is not a table"
    if _depth(value) > DEPTH_MAX:
        return f" is deeper than {DEPTH_MAX}"
    return ""


def _depth(value: Any) -> int:
    """Return how deep lists and tables are nested, without recursion; stops counting just past the limit."""
    level, depth = [value], 0
    while level and depth <= DEPTH_MAX:
        level = [
            item
            for holder in level
            for item in (holder.values() if isinstance(holder, dict) else holder)
            if isinstance(item, dict | list)
        ]
        depth += 1
    return depth


def _base64(value: Any, field: Field) -> str:
    if type(value) is not str or len(value) > (field.high or 0) * 4 / 3 + 4 or not value.isascii():
        return " is not base64 of a size that a sensor sends"
    return ""


_CHECKS: dict[str, Any] = {
    "number": _number, "integer": _integer, "flag": _flag, "choice": _choice, "id": _id, "text": _text, "name": _name,
    "ids": _ids, "names": _names, "numbers": _numbers, "pairs": _pairs, "segments": _segments, "records": _records,
    "object": _object, "base64": _base64,
}  # fmt: skip
