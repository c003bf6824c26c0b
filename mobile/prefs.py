"""What one person likes, kept in the library's own memory (never merged with another library)."""

from __future__ import annotations

from typing import Any, NamedTuple

from mobile.theme import TEXT_SCALES, THEMES

KEY = "app"
UNITS = ("metric", "imperial")
STEPS = ("tenth", "third")


class Prefs(NamedTuple):
    """Every choice of the settings screen that is no limit of the library itself."""

    theme: str = "amber"
    text_scale: float = 1.0
    units: str = "metric"
    step: str = "tenth"
    auto_advance: bool = True
    free_order: bool = True
    """Lights that were read before fire as they like; each pop tells whose it is.  What nothing is known of keeps its order."""
    speech: bool = True
    vibration: bool = True
    motion: bool = True
    """Rows are seen to go to their new place."""
    language: str = ""
    """Empty: as the device."""
    iso: float = 100.0
    """Exact; for new set-ups."""
    shutter_s: float | None = None
    sensor_url: str = ""
    """The last sensor: tried first."""
    seen_first: bool = False
    """The first run is over."""

    @property
    def imperial(self) -> bool:
        """Whether lengths are shown and assumed in feet and inches."""
        return self.units == "imperial"

    @classmethod
    def from_memory(cls, data: Any) -> Prefs:
        """Return what was remembered; anything that cannot be is its default (it is only convenience)."""
        prefs = cls()
        if not isinstance(data, dict):
            return prefs
        for name, value in data.items():
            if name in cls._fields and _possible(name, value):
                prefs = prefs._replace(**{name: value})
        return prefs


_CHOICES: dict[str, tuple[Any, ...]] = {"theme": tuple(THEMES), "units": UNITS, "step": STEPS, "text_scale": TEXT_SCALES}


def _possible(name: str, value: Any) -> bool:
    if name in _CHOICES:
        return value in _CHOICES[name]
    if name in ("auto_advance", "free_order", "speech", "vibration", "motion", "seen_first"):
        return isinstance(value, bool)
    if name in ("language", "sensor_url"):
        return isinstance(value, str) and len(value) <= 500
    if name == "shutter_s" and value is None:
        return True
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 < value < 1e7
