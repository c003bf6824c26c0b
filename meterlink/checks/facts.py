"""Facts of a set that timing, room light, freezing and colour need, kept in ``Setup.details``.

``FACTS`` names each key with its unit and limits: the command line offers them, finders read them through
``fact``, which never believes a value of the wrong kind or beyond the limits (a set-up may come from somebody else's file).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from meterlink.photometry.freeze import magnification
from meterlink.photometry.shutter import KINDS, Shutter
from meterlink.records.kept import Settings, Setup

FACTS: dict[str, tuple[float, float]] = {
    "sync_speed_s": (1e-5, 1.0),
    "curtain_travel_s": (0.0, 1.0),
    "trigger_delay_s": (0.0, 1.0),
    "movement_m_s": (0.0, 1000.0),
    "focal_length_mm": (1.0, 10_000.0),
    "camera_distance_m": (0.01, 1000.0),
    "magnification": (1e-5, 100.0),
    "pixel_pitch_um": (0.1, 100.0),
    "blur_limit_mm": (1e-4, 1000.0),
    "blur_limit_px": (0.01, 10_000.0),
    "colour_limit_mired": (0.1, 500.0),
    "colour_limit_duv": (1e-4, 0.1),
}
"""Key: (lowest, highest) value that is believed."""

MOVEMENTS = {
    "still": 0.02,
    "breathing": 0.05,
    "hands": 1.0,
    "walking": 1.4,
    "hair": 3.0,
    "dancer": 5.0,
    "jump": 5.0,
    "splash": 10.0,
}
"""Speeds in m/s for those who do not measure them: common practice, no published source."""
ASSUMED_MOVEMENT = "hands"
TRAVEL_OVER_SYNC = 0.7
"""Curtain travel as part of the sync time where it is not given: the rest is left for the flash; our own estimate."""


class Camera(NamedTuple):
    """The shutter at the set-up's time, and what of it had to be assumed."""

    shutter: Shutter | None
    """None when no shutter time is set."""
    sync_speed_s: float
    assumed: tuple[str, ...]
    """Facts that were not given, as options of ``meterlink setup change``."""
    readout_unknown: bool = False
    """An electronic shutter whose readout time is not given: nothing can be said of what it keeps."""


class Movement(NamedTuple):
    """How fast something in the picture moves."""

    speed_m_s: float
    what: str
    """``hands`` or the like; empty when a speed was given."""
    declared: bool


def fact(details: Mapping[str, Any], key: str) -> float | None:
    """Return a fact in the unit of its name, None when it is missing, no number or beyond its limits."""
    value = details.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    low, high = FACTS[key]
    return float(value) if low <= value <= high else None


def word(details: Mapping[str, Any], key: str, allowed: tuple[str, ...]) -> str:
    """Return a fact that is one of some words, empty when it is none of them."""
    value = details.get(key)
    return value if isinstance(value, str) and value in allowed else ""


def camera(setup: Setup, settings: Settings) -> Camera:
    """Return the shutter of a set-up; a focal-plane one is assumed where nothing is said."""
    details = setup.details
    kind = word(details, "shutter_kind", KINDS)
    sync = fact(details, "sync_speed_s")
    travel, delay = fact(details, "curtain_travel_s"), fact(details, "trigger_delay_s")
    assumed = [] if kind else ["--shutter-kind"]
    kind = kind or "focal-plane"
    unknown = kind == "electronic" and travel is None
    if kind == "focal-plane":
        assumed += [flag for flag, value in (("--sync", sync), ("--curtain-travel", travel)) if value is None]
    sync_s = sync if sync is not None else settings.sync_speed_s
    if not setup.shutter_s:
        return Camera(None, sync_s, tuple(assumed))
    if travel is None:
        travel = TRAVEL_OVER_SYNC * sync_s if kind == "focal-plane" and sync_s > 0.0 else 0.0
    return Camera(Shutter(kind, setup.shutter_s, travel, delay or 0.0), sync_s, tuple(assumed), unknown)


def movement(setup: Setup) -> Movement:
    """Return the movement to be frozen: a declared speed, a declared kind of movement, else hands."""
    details = setup.details
    what = word(details, "movement", tuple(MOVEMENTS))
    speed = fact(details, "movement_m_s")
    if speed is not None:
        return Movement(speed, what, True)
    if what:
        return Movement(MOVEMENTS[what], what, True)
    return Movement(MOVEMENTS[ASSUMED_MOVEMENT], ASSUMED_MOVEMENT, False)


def magnification_of(setup: Setup) -> float | None:
    """Return image size over object size at the face: as given, or of focal length and camera distance; None if unknown."""
    details = setup.details
    given = fact(details, "magnification")
    if given is not None:
        return given
    focal, distance = fact(details, "focal_length_mm"), fact(details, "camera_distance_m")
    if focal is None or distance is None or distance <= focal / 1000.0:
        return None
    return magnification(focal, distance)
