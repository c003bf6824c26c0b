"""Two set-ups, or two dates of one, side by side, light by light: only what differs."""

from __future__ import annotations

from math import log2
from typing import NamedTuple

from meterlink import units
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.tables.ratios import ratio_table
from meterlink.words.language import marked, spoken_in
from meterlink.words.told import Told, told

SMALL_STOPS = 0.05
FACT_MAX = 200
FACT_UNITS = (
    ("_m_s", 1, "m/s"), ("_s", 1000, "ms"), ("_mm", 1, "mm"), ("_um", 1, "µm"), ("_px", 1, "px"), ("_mired", 1, "mired"),
    ("_m", 1, "m"), ("backdrop_reflectance", 100, "%"),
)  # fmt: skip
"""How the name of a fact ends, by what its value is multiplied to be shown, and in which unit."""


class Difference(NamedTuple):
    """One thing that differs; ``light`` is empty for what belongs to the set as a whole."""

    light: str
    what: str
    """Its English name, for JSON and the catalogues."""
    first: Told
    second: Told

    def as_json(self) -> dict[str, str]:
        """Return the difference as JSON data, in English."""
        with spoken_in("en"):
            return {"light": self.light, "what": self.what, "first": str(self.first), "second": str(self.second)}


NONE, YES, NO, NOT_GIVEN = told("none"), told("yes"), told("no"), told("not_given")
MARKED = (
    marked("in the set"), marked("shutter"), marked("camera offset"), marked("filter"), marked("subject"), marked("notes"),
    marked("tags"), marked("role"), marked("head"), marked("modifier"), marked("metered at"), marked("placed"), marked("source"),
    marked("distance"), marked("azimuth"), marked("elevation"), marked("power"), marked("feathered by"), marked("recess"),
    marked("grid"), marked("gel"), marked("diffusers"), marked("stand height"), marked("aimed at"), marked("light at its point"),
    marked("from key"), marked("metered"),
)  # fmt: skip


def _text(given: object) -> Told:
    """What somebody wrote, as it is."""
    return told("note", note=given) if given else NONE


def compare(first: JudgedSet, second: JudgedSet) -> list[Difference]:
    """Return what differs between two sets: camera and facts, then lights in the order of the first, then what only one has."""
    found = _camera(first, second)
    others = {state.light.name.casefold(): state for state in second.lights}
    from_key = [_from_key(view) for view in (first, second)]
    for state in first.lights:
        other = others.pop(state.light.name.casefold(), None)
        if other is None:
            found.append(Difference(state.light.name, "in the set", YES, NO))
            continue
        found += _light(state, other)
        found += _levels(state, other, from_key[0], from_key[1])
    found += [Difference(state.light.name, "in the set", NO, YES) for state in others.values()]
    return found


def _camera(first: JudgedSet, second: JudgedSet) -> list[Difference]:
    a, b = first.setup, second.setup
    pairs = [
        ("ISO", told("as_iso", value=a.iso), told("as_iso", value=b.iso)),
        ("shutter", _shutter(a.shutter_s), _shutter(b.shutter_s)),
        ("camera offset", _stops(a.camera_offset_stops), _stops(b.camera_offset_stops)),
        ("filter", told("takes_stops", value=a.filter_stops), told("takes_stops", value=b.filter_stops)),
    ]
    keys = sorted({*a.details, *b.details} - {"points", "targets"})
    pairs += [(key_words(key), fact_words(key, a.details.get(key)), fact_words(key, b.details.get(key))) for key in keys]
    pairs += [("subject", _text(a.subject), _text(b.subject)), ("notes", _text(a.notes), _text(b.notes))]
    pairs += [("tags", _text(", ".join(a.tags)), _text(", ".join(b.tags)))]
    return [Difference("", what, x, y) for what, x, y in pairs if str(x) != str(y)]


def key_words(key: str) -> str:
    """The name of a fact without its unit: ``face_height_m`` is ``face height``."""
    for unit in ("_m_s", "_m", "_mm", "_um", "_px", "_s", "_mired"):
        key = key.removesuffix(unit)
    return key.replace("_", " ")


def fact_words(key: str, value: object) -> Told:
    """A fact in words a person reads, on every screen and page the same; a text is cut to ``FACT_MAX`` characters."""
    if value is None:
        return NONE
    if key == "reference_picture":
        # Two pictures cannot be told apart in words, but that they differ can be said.
        return told("a_picture", count=len(str(value)))
    if isinstance(value, bool) or not isinstance(value, int | float):
        return told("note", note=str(value)[:FACT_MAX])
    if key == "sync_speed_s" and value > 0:
        return told("as_shutter", value=float(value))
    if key.endswith("_m") and 0 <= value < 1e4:
        return told("as_length", value=float(value))
    for end, scale, unit in FACT_UNITS:
        if key.endswith(end):
            return told("as_unit", value=value * scale, unit=unit)
    return told("as_number", value=value)


def _shutter(shutter_s: float | None) -> Told:
    return told("as_shutter", value=shutter_s) if shutter_s else NOT_GIVEN


def _stops(stops: float) -> Told:
    return told("as_stops", value=stops)


def _light(a: LightState, b: LightState) -> list[Difference]:
    pairs = [
        ("role", told("as_role", value=a.light.role), told("as_role", value=b.light.role)),
        ("head", _text(a.light.fixture), _text(b.light.fixture)),
        ("modifier", _text(a.light.modifier), _text(b.light.modifier)),
        ("metered at", told("a_point", point=a.light.point), told("a_point", point=b.light.point)),
    ]
    p, q = a.placement, b.placement
    if (p is None) != (q is None):
        pairs.append(("placed", YES if p else NO, YES if q else NO))
    if p is not None and q is not None:
        pairs += [
            ("source", _source(a), _source(b)),
            ("distance", _length(p.distance_m), _length(q.distance_m)),
            ("azimuth", _angle(p.azimuth_deg), _angle(q.azimuth_deg)),
            ("elevation", _angle(p.elevation_deg), _angle(q.elevation_deg)),
            ("power", _text(p.power_text), _text(q.power_text)),
            ("feathered by", _angle(p.feather_deg), _angle(q.feather_deg)),
            ("recess", _length(p.recess_m), _length(q.recess_m)),
            ("grid", _angle(p.grid_deg), _angle(q.grid_deg)),
            ("gel", _text(p.gel), _text(q.gel)),
            ("diffusers", _text(p.diffusers), _text(q.diffusers)),
            ("stand height", _length(p.stand_height_m), _length(q.stand_height_m)),
            ("aimed at", _text(p.aimed_at), _text(q.aimed_at)),
        ]
    return [Difference(a.light.name, what, x, y) for what, x, y in pairs if str(x) != str(y)]


def _source(state: LightState) -> Told:
    p = state.placement
    if p is None or not p.width_m:
        return told("a_small_source")
    size = units.format_size(p.width_m, p.height_m)
    return told("a_disk", size=size) if p.shape == "disk" else told("a_rectangle", size=size)


def _length(value: float | None) -> Told:
    return NONE if value is None else told("as_length", value=value)


def _angle(value: float | None) -> Told:
    return NONE if value is None else told("note", note=units.format_angle(value))


def _from_key(view: JudgedSet) -> dict[str, float]:
    return {row.light.casefold(): row.from_key_stops for row in ratio_table(view).rows if row.from_key_stops is not None}


def _levels(a: LightState, b: LightState, first: dict[str, float], second: dict[str, float]) -> list[Difference]:
    out = []
    name = a.light.name
    alike = a.reading is not None and b.reading is not None and a.reading.kind == b.reading.kind
    if alike and a.value and b.value and a.value > 0 and b.value > 0 and abs(log2(b.value / a.value)) >= SMALL_STOPS:
        change = log2(b.value / a.value)
        out.append(Difference(name, "light at its point", told("as_number", value=0), _stops(change)))
    x, y = first.get(name.casefold()), second.get(name.casefold())
    if x is not None and y is not None and abs(x - y) >= SMALL_STOPS:
        out.append(Difference(name, "from key", _stops(x), _stops(y)))
    if a.reading is not None and b.reading is None:
        out.append(Difference(name, "metered", YES, NO))
    if a.reading is None and b.reading is not None:
        out.append(Difference(name, "metered", NO, YES))
    return out
