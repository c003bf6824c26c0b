"""What each field of a record is: from this the tables, rows, exchanged documents, checks and the published schema are made.

Limits are far beyond what anybody sets up or a sensor sees, and near enough that nothing made from them (a drawing to scale, a
logarithm, a date) fails or takes long.  Fields of a record that may not be null and are not required have their defaults.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from meterlink.records.kept import AIMS, RECEPTORS, ROLES, SHAPES, Pop, RangeScale

KINDS = ("flash", "steady")
PURPOSES = ("alone", "without", "with", "together", "room")
POPS_MAX = 1000
REAL_MAX = 1e15
SMALL = 1e-300


class Field(NamedTuple):
    """What one field of a record is.  ``kind`` is a JSON type or one of ours (``id``, ``name``, ``text``, ``records`` ...)."""

    kind: str
    required: bool = False
    low: float = 0
    high: float = 0
    """Of a number; of a text or list the least and most of its length."""
    choices: tuple[str, ...] = ()
    null: bool = False
    """May be null: not known."""
    inner: Mapping[str, Field] = {}
    made: Any = None
    """What ``inner`` becomes: a record."""
    column: str = ""
    """Name of its column where that has another; ``light_no`` is the number of a row of ``light``."""
    default: float | None = None
    """DEFAULT of its column."""
    sparse: bool = False
    """NULL in its column stands for the record's default."""
    sql: str = ""
    """Definition of its column where the kind does not tell."""
    since: int = 1
    """Schema that brought its column; one after the table's own must be null or have a default."""


def _real(
    low: float = -REAL_MAX, high: float = REAL_MAX, *, required: bool = False, null: bool = False, default: float | None = None
) -> Field:
    return Field("number", required, low, high, null=null, default=default)


def _maybe(low: float, high: float) -> Field:
    return _real(low, high, null=True)


def _index(high: float, low: float = 0) -> Field:
    return Field("integer", False, low, high)


def _choice(choices: tuple[str, ...], *, required: bool = False) -> Field:
    return Field("choice", required, choices=choices)


def _number_of(table: str, field: Field) -> Field:
    return field._replace(column=f"{table}_no")


LENGTH_MAX_M, ANGLE_MAX_DEG, STOPS_MAX, LIGHT_MAX = 1000.0, 360.0, 100.0, 1e12
ID = Field("id", True)
OTHER_ID = Field("id", null=True)
NAME = Field("name", True)
TEXT = Field("text")
FLAG = Field("flag", default=0)
TOLD_FLAG = Field("flag")
OBJECT = Field("object")
WHEN = _real(-6e10, 2.5e11, required=True)
"""Seconds since 1970, from the year 69 to the year 9892: every calendar has them."""
SIZE, LENGTH, HEIGHT = _maybe(1e-6, LENGTH_MAX_M), _maybe(0, LENGTH_MAX_M), _maybe(-LENGTH_MAX_M, LENGTH_MAX_M)
ANGLE, ELEVATION = _maybe(-ANGLE_MAX_DEG, ANGLE_MAX_DEG), _maybe(-90, 90)
REAL = _real()
MORE = _real(0)
AMOUNT = _maybe(0, LIGHT_MAX)
"""lx or lx·s."""
LEVEL = _maybe(-LIGHT_MAX, LIGHT_MAX)
"""lx; noise takes it below zero."""
TIME = _maybe(0, 1e6)
COORDINATE = _maybe(-REAL_MAX, REAL_MAX)

SETUP: dict[str, Field] = {
    "id": ID, "version_id": ID, "name": NAME, "created_at_s": WHEN, "iso": _real(1e-3, 1e9), "shutter_s": _maybe(1e-9, 1e6),
    "camera_offset_stops": _real(-STOPS_MAX, STOPS_MAX, default=0), "filter_stops": _real(0, STOPS_MAX, default=0),
    "notes": TEXT, "tags": Field("names", high=100), "subject": TEXT, "archived": FLAG, "details": OBJECT,
}  # fmt: skip
LIGHT: dict[str, Field] = {
    "id": ID, "version_id": ID, "setup_id": _number_of("setup", ID), "name": NAME, "role": _choice(ROLES, required=True),
    "point": Field("text", low=1), "order": _index(10**9, -(10**9))._replace(column="order_index", default=0),
    "fixture": TEXT, "modifier": TEXT, "source_light_id": _number_of("source_light", OTHER_ID), "shared_generator": FLAG,
    "power_step_stops": _maybe(1e-6, STOPS_MAX), "power_min_stops": _maybe(-STOPS_MAX, 0), "full_power_j": _maybe(1e-6, 1e9),
    "details": OBJECT, "removed": FLAG,
}  # fmt: skip
PLACEMENT: dict[str, Field] = {
    "id": ID, "light_id": _number_of("light", ID), "created_at_s": WHEN, "shape": _choice(SHAPES), "width_m": SIZE,
    "height_m": SIZE, "distance_m": SIZE, "u_distance_m": LENGTH, "azimuth_deg": ANGLE, "elevation_deg": ELEVATION,
    "feather_deg": _real(-ANGLE_MAX_DEG, ANGLE_MAX_DEG, default=0), "power_text": TEXT,
    "power_stops": _maybe(-STOPS_MAX, STOPS_MAX), "emission_n": _real(0, 1e6, default=1),
    "recess_m": _real(0, LENGTH_MAX_M, default=0), "grid_deg": _maybe(1e-6, ANGLE_MAX_DEG), "gel": TEXT, "diffusers": TEXT,
    "stand_height_m": HEIGHT, "aimed_at": TEXT, "details": OBJECT,
}  # fmt: skip
RANGE: dict[str, Field] = {
    "full_scale_lx": _real(1e-6, LIGHT_MAX, required=True)._replace(
        sql="full_scale_lx REAL NOT NULL CHECK (full_scale_lx BETWEEN -1e15 AND 1e15)"),
    "dark_raw": _real(-1e6, 1e6), "u_rel": MORE,
}  # fmt: skip
CALIBRATION: dict[str, Field] = {
    "id": ID, "sensor_id": _number_of("sensor", NAME), "created_at_s": WHEN,
    "constant": _real(1e-6, 1e9, required=True)._replace(column="constant_lx"), "receptor": _choice(RECEPTORS),
    "ranges": Field("records", high=256, inner=RANGE, made=RangeScale), "u_scale_rel": MORE, "relative": FLAG, "method": TEXT,
    "temperature_c": _maybe(-1000, 1e4), "reference": TEXT, "colour_matrix": Field("numbers", high=1000),
    "angle_response": Field("pairs", high=10_000), "details": OBJECT,
}  # fmt: skip
POP: dict[str, Field] = {
    "exposure_lxs": _real(0, LIGHT_MAX, required=True), "u_rel": MORE, "peak_lx": LEVEL, "t05_s": LEVEL, "t01_s": LEVEL,
    "ambient_lx": LEVEL, "clipped": TOLD_FLAG, "range_index": _index(255),
}  # fmt: skip
READING: dict[str, Field] = {
    "id": ID, "setup_id": _number_of("setup", ID), "light_id": _number_of("light", OTHER_ID),
    "placement_id": _number_of("placement", OTHER_ID), "calibration_id": _number_of("calibration", ID),
    "sensor_id": _number_of("sensor", NAME), "taken_at_s": WHEN, "kind": _choice(KINDS), "purpose": _choice(PURPOSES),
    "exposure_lxs": AMOUNT, "illuminance_lx": AMOUNT, "point": Field("text", low=1, sparse=True), "receptor": _choice(RECEPTORS),
    "aim": _choice(AIMS), "held_off_m": LENGTH, "held_off_toward": Field("text", low=1, sparse=True), "u_held_off_m": LENGTH,
    "u_rel": MORE, "pops": Field("records", high=POPS_MAX, inner=POP, made=Pop, column="pop_count"),
    "lit": Field("ids", high=1000), "peak_lx": LEVEL, "t05_s": TIME, "t01_s": TIME, "ambient_lx": LEVEL, "clipped": TOLD_FLAG,
    "too_dim": TOLD_FLAG, "cct_k": _maybe(SMALL, REAL_MAX), "duv": COORDINATE, "x": COORDINATE, "y": COORDINATE,
    "range_index": _index(255), "supersedes_id": OTHER_ID, "note": TEXT._replace(sparse=True),
}  # fmt: skip
MARK: dict[str, Field] = {
    "id": ID, "reading_id": ID, "kind": _choice(("void",))._replace(sql="kind INTEGER NOT NULL CHECK (kind = 0)"), "at_s": WHEN,
    "reason": TEXT,
}  # fmt: skip
NOTE: dict[str, Field] = {
    "id": ID, "kind": NAME, "key": Field("text", True), "at_s": WHEN,
    "payload": OBJECT._replace(sql="payload TEXT NOT NULL CHECK (typeof(payload) = 'text')"),
}  # fmt: skip
WAVEFORM: dict[str, Field] = {
    "reading_id": ID, "pop_index": _index(POPS_MAX - 1), "at_s": REAL, "pop": _index(10**12),
    "bits": Field("integer", True, 8, 16, sql="bits INTEGER NOT NULL CHECK (bits IN (8, 16))"),
    "scale_bits": Field("integer", True, 1, 32), "segments": Field("segments", high=1000), "pretrigger": _index(10**9),
    "range_index": _index(255), "clipped": FLAG, "truncated": FLAG, "held_off_m": LENGTH,
    "data": Field("base64", True, high=16 * 2**20, column="samples",
                  sql="byte_count INTEGER NOT NULL CHECK (byte_count BETWEEN 0 AND 16777216), "
                      "samples BLOB NOT NULL CHECK (typeof(samples) = 'blob')"),
}  # fmt: skip
PAIR = (REAL, REAL)
SEGMENT = (_index(10**9), _index(10**9), _real(1e-12, 1e6))
"""Start, sample count, sample interval in s."""
DOCUMENT: dict[str, Mapping[str, Field]] = {
    "setups": SETUP, "lights": LIGHT, "placements": PLACEMENT, "calibrations": CALIBRATION, "readings": READING,
    "marks": MARK, "notes": NOTE, "waveforms": WAVEFORM,
}  # fmt: skip
"""The parts of an exchanged document."""


def _columns(fields: Mapping[str, Field], *left_out: str) -> dict[str, Field]:
    return {field.column or name: field for name, field in fields.items() if name not in left_out}


COLUMNS: dict[str, dict[str, Field]] = {
    "setup": {"created_at_s": WHEN},
    "setup_version": _columns(SETUP, "id", "version_id", "created_at_s"),
    "light_version": _columns(LIGHT, "id", "version_id", "setup_id"),
    "placement": _columns(PLACEMENT, "id"),
    "calibration": _columns(CALIBRATION, "id", "ranges"),
    "calibration_range": _columns(RANGE),
    "reading": _columns(READING, "setup_id", "id"),
    "pop": _columns(POP),
    "waveform": _columns(WAVEFORM, "reading_id", "pop_index"),
    "mark": _columns(MARK, "id", "reading_id"),
    "note": _columns(NOTE, "id"),
}
"""Table -> column -> field, in the tables' own order; what names a record and a version stands before these (``schema.py``)."""


LIMITS: dict[str, dict[str, Field]] = {
    table: {name: field for name, field in columns.items() if field.kind == "number"}
    for table, columns in COLUMNS.items()
    if table not in ("waveform", "mark", "note")
}
"""Table -> column that holds a number -> field, whose limits are left to whoever takes another file's records: the tables' own
CHECKs are wider."""
