"""The fields of a light: how each shows itself as text and reads what was typed.  No kivy.

Reading raises ``UnitError``, ``GeometryError`` or ``UsageError`` with the one sentence that stands under the field.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from meterlink import units
from meterlink.errors import UnitError, UsageError
from meterlink.judging.learnt_dial import power_words, scale_top
from meterlink.records import Light, Placement
from meterlink.words.told import written
from mobile import figures
from mobile.held_state import with_unit
from mobile.texts import t


class Field(NamedTuple):
    """One thing that can be typed: where it belongs, how it is shown and how it is read."""

    name: str
    show: Callable[[Light, Placement, bool], str]
    read: Callable[[str, Light, Placement, bool], dict[str, Any]]
    of_light: bool = False
    more: bool = False
    """Asked for only when wanted."""


def power_text(light: Light, placement: Placement) -> str:
    """Power in the fixture's own scale; empty when it is not known."""
    if placement.power_text:
        return written(placement.power_text, "figure")
    if placement.power_stops is None:
        return ""
    return written(power_words(light, placement.power_stops), "figure")


def _show_length(name: str) -> Callable[[Light, Placement, bool], str]:
    def show(_light: Light, placement: Placement, imperial: bool) -> str:
        value = getattr(placement, name)
        return figures.format_length(value, imperial) if value is not None else ""

    return show


def _read_distance(text: str, _l: Light, _p: Placement, imperial: bool) -> dict[str, Any]:
    if not text.strip():
        return {"distance_m": None, "u_distance_m": None}
    return {"distance_m": units.parse_distance(with_unit(text, imperial)), "u_distance_m": None}


def _read_stand(text: str, _l: Light, _p: Placement, imperial: bool) -> dict[str, Any]:
    return {"stand_height_m": units.parse_length(with_unit(text, imperial), "stand height", 0.0, 20.0) if text.strip() else None}


def _show_size(_l: Light, placement: Placement, imperial: bool) -> str:
    if not placement.width_m:
        return ""
    return units.format_size(placement.width_m, placement.height_m, imperial)


def _read_size(text: str, _l: Light, placement: Placement, imperial: bool) -> dict[str, Any]:
    plain = text.strip()
    unit = "in" if imperial else "cm"
    size = units.parse_size(plain if any(c.isalpha() and c.lower() != "x" for c in plain) or '"' in plain else plain + unit)
    if placement.shape == "disk":
        if size.height_m is not None:
            raise UnitError("a round source has one size, its diameter: type 90 cm, or choose the square-cornered shape", text)
        return {"width_m": size.width_m, "height_m": None}
    if size.height_m is None:
        raise UnitError("this shape has two sizes, width x height: type 60x90 cm, or choose the round shape", text)
    return {"width_m": size.width_m, "height_m": size.height_m}


def _show_angle(name: str) -> Callable[[Light, Placement, bool], str]:
    def show(_light: Light, placement: Placement, _imperial: bool) -> str:
        value = getattr(placement, name)
        return figures.format_angle(value) if value is not None else ""

    return show


def _read_angle(name: str, most: float) -> Callable[[str, Light, Placement, bool], dict[str, Any]]:
    field = name.removesuffix("_deg")

    def read(text: str, _l: Light, _p: Placement, _i: bool) -> dict[str, Any]:
        if not text.strip():
            return {name: 0.0 if name == "feather_deg" else None}
        upward = {"azimuth": False, "elevation": True}.get(field)
        angle = units.parse_angle(text.replace("−", "-"), t(f"field.{field}"), upward)
        if abs(angle) > most:
            raise UnitError(
                "{typed} is beyond {most:.0f}°: give an angle within it, as 40, -30 or 30 left",
                text,
                typed=text.strip()[:20],
                most=most,
            )
        return {name: angle}

    return read


def _read_power(text: str, light: Light, _p: Placement, _i: bool) -> dict[str, Any]:
    if not text.strip():
        return {"power_text": "", "power_stops": None}
    stops = units.parse_power(text, light.full_power_j, scale_top(light))
    return {"power_text": text.strip(), "power_stops": stops}


def _read_grid(text: str, _l: Light, _p: Placement, _i: bool) -> dict[str, Any]:
    return {"grid_deg": units.parse_angle(text, "grid") if text.strip() else None}


def _words(name: str) -> Callable[[Light, Placement, bool], str]:
    return lambda light, placement, _i: str(getattr(placement if hasattr(placement, name) else light, name))


def _read_words(name: str) -> Callable[[str, Light, Placement, bool], dict[str, Any]]:
    def read(text: str, _l: Light, _p: Placement, _i: bool) -> dict[str, Any]:
        plain = " ".join(text.split())
        if len(plain) > 100:
            raise UsageError("that is too long: use at most {most} characters", most=100)
        if name == "name" and not plain:
            raise UsageError("a light needs a name: type one, such as KEY")
        return {name: plain}

    return read


def _show_step(light: Light, _p: Placement, _i: bool) -> str:
    return written(light.power_step_stops, ".2g") if light.power_step_stops else ""


def _read_step(text: str, _l: Light, _p: Placement, _i: bool) -> dict[str, Any]:
    return {"power_step_stops": abs(units.parse_stops(text, "power step", 3)) or None if text.strip() else None}


def _show_full(light: Light, _p: Placement, _i: bool) -> str:
    return f"{light.full_power_j:g} J" if light.full_power_j else ""


def _read_full(text: str, _l: Light, _p: Placement, _i: bool) -> dict[str, Any]:
    plain = text.strip().lower().removesuffix("ws").removesuffix("j").strip()
    if not plain:
        return {"full_power_j": None}
    try:
        value = float(plain)
    except ValueError:
        value = 0.0
    if not 0 < value < 1e5:
        raise UnitError("full power {typed!r} cannot be read: give joules, such as 400 J", text, typed=text.strip()[:20])
    return {"full_power_j": value}


FIELDS: dict[str, Field] = {
    f.name: f
    for f in (
        Field("name", _words("name"), _read_words("name"), of_light=True),
        Field("size", _show_size, _read_size),
        Field("distance", _show_length("distance_m"), _read_distance),
        Field("azimuth", _show_angle("azimuth_deg"), _read_angle("azimuth_deg", 360)),
        Field("elevation", _show_angle("elevation_deg"), _read_angle("elevation_deg", 90)),
        Field("power", lambda light, p, _i: power_text(light, p), _read_power),
        Field("feather", _show_angle("feather_deg"), _read_angle("feather_deg", 90), more=True),
        Field("grid", _show_angle("grid_deg"), _read_grid, more=True),
        Field("gel", _words("gel"), _read_words("gel"), more=True),
        Field("diffusers", _words("diffusers"), _read_words("diffusers"), more=True),
        Field("stand_height", _show_length("stand_height_m"), _read_stand, more=True),
        Field("fixture", _words("fixture"), _read_words("fixture"), of_light=True, more=True),
        Field("modifier", _words("modifier"), _read_words("modifier"), of_light=True, more=True),
        Field("power_step", _show_step, _read_step, of_light=True, more=True),
        Field("full_power", _show_full, _read_full, of_light=True, more=True),
    )
}
