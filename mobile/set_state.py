"""What the set screen shows: the ratio table a row a light, the camera's aperture, the findings.  No kivy, no formulas."""

from __future__ import annotations

from typing import NamedTuple

from meterlink import units
from meterlink.checks.findings import Finding
from meterlink.tables.ratios import Aperture, RatioRow
from mobile.desk import Shot
from mobile.metering_state import Figure, figure_of
from mobile.saying import without_commands
from mobile.texts import t

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
    detail: str
    band: Band | None
    stale: bool


class FindingLook(NamedTuple):
    """One finding: what was seen, and behind a tap what to do."""

    key: str
    title: str
    todo: str
    severity: str
    """``retake``, ``corrected`` or ``good``: the shape and colour that marks it."""
    act: str = ""
    """What a tap begins: ``meter`` or ``place`` the light, ``together``; empty for nothing."""
    act_label: str = ""
    light_id: str = ""


class SetLook(NamedTuple):
    """The whole screen."""

    has_set: bool
    name: str
    camera: str
    rows: tuple[SetRow, ...]
    ratios: tuple[str, ...]
    apertures: tuple[str, ...]
    notes: tuple[str, ...]
    findings: tuple[FindingLook, ...]
    findings_note: str


def place_on_band(stops: float) -> float:
    """Return the place of a number of stops on the scale, held at its ends."""
    return min(max((stops - BAND_LOW_STOPS) / (BAND_HIGH_STOPS - BAND_LOW_STOPS), 0.0), 1.0)


def set_look(shot: Shot) -> SetLook:
    """Turn the snapshot into the screen."""
    if shot.setup is None or shot.view is None or shot.table is None:
        return SetLook(False, "", "", (), (), (), (), (), "")
    table = shot.table
    wishes = wishes_of(shot)
    rows = tuple(
        _row(shot, state.light.id, row, wishes.get(row.light.casefold()))
        for state, row in zip(shot.view.lights, table.rows, strict=True)
    )
    ratios = []
    if table.key_to_fill is not None:
        ratios.append(t("set.key_fill", ratio=units.format_ratio(table.key_to_fill)))
    if table.key_and_fill_to_fill is not None:
        ratios.append(t("set.high_low", ratio=units.format_ratio(table.key_and_fill_to_fill)))
    apertures = []
    if table.aperture_key is not None:
        apertures.append(t("set.aperture_key", f=aperture_text(table.aperture_key)))
    if table.aperture_key_and_fill is not None:
        apertures.append(t("set.aperture_both", f=aperture_text(table.aperture_key_and_fill)))
    findings = tuple(finding_look(shot, one, number) for number, one in enumerate(shot.findings))
    note = without_commands(shot.findings_error) or ("" if findings or not _metered(rows) else t("set.no_findings"))
    return SetLook(
        True, shot.setup.name, camera_text(shot), rows, tuple(ratios), tuple(apertures),
        tuple(filter(None, map(without_commands, table.notes))), findings, note,
    )  # fmt: skip


def _metered(rows: tuple[SetRow, ...]) -> bool:
    return any(row.figure.main for row in rows)


def camera_text(shot: Shot) -> str:
    """ISO and shutter of the set."""
    if shot.setup is None:
        return ""
    shutter = units.format_shutter(shot.setup.shutter_s) if shot.setup.shutter_s else t("set.no_shutter")
    text = t("set.iso_shutter", iso=units.format_iso(shot.setup.iso), shutter=shutter)
    return f"{t('app.simulated')}: {text}" if "simulated" in shot.setup.tags else text


def aperture_text(aperture: Aperture) -> str:
    """``f/9 (+0.1 over)``: the nearest third, and what is left over."""
    left = aperture.left_over_stops
    if abs(left) < 0.05:
        return aperture.nominal
    return t("set.left_over" if left > 0 else "set.left_under", f=aperture.nominal, stops=f"{abs(left):.1f}")


def _row(shot: Shot, light_id: str, row: RatioRow, wish: float | None) -> SetRow:
    f = row.corrected_f
    figure = figure_of(units.format_f_number(f, shot.prefs.step)) if f else Figure()
    is_key = row.light == (shot.table.key if shot.table else None)
    known = row.verdict is not None and not row.stale
    reason = without_commands(row.reason)
    if not known and not row.stale and reason.startswith("meter it"):
        reason = t("set.unmetered")
    tolerance = shot.view.settings.match_tolerance_stops if shot.view else 0.1
    return SetRow(
        light_id,
        row.light,
        t(f"role.{row.role}"),
        figure,
        _stops_text(row, is_key),
        t("set.key_to", ratio=units.format_ratio(1 / row.light_over_key)) if row.light_over_key and not is_key else "",
        t("set.share", percent=f"{row.share * 100:.0f}") if row.share is not None else "",
        row.verdict or "",
        reason,
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
    return t("set.stops", stops=units.format_stops(row.from_key_stops), u=f"{u:.1f}")


def _detail(row: RatioRow, shot: Shot) -> str:
    if row.as_read_f is None or row.correction_stops is None or abs(row.correction_stops) < 0.05:
        return ""
    read = t("set.read", f=units.format_f_number(row.as_read_f, shot.prefs.step))
    return f"{read}, {t('set.by_correction', stops=units.format_stops(row.correction_stops))}"


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
_PLACE = ("no_distance", "no_direction")


def finding_look(shot: Shot, finding: Finding, number: int) -> FindingLook:
    """Show one finding of the checks: its sentence, what to do, and the tap that begins to do it."""
    severity = "retake" if finding.rank >= 3 else "corrected" if finding.rank >= 1 else "good"
    light_id = next((light.id for light in shot.lights if light.name == finding.light), "")
    act, label = "", ""
    if finding.kind in _AGAIN and light_id:
        act, label = "meter", t("set.do_meter", name=finding.light)
    elif finding.kind in _PLACE and light_id:
        act, label = "place", t("set.do_place", name=finding.light)
    elif finding.kind in ("sum", "sum_missing"):
        # The check names the one pop that tells most; when it is a light alone, that light is offered.
        again = finding.kind == "sum" and " alone " in finding.advice and bool(light_id)
        act, label = (
            ("meter", t("set.do_meter", name=finding.light)) if again else ("together", t("metering.sum_check"))
        )
    todo = without_commands(finding.advice, otherwise="") or t(
        f"set.todo_{act}" if act else "set.todo_none", name=finding.light
    )
    return FindingLook(f"{number}", without_commands(finding.text), todo, severity, act, label, light_id)
