"""The dome's held-off distance on the screen: its words, the arithmetic of its scale, and what a person types.  No kivy."""

from __future__ import annotations

import re
from typing import NamedTuple

from meterlink import units
from mobile import figures
from mobile.desk import HELD_MAX_M, Desk, Shot
from mobile.texts import t


def held_text(held_off_m: float | None, imperial: bool) -> str:
    """The slider's value in words; not given is not zero."""
    if held_off_m is None:
        return t("metering.held_unknown")
    if held_off_m == 0:
        return t("metering.held_zero")
    return t("metering.held", length=figures.format_length(held_off_m, imperial))


class HeldSlider(NamedTuple):
    """The slider: its left end is a place of its own, *not given*; then 0 to the longest length in steps of 1 cm."""

    longest_m: float = HELD_MAX_M
    unknown_part: float = 0.1
    """Part of the slider that means *not given*."""

    def held_at(self, fraction: float) -> float | None:
        """Return the held-off distance at a place on the slider, 0 (left) to 1."""
        if fraction < self.unknown_part:
            return None
        part = (min(fraction, 1.0) - self.unknown_part) / (1 - self.unknown_part)
        return round(part * self.longest_m, 2)

    def fraction_of(self, held_off_m: float | None) -> float:
        """Return the place of a held-off distance; longer ones stand at the right end."""
        if held_off_m is None:
            return self.unknown_part / 2
        return self.unknown_part + min(held_off_m / self.longest_m, 1.0) * (1 - self.unknown_part)


def held_typed(text: str, imperial: bool) -> float | None:
    """Return a typed held-off distance in metres; empty is not given; a bare number is in cm (or inches).

    What the field itself shows is taken too: ``not given``, ``at the point``, ``20 cm toward the light``.
    """
    plain = " ".join(text.split())
    if not plain or plain.casefold() == t("metering.held_unknown").casefold():
        return None
    if plain.casefold() == t("metering.held_zero").casefold():
        return 0.0
    for tail in t("metering.held_tails").split("|"):
        plain = plain.removesuffix(tail).strip()
    return units.parse_length(with_unit(plain, imperial), "held-off distance", 0.0, 50.0)


def with_unit(text: str, imperial: bool, metric: str = "cm", inch: str = "in") -> str:
    """Give a bare number the unit that the field shows; anything else stays as typed."""
    plain = text.strip().replace(",", ".")
    return plain + (inch if imperial else metric) if re.fullmatch(r"\d+(\.\d*)?|\.\d+", plain) else text


def held_changed(desk: Desk, light_id: str | None, text: str) -> Shot:
    """Take a typed held-off distance for a light (None: for all together)."""
    return desk.hold_off(light_id, held_typed(text, desk.prefs.imperial))
