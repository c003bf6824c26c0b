"""The JSON format of libraries, version 1: one table of fields that export, import and the JSON Schema are made from.

A document is ``{"format": "meterlink-library", "version": 1, "setups": [...], "lights": [...], ...}``; every list is optional.
Records are flat, with the names and units of ``meterlink.records``; a field that is left out has its default.  A set-up or
light occurs once for each of its versions, which share ``id`` and differ in ``version_id``; the latest one is in force.
A document is whole: what its records refer to is in it.

We validate with a small validator of our own rather than with the ``jsonschema`` package: that one needs a compiled module
that phones lack, costs several times our start-up, and does not speak in one plain line.  Tests hold the two together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from meterlink.errors import ImportRefused
from meterlink.library.learnt import note_trouble
from meterlink.library.rows import KINDS, NAME_MAX, POPS_MAX, PURPOSES, TEXT_MAX, has_controls, is_name
from meterlink.records.kept import AIMS, RECEPTORS, ROLES, SHAPES

FORMAT = "meterlink-library"
VERSION = 1
DEPTH_MAX = 32
"""Lists and tables inside each other in ``details`` and ``payload``."""
REAL_MAX = 1e15
SMALL = 1e-300


class Field(NamedTuple):
    """What one field of a record may be.  ``kind`` is a JSON type or one of ours (``id``, ``name``, ``text``, ``records`` ...)."""

    kind: str
    required: bool = False
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    null: bool = False
    """May be null: not known."""
    inner: Mapping[str, Field] = {}
    about: str = ""


def _real(low: float = -REAL_MAX, high: float = REAL_MAX, *, required: bool = False, null: bool = False) -> Field:
    return Field("number", required, low, high, null=null)


def _index(high: float, low: float = 0) -> Field:
    return Field("integer", False, low, high)


ID = Field("id", True)
OTHER_ID = Field("id", null=True)
NAME = Field("name", True)
TEXT = Field("text")
FLAG = Field("flag")
OBJECT = Field("object")
MAYBE = _real(null=True)
MAYBE_POSITIVE = _real(SMALL, null=True)
MAYBE_MORE = _real(0, null=True)
MORE = _real(0)
WHEN = _real(required=True)

SETUP: dict[str, Field] = {
    "id": ID, "version_id": ID, "name": NAME, "created_at_s": WHEN, "iso": _real(SMALL), "shutter_s": MAYBE_POSITIVE,
    "camera_offset_stops": _real(), "filter_stops": MORE, "notes": TEXT, "tags": Field("names", high=100), "subject": TEXT,
    "archived": FLAG, "details": OBJECT,
}  # fmt: skip
LIGHT: dict[str, Field] = {
    "id": ID, "version_id": ID, "setup_id": ID, "name": NAME, "role": Field("choice", True, choices=ROLES),
    "point": Field("text", low=1), "order": _index(10**9, -(10**9)), "fixture": TEXT, "modifier": TEXT,
    "source_light_id": OTHER_ID, "shared_generator": FLAG, "power_step_stops": MAYBE_POSITIVE,
    "power_min_stops": _real(-REAL_MAX, 0, null=True), "full_power_j": MAYBE_POSITIVE, "details": OBJECT, "removed": FLAG,
}  # fmt: skip
PLACEMENT: dict[str, Field] = {
    "id": ID, "light_id": ID, "created_at_s": WHEN, "shape": Field("choice", choices=SHAPES), "width_m": MAYBE_POSITIVE,
    "height_m": MAYBE_POSITIVE, "distance_m": MAYBE_POSITIVE, "u_distance_m": MAYBE_MORE, "azimuth_deg": MAYBE,
    "elevation_deg": MAYBE, "feather_deg": _real(), "power_text": TEXT, "power_stops": MAYBE, "emission_n": MORE,
    "recess_m": MORE, "grid_deg": MAYBE_POSITIVE, "gel": TEXT, "diffusers": TEXT, "stand_height_m": MAYBE, "aimed_at": TEXT,
    "details": OBJECT,
}  # fmt: skip
RANGE: dict[str, Field] = {"full_scale_lx": _real(required=True), "dark_raw": _real(), "u_rel": MORE}
CALIBRATION: dict[str, Field] = {
    "id": ID, "sensor_id": NAME, "created_at_s": WHEN, "constant": _real(SMALL, required=True),
    "receptor": Field("choice", choices=RECEPTORS), "ranges": Field("records", high=256, inner=RANGE),
    "u_scale_rel": MORE, "relative": FLAG, "method": TEXT, "temperature_c": MAYBE, "reference": TEXT,
    "colour_matrix": Field("numbers", high=1000), "angle_response": Field("pairs", high=10_000), "details": OBJECT,
}  # fmt: skip
POP: dict[str, Field] = {
    "exposure_lxs": _real(0, required=True), "u_rel": MORE, "peak_lx": MAYBE, "t05_s": MAYBE, "t01_s": MAYBE,
    "ambient_lx": MAYBE, "clipped": FLAG, "range_index": _index(255),
}  # fmt: skip
READING: dict[str, Field] = {
    "id": ID, "setup_id": ID, "light_id": OTHER_ID, "placement_id": OTHER_ID, "calibration_id": ID, "sensor_id": NAME,
    "taken_at_s": WHEN, "kind": Field("choice", choices=KINDS), "purpose": Field("choice", choices=PURPOSES),
    "exposure_lxs": MAYBE_MORE, "illuminance_lx": MAYBE_MORE, "point": Field("text", low=1),
    "receptor": Field("choice", choices=RECEPTORS), "aim": Field("choice", choices=AIMS), "held_off_m": MAYBE_MORE,
    "held_off_toward": Field("text", low=1), "u_held_off_m": MAYBE_MORE, "u_rel": MORE,
    "pops": Field("records", high=POPS_MAX, inner=POP), "lit": Field("ids", high=1000), "peak_lx": MAYBE,
    "t05_s": MAYBE_MORE, "t01_s": MAYBE_MORE, "ambient_lx": MAYBE, "clipped": FLAG, "too_dim": FLAG,
    "cct_k": MAYBE_POSITIVE, "duv": MAYBE, "x": MAYBE, "y": MAYBE, "range_index": _index(255), "supersedes_id": OTHER_ID,
    "note": TEXT,
}  # fmt: skip
MARK: dict[str, Field] = {
    "id": ID, "reading_id": ID, "kind": Field("choice", choices=("void",)), "at_s": WHEN, "reason": TEXT,
}  # fmt: skip
NOTE: dict[str, Field] = {"id": ID, "kind": NAME, "key": Field("text", True), "at_s": WHEN, "payload": OBJECT}
WAVEFORM: dict[str, Field] = {
    "reading_id": ID, "pop_index": _index(POPS_MAX - 1), "at_s": _real(), "pop": _index(10**12),
    "bits": Field("integer", True, 8, 16), "scale_bits": Field("integer", True, 1, 32),
    "segments": Field("segments", high=1000), "pretrigger": _index(10**9), "range_index": _index(255), "clipped": FLAG,
    "truncated": FLAG, "held_off_m": MAYBE_MORE, "data": Field("base64", True, high=16 * 2**20),
}  # fmt: skip
DOCUMENT: dict[str, Mapping[str, Field]] = {
    "setups": SETUP, "lights": LIGHT, "placements": PLACEMENT, "calibrations": CALIBRATION, "readings": READING,
    "marks": MARK, "notes": NOTE, "waveforms": WAVEFORM,
}  # fmt: skip


def validate(document: Any, name: str) -> dict[str, list[dict[str, Any]]]:
    """Return the document's lists of records, all of them checked.  Raises ``ImportRefused`` with the first thing wrong."""
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise ImportRefused(f"{name} is not an exported library: choose a file that 'meterlink export' wrote")
    version = document.get("version")
    if type(version) is not int or version < 1:
        raise ImportRefused(f"{name} does not say its version: export it again")
    if version > VERSION:
        raise ImportRefused(f"{name} is of version {version:.0f}, this meterlink reads {VERSION}: update meterlink")
    unknown = sorted(set(document) - {"format", "version", "written_at_s", *DOCUMENT})
    if unknown:
        raise ImportRefused(f"{name} has an unknown part {unknown[0][:40]!r}, nothing was taken: export it again")
    if _number(document.get("written_at_s", 0), WHEN):
        raise ImportRefused(f"{name}: written_at_s is not a number, nothing was taken: export it again")
    found = {}
    for part, fields in DOCUMENT.items():
        records = document.get(part, [])
        if not isinstance(records, list):
            raise ImportRefused(f"{name}: {part} is not a list, nothing was taken: export it again")
        for n, record in enumerate(records):
            trouble = record_trouble(record, fields) or (part == "notes" and _note_trouble(record)) or ""
            if trouble:
                raise ImportRefused(f"{name}: {part}[{n}]{trouble}, nothing was taken: correct it or export it again")
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
    return _list_of(value, field, _number, _real())


def _tuple_of(value: Any, kinds: Sequence[Field]) -> str:
    if type(value) is not list or len(value) != len(kinds):
        return f" is not a list of {len(kinds)}"
    return next((t for item, kind in zip(value, kinds, strict=True) if (t := _CHECKS[kind.kind](item, kind))), "")


PAIR = (_real(), _real())
SEGMENT = (_index(10**9), _index(10**9), _real(SMALL))


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
