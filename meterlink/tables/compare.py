"""Two set-ups, or two dates of one, side by side, light by light: only what differs."""

from __future__ import annotations

from collections.abc import Sequence
from math import log2
from typing import NamedTuple

from meterlink import units
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.records import Light, Placement, Setup
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


def _text(given: object) -> Told:
    """What somebody wrote, as it is."""
    return told("note", note=given) if given else NONE


def compare(first: JudgedSet, second: JudgedSet) -> list[Difference]:
    """Return what differs between two sets: camera and facts, then lights in the order of the first, then what only one has."""
    facts = sorted({*first.setup.details, *second.setup.details} - {"points", "targets"})
    found = _differing("", _camera(first.setup, facts), _camera(second.setup, facts))
    others = {state.light.name.casefold(): state for state in second.lights}
    from_key = [_from_key(view) for view in (first, second)]
    for state in first.lights:
        other = others.pop(state.light.name.casefold(), None)
        if other is None:
            found.append(Difference(state.light.name, marked("in the set"), YES, NO))
            continue
        found += _light(state, other)
        found += _levels(state, other, from_key[0], from_key[1])
    found += [Difference(state.light.name, marked("in the set"), NO, YES) for state in others.values()]
    return found


Said = list[tuple[str, Told]]
"""What can differ: its English name, and what it is."""


def _differing(light: str, first: Said, second: Said) -> list[Difference]:
    return [Difference(light, what, x, y) for (what, x), (_, y) in zip(first, second, strict=True) if str(x) != str(y)]


def _camera(setup: Setup, facts: Sequence[str]) -> Said:
    return [
        ("ISO", told("as_iso", value=setup.iso)),
        (marked("shutter"), told("as_shutter", value=setup.shutter_s) if setup.shutter_s else NOT_GIVEN),
        (marked("camera offset"), told("as_stops", value=setup.camera_offset_stops)),
        (marked("filter"), told("takes_stops", value=setup.filter_stops)),
        *((key_words(key), fact_words(key, setup.details.get(key))) for key in facts),
        (marked("subject"), _text(setup.subject)),
        (marked("notes"), _text(setup.notes)),
        (marked("tags"), _text(", ".join(setup.tags))),
    ]


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
    if key == "movement":
        return told("as_movement", value=value)
    if key == "aperture" and isinstance(value, str):
        return _figure(value[:FACT_MAX])
    if isinstance(value, bool) or not isinstance(value, int | float):
        return told("note", note=str(value)[:FACT_MAX])
    if key == "sync_speed_s" and value > 0:
        return told("as_shutter", value=float(value))
    if key.endswith("_m") and 0 <= value < 1e4:
        return told("as_length", value=float(value))
    if key.endswith("_m_s"):
        # Typed in ft/s, mph or km/h as a rule: three figures are what anybody knows of a movement.
        value = float(f"{value:.3g}")
    for end, scale, unit in FACT_UNITS:
        if key.endswith(end):
            return told("as_unit", value=value * scale, unit=unit)
    return told("as_number", value=value)


def _light(a: LightState, b: LightState) -> list[Difference]:
    name, p, q = a.light.name, a.placement, b.placement
    found = _differing(name, _own(a.light), _own(b.light))
    if p is not None and q is not None:
        return found + _differing(name, _place(p), _place(q._replace(power_text=p.power_text) if _one_power(p, q) else q))
    if p is q:
        return found
    return [*found, Difference(name, marked("placed"), YES if p else NO, YES if q else NO)]


def _one_power(p: Placement, q: Placement) -> bool:
    """``1/16+0.6`` and ``1/16 +0.6`` are one power, typed in two ways."""
    return p.power_stops is not None and q.power_stops is not None and abs(p.power_stops - q.power_stops) < 0.005


def _own(light: Light) -> Said:
    """What a light is, wherever it stands."""
    return [
        (marked("role"), told("as_role", value=light.role)),
        (marked("head"), _text(light.fixture)),
        (marked("modifier"), _text(light.modifier)),
        (marked("metered at"), told("a_point", point=light.point)),
    ]


def _place(p: Placement) -> Said:
    return [
        (marked("source"), _source(p)),
        (marked("distance"), _length(p.distance_m)),
        (marked("azimuth"), _angle(p.azimuth_deg, "as_azimuth")),
        (marked("elevation"), _angle(p.elevation_deg, "as_elevation")),
        (marked("power"), _figure(p.power_text)),
        (marked("feathered by"), _angle(p.feather_deg)),
        (marked("recess"), _length(p.recess_m)),
        (marked("grid"), _angle(p.grid_deg)),
        (marked("gel"), _text(p.gel)),
        (marked("diffusers"), _text(p.diffusers)),
        (marked("stand height"), _length(p.stand_height_m)),
        (marked("aimed at"), _text(p.aimed_at)),
    ]


def _figure(text: str) -> Told:
    return told("as_figure", value=text) if text else NONE


def _source(p: Placement) -> Told:
    if not p.width_m:
        return told("a_small_source")
    size = units.format_size(p.width_m, p.height_m)
    return told("a_disk", size=size) if p.shape == "disk" else told("a_rectangle", size=size)


def _length(value: float | None) -> Told:
    return NONE if value is None else told("as_length", value=value)


def _angle(value: float | None, code: str = "") -> Told:
    """An angle in words (``code``) where it has some, else as a number."""
    if value is None:
        return NONE
    return told(code, value=value) if code else told("note", note=units.format_angle(value))


def _from_key(view: JudgedSet) -> dict[str, float]:
    return {row.light.casefold(): row.from_key_stops for row in ratio_table(view).rows if row.from_key_stops is not None}


def _levels(a: LightState, b: LightState, first: dict[str, float], second: dict[str, float]) -> list[Difference]:
    out = []
    name = a.light.name
    alike = a.reading is not None and b.reading is not None and a.reading.kind == b.reading.kind
    if alike and a.value and b.value and a.value > 0 and b.value > 0 and abs(log2(b.value / a.value)) >= SMALL_STOPS:
        change = told("as_stops", value=log2(b.value / a.value))
        out.append(Difference(name, marked("light at its point"), told("as_number", value=0), change))
    x, y = first.get(name.casefold()), second.get(name.casefold())
    if x is not None and y is not None and abs(x - y) >= SMALL_STOPS:
        out.append(Difference(name, marked("from key"), told("as_stops", value=x), told("as_stops", value=y)))
    if (a.reading is None) != (b.reading is None):
        out.append(Difference(name, marked("metered"), YES if a.reading else NO, YES if b.reading else NO))
    return out
