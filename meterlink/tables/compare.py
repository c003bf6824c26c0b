"""Two set-ups, or two dates of one, side by side, light by light: only what differs."""

from __future__ import annotations

from math import log2
from typing import NamedTuple

from meterlink import units
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.tables.ratios import ratio_table

SMALL_STOPS = 0.05


class Difference(NamedTuple):
    """One thing that differs; ``light`` is empty for what belongs to the set as a whole."""

    light: str
    what: str
    first: str
    second: str

    def as_json(self) -> dict[str, str]:
        """Return the difference as JSON data."""
        return self._asdict()


def compare(first: JudgedSet, second: JudgedSet) -> list[Difference]:
    """Return what differs between two sets: camera and facts, then lights in the order of the first, then what only one has."""
    found = _camera(first, second)
    others = {state.light.name.casefold(): state for state in second.lights}
    from_key = [_from_key(view) for view in (first, second)]
    for state in first.lights:
        other = others.pop(state.light.name.casefold(), None)
        if other is None:
            found.append(Difference(state.light.name, "in the set", "yes", "no"))
            continue
        found += _light(state, other)
        found += _levels(state, other, from_key[0], from_key[1])
    found += [Difference(state.light.name, "in the set", "no", "yes") for state in others.values()]
    return found


def _camera(first: JudgedSet, second: JudgedSet) -> list[Difference]:
    a, b = first.setup, second.setup
    pairs = [
        ("ISO", units.format_iso(a.iso), units.format_iso(b.iso)),
        ("shutter", _shutter(a.shutter_s), _shutter(b.shutter_s)),
        ("camera offset", units.format_stops(a.camera_offset_stops, 2), units.format_stops(b.camera_offset_stops, 2)),
        ("filter", f"{a.filter_stops:.2f} stops", f"{b.filter_stops:.2f} stops"),
    ]
    keys = sorted({*a.details, *b.details} - {"points", "targets"})
    pairs += [(key_words(key), fact_words(key, a.details.get(key)), fact_words(key, b.details.get(key))) for key in keys]
    pairs += [("subject", a.subject or "–", b.subject or "–"), ("notes", a.notes or "–", b.notes or "–")]
    pairs += [("tags", ", ".join(a.tags) or "–", ", ".join(b.tags) or "–")]
    return [Difference("", what, x, y) for what, x, y in pairs if x != y]


def key_words(key: str) -> str:
    """The name of a fact without its unit: ``face_height_m`` is ``face height``."""
    for unit in ("_m_s", "_m", "_mm", "_um", "_px", "_s", "_mired"):
        key = key.removesuffix(unit)
    return key.replace("_", " ")


def fact_words(key: str, value: object) -> str:
    """A fact in words a person reads, cut to a line."""
    if value is None:
        return "–"
    if key == "reference_picture":
        # Two pictures cannot be told apart in words, but that they differ can be said.
        return f"a picture ({len(str(value))} characters)"
    if isinstance(value, int | float) and not isinstance(value, bool):
        if key.endswith("_m"):
            return units.format_length(float(value))
        return f"{value:g}"
    return str(value)[:100]


def _shutter(shutter_s: float | None) -> str:
    return units.format_shutter(shutter_s) if shutter_s else "not given"


def _light(a: LightState, b: LightState) -> list[Difference]:
    pairs = [
        ("role", a.light.role, b.light.role),
        ("head", a.light.fixture or "–", b.light.fixture or "–"),
        ("modifier", a.light.modifier or "–", b.light.modifier or "–"),
        ("metered at", a.light.point, b.light.point),
    ]
    p, q = a.placement, b.placement
    if (p is None) != (q is None):
        pairs.append(("placed", "yes" if p else "no", "yes" if q else "no"))
    if p is not None and q is not None:
        pairs += [
            ("source", _source(a), _source(b)),
            ("distance", _length(p.distance_m), _length(q.distance_m)),
            ("azimuth", _angle(p.azimuth_deg), _angle(q.azimuth_deg)),
            ("elevation", _angle(p.elevation_deg), _angle(q.elevation_deg)),
            ("power", p.power_text or "–", q.power_text or "–"),
            ("feathered by", _angle(p.feather_deg), _angle(q.feather_deg)),
            ("recess", _length(p.recess_m), _length(q.recess_m)),
            ("grid", _angle(p.grid_deg), _angle(q.grid_deg)),
            ("gel", p.gel or "–", q.gel or "–"),
            ("diffusers", p.diffusers or "–", q.diffusers or "–"),
            ("stand height", _length(p.stand_height_m), _length(q.stand_height_m)),
            ("aimed at", p.aimed_at or "–", q.aimed_at or "–"),
        ]
    return [Difference(a.light.name, what, x, y) for what, x, y in pairs if x != y]


def _source(state: LightState) -> str:
    p = state.placement
    if p is None or not p.width_m:
        return "small source"
    return f"{p.shape} {units.format_size(p.width_m, p.height_m)}"


def _length(value: float | None) -> str:
    return "–" if value is None else units.format_length(value)


def _angle(value: float | None) -> str:
    return "–" if value is None else units.format_angle(value)


def _from_key(view: JudgedSet) -> dict[str, float]:
    return {row.light.casefold(): row.from_key_stops for row in ratio_table(view).rows if row.from_key_stops is not None}


def _levels(a: LightState, b: LightState, first: dict[str, float], second: dict[str, float]) -> list[Difference]:
    out = []
    name = a.light.name
    alike = a.reading is not None and b.reading is not None and a.reading.kind == b.reading.kind
    if alike and a.value and b.value and a.value > 0 and b.value > 0 and abs(log2(b.value / a.value)) >= SMALL_STOPS:
        change = log2(b.value / a.value)
        out.append(Difference(name, "light at its point", "0", units.format_stops(change, 2)))
    x, y = first.get(name.casefold()), second.get(name.casefold())
    if x is not None and y is not None and abs(x - y) >= SMALL_STOPS:
        out.append(Difference(name, "from key", units.format_stops(x, 2), units.format_stops(y, 2)))
    if a.reading is not None and b.reading is None:
        out.append(Difference(name, "metered", "yes", "no"))
    if a.reading is None and b.reading is not None:
        out.append(Difference(name, "metered", "no", "yes"))
    return out
