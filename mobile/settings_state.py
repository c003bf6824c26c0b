"""What the settings screen shows and takes.  No kivy."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from meterlink import units
from meterlink.errors import UnitError
from meterlink.words.language import NAMES
from meterlink.words.told import written
from mobile import figures
from mobile.desk import Desk, Shot
from mobile.held_state import with_unit
from mobile.prefs import Prefs
from mobile.texts import t
from mobile.theme import TEXT_SCALES


class Choice(NamedTuple):
    """One thing to choose from a few."""

    name: str
    label: str
    options: tuple[tuple[Any, str], ...]
    chosen: Any


class Entry(NamedTuple):
    """One thing to type."""

    name: str
    label: str
    text: str
    hint: str


class SettingsLook(NamedTuple):
    """The whole screen."""

    choices: tuple[Choice, ...]
    entries: tuple[Entry, ...]


def _named(name: str, prefs: Prefs, *values: str) -> Choice:
    return Choice(name, t(f"settings.{name}"), tuple((value, t(f"settings.{value}")) for value in values), getattr(prefs, name))


def _on_off(name: str, prefs: Prefs) -> Choice:
    options = ((True, t("settings.on")), (False, t("settings.off")))
    return Choice(name, t(f"settings.{name}"), options, getattr(prefs, name))


def settings_look(shot: Shot, settings: Any) -> SettingsLook:
    """Turn what is remembered into choices and entries; ``settings`` are the library's limits."""
    prefs = shot.prefs
    choices = (
        _named("theme", prefs, "amber", "paper"),
        Choice(
            "text_scale", t("settings.text_scale"), tuple((s, f"{s * 100:.0f} %") for s in TEXT_SCALES), prefs.text_scale
        ),
        _named("units", prefs, "metric", "imperial"),
        _named("step", prefs, "tenth", "third"),
        _on_off("auto_advance", prefs),
        _on_off("free_order", prefs),
        _on_off("speech", prefs),
        _on_off("vibration", prefs),
        _on_off("motion", prefs),
        Choice("language", t("settings.language"), (("", t("settings.device_language")), *NAMES.items()), prefs.language),
    )
    iso = shot.setup.iso if shot.setup else prefs.iso
    shutter = shot.setup.shutter_s if shot.setup else prefs.shutter_s
    texts = {
        "iso": figures.format_iso(iso),
        "shutter": units.format_shutter(shutter) if shutter else "",
        "camera_offset": figures.format_stops(shot.setup.camera_offset_stops) if shot.setup else "",
        "filter": figures.format_stops(shot.setup.filter_stops) if shot.setup else "",
        "match_tolerance": written(settings.match_tolerance_stops, "g"),
        "good_limit": written(settings.good_correction_stops, "g"),
        "corrected_limit": written(settings.corrected_u95_stops, ".2g"),
        "assumed_reach": figures.format_length(settings.assumed_reach_max_m, prefs.imperial),
        "min_gap": written(settings.min_gap_s, "g") + " s",
    }
    wanted = [name for name in ENTRIES if shot.setup is not None or name not in ("camera_offset", "filter")]
    entries = tuple(Entry(name, t(f"settings.{name}"), texts[name], t(f"settings_hint.{name}")) for name in wanted)
    return SettingsLook(choices, entries)


def choose(desk: Desk, name: str, value: Any) -> Shot:
    """Take a choice."""
    return desk.remember(**{name: value})


def _iso(desk: Desk, text: str) -> Shot:
    value = units.parse_iso(text)
    if desk.shot.setup is not None:
        desk.revise_setup(iso=value)
    return desk.remember(iso=value)


def _shutter(desk: Desk, text: str) -> Shot:
    value = units.parse_shutter(text) if text.strip() else None
    if desk.shot.setup is not None:
        desk.revise_setup(shutter_s=value)
    return desk.remember(shutter_s=value)


def _camera_offset(desk: Desk, text: str) -> Shot:
    return desk.revise_setup(camera_offset_stops=units.parse_stops(text.replace("−", "-") or "0", "camera offset", 10))


def _filter(desk: Desk, text: str) -> Shot:
    value = units.parse_stops(text or "0", "filter", 20)
    if value < 0:
        raise UnitError("filter {typed!r} would add light: give 0 stops or more", text, typed=text.strip()[:20])
    return desk.revise_setup(filter_stops=value)


def _limit(setting: str, least: float, most: float) -> Callable[[Desk, str], Shot]:
    def take(desk: Desk, text: str) -> Shot:
        value = units.parse_stops(text, t(f"settings.{_ENTRY_OF[setting]}"), most)
        if value < least:
            raise UnitError(
                "{typed!r} is too small: give {least:g} to {most:g} stops", text, typed=text.strip()[:20], least=least, most=most
            )
        return desk.set_limit(setting, value)

    return take


def _reach(desk: Desk, text: str) -> Shot:
    return desk.set_limit(
        "assumed_reach_max_m", units.parse_length(with_unit(text, desk.prefs.imperial), "assumed reach", 0.0, 1.0)
    )


def _gap(desk: Desk, text: str) -> Shot:
    plain = text.strip().removesuffix("s").strip()
    try:
        value = float(plain.replace(",", "."))
    except ValueError:
        value = -1.0
    if not 0 <= value <= 10:
        raise UnitError("gap {typed!r} cannot be read: give seconds from 0 to 10, such as 0.7", text, typed=text.strip()[:20])
    return desk.set_limit("min_gap_s", value)


_ENTRY_OF = {
    "match_tolerance_stops": "match_tolerance",
    "good_correction_stops": "good_limit",
    "corrected_u95_stops": "corrected_limit",
}
ENTRIES: dict[str, Callable[[Desk, str], Shot]] = {
    "iso": _iso,
    "shutter": _shutter,
    "camera_offset": _camera_offset,
    "filter": _filter,
    "match_tolerance": _limit("match_tolerance_stops", 0.02, 2.0),
    "good_limit": _limit("good_correction_stops", 0.0, 2.0),
    "corrected_limit": _limit("corrected_u95_stops", 0.05, 2.0),
    "assumed_reach": _reach,
    "min_gap": _gap,
}


def enter(desk: Desk, name: str, text: str) -> Shot:
    """Take what was typed."""
    return ENTRIES[name](desk, text)
