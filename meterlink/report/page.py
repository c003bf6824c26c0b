"""The printable sheet of a set-up: one HTML page that needs nothing from the network."""

from __future__ import annotations

import time
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from markupsafe import Markup

from meterlink import units
from meterlink.checks.findings import Finding
from meterlink.checks.shutter import beyond_sync
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.report.picture import safe_picture
from meterlink.report.plan import plan, side
from meterlink.tables.compare import key_words
from meterlink.tables.ratios import RatioRow, RatioTable, ratio_table

if TYPE_CHECKING:
    from jinja2 import Template

OVERHEAD_DEG, OVERHEAD_M = 35.0, 1.9
"""From this elevation or stand height on a light counts as overhead and the caution is printed."""
NOTHING = "–"
FINDINGS_MAX = 8
"""The worst ones; the page has two sides and 'meterlink checks' shows them all."""
HIDDEN = ("points", "reference_picture")
"""Facts that are no words."""
RANKS = {3: "wrong", 2: "doubtful", 1: "caution", 0: "note"}

DETAIL_WORDS = {
    "mark": "subject's mark",
    "framing": "framing",
    "face_height_m": "face above floor",
    "backdrop_distance_m": "face to backdrop",
    "backdrop": "backdrop",
    "backdrop_reflectance": "backdrop's reflectance",
    "camera_distance_m": "camera to face",
    "camera_height_m": "camera above floor",
    "focal_length_mm": "focal length",
    "aperture": "aperture used",
    "reference_photo": "reference photograph",
}
"""Facts of a rebuild in the order in which they are printed; others follow under their own names."""
FACT_UNITS = (("_m_s", "m/s"), ("_mm", "mm"), ("_um", "µm"), ("_px", "px"), ("_mired", "mired"), ("_s", "s"))
FACT_MAX = 200


class LightLine(NamedTuple):
    """One light on the sheet: where it stands, and its row of the ratio table."""

    name: str
    role: str
    source: str
    place: str
    power: str
    extras: str
    read: str
    correction: str
    f: str
    from_key: str
    ratio: str
    share: str
    t01: str
    verdict: str
    reason: str
    overhead: bool


def sheet_html(
    view: JudgedSet,
    findings: Sequence[Finding] = (),
    square: str = "",
    carries: str = "",
    *,
    answers: Sequence[Finding] = (),
    now_s: float | None = None,
) -> str:
    """Return the sheet as HTML.  Every text from outside is escaped.

    ``answers`` are what the checks looked at and found well, each with its number.

    ``square`` is the QR code as SVG or empty, ``carries`` what is in it (``readings`` or ``places``).
    """
    table = ratio_table(view)
    lines = light_lines(view, table)
    worst = list(findings)[:FINDINGS_MAX]
    details = view.setup.details
    return _template().render(
        setup=view.setup,
        made=time.strftime("%Y-%m-%d", time.localtime(view.setup.created_at_s)),
        printed=time.strftime("%Y-%m-%d %H:%M", time.localtime(time.time() if now_s is None else now_s)),
        camera=camera_facts(view, table),
        facts=rebuild_facts(view),
        picture=safe_picture(details["reference_picture"]) if "reference_picture" in details else "",
        lines=lines,
        ratio=ratio_words(table),
        notes=table.notes,
        findings=[(RANKS[int(f.rank)], f.text, f.advice) for f in worst],
        more_findings=len(findings) - len(worst),
        answers=[one.text for one in answers],
        overhead=[line.name for line in lines if line.overhead],
        plan=Markup(plan(view).svg()),
        side=Markup(side(view).svg()),
        square=Markup(square),
        carries=carries,
        steps=rebuild_steps(view),
    )


@lru_cache(maxsize=1)
def _template() -> Template:
    """The page's template, compiled once a process."""
    from jinja2 import Environment, StrictUndefined

    source = Path(__file__).with_name("sheet.html").read_text(encoding="utf-8")
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, finalize=_plain)
    return environment.from_string(source)


TURNING = dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F])
"""Marks that turn the direction of writing: a text from outside must not rearrange what stands beside it."""


def _plain(value: Any) -> Any:
    """Take the marks of direction out of a text that goes on the page."""
    return value if type(value) is not str or value.isascii() else value.translate(TURNING)


def camera_facts(view: JudgedSet, table: RatioTable) -> list[tuple[str, str]]:
    """What the camera is set to."""
    setup = view.setup
    facts = [("ISO", units.format_iso(setup.iso).removeprefix("ISO "))]
    facts.append(("shutter", _shutter(view)))
    if table.aperture_key:
        facts.append(("aperture from the key", f"{table.aperture_key.nominal} ± {table.aperture_key.u95_stops:.1f} stop"))
    if table.aperture_key_and_fill:
        facts.append(("key and fill together", table.aperture_key_and_fill.nominal))
    if setup.camera_offset_stops:
        facts.append(("camera offset", units.format_stops(setup.camera_offset_stops)))
    if setup.filter_stops:
        facts.append(("filter takes", f"{setup.filter_stops:.1f} stops"))
    return facts


def _shutter(view: JudgedSet) -> str:
    """The shutter time, and that it is beyond the sync speed when it is."""
    if not view.setup.shutter_s:
        return NOTHING
    beyond = beyond_sync(view)
    faster = f" (faster than the sync speed of {units.format_shutter(beyond.numbers['sync_speed_s'])})" if beyond else ""
    return units.format_shutter(view.setup.shutter_s) + faster


def rebuild_facts(view: JudgedSet) -> list[tuple[str, str]]:
    """What else a rebuild needs, as far as it was noted."""
    details = view.setup.details
    known = [(word, _fact(key, details[key])) for key, word in DETAIL_WORDS.items() if key in details]
    others = [
        (key_words(key)[:60], _fact(key, value))
        for key, value in details.items()
        if key not in DETAIL_WORDS and key not in HIDDEN and isinstance(value, str | int | float)
    ]
    return known + others


def _fact(key: str, value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)[:FACT_MAX]
    if key == "backdrop_reflectance":
        return f"{value * 100:.0f} %"
    if key == "sync_speed_s" and value > 0:
        return units.format_shutter(float(value))
    if key.endswith("_m") and 0 <= value < 1e4:
        return units.format_length(float(value))
    return f"{value:g}{next((f' {unit}' for end, unit in FACT_UNITS if key.endswith(end)), '')}"


def _credible(key: str, value: Any) -> bool:
    """Say whether a fact can stand in an instruction: a length is a number that fits a studio."""
    if not key.endswith(("_m", "_mm")):
        return isinstance(value, str)
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 < value < 10_000


def light_lines(view: JudgedSet, table: RatioTable) -> list[LightLine]:
    """The lights with where they stand and what they gave."""
    return [_line(state, row, row.light == table.key) for state, row in zip(view.lights, table.rows, strict=True)]


def _line(state: LightState, row: RatioRow, is_key: bool) -> LightLine:
    light, p = state.light, state.placement
    source, place, power, extras = "not placed", NOTHING, NOTHING, ""
    overhead = False
    if p is not None:
        source = "small source" if not p.width_m else f"{p.shape} {units.format_size(p.width_m, p.height_m)}"
        parts = [units.format_length(p.distance_m) if p.distance_m else "distance not given"]
        if p.azimuth_deg is not None:
            parts.append(_direction(p.azimuth_deg, p.elevation_deg))
        place = ", ".join(parts)
        power = p.power_text or ("passive" if light.source_light_id else NOTHING)
        extras = _extras(state)
        overhead = (p.elevation_deg or 0.0) >= OVERHEAD_DEG or (p.stand_height_m or 0.0) >= OVERHEAD_M
    from_key = NOTHING
    if row.from_key_stops is not None:
        u95 = f" ± {row.from_key_u95_stops:.1f}" if row.from_key_u95_stops else ""
        from_key = "0" if is_key else units.format_stops(row.from_key_stops) + u95
    return LightLine(
        light.name,
        light.role,
        source,
        place,
        power,
        extras,
        _f(row.as_read_f),
        NOTHING if row.correction_stops is None else units.format_stops(row.correction_stops, 2),
        _f(row.corrected_f),
        from_key,
        NOTHING if not row.light_over_key else _ratio(row.light_over_key),
        NOTHING if row.share is None else f"{row.share * 100:.0f} %",
        units.format_duration(row.t01_s) if row.t01_s else NOTHING,
        row.verdict or NOTHING,
        row.reason,
        overhead,
    )


def _direction(azimuth: float, elevation: float | None) -> str:
    side_word = "camera axis" if abs(azimuth) < 0.5 else f"{abs(azimuth):.0f}° {'right' if azimuth > 0 else 'left'}"
    if not elevation:
        return side_word
    return f"{side_word}, {abs(elevation):.0f}° {'up' if elevation > 0 else 'down'}"


def _extras(state: LightState) -> str:
    light, p = state.light, state.placement
    assert p is not None
    parts = [light.fixture, light.modifier]
    if p.grid_deg:
        parts.append(f"grid {p.grid_deg:.0f}°")
    parts += [f"gel {p.gel}" if p.gel else "", p.diffusers]
    if p.recess_m:
        parts.append(f"recess {units.format_length(p.recess_m)}")
    if p.stand_height_m:
        parts.append(f"{units.format_length(p.stand_height_m)} above the floor")
    if p.aimed_at:
        parts.append(f"aimed at {p.aimed_at}")
    if p.feather_deg:
        parts.append(f"feathered by {p.feather_deg:.0f}°")
    return ", ".join(part for part in parts if part)


def _f(value: float | None) -> str:
    return NOTHING if value is None else units.format_f_number(value)


def _ratio(light_over_key: float) -> str:
    ratio = 1.0 / light_over_key
    return f"{ratio:.1f}:1".replace(".0:", ":") if ratio >= 1 else f"1:{light_over_key:.1f}".removesuffix(".0")


def ratio_words(table: RatioTable) -> str:
    """The lighting ratio by both definitions."""
    a, b = table.lighting_ratio_words
    if not a:
        return ""
    return f"key to fill {a} (incident), (key + fill) to fill {b} (highlight to shadow)"


def rebuild_steps(view: JudgedSet) -> list[str]:
    """The checklist: in the order in which a set is built."""
    details = view.setup.details
    said = {key: _fact(key, details[key]) for key in DETAIL_WORDS if key in details and _credible(key, details[key])}
    steps = []
    if "backdrop" in said or "backdrop_distance_m" in said:
        behind = f" {said['backdrop_distance_m']} behind the face" if "backdrop_distance_m" in said else ""
        steps.append(f"backdrop{': ' + said['backdrop'] if 'backdrop' in said else ''}{behind}")
    if "mark" in said:
        steps.append(f"subject on the mark: {said['mark']}")
    if "face_height_m" in said:
        steps.append(f"face {said['face_height_m']} above the floor")
    camera = [said[key] for key in ("camera_distance_m", "focal_length_mm") if key in said]
    if camera:
        height = f", {said['camera_height_m']} above the floor" if "camera_height_m" in said else ""
        steps.append(f"camera: {', '.join(camera)}{height}")
    for state in view.lights:
        p = state.placement
        if p is None:
            continue
        where = units.format_length(p.distance_m) if p.distance_m else "distance not noted"
        if p.azimuth_deg is not None:
            where += f", {_direction(p.azimuth_deg, p.elevation_deg)}"
        height = f", {units.format_length(p.stand_height_m)} above the floor" if p.stand_height_m else ""
        power = f", power {p.power_text}" if p.power_text else ""
        steps.append(f"{state.light.name}: {where}{height}{power}")
    if any(s.placement and (s.placement.stand_height_m or 0) >= OVERHEAD_M for s in view.lights):
        steps.append("stands weighed down, heads overhead on safety cables")
    steps.append("room light as then; modelling lamps as then")
    steps.append(f"meter and match: meterlink match “{view.setup.name}”")
    return steps
