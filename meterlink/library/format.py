"""The JSON format of libraries, version 1, checked by the table of fields (``fields.py``).

A document is ``{"format": "meterlink-library", "version": 1, "setups": [...], "lights": [...], ...}``; every list is optional.
Records are flat, with the names and units of ``meterlink.records``; a field that is left out has its default.  A set-up or
light occurs once for each of its versions, which share ``id`` and differ in ``version_id``; the latest one is in force.
A document is whole: what its records refer to is in it.

We validate with a small validator of our own rather than with the ``jsonschema`` package: that one needs a compiled module
that phones lack, costs several times our start-up, and does not speak in one plain line.  Tests hold the two together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

from meterlink.errors import ImportRefused
from meterlink.library.fields import DOCUMENT, ID, NAME, PAIR, REAL, SEGMENT, WHEN, Field
from meterlink.library.learnt import note_trouble
from meterlink.library.rows import NAME_MAX, TEXT_MAX, has_controls, is_name
from meterlink.words.told import Told, told

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
            trouble = record_trouble(record, fields) or (_note_trouble(record) if part == "notes" else None)
            if trouble:
                raise ImportRefused(
                    "{name}: {where} {trouble}, nothing was taken: correct it or export it again",
                    name=name, where=f"{part}[{n}]{trouble.where}", trouble=trouble.said,
                )
        found[part] = records
    return found


class Wrong(NamedTuple):
    """What is wrong with a value: ``where`` in its record (``.angles[2]``), and what of it."""

    where: str
    said: Told


def _wrong(code: str, /, **values: object) -> Wrong:
    return Wrong("", told(code, **values))


def record_trouble(record: Any, fields: Mapping[str, Field]) -> Wrong | None:
    """Return the first thing that is wrong with a record, None when nothing is."""
    if type(record) is not dict:
        return _wrong("no_table")
    for key, value in record.items():
        field = fields.get(key)
        if field is None:
            return _wrong("unknown_field", field=key[:40])
        if value is None:
            if not field.null:
                return Wrong(f".{key}", told("is_null"))
            continue
        trouble = _CHECKS[field.kind](value, field)
        if trouble:
            return Wrong(f".{key}{trouble.where}", trouble.said)
    for key, field in fields.items():
        if field.required and key not in record:
            return _wrong("lacks_field", field=key)
    return None


def _note_trouble(note: dict[str, Any]) -> Wrong | None:
    found = note_trouble(note["kind"], note.get("payload", {}))
    return Wrong(".payload", told("no_such_note", kind=note["kind"], trouble=found)) if found else None


def _number(value: Any, field: Field) -> Wrong | None:
    good = (type(value) is float or type(value) is int) and field.low <= value <= field.high
    return None if good else _wrong("not_a_number", low=field.low, high=field.high)


def _integer(value: Any, field: Field) -> Wrong | None:
    good = type(value) is int and field.low <= value <= field.high
    return None if good else _wrong("no_whole_number", low=field.low, high=field.high)


def _flag(value: Any, _: Field) -> Wrong | None:
    return None if value is True or value is False else _wrong("no_flag")


def _choice(value: Any, field: Field) -> Wrong | None:
    good = type(value) is str and value in field.choices
    return None if good else _wrong("no_choice", choices=", ".join(field.choices))


def _id(value: Any, _: Field) -> Wrong | None:
    good = type(value) is str and len(value) == 32 and value[0] == "0" and not value.strip("0123456789abcdef")
    return None if good else _wrong("no_id")


def _text(value: Any, field: Field) -> Wrong | None:
    if type(value) is not str or not field.low <= len(value) <= TEXT_MAX or has_controls(value):
        return _wrong("no_text", most=TEXT_MAX)
    proper = value.isascii() or value.encode("utf-8", "replace").decode() == value
    return None if proper else _wrong("improper_text")


def _name(value: Any, field: Field) -> Wrong | None:
    return _wrong("no_name", most=NAME_MAX) if _text(value, field) or not is_name(value) else None


def _list_of(value: Any, field: Field, check: Callable[[Any], Wrong | None]) -> Wrong | None:
    if type(value) is not list or len(value) > field.high:
        return _wrong("no_list", most=field.high)
    return next((Wrong(f"[{n}]{t.where}", t.said) for n, item in enumerate(value) if (t := check(item))), None)


def _tuple_of(value: Any, kinds: Sequence[Field]) -> Wrong | None:
    if type(value) is not list or len(value) != len(kinds):
        return _wrong("no_list_of", count=len(kinds))
    return next((t for item, kind in zip(value, kinds, strict=True) if (t := _CHECKS[kind.kind](item, kind))), None)


def _object(value: Any, _: Field) -> Wrong | None:
    if type(value) is not dict:
        return _wrong("no_table")
    return _wrong("too_deep", most=DEPTH_MAX) if _depth(value) > DEPTH_MAX else None


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


def _base64(value: Any, field: Field) -> Wrong | None:
    good = type(value) is str and len(value) <= field.high * 4 / 3 + 4 and value.isascii()
    return None if good else _wrong("no_base64")


_CHECKS: dict[str, Callable[[Any, Field], Wrong | None]] = {
    "number": _number, "integer": _integer, "flag": _flag, "choice": _choice, "id": _id, "text": _text, "name": _name,
    "object": _object, "base64": _base64,
    "ids": lambda value, field: _list_of(value, field, lambda item: _id(item, ID)),
    "names": lambda value, field: _list_of(value, field, lambda item: _name(item, NAME)),
    "numbers": lambda value, field: _list_of(value, field, lambda item: _number(item, REAL)),
    "pairs": lambda value, field: _list_of(value, field, lambda item: _tuple_of(item, PAIR)),
    "segments": lambda value, field: _list_of(value, field, lambda item: _tuple_of(item, SEGMENT)),
    "records": lambda value, field: _list_of(value, field, lambda item: record_trouble(item, field.inner)),
}  # fmt: skip
