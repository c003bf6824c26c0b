"""The printable sheet of a set-up: one HTML page that needs nothing from the network."""

from __future__ import annotations

import time
from collections.abc import Sequence
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from markupsafe import Markup

from meterlink import units
from meterlink.checks.findings import Finding
from meterlink.checks.shutter import beyond_sync
from meterlink.judging.judged_set import JudgedSet, LightState
from meterlink.report.labels import short
from meterlink.report.picture import safe_picture
from meterlink.report.plan import plan, side
from meterlink.tables.compare import fact_words, key_words
from meterlink.tables.ratios import RatioRow, RatioTable, ratio_table
from meterlink.words.actions import Do
from meterlink.words.language import Place, language, marked, say, say_for, spoken_for, translated, unbroken
from meterlink.words.placed import direction_text, distance_text, place_text, source_text
from meterlink.words.shared import RANKS, UNKNOWN, finding_lines, row_texts
from meterlink.words.told import put, written

if TYPE_CHECKING:
    from jinja2 import Template

OVERHEAD_DEG, OVERHEAD_M = 35.0, 1.9
"""From this elevation or stand height on a light counts as overhead and the caution is printed."""
FINDINGS_MAX = 8
"""The worst ones; the page has two sides and 'meterlink checks' shows them all."""
HIDDEN = ("points", "reference_picture")
"""Facts that are no words."""

DETAIL_WORDS = {
    "mark": marked("subject's mark"),
    "framing": marked("framing"),
    "face_height_m": marked("face above floor"),
    "backdrop_distance_m": marked("face to backdrop"),
    "backdrop": marked("backdrop"),
    "backdrop_reflectance": marked("backdrop's reflectance"),
    "camera_distance_m": marked("camera to face"),
    "camera_height_m": marked("camera above floor"),
    "focal_length_mm": marked("focal length"),
    "aperture": marked("aperture used"),
    "reference_photo": marked("reference photograph"),
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
    overhead: bool
    read: str
    correction: str
    f: str
    from_key: str
    ratio: str
    share: str
    t01: str
    verdict: str
    reason: str


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
    with spoken_for(Place.PAGE):
        table = ratio_table(view)
        lines = light_lines(view, table)
        found = finding_lines(findings)
        worst = found[:FINDINGS_MAX]
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
            notes=[str(note) for note in table.notes],
            findings=[(say(RANKS[int(one.rank)]), str(one.said), str(one.to_do)) for one in worst],
            more_findings=len(found) - len(worst),
            all_findings=Do("checks"),
            answers=[one.text for one in answers],
            overhead=[line.name for line in lines if line.overhead],
            plan=Markup(plan(view).svg()),
            side=Markup(side(view).svg()),
            square=Markup(square),
            carries=carries,
            steps=rebuild_steps(view),
            say=say,
            column=partial(say_for, "column"),
            language=language(),
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
    """Take the marks of direction out of a text that goes on the page, and keep on one line what belongs together."""
    return unbroken(value.translate(TURNING)) if type(value) is str else value


def camera_facts(view: JudgedSet, table: RatioTable) -> list[tuple[str, str]]:
    """What the camera is set to."""
    setup = view.setup
    facts = [("ISO", units.format_iso(setup.iso).removeprefix("ISO ")), (say("shutter"), _shutter(view))]
    if table.aperture_key:
        aperture = say("{f} ± {u95:.1f} stop", f=written(table.aperture_key.nominal, "figure"), u95=table.aperture_key.u95_stops)
        facts.append((say("aperture from the key"), aperture))
    if table.aperture_key_and_fill:
        facts.append((say("key and fill together"), written(table.aperture_key_and_fill.nominal, "figure")))
    if setup.camera_offset_stops:
        facts.append((say("camera offset"), written(setup.camera_offset_stops, "stops")))
    if setup.filter_stops:
        facts.append((say("filter takes"), say("{stops:.1f} stops", stops=setup.filter_stops)))
    return facts


def _shutter(view: JudgedSet) -> str:
    """The shutter time, and that it is beyond the sync speed when it is."""
    if not view.setup.shutter_s:
        return UNKNOWN
    beyond = beyond_sync(view)
    if not beyond:
        return written(view.setup.shutter_s, "shutter")
    return put(
        "{shutter:shutter} (faster than the sync speed of {sync:shutter})",
        shutter=view.setup.shutter_s, sync=beyond.numbers["sync_speed_s"],
    )  # fmt: skip


def rebuild_facts(view: JudgedSet) -> list[tuple[str, str]]:
    """What else a rebuild needs, as far as it was noted."""
    details = view.setup.details
    known = [(say(word), str(fact_words(key, details[key]))) for key, word in DETAIL_WORDS.items() if key in details]
    others = [
        (translated(key_words(key)[:60]), str(fact_words(key, value)))
        for key, value in details.items()
        if key not in DETAIL_WORDS and key not in HIDDEN and isinstance(value, str | int | float)
    ]
    return known + others


def _credible(key: str, value: Any) -> bool:
    """Say whether a fact can stand in an instruction: a length is a number that fits a studio."""
    if not key.endswith(("_m", "_mm")):
        return isinstance(value, str)
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 < value < 10_000


def light_lines(view: JudgedSet, table: RatioTable) -> list[LightLine]:
    """The lights with where they stand and what they gave."""
    return [_line(state, row) for state, row in zip(view.lights, table.rows, strict=True)]


def _line(state: LightState, row: RatioRow) -> LightLine:
    light, p = state.light, state.placement
    source, place, power, extras = say("not placed"), UNKNOWN, UNKNOWN, ""
    overhead = False
    if p is not None:
        source, place = source_text(p), distance_text(p, point=light.point)
        place += "" if p.azimuth_deg is None else f", {direction_text(p.azimuth_deg, p.elevation_deg)}"
        power = written(p.power_text, "figure") or (say("passive") if light.source_light_id else UNKNOWN)
        extras = _extras(state)
        overhead = (p.elevation_deg or 0.0) >= OVERHEAD_DEG or (p.stand_height_m or 0.0) >= OVERHEAD_M
    return LightLine(light.name, written(light.role, "role"), source, place, power, extras, overhead, *row_texts(row))


def _extras(state: LightState) -> str:
    light, p = state.light, state.placement
    assert p is not None
    parts = [
        light.fixture,
        light.modifier,
        p.grid_deg and say("grid {degrees:.0f}°", degrees=p.grid_deg),
        p.gel and say("gel {gel}", gel=p.gel),
        p.diffusers,
        p.recess_m and put("recess {depth:length}", depth=p.recess_m),
        p.stand_height_m and put("{height:length} above the floor", height=p.stand_height_m),
        p.aimed_at and say("aimed at {point}", point=p.aimed_at),
        p.feather_deg and say("feathered by {degrees:.0f}°", degrees=p.feather_deg),
    ]
    return ", ".join(str(part) for part in parts if part)


def ratio_words(table: RatioTable) -> str:
    """The lighting ratio by both definitions."""
    a, b = table.lighting_ratio_words
    if not a:
        return ""
    return say("key to fill {incident} (incident), (key + fill) to fill {contrast} (highlight to shadow)", incident=a, contrast=b)


def rebuild_steps(view: JudgedSet) -> list[str]:
    """The checklist: in the order in which a set is built."""
    details = view.setup.details
    said = {key: str(fact_words(key, details[key])) for key in DETAIL_WORDS if key in details and _credible(key, details[key])}
    steps = []
    if "backdrop" in said or "backdrop_distance_m" in said:
        what = ": ".join(filter(None, (say("backdrop"), said.get("backdrop", ""))))
        behind = said.get("backdrop_distance_m")
        steps.append(say("{backdrop} {distance} behind the face", backdrop=what, distance=behind) if behind else what)
    if "mark" in said:
        steps.append(say("subject on the mark: {mark}", mark=said["mark"]))
    if "face_height_m" in said:
        steps.append(say("face {height} above the floor", height=said["face_height_m"]))
    camera = [said[key] for key in ("camera_distance_m", "focal_length_mm") if key in said]
    if camera:
        height = [say("{height} above the floor", height=said["camera_height_m"])] if "camera_height_m" in said else []
        steps.append(say("camera: {where}", where=", ".join(camera + height)))
    steps += [_light_step(state) for state in view.lights if state.placement is not None]
    if any(s.placement and (s.placement.stand_height_m or 0) >= OVERHEAD_M for s in view.lights):
        steps.append(say("stands weighed down, heads overhead on safety cables"))
    steps.append(say("room light as then; modelling lamps as then"))
    steps.append(str(Do("match", setup=view.setup.name)))
    return steps


def _light_step(state: LightState) -> str:
    """What to put where, whole: the list alone is to be enough."""
    light, p = state.light, state.placement
    assert p is not None
    # The table above has long names whole.
    parts = [short(light.modifier), place_text(light, p._replace(gel=short(p.gel), diffusers=short(p.diffusers)))]
    if p.stand_height_m:
        parts.append(put("{height:length} above the floor", height=p.stand_height_m))
    return f"{short(light.name)}: {', '.join(filter(None, parts))}"
