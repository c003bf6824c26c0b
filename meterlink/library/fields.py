"""What each field of a record may be: the one table that the store, the import, the merge and the published schema are made from.

Limits are far beyond what anybody sets up or a sensor sees, and near enough that nothing made from them (a drawing to scale, a
logarithm, a date) fails or takes long.  Fields of a record that may not be null and are not required have their defaults.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from meterlink.records.kept import AIMS, RECEPTORS, ROLES, SHAPES

KINDS = ("flash", "steady")
PURPOSES = ("alone", "without", "with", "together", "room")
POPS_MAX = 1000
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


def _either(most: float) -> Field:
    return _real(-most, most)


def _maybe(low: float, high: float) -> Field:
    return _real(low, high, null=True)


def _index(high: float, low: float = 0) -> Field:
    return Field("integer", False, low, high)


LENGTH_MAX_M, ANGLE_MAX_DEG, STOPS_MAX, LIGHT_MAX = 1000.0, 360.0, 100.0, 1e12
ID = Field("id", True)
OTHER_ID = Field("id", null=True)
NAME = Field("name", True)
TEXT = Field("text")
FLAG = Field("flag")
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

SETUP: dict[str, Field] = {
    "id": ID, "version_id": ID, "name": NAME, "created_at_s": WHEN, "iso": _real(1e-3, 1e9), "shutter_s": _maybe(1e-9, 1e6),
    "camera_offset_stops": _either(STOPS_MAX), "filter_stops": _real(0, STOPS_MAX), "notes": TEXT,
    "tags": Field("names", high=100), "subject": TEXT, "archived": FLAG, "details": OBJECT,
}  # fmt: skip
LIGHT: dict[str, Field] = {
    "id": ID, "version_id": ID, "setup_id": ID, "name": NAME, "role": Field("choice", True, choices=ROLES),
    "point": Field("text", low=1), "order": _index(10**9, -(10**9)), "fixture": TEXT, "modifier": TEXT,
    "source_light_id": OTHER_ID, "shared_generator": FLAG, "power_step_stops": _maybe(1e-6, STOPS_MAX),
    "power_min_stops": _maybe(-STOPS_MAX, 0), "full_power_j": _maybe(1e-6, 1e9), "details": OBJECT, "removed": FLAG,
}  # fmt: skip
PLACEMENT: dict[str, Field] = {
    "id": ID, "light_id": ID, "created_at_s": WHEN, "shape": Field("choice", choices=SHAPES), "width_m": SIZE,
    "height_m": SIZE, "distance_m": SIZE, "u_distance_m": LENGTH, "azimuth_deg": ANGLE, "elevation_deg": ELEVATION,
    "feather_deg": _either(ANGLE_MAX_DEG), "power_text": TEXT, "power_stops": _maybe(-STOPS_MAX, STOPS_MAX),
    "emission_n": _real(0, 1e6), "recess_m": _real(0, LENGTH_MAX_M), "grid_deg": _maybe(1e-6, ANGLE_MAX_DEG), "gel": TEXT,
    "diffusers": TEXT, "stand_height_m": HEIGHT, "aimed_at": TEXT, "details": OBJECT,
}  # fmt: skip
RANGE: dict[str, Field] = {
    "full_scale_lx": _real(1e-6, LIGHT_MAX, required=True), "dark_raw": _either(1e6), "u_rel": MORE,
}  # fmt: skip
CALIBRATION: dict[str, Field] = {
    "id": ID, "sensor_id": NAME, "created_at_s": WHEN, "constant": _real(1e-6, 1e9, required=True),
    "receptor": Field("choice", choices=RECEPTORS), "ranges": Field("records", high=256, inner=RANGE),
    "u_scale_rel": MORE, "relative": FLAG, "method": TEXT, "temperature_c": _maybe(-1000, 1e4), "reference": TEXT,
    "colour_matrix": Field("numbers", high=1000), "angle_response": Field("pairs", high=10_000), "details": OBJECT,
}  # fmt: skip
POP: dict[str, Field] = {
    "exposure_lxs": _real(0, LIGHT_MAX, required=True), "u_rel": MORE, "peak_lx": LEVEL, "t05_s": LEVEL, "t01_s": LEVEL,
    "ambient_lx": LEVEL, "clipped": FLAG, "range_index": _index(255),
}  # fmt: skip
READING: dict[str, Field] = {
    "id": ID, "setup_id": ID, "light_id": OTHER_ID, "placement_id": OTHER_ID, "calibration_id": ID, "sensor_id": NAME,
    "taken_at_s": WHEN, "kind": Field("choice", choices=KINDS), "purpose": Field("choice", choices=PURPOSES),
    "exposure_lxs": AMOUNT, "illuminance_lx": AMOUNT, "point": Field("text", low=1),
    "receptor": Field("choice", choices=RECEPTORS), "aim": Field("choice", choices=AIMS), "held_off_m": LENGTH,
    "held_off_toward": Field("text", low=1), "u_held_off_m": LENGTH, "u_rel": MORE,
    "pops": Field("records", high=POPS_MAX, inner=POP), "lit": Field("ids", high=1000), "peak_lx": LEVEL, "t05_s": TIME,
    "t01_s": TIME, "ambient_lx": LEVEL, "clipped": FLAG, "too_dim": FLAG, "cct_k": _maybe(SMALL, REAL_MAX),
    "duv": _maybe(-REAL_MAX, REAL_MAX), "x": _maybe(-REAL_MAX, REAL_MAX), "y": _maybe(-REAL_MAX, REAL_MAX),
    "range_index": _index(255), "supersedes_id": OTHER_ID, "note": TEXT,
}  # fmt: skip
MARK: dict[str, Field] = {
    "id": ID, "reading_id": ID, "kind": Field("choice", choices=("void",)), "at_s": WHEN, "reason": TEXT,
}  # fmt: skip
NOTE: dict[str, Field] = {"id": ID, "kind": NAME, "key": Field("text", True), "at_s": WHEN, "payload": OBJECT}
WAVEFORM: dict[str, Field] = {
    "reading_id": ID, "pop_index": _index(POPS_MAX - 1), "at_s": REAL, "pop": _index(10**12),
    "bits": Field("integer", True, 8, 16), "scale_bits": Field("integer", True, 1, 32),
    "segments": Field("segments", high=1000), "pretrigger": _index(10**9), "range_index": _index(255), "clipped": FLAG,
    "truncated": FLAG, "held_off_m": LENGTH, "data": Field("base64", True, high=16 * 2**20),
}  # fmt: skip
PAIR = (REAL, REAL)
SEGMENT = (_index(10**9), _index(10**9), _real(1e-12, 1e6))
"""Start, sample count, sample interval in s."""
DOCUMENT: dict[str, Mapping[str, Field]] = {
    "setups": SETUP, "lights": LIGHT, "placements": PLACEMENT, "calibrations": CALIBRATION, "readings": READING,
    "marks": MARK, "notes": NOTE, "waveforms": WAVEFORM,
}  # fmt: skip


class Limit(NamedTuple):
    """A column of a table that holds a number, and between what."""

    column: str
    low: float
    high: float


def _limits(fields: Mapping[str, Field]) -> tuple[Limit, ...]:
    names = {"constant": "constant_lx"}
    return tuple(Limit(names.get(n, n), f.low or 0.0, f.high or 0.0) for n, f in fields.items() if f.kind == "number")


LIMITS: dict[str, tuple[Limit, ...]] = {
    "setup": _limits({"created_at_s": WHEN}),
    "setup_version": _limits({name: f for name, f in SETUP.items() if name != "created_at_s"}),
    **{t: _limits(f) for t, f in (("light_version", LIGHT), ("placement", PLACEMENT), ("calibration", CALIBRATION),
                                  ("calibration_range", RANGE), ("reading", READING), ("pop", POP))},
}  # fmt: skip
"""What the tables' own CHECKs, which are wider, leave to whoever takes another file's records."""
