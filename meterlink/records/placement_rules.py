"""What a placement and a held-off distance can be: refused in one line, before anything is stored."""

from __future__ import annotations

from typing import Any

from meterlink.errors import GeometryError
from meterlink.records import Light, Placement
from meterlink.words.actions import Do
from meterlink.words.language import marked, translated


def check_placement(placement: Placement, light: Light) -> None:
    """Refuse a placement that cannot be, in one line that names the light."""
    for name, value, lowest, highest, unit in (
        (marked("a distance"), placement.distance_m, 0.0, 50.0, "m"),
        (marked("a width"), placement.width_m, 0.0, 20.0, "m"),
        (marked("a height"), placement.height_m, 0.0, 20.0, "m"),
        (marked("an elevation"), placement.elevation_deg, -90.0, 90.0, "°"),
        (marked("an azimuth"), placement.azimuth_deg, -360.0, 360.0, "°"),
        (marked("a power"), placement.power_stops, -20.0, 1.0, marked(" stops")),
    ):
        if value is None:
            continue
        inside = lowest <= value <= highest if lowest < 0 else lowest < value <= highest
        if not inside:
            raise GeometryError(
                "{who}{what} of {value:g}{unit} cannot be: give one between {lowest:g}{unit} and {highest:g}{unit}"
                if lowest < 0 else "{who}{what} of {value:g}{unit} cannot be: give one above 0 and at most {highest:g} {unit}",
                who=f"{light.name}: ", what=translated(name), value=value, unit=translated(unit), lowest=lowest, highest=highest,
            )
    if placement.shape != "point" and not placement.width_m:
        raise GeometryError(
            "{who}a source of this shape needs its size: {do}", who=f"{light.name}: ", do=Do("give_size", light=light.name)
        )


WHERE_IT_STANDS = ("distance_m", "azimuth_deg", "elevation_deg")


def only_tells(old: Placement, new: Placement) -> bool:
    """Whether a change says only where a light stands, of which nothing was known: it stands as it stood.

    The dial is left out: who gives a power has most often just turned to it.
    """
    told = [name for name in WHERE_IT_STANDS if getattr(old, name) is None and getattr(new, name) is not None]
    same: dict[str, Any] = {name: getattr(old, name) for name in ("id", "created_at_s", "u_distance_m", *told)}
    return bool(told) and new._replace(**same) == old


def check_held_off(held_off_m: float | None, placement: Placement | None, name: str) -> None:
    """Refuse a held-off distance that cannot be: negative, or beyond the light itself."""
    if held_off_m is None:
        return
    if not 0.0 <= held_off_m <= 50.0:
        raise GeometryError(
            "{name}: a dome held off by {held_off_m:g} m cannot be: give 0 to 50 m, e.g. {name}@20cm",
            name=name, held_off_m=held_off_m,
        )
    if placement is not None and placement.distance_m is not None and held_off_m >= placement.distance_m:
        raise GeometryError(
            "{name}: the dome cannot be held {held_off_m:g} m off, the light is only {distance_m:g} m away: check both distances",
            name=name, held_off_m=held_off_m, distance_m=placement.distance_m,
        )
