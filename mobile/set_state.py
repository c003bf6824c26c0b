"""What the set screen shows: the ratio table a row a light, the camera's aperture, the findings.  No kivy, no formulas."""

from __future__ import annotations

from typing import NamedTuple

from meterlink import units
from meterlink.checks.findings import Finding
from meterlink.tables.ratios import Aperture, RatioRow
from meterlink.words.shared import Line, finding_lines
from meterlink.words.told import told, written
from mobile import figures
from mobile.desk import Shot
from mobile.last_pop import Figure, figure_of
from mobile.texts import t, t_count

BAND_LOW_STOPS, BAND_HIGH_STOPS = -5.0, 2.0
"""Ends of the scale that a row's band is drawn on; the key stands at 0."""


class Band(NamedTuple):
    """Where a light stands on the scale of stops from the key, all from 0 (left) to 1 (right)."""

    at: float
    low: float
    high: float
    """Ends of the stated interval (k=2)."""
    target_low: float | None = None
    target_high: float | None = None
    """The light's tolerance band, where the set has a wish for it."""
    on_target: bool = True


class SetRow(NamedTuple):
    """One light."""

    light_id: str
    name: str
    role: str
    figure: Figure
    stops: str
    """``−1.0 ± 0.1`` or ``the key``; empty when not known."""
    ratio: str
    share: str
    verdict: str
    reason: str
    short: str
    """Why there is no figure that counts, in a few words."""
    detail: str
    band: Band | None
    stale: bool


class FindingLook(NamedTuple):
    """One finding: what was seen, and behind a tap what to do."""

    key: str
    title: str
    todo: str
    severity: str
    """``retake``, ``corrected`` or ``none``: the shape and colour that marks it."""
    act: str = ""
    """What a tap begins: ``meter`` or ``place`` the light, ``together``, ``walk`` through all that wait; empty for nothing."""
    act_label: str = ""
    light_id: str = ""
    field: str = ""
    """Of the light, what is missing: ``distance`` or ``azimuth``."""
    head: str = ""
    """The finding in one line."""


class SetLook(NamedTuple):
    """The whole screen."""

    name: str
    second: str
    """The second line of the head: key to fill with its doubt; what the camera is set to as long as that is not known."""
    rows: tuple[SetRow, ...]
    ratios: tuple[str, ...]
    aperture: str
    """What the camera is set to."""
    over: str
    """How much the key is over or under that; empty for nothing."""
    notes: tuple[str, ...]
    findings: tuple[FindingLook, ...]
    findings_note: str
    findings_line: str
    """The findings as one line: how many, and the first one."""
    findings_count: str
    """The same without the first one, where text is large."""
    worst: str
    """The mark of the worst one."""
    well: tuple[str, ...] = ()
    """What was looked at and is well, one line each."""
    aperture_doubted: bool = False
    """The key is to be metered again: the sign of that stands before the aperture, and no word, for which there is no room."""
    second_doubted: bool = False
    """So it does before the ratio, whose key or fill is to be."""


def place_on_band(stops: float) -> float:
    """Return the place of a number of stops on the scale, held at its ends."""
    return min(max((stops - BAND_LOW_STOPS) / (BAND_HIGH_STOPS - BAND_LOW_STOPS), 0.0), 1.0)


def set_look(shot: Shot) -> SetLook:
    """Turn the snapshot into the screen."""
    if shot.setup is None or shot.view is None or shot.table is None:
        return SetLook("", "", (), (), "", "", (), (), "", "", "", "")
    table = shot.table
    wishes = wishes_of(shot)
    rows = tuple(
        _row(shot, state.light.id, row, wishes.get(row.light.casefold()))
        for state, row in zip(shot.view.lights, table.rows, strict=True)
    )
    high_low = table.lighting_ratio_words[1]
    camera = camera_text(shot)
    ratios = [t("set.high_low", ratio=high_low), camera] if high_low else []
    chosen = table.aperture_key
    doubted = chosen is not None and any(one.name == table.key and one.verdict == "retake" for one in rows)
    second = camera
    if table.key_to_fill is not None:
        ratio, u = written(table.key_to_fill, "ratio"), written(table.key_to_fill_u95_stops, "u")
        second = t("set.key_fill", ratio=ratio, u=u)
    aperture = t("set.camera_at", f=written(chosen.nominal, "figure")) if chosen is not None else t("set.no_aperture")
    if table.aperture_key_and_fill is not None:
        both = figures.format_f_number(table.aperture_key_and_fill.f, shot.prefs.step)
        ratios.append(t("set.aperture_both", f=both))
    details = ((row.name, ", ".join(filter(None, (row.ratio, row.share, row.detail)))) for row in rows)
    ratios += [t("lights.value", label=name, value=said) for name, said in details if said]
    findings = tuple(finding_look(shot, one, number) for number, one in enumerate(finding_lines(shot.findings)))
    note = shot.findings_error or ("" if findings or not _metered(rows) else t("set.no_findings"))
    return SetLook(
        shot.setup.name, second, rows, tuple(ratios), aperture, over_text(chosen),
        # What a match closes at the camera is said beside the aperture of the lights as they are now, too.
        (*((str(shot.match.camera),) if shot.match is not None and shot.match.camera else ()), *map(str, table.notes)),
        findings, note,
        *_findings_line(findings, note), findings[0].severity if findings else "good" if _metered(rows) else "",
        tuple(one.text for one in shot.answers), doubted, table.lighting_ratio_doubtful,
    )  # fmt: skip


def _findings_line(findings: tuple[FindingLook, ...], note: str) -> tuple[str, str]:
    if not findings:
        return note, note
    count = t_count("set.count_findings", len(findings))
    return t("lights.value", label=count, value=findings[0].head), count


def _metered(rows: tuple[SetRow, ...]) -> bool:
    return any(row.figure.main for row in rows)


def camera_text(shot: Shot) -> str:
    """ISO and shutter of the set."""
    if shot.setup is None:
        return ""
    shutter = units.format_shutter(shot.setup.shutter_s) if shot.setup.shutter_s else t("set.no_shutter")
    text = t("set.iso_shutter", iso=figures.format_iso(shot.setup.iso), shutter=shutter)
    beyond = next((one for one in shot.findings if one.kind == "sync"), None)
    if beyond is not None:
        text = t("set.beyond_sync", camera=text, sync=units.format_shutter(beyond.numbers["sync_speed_s"]))
    return f"{t('app.simulated')}: {text}" if "simulated" in shot.setup.tags else text


def over_text(aperture: Aperture | None) -> str:
    """``0.1 over``: what is left beside the nearest third; empty when it is nothing to speak of."""
    left = aperture.left_over_stops if aperture is not None else 0.0
    if abs(left) < 0.05:
        return ""
    return t("set.over" if left > 0 else "set.under", stops=written(left, "size"))


def _row(shot: Shot, light_id: str, row: RatioRow, wish: float | None) -> SetRow:
    f = row.corrected_f
    figure = figure_of(figures.format_f_number(f, shot.prefs.step)) if f else Figure()
    is_key = row.light == (shot.table.key if shot.table else None)
    known = row.verdict is not None and not row.stale
    reason = row.reason
    if not known and not row.stale and row.said.code == "meter_it":
        reason = t("set.unmetered")
    tolerance = shot.view.settings.match_tolerance_stops if shot.view else 0.1
    return SetRow(
        light_id,
        row.light,
        written(row.role, "role"),
        figure,
        _stops_text(row, is_key),
        t("set.key_to", ratio=figures.format_ratio(1 / row.light_over_key)) if row.light_over_key and not is_key else "",
        t("set.share", percent=f"{row.share * 100:.0f}") if row.share is not None else "",
        row.verdict or "",
        reason,
        t("set.unmetered") if not known and not row.stale else t("set.stale") if row.stale else str(told(row.verdict or "")),
        _detail(row, shot),
        _band(row, wish, tolerance) if known else None,
        row.stale,
    )


def _stops_text(row: RatioRow, is_key: bool) -> str:
    if row.from_key_stops is None:
        return ""
    if is_key:
        return t("set.key")
    u = max(round(row.from_key_u95_stops or 0.0, 1), 0.1)
    return t("set.stops", stops=figures.format_stops(row.from_key_stops), u=written(u, ".1f"))


def _detail(row: RatioRow, shot: Shot) -> str:
    if row.as_read_f is None or row.correction_stops is None or abs(row.correction_stops) < 0.05:
        return ""
    read = t("set.read", f=figures.format_f_number(row.as_read_f, shot.prefs.step))
    return f"{read}, {t('set.by_correction', stops=figures.format_stops(row.correction_stops))}"


def _band(row: RatioRow, wish: float | None, tolerance: float) -> Band | None:
    if row.from_key_stops is None:
        return None
    at, u = row.from_key_stops, row.from_key_u95_stops or row.u95_stops or 0.0
    if wish is None:
        return Band(place_on_band(at), place_on_band(at - u), place_on_band(at + u))
    return Band(
        place_on_band(at),
        place_on_band(at - u),
        place_on_band(at + u),
        place_on_band(wish - tolerance),
        place_on_band(wish + tolerance),
        abs(at - wish) <= tolerance,
    )


def wishes_of(shot: Shot) -> dict[str, float]:
    """Return the wanted stops from the key by the light's name, where the set-up keeps such wishes."""
    kept = shot.setup.details.get("targets") if shot.setup else None
    if not isinstance(kept, dict):
        return {}
    return {
        str(name).casefold(): float(value)
        for name, value in kept.items()
        if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 40
    }


_AGAIN = ("retake", "stale", "not_metered", "prediction", "outlier")
_UNPLACED = ("sum_no_direction", "sum_not_at_point")
"""Why the lights cannot be added up, where saying where they stand is what helps."""
_PLACE = {"give_distance": "distance", "give_direction": "azimuth"}
"""What is done about findings that a fact puts right, and the field that it is typed or touched in."""
HEAD_LETTERS = 40


def finding_look(shot: Shot, line: Line, number: int) -> FindingLook:
    """Show a line of the checks, about one light or several: its sentence, what to do, and the tap that begins to do it."""
    finding, several = line.found[0], len(line.found) > 1
    severity = "retake" if finding.rank >= 3 else "corrected" if finding.rank >= 1 else "none"
    light_id = next((light.id for light in shot.lights if light.name == finding.light), "")
    act, label, field, of = "", "", "", ", ".join(one.light for one in line.found)
    action = finding.action.code if finding.action is not None else ""
    if action in _PLACE and light_id:
        act, label, field = "place", t(f"set.do_{_PLACE[action]}", name=finding.light), _PLACE[action]
    elif finding.kind in _AGAIN and several:
        act, label = "walk", t("set.meter")
    elif finding.kind in _AGAIN and light_id:
        act, label = "meter", t("set.do_meter", name=finding.light)
    elif finding.kind in ("sum", "sum_missing"):
        missing = _missing_place(shot)
        # The check names the one pop that tells most; when it is a light alone, that light is offered.
        if action == "meter" and bool(light_id):
            act, label = "meter", t("set.do_meter", name=finding.light)
        elif missing is not None and shot.view is not None and shot.view.check.refusal.code in _UNPLACED:
            # All together tells nothing as long as nobody knows where a light stands: that comes first.
            name, light_id, field = missing
            act, label, of = "place", t(f"set.do_{field}", name=name), name
        else:
            act, label = "together", t("set.sum")
    # A bare action is what the button beside it does.
    to_do = line.to_do if several else finding.to_do
    bare = not to_do or to_do.code == "do" or (act == "place" and finding.kind == "sum_missing")
    todo = t(f"set.todo_{act}" if act else "set.todo_none", name=of) if bare else str(to_do)
    title = str(line.said)
    head = _sum_head(finding) or _cut(title)
    return FindingLook(f"{number}", title, todo, severity, act, label, light_id, field, head)


def _sum_head(finding: Finding) -> str:
    """What the pop of all lights told, in one line; empty for any other finding."""
    stops, doubt = (finding.numbers.get(name) for name in ("residual_stops", "u_residual_stops"))
    if not isinstance(stops, float) or not isinstance(doubt, float) or finding.rank < 1 or abs(stops) <= 2 * doubt:
        return ""
    return t("set.sum_less" if stops < 0 else "set.sum_more", stops=written(stops, "stops_word"))


def _cut(title: str) -> str:
    """As many whole words as a line takes."""
    return title if len(title) <= HEAD_LETTERS else title[:HEAD_LETTERS].rsplit(" ", 1)[0].rstrip(",;:") + " …"


def _missing_place(shot: Shot) -> tuple[str, str, str] | None:
    """The first light on the face without distance or direction: (name, id, field)."""
    for state in shot.view.lights if shot.view else ():
        if state.light.point != "face" or state.light.source_light_id:
            continue
        for field, value in (
            ("distance", state.placement.distance_m if state.placement else None),
            ("azimuth", state.placement.azimuth_deg if state.placement else None),
        ):
            if value is None:
                return state.light.name, state.light.id, field
    return None
