"""The printable sheet of a set-up: one HTML page that needs nothing from the network."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any, NamedTuple

from meterlink import units
from meterlink.setwork.ratios import RatioRow, RatioTable, ratio_table
from meterlink.setwork.view import LightState, SetView
from meterlink.sheet.plan import plan, side

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlink.setwork.checks import Finding

OVERHEAD_DEG, OVERHEAD_M = 35.0, 1.9
"""From this elevation or stand height on a light counts as overhead and the caution is printed."""
NOTHING = "–"
RANKS = {3: "wrong", 2: "doubtful", 1: "caution", 0: "note"}

DETAIL_WORDS = {
    "mark": "subject's mark",
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


def sheet_html(view: SetView, findings: Sequence[Finding] = (), code_svg: str = "", *, now_s: float | None = None) -> str:
    """Return the sheet as HTML.  Every text from outside is escaped; ``code_svg`` is the QR code as SVG or empty."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    table = ratio_table(view)
    source = Path(__file__).with_name("sheet.html").read_text(encoding="utf-8")
    template = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True).from_string(source)
    lines = light_lines(view, table)
    return template.render(
        setup=view.setup,
        made=time.strftime("%Y-%m-%d", time.localtime(view.setup.created_at_s)),
        printed=time.strftime("%Y-%m-%d %H:%M", time.localtime(time.time() if now_s is None else now_s)),
        camera=camera_facts(view, table),
        facts=rebuild_facts(view),
        lines=lines,
        ratio=ratio_words(table),
        notes=table.notes,
        findings=[(RANKS[int(f.rank)], f.text, f.advice) for f in findings],
        overhead=[line.name for line in lines if line.overhead],
        plan=Markup(plan(view).svg()),  # noqa: S704 - our own drawing, its texts are escaped
        side=Markup(side(view).svg()),  # noqa: S704
        code=Markup(code_svg),  # noqa: S704 - made by segno from a base64 text
        steps=rebuild_steps(view),
    )


def camera_facts(view: SetView, table: RatioTable) -> list[tuple[str, str]]:
    """What the camera is set to."""
    setup = view.setup
    facts = [("ISO", units.format_iso(setup.iso).removeprefix("ISO "))]
    facts.append(("shutter", units.format_shutter(setup.shutter_s) if setup.shutter_s else NOTHING))
    if table.aperture_key:
        facts.append(("aperture from the key", f"{table.aperture_key.nominal} ± {table.aperture_key.u95_stops:.1f} stop"))
    if table.aperture_key_and_fill:
        facts.append(("key and fill together", table.aperture_key_and_fill.nominal))
    if setup.camera_offset_stops:
        facts.append(("camera offset", units.format_stops(setup.camera_offset_stops)))
    if setup.filter_stops:
        facts.append(("filter takes", f"{setup.filter_stops:.1f} stops"))
    return facts


def rebuild_facts(view: SetView) -> list[tuple[str, str]]:
    """What else a rebuild needs, as far as it was noted."""
    details = view.setup.details
    known = [(word, _fact(key, details[key])) for key, word in DETAIL_WORDS.items() if key in details]
    others = [
        (key.replace("_", " "), str(value)[:200])
        for key, value in details.items()
        if key not in DETAIL_WORDS and isinstance(value, str | int | float)
    ]
    return known + others


def _fact(key: str, value: Any) -> str:
    if isinstance(value, int | float) and key.endswith("_m"):
        return units.format_length(float(value))
    if isinstance(value, int | float) and key.endswith("_mm"):
        return f"{value:g} mm"
    return str(value)[:200]


def light_lines(view: SetView, table: RatioTable) -> list[LightLine]:
    """The lights with where they stand and what they gave."""
    return [_line(state, row) for state, row in zip(view.lights, table.rows, strict=True)]


def _line(state: LightState, row: RatioRow) -> LightLine:
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
        from_key = "0" if row.role == "key" else units.format_stops(row.from_key_stops) + u95
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
    if table.key_to_fill is None or table.key_and_fill_to_fill is None:
        return ""
    a, b = (f"{v:.1f}:1".replace(".0:", ":") for v in (table.key_to_fill, table.key_and_fill_to_fill))
    return f"key to fill {a} (incident), (key + fill) to fill {b} (highlight to shadow)"


def rebuild_steps(view: SetView) -> list[str]:
    """The checklist: in the order in which a set is built."""
    steps = []
    details = view.setup.details
    if "backdrop_distance_m" in details:
        steps.append(f"backdrop {_fact('backdrop_distance_m', details['backdrop_distance_m'])} behind the face")
    if "mark" in details:
        steps.append(f"subject on the mark: {_fact('mark', details['mark'])}")
    for state in view.lights:
        p = state.placement
        if p is None:
            continue
        where = units.format_length(p.distance_m) if p.distance_m else "distance not noted"
        if p.azimuth_deg is not None:
            where += f", {_direction(p.azimuth_deg, p.elevation_deg)}"
        power = f", power {p.power_text}" if p.power_text else ""
        steps.append(f"{state.light.name}: {where}{power}")
    if any(s.placement and (s.placement.stand_height_m or 0) >= OVERHEAD_M for s in view.lights):
        steps.append("stands weighed down, heads overhead on safety cables")
    steps.append("room light as then; modelling lamps as then")
    steps.append(f"match: meterlink match “{view.setup.name}”")
    return steps


def code_svg(text: str | None) -> str:
    """Return the QR code of a text as an SVG element, empty for None."""
    if text is None:
        return ""
    import io

    import segno

    out = io.BytesIO()
    segno.make_qr(text, error="m", boost_error=False).save(out, kind="svg", scale=1, border=2, xmldecl=False, svgns=True, omitsize=True)
    return out.getvalue().decode()
