"""Where and how a light stands, in words: the same on a terminal, in the app and on the printed sheet."""

from __future__ import annotations

from meterlink import units
from meterlink.records import Light, Placement
from meterlink.records.kept import FACE
from meterlink.words.language import marked, say, with_decimal_sign
from meterlink.words.told import put, written

SHAPES = (marked("disk"), marked("rectangle"))


def source_text(placement: Placement, imperial: bool = False) -> str:
    """``disk 90 cm``; the order of sizes is width × height."""
    if placement.shape == "point" or not placement.width_m:
        return say("small source")
    return f"{say(placement.shape)} {with_decimal_sign(units.format_size(placement.width_m, placement.height_m, imperial))}"


def direction_text(azimuth_deg: float | None, elevation_deg: float | None) -> str:
    """``40° right, 30° up`` as the camera sees it."""
    if azimuth_deg is None:
        return say("direction not given")
    azimuth = written(azimuth_deg, "azimuth")
    return f"{azimuth}, {written(elevation_deg, 'elevation')}" if elevation_deg else azimuth


def distance_text(placement: Placement, imperial: bool = False, point: str = FACE) -> str:
    """The distance from the light to its point, which is named where it is not the face; or that nobody gave it."""
    if not placement.distance_m:
        return say("distance not given")
    return away_text(placement.distance_m, imperial, point)


def away_text(distance_m: float, imperial: bool = False, point: str = FACE) -> str:
    """A light's distance, with what it is measured from where that is not the face."""
    length = with_decimal_sign(units.format_length(distance_m, imperial))
    return length if point == FACE else put("{length} from the {point:point}", length=length, point=point)


def place_text(light: Light, placement: Placement | None) -> str:
    """Where and how a light stands, in one line."""
    if placement is None:
        return say("not placed")
    parts = [source_text(placement), distance_text(placement, point=light.point)]
    parts.append(direction_text(placement.azimuth_deg, placement.elevation_deg))
    if placement.power_text:
        parts.append(say("power {power}", power=written(placement.power_text, "figure")))
    if placement.grid_deg:
        parts.append(say("grid {degrees:.0f}°", degrees=placement.grid_deg))
    parts += [part for part in (placement.gel, placement.diffusers) if part]
    if light.source_light_id:
        parts.append(say("passive reflector"))
    return ", ".join(parts)
