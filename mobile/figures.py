"""What ``units`` writes, with the decimal sign of the language in use: for the screen, and for fields, which take both signs."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec

from meterlink import units
from meterlink.words.language import with_decimal_sign

P = ParamSpec("P")


def _in_language(write: Callable[P, str]) -> Callable[P, str]:
    def shown(*args: P.args, **kwargs: P.kwargs) -> str:
        return with_decimal_sign(write(*args, **kwargs))

    return shown


format_angle = _in_language(units.format_angle)
format_duration = _in_language(units.format_duration)
format_f_number = _in_language(units.format_f_number)
format_illuminance = _in_language(units.format_illuminance)
format_iso = _in_language(units.format_iso)
format_length = _in_language(units.format_length)
format_ratio = _in_language(units.format_ratio)
format_stops = _in_language(units.format_stops)
