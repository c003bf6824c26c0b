"""What a person types <-> SI units and stops: ``parse_...`` reads, ``format_...`` writes.

Reading is loaded when something is read: a command that only prints a table does without it.
"""

from __future__ import annotations

from meterlink.units.writing import (
    MINUS,
    format_angle,
    format_duration,
    format_f_number,
    format_illuminance,
    format_iso,
    format_length,
    format_power,
    format_ratio,
    format_shutter,
    format_size,
    format_stops,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from meterlink.units.reading import (
        MAX_TEXT,
        Held,
        Size,
        parse_angle,
        parse_distance,
        parse_f_number,
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
    )

__all__ = [
    "MAX_TEXT",
    "MINUS",
    "Held",
    "Size",
    "format_angle",
    "format_duration",
    "format_f_number",
    "format_illuminance",
    "format_iso",
    "format_length",
    "format_power",
    "format_ratio",
    "format_shutter",
    "format_size",
    "format_stops",
    "parse_angle",
    "parse_distance",
    "parse_f_number",
    "parse_held_off",
    "parse_iso",
    "parse_length",
    "parse_movement",
    "parse_power",
    "parse_ratio",
    "parse_shutter",
    "parse_size",
    "parse_stops",
    "parse_time",
]


def __getattr__(name: str) -> object:
    """Load what reads when it is first asked for."""
    if name not in __all__:
        raise AttributeError(f"module 'meterlink.units' has no attribute {name!r}")
    from meterlink.units import reading

    return getattr(reading, name)
