"""What a placement and a held-off distance can be: refused in one line, before anything is stored."""

from __future__ import annotations

from meterlink.errors import GeometryError
from meterlink.records import Light, Placement


def check_placement(placement: Placement, light: Light | None = None) -> None:
    """Refuse a placement that cannot be, in one line that names the light."""
    who = f"{light.name}: " if light else ""
    for name, value, lowest, highest, unit in (
        ("distance", placement.distance_m, 0.0, 50.0, "m"),
        ("width", placement.width_m, 0.0, 20.0, "m"),
        ("height", placement.height_m, 0.0, 20.0, "m"),
        ("elevation", placement.elevation_deg, -90.0, 90.0, "°"),
        ("azimuth", placement.azimuth_deg, -360.0, 360.0, "°"),
        ("power", placement.power_stops, -20.0, 1.0, " stops"),
    ):
        if value is None:
            continue
        inside = lowest <= value <= highest if lowest < 0 else lowest < value <= highest
        if not inside:
            bound = f"between {lowest:g}{unit} and {highest:g}{unit}" if lowest < 0 else f"above 0 and at most {highest:g} {unit}"
            raise GeometryError(f"{who}a {name} of {value:g}{unit} cannot be: give one {bound}")
    if placement.shape != "point" and not placement.width_m:
        raise GeometryError(f"{who}a {placement.shape} needs its size: --disk 90cm or --rectangle 60x90cm")


def check_held_off(held_off_m: float | None, placement: Placement | None, name: str) -> None:
    """Refuse a held-off distance that cannot be: negative, or beyond the light itself."""
    if held_off_m is None:
        return
    if not 0.0 <= held_off_m <= 50.0:
        raise GeometryError(f"{name}: a dome held off by {held_off_m:g} m cannot be: give 0 to 50 m, e.g. {name}@20cm")
    if placement is not None and placement.distance_m is not None and held_off_m >= placement.distance_m:
        raise GeometryError(
            f"{name}: the dome cannot be held {held_off_m:g} m off, the light is only {placement.distance_m:g} m away: "
            "check both distances"
        )
