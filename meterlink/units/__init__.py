"""What a person types <-> SI units and stops: ``parse_...`` reads, ``format_...`` writes."""

from __future__ import annotations

from meterlink.photometry.series import format_f_number, format_iso
from meterlink.photometry.series import format_time as format_shutter
from meterlink.units.reading import (
    MAX_TEXT,
    UPWARD,
    Held,
    Size,
    parse_angle,
    parse_distance,
    parse_f_number,
    parse_held_length,
    parse_held_off,
    parse_iso,
    parse_length,
    parse_movement,
    parse_power,
    parse_ratio,
    parse_shutter,
    parse_size,
    parse_stops,
    parse_time,
    side_words,
)
from meterlink.units.writing import (
    MINUS,
    format_angle,
    format_duration,
    format_exposure,
    format_illuminance,
    format_length,
    format_power,
    format_ratio,
    format_size,
    format_stops,
)

__all__ = [
    "MAX_TEXT", "MINUS", "UPWARD", "Held", "Size", "format_angle", "format_duration", "format_exposure", "format_f_number",
    "format_illuminance", "format_iso", "format_length", "format_power", "format_ratio", "format_shutter", "format_size",
    "format_stops", "parse_angle", "parse_distance", "parse_f_number", "parse_held_length", "parse_held_off", "parse_iso",
    "parse_length", "parse_movement", "parse_power", "parse_ratio", "parse_shutter", "parse_size", "parse_stops", "parse_time",
    "side_words",
]  # fmt: skip
